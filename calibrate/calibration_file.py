"""The calibration file: a calibration as TOML, as `CALIBRATION_FILE.md` beside this module describes it."""

import tomllib
from dataclasses import fields
from pathlib import Path

import tomlkit

from calibrate.calibration import (
    Calibration,
    CalibrationError,
    Channel,
    LampFactor,
    Temperature,
    Uncertainty,
)
from calibrate.lamp_kinds import UnknownLampKindError
from calibrate.model_tables import MODEL_FORMS
from calibrate.models import Model, parameter_names
from calibrate.nearest import did_you_mean
from calibrate.origin_table import origin_content, read_origin
from calibrate.toml_table import CalibrationFileError, TomlTable
from calibrate.whole_file import not_written, write_whole

FORMAT = 1

_PARTS = tuple(f.name for f in fields(Uncertainty) if f.name not in ("covariance", "fit_widening"))


def read_calibration(path: Path) -> Calibration:
    """Read a calibration file; raise `CalibrationFileError` if it is not one."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise CalibrationFileError(
            "no such calibration file", where=str(path), remedy="Check the path, or calibrate the spot"
        ) from None
    except OSError as error:
        raise CalibrationFileError(
            f"cannot be read ({error.strerror})", where=str(path), remedy="Check its name and its rights"
        ) from None
    except UnicodeDecodeError:
        raise CalibrationFileError(
            "is not UTF-8 text", where=str(path), remedy="Name a file that `baskline calibrate` wrote"
        ) from None
    return parse_calibration(text, where=str(path))


def write_calibration(path: Path, calibration: Calibration) -> None:
    """Write a calibration file, whole or not at all."""
    content = format_calibration(calibration).encode()
    try:
        write_whole(path, content)
    except OSError as error:
        raise not_written(CalibrationFileError, path, error) from None


def parse_calibration(text: str, *, where: str = "calibration") -> Calibration:
    """Return the calibration that a text holds; `where` names the text in errors."""
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CalibrationFileError(
            f"not valid TOML: {error}", where=where, remedy="Mend that line; text needs quotes, dates do not"
        ) from None
    table = TomlTable(content, file=where)
    form = table.integer("format")
    if form != FORMAT:
        raise table.error("format", f"format {form} is not known", f"This baskline reads format {FORMAT}")
    try:
        calibration, claimed = _read(table)
    except (CalibrationError, UnknownLampKindError) as error:
        raise CalibrationFileError(
            error.what, where=f"{where}, {error.where or 'lamp_kind'}", remedy=error.remedy
        ) from None
    if claimed not in ("", calibration.identity):
        raise table.error(
            "identity",
            f"{claimed} does not belong to this content, which is {calibration.identity}: "
            "a number was changed after it was written",
            "Undo the change; or, if it is meant, delete the identity line",
        )
    return calibration


def _read(table: TomlTable) -> tuple[Calibration, str]:
    claimed = table.text("identity", "")
    channels, dark = _read_channels(table.table("channels"))
    model = _read_model(table.table("model"), tuple(channel.name for channel in channels), dark)
    calibration = Calibration(
        lamp_kind=table.text("lamp_kind"),
        sensor_kind=table.text("sensor_kind"),
        model=model,
        channels=channels,
        uvi_range=table.pair("uvi_range"),
        uncertainty=_read_uncertainty(table.table("uncertainty"), parameter_names(model)),
        made_on=table.day("made_on"),
        valid_for_days=table.integer("valid_for_days", 365),
        temperature=_read_temperature(table.table("temperature")) if table.has("temperature") else None,
        lamp_factors=_read_lamp_factors(table.table("lamp_factors")) if table.has("lamp_factors") else (),
        name=table.text("name", ""),
        notes=table.text("notes", ""),
        origin=read_origin(table.table("origin"), len(channels)) if table.has("origin") else None,
    )
    table.close()
    return calibration, claimed


def _read_channels(tables: TomlTable) -> tuple[tuple[Channel, ...], tuple[float, ...]]:
    channels, dark = [], []
    for name in tables.names():
        table = tables.table(name)
        dark.append(table.number("dark"))
        channels.append(
            Channel(
                name,
                noise=table.number("noise"),
                valid_range=table.pair("valid_range") if table.has("valid_range") else None,
                saturation=table.number("saturation") if table.has("saturation") else None,
            )
        )
        table.close()
    if not channels:
        raise tables.error("", "no channel", "Add a table such as [channels.uva_counts]")
    return tuple(channels), tuple(dark)


def _read_model(table: TomlTable, channels: tuple[str, ...], dark: tuple[float, ...]) -> Model:
    kind = table.text("kind")
    if kind not in MODEL_FORMS:
        raise table.error("kind", f"unknown model {kind!r}", did_you_mean(kind, MODEL_FORMS))
    try:
        model = MODEL_FORMS[kind].read(table, channels, dark)
    except ValueError as error:  # a model refuses to be built; keys are checked before
        raise table.error("", str(error)) from None
    table.close()
    return model


def _read_uncertainty(table: TomlTable, parameters: tuple[str, ...]) -> Uncertainty:
    if table.has("standard_errors"):
        errors = table.table("standard_errors")
        given = tuple(errors.number(name) for name in parameters)
        errors.close()
        covariance = tuple(
            tuple(error**2 if row == column else 0.0 for column in range(len(given)))
            for row, error in enumerate(given)
        )
    else:
        order = table.texts("parameters")
        if order != parameters:
            raise table.error(
                "parameters", "not the model's parameters in its order", f"Write {list(parameters)}"
            )
        covariance = table.rows("covariance")
    uncertainty = Uncertainty(
        covariance,
        fit_widening=table.number("fit_widening", 1.0),
        **{part: table.number(part, 0.0) for part in _PARTS},
    )
    table.close()
    return uncertainty


def _read_temperature(table: TomlTable) -> Temperature:
    temperature = Temperature(
        channel=table.text("channel"),
        reference_c=table.number("reference_c"),
        valid_range_c=table.pair("valid_range_c"),
        coefficient_per_c=table.number("coefficient_per_c", 0.0),
        u_coefficient_per_c=table.number("u_coefficient_per_c", 0.0),
        u_temperature_c=table.number("u_temperature_c", 0.0),
    )
    table.close()
    return temperature


def _read_lamp_factors(tables: TomlTable) -> tuple[LampFactor, ...]:
    factors = []
    for kind in tables.names():
        table = tables.table(kind)
        factors.append(
            LampFactor(
                kind,
                factor=table.number("factor"),
                u_relative=table.number("u_relative"),
                source=table.text("source", ""),
            )
        )
        table.close()
    return tuple(factors)


def format_calibration(calibration: Calibration) -> str:
    """Return a calibration as the text of a calibration file."""
    document = tomlkit.document()
    document["format"] = FORMAT
    document["identity"] = calibration.identity
    if calibration.name:
        document["name"] = calibration.name
    document["sensor_kind"] = calibration.sensor_kind
    document["lamp_kind"] = calibration.lamp_kind
    document["made_on"] = calibration.made_on
    document["valid_for_days"] = calibration.valid_for_days
    document["uvi_range"] = list(calibration.uvi_range)
    if calibration.notes:
        document["notes"] = tomlkit.string(calibration.notes, multiline="\n" in calibration.notes)
    document["channels"] = {
        channel.name: _without_none(
            dark=dark,
            noise=channel.noise,
            valid_range=_listed(channel.valid_range),
            saturation=channel.saturation,
        )
        for channel, dark in zip(calibration.channels, calibration.model.dark, strict=True)
    }
    kind = calibration.model.kind
    document["model"] = {"kind": kind, **MODEL_FORMS[kind].write(calibration.model)}
    document["uncertainty"] = _uncertainty_content(calibration)
    if calibration.temperature is not None:
        document["temperature"] = {
            f.name: _listed(getattr(calibration.temperature, f.name)) for f in fields(Temperature)
        }
    if calibration.lamp_factors:
        document["lamp_factors"] = {
            other.lamp_kind: {"factor": other.factor, "u_relative": other.u_relative, "source": other.source}
            for other in calibration.lamp_factors
        }
    if calibration.origin is not None:
        document["origin"] = origin_content(calibration.origin)
    return tomlkit.dumps(document)


def _uncertainty_content(calibration: Calibration) -> dict[str, object]:
    uncertainty = calibration.uncertainty
    rows = tomlkit.array()
    rows.extend([list(row) for row in uncertainty.covariance])
    return {
        "parameters": list(calibration.parameter_names),
        "covariance": rows.multiline(True),
        "fit_widening": uncertainty.fit_widening,
        **{part: getattr(uncertainty, part) for part in _PARTS},
    }


def _listed(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value


def _without_none(**content: object) -> dict[str, object]:
    return {key: value for key, value in content.items() if value is not None}
