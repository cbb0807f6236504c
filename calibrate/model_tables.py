"""How each shape of model stands in a calibration file."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from calibrate.models import CurveModel, LineModel, Model, PowerModel
from calibrate.toml_table import TomlTable


@dataclass(frozen=True, slots=True)
class ModelForm:
    """Reads a model from its table, given channels and dark levels; and writes that table's content."""

    read: Callable[[TomlTable, tuple[str, ...], tuple[float, ...]], Model]
    write: Callable[[Any], dict[str, object]]


def _read_line(table: TomlTable, channels: tuple[str, ...], dark: tuple[float, ...]) -> LineModel:
    slopes = table.table("slope")
    slope = tuple(slopes.number(channel) for channel in channels)
    slopes.close()
    intercept = table.number("intercept") if table.has("intercept") else None
    return LineModel(channels, dark, slope, intercept)


def _write_line(model: LineModel) -> dict[str, object]:
    content: dict[str, object] = {"slope": dict(zip(model.channels, model.slope, strict=True))}
    if model.intercept is not None:
        content["intercept"] = model.intercept
    return content


def _read_power(table: TomlTable, channels: tuple[str, ...], dark: tuple[float, ...]) -> PowerModel:
    return PowerModel(
        channels,
        dark,
        scale=table.number("scale"),
        exponent=table.number("exponent"),
        straight_below=table.number("straight_below"),
    )


def _write_power(model: PowerModel) -> dict[str, object]:
    return {"scale": model.scale, "exponent": model.exponent, "straight_below": model.straight_below}


def _read_curve(table: TomlTable, channels: tuple[str, ...], dark: tuple[float, ...]) -> CurveModel:
    return CurveModel(channels, dark, knots=table.numbers("knots"), heights=table.numbers("heights"))


def _write_curve(model: CurveModel) -> dict[str, object]:
    return {"knots": list(model.knots), "heights": list(model.heights)}


MODEL_FORMS: Mapping[str, ModelForm] = MappingProxyType(
    {
        LineModel.kind: ModelForm(_read_line, _write_line),
        PowerModel.kind: ModelForm(_read_power, _write_power),
        CurveModel.kind: ModelForm(_read_curve, _write_curve),
    }
)
