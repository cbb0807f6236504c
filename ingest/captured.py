"""What a guided capture has taken, and its points file: rewritten whole with each point, so none is lost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from calibrate.csv_table import TableFileError, parse_table
from calibrate.whole_file import not_written, write_whole

PLACEMENT_RELATIVE = 0.02
"""How well meter and sensor share a place, as a share of the reading (k = 1).  Judgement: at 30 cm from a
compact lamp, 3 mm of difference in height."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A dark level (`uvi` None), or a level with the meter's reading.  Tuples run along the channels."""

    levels: tuple[float, ...]
    u_levels: tuple[float, ...]
    uvi: float | None = None
    temperature_c: float | None = None
    label: str = ""

    @property
    def is_dark(self) -> bool:
        """Whether the sensor was covered."""
        return self.uvi is None


@dataclass(frozen=True, slots=True)
class Setting:
    """What holds for all points of a capture.  `noise` by channel is the standard deviation of a reading."""

    channels: tuple[str, ...]
    lamp_kind: str
    sensor_kind: str
    made_on: date
    meter_limits_percent: float = 0.0
    meter_resolution_uvi: float = 0.0
    noise: Mapping[str, float] = field(default_factory=dict)
    saturation: Mapping[str, float] = field(default_factory=dict)


def write_points(path: Path, setting: Setting, taken: Sequence[Taken]) -> None:
    """Write a points file, whole or not at all."""
    try:
        write_whole(path, points_text(setting, taken).encode())
    except OSError as error:
        raise not_written(TableFileError, path, error) from None


def points_text(setting: Setting, taken: Sequence[Taken]) -> str:
    """Return a points file as `calibrate/POINTS_FILE.md` describes it."""
    settings = {
        "lamp_kind": setting.lamp_kind,
        "sensor_kind": setting.sensor_kind,
        "made_on": setting.made_on.isoformat(),
        "meter_limits_percent": f"{setting.meter_limits_percent:g}",
        "meter_resolution_uvi": f"{setting.meter_resolution_uvi:g}",
        **{f"noise.{name}": f"{noise:.6g}" for name, noise in setting.noise.items()},
        **{f"saturation.{name}": f"{level:g}" for name, level in setting.saturation.items()},
    }
    warm = any(point.temperature_c is not None for point in taken)
    names = [column for channel in setting.channels for column in (channel, f"u_{channel}")]
    columns = [*names, "uvi", "u_uvi", *(["temperature_c"] if warm else []), "kind", "label"]
    lines = [f"# {key} = {value}" for key, value in settings.items()]
    lines.append(",".join(columns))
    for point in taken:
        cells = [
            f"{number:.8g}" for pair in zip(point.levels, point.u_levels, strict=True) for number in pair
        ]
        if point.uvi is None:
            cells += ["", ""]
        else:
            cells += [f"{point.uvi:g}", f"{PLACEMENT_RELATIVE * point.uvi:.4g}"]
        if warm:
            cells.append("" if point.temperature_c is None else f"{point.temperature_c:.2f}")
        lines.append(",".join([*cells, "dark" if point.is_dark else "", point.label]))
    return "\n".join(lines) + "\n"


def read_taken(path: Path) -> tuple[Setting, list[Taken]]:
    """Read back a file that `write_points` wrote, also one that holds no pair yet."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise TableFileError(
            "cannot be read", where=str(path), remedy="Begin anew, without --resume"
        ) from None
    table = parse_table(text, file=str(path))
    channels = tuple(name for name in table.columns if f"u_{name}" in table.columns and name != "uvi")
    table.require_columns("uvi", "kind", *(channels or ("uva_counts",)))
    taken = [
        Taken(
            levels=tuple(row.number(channel) for channel in channels),
            u_levels=tuple(row.number(f"u_{channel}") for channel in channels),
            uvi=None if row.cells["kind"] == "dark" else row.number("uvi"),
            temperature_c=row.number_or_none("temperature_c"),
            label=row.cells.get("label", ""),
        )
        for row in table.rows
    ]
    try:
        made_on = date.fromisoformat(table.settings.get("made_on", ""))
    except ValueError:
        raise table.setting_error("made_on", "is not a date", "Write it like 2026-03-21") from None

    def by_channel(prefix: str) -> dict[str, float]:
        return {
            channel: table.number_setting(f"{prefix}.{channel}", 0.0)
            for channel in channels
            if f"{prefix}.{channel}" in table.settings
        }

    setting = Setting(
        channels,
        lamp_kind=table.settings.get("lamp_kind", ""),
        sensor_kind=table.settings.get("sensor_kind", ""),
        made_on=made_on,
        meter_limits_percent=table.number_setting("meter_limits_percent", 0.0),
        meter_resolution_uvi=table.number_setting("meter_resolution_uvi", 0.0),
        noise=by_channel("noise"),
        saturation=by_channel("saturation"),
    )
    return setting, taken
