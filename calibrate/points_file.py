"""The points file: calibration points as CSV, as `POINTS_FILE.md` beside this module describes it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from math import hypot, sqrt
from pathlib import Path

import numpy as np

from calibrate.csv_table import Row, Table, TableFileError, parse_table
from calibrate.lamp_kinds import UnknownLampKindError, lamp_kind
from calibrate.points import Points, ReferenceMeter, from_certificate, from_limits

_PER_CHANNEL = ("noise.", "saturation.")
_SETTINGS = (
    "lamp_kind",
    "sensor_kind",
    "made_on",
    "meter_limits_percent",
    "meter_expanded_percent",
    "meter_zero_uvi",
    "meter_resolution_uvi",
)
_NOT_CHANNELS = ("uvi", "u_uvi", "n", "kind", "temperature_c", "label")
_DARK, _LIT = "dark", "lit"


@dataclass(frozen=True, slots=True)
class PointsFile:
    """A points file: the points, the meter, and what else it says; empty and None where it says nothing."""

    points: Points
    meter: ReferenceMeter
    lamp_kind: str = ""
    sensor_kind: str = ""
    made_on: date | None = None
    noise: Mapping[str, float] = field(default_factory=dict)
    saturation: Mapping[str, float] = field(default_factory=dict)


def read_points(path: Path) -> PointsFile:
    """Read a points file; raise `TableFileError` if it is none."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise TableFileError(
            f"cannot be read ({error.strerror})", where=str(path), remedy="Check the name and its rights"
        ) from None
    except UnicodeDecodeError as error:
        raise TableFileError(
            f"byte {error.start} is not UTF-8", where=str(path), remedy="Save the file as UTF-8 text"
        ) from None
    return parse_points(text, file=str(path))


def parse_points(text: str, *, file: str) -> PointsFile:
    """Read points from the text of a points file; `file` names it in errors."""
    table = parse_table(text, file=file)
    table.require_columns("uvi")
    channels = _channels(table)
    table.refuse_unknown_settings(
        (*_SETTINGS, *(prefix + channel for prefix in _PER_CHANNEL for channel in channels))
    )
    meter = _meter(table)
    noise, saturation = (
        {
            channel: table.number_setting(prefix + channel, 0.0)
            for channel in channels
            if prefix + channel in table.settings
        }
        for prefix in _PER_CHANNEL
    )
    lit = [row for row in table.rows if _is_lit(row)]
    dark = [row for row in table.rows if not _is_lit(row)]
    if not lit:
        raise TableFileError("no row with a reference reading", where=file)
    points = Points(
        channels,
        levels=np.array([_levels(row, channels) for row in lit]),
        u_levels=np.array([_u_levels(row, channels, noise) for row in lit]),
        reference_uvi=np.array([_not_negative(row, "uvi") for row in lit]),
        u_reference_uvi=np.array([_u_reading(row, meter) for row in lit]),
        dark=np.array([_levels(row, channels) for row in dark]).reshape(-1, len(channels)),
        u_dark=np.array([_u_levels(row, channels, noise) for row in dark]).reshape(-1, len(channels)),
        temperature_channel="temperature_c" if "temperature_c" in table.columns else "",
        temperature_c=(
            np.array([row.number("temperature_c") for row in lit])
            if "temperature_c" in table.columns
            else None
        ),
        labels=tuple(row.cells.get("label") or f"line {row.line}" for row in lit),
    )
    return PointsFile(
        points,
        meter,
        lamp_kind=_lamp_kind(table),
        sensor_kind=table.settings.get("sensor_kind", ""),
        made_on=_made_on(table),
        noise=noise,
        saturation=saturation,
    )


def _channels(table: Table) -> tuple[str, ...]:
    uncertain = tuple(f"u_{name}" for name in table.columns)
    channels = tuple(name for name in table.columns if name not in (*_NOT_CHANNELS, *uncertain))
    if not channels:
        raise TableFileError("no column of a channel", where=table.file, remedy="Add one such as uva_counts")
    for name in channels:
        if name.startswith("u_"):
            raise TableFileError(
                f"column {name} belongs to no column {name.removeprefix('u_')}",
                where=table.file,
                remedy="A column u_NAME holds the uncertainty of the column NAME",
            )
    return channels


def _is_lit(row: Row) -> bool:
    kind = row.cells.get("kind") or _LIT
    if kind not in (_DARK, _LIT):
        raise row.error("kind", f"unknown kind {kind!r}", "Write dark, lit or nothing")
    if kind == _DARK and row.cells["uvi"] and row.number("uvi") != 0:
        raise row.error("uvi", "a dark reading with UVI above 0", "Leave it empty, or write lit as its kind")
    return kind == _LIT


def _levels(row: Row, channels: tuple[str, ...]) -> list[float]:
    return [row.number(channel) for channel in channels]


def _u_levels(row: Row, channels: tuple[str, ...], noise: Mapping[str, float]) -> list[float]:
    """Return the stated uncertainty of each level, or that of a mean of `n` readings with that noise."""
    n = row.number_or_none("n")
    if n is not None and n < 1:
        raise row.error("n", f"{n:g} readings in a mean", "Write how many readings the level is the mean of")
    stated = (
        _not_negative(row, f"u_{channel}") if row.cells.get(f"u_{channel}") else None for channel in channels
    )
    return [
        noise.get(channel, 0.0) / sqrt(n or 1.0) if u is None else u
        for channel, u in zip(channels, stated, strict=True)
    ]


def _u_reading(row: Row, meter: ReferenceMeter) -> float:
    own = _not_negative(row, "u_uvi") if row.cells.get("u_uvi") else 0.0
    return hypot(own, meter.u_resolution_uvi)


def _not_negative(row: Row, column: str) -> float:
    number = row.number(column)
    if number < 0:
        raise row.error(column, f"{number:g} is below 0", "Check the reading")
    return number


def _meter(table: Table) -> ReferenceMeter:
    limits = table.number_setting("meter_limits_percent", 0.0)
    expanded = table.number_setting("meter_expanded_percent", 0.0)
    if limits and expanded:
        raise table.setting_error(
            "meter_expanded_percent", "stated twice", "Keep this or meter_limits_percent, not both"
        )
    return ReferenceMeter(
        u_relative=(from_limits(limits) if limits else from_certificate(expanded)) / 100,
        u_zero_uvi=from_limits(table.number_setting("meter_zero_uvi", 0.0)),
        resolution_uvi=table.number_setting("meter_resolution_uvi", 0.0),
    )


def _lamp_kind(table: Table) -> str:
    key = table.settings.get("lamp_kind", "")
    if key:
        try:
            lamp_kind(key)
        except UnknownLampKindError as error:
            raise table.setting_error("lamp_kind", error.what, error.remedy) from None
    return key


def _made_on(table: Table) -> date | None:
    text = table.settings.get("made_on")
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise table.setting_error("made_on", f"{text!r} is not a date", "Write it like 2026-03-21") from None
