"""The days of a spot, one row each."""

from collections.abc import Iterator
from datetime import timedelta

from calibrate.samples import Flag
from exposure.days import HOUR_MS
from ingest.day_records import DayRecord, DayRecords
from ingest.export.cells import Cells, days_of, rows_of
from ingest.export.columns import Column, Kind, Rows
from ingest.export.table import Source, Table, Wanted

_DAYS_AT_ONCE = 31

_BAND_HOURS = (
    ("below_band", "lit, but below the band"),
    ("in_band", "in the band"),
    ("above_band", "above the band, those above the ceiling included"),
    ("above_ceiling", "above the ceiling"),
)


def _figure(name: str, means: str, unit: str) -> tuple[Column, Column]:
    """Return the columns of a figure and of its standard uncertainty."""
    return (
        Column(name, Kind.NUMBER, means, unit, optional=True),
        Column(f"u_{name}", Kind.NUMBER, "Its standard uncertainty.", unit, optional=True),
    )


DAY_COLUMNS = (
    Column("spot", Kind.TEXT, "Key of the spot."),
    Column("date", Kind.DATE, "The local day."),
    Column("time_zone", Kind.TEXT, "IANA name of the time zone in which it begins and ends."),
    Column("day_hours", Kind.NUMBER, "How long it lasts.", "h"),
    Column("band_low_uvi", Kind.NUMBER, "Below this there is too little.", "UVI"),
    Column("band_high_uvi", Kind.NUMBER, "Above this there is more than wanted.", "UVI"),
    Column("ceiling_uvi", Kind.NUMBER, "Must never be passed.", "UVI"),
    Column("coverage", Kind.NUMBER, "The part of the day that was seen, 0 to 1."),
    Column(
        "at_least", Kind.TRUTH, "Whether a sample at an upper end went in, so that figures may be higher."
    ),
    *_figure("peak_uvi", "The highest UVI.", "UVI"),
    Column("peak_at", Kind.UTC_TIME, "When it was.", optional=True),
    *_figure("mean_uvi_lit", "Mean UVI while the spot was lit.", "UVI"),
    *_figure("dose_uvi_h", "The dose that was seen.", "UVI·h"),
    *_figure("dose_sed", "The same dose.", "SED"),
    Column("lit_hours", Kind.NUMBER, "For how long the spot was lit.", "h", optional=True),
    Column("lit_threshold_uvi", Kind.NUMBER, "The UVI that divides lit from dark.", "UVI", optional=True),
    Column("first_light_at", Kind.UTC_TIME, "When light was first seen.", optional=True),
    Column("last_light_at", Kind.UTC_TIME, "When light was last seen.", optional=True),
    *(
        Column(f"hours_{where}", Kind.NUMBER, f"Hours {words}.", "h", optional=True)
        for where, words in _BAND_HOURS
    ),
    *(
        Column(
            f"expected_hours_{where}",
            Kind.NUMBER,
            "The same hours, each moment weighed by its probability.",
            "h",
            optional=True,
        )
        for where, _ in _BAND_HOURS
    ),
    Column("max_gap_s", Kind.NUMBER, "A longer silence counts as a gap.", "s"),
    Column("gaps", Kind.WHOLE, "How many gaps there were."),
    Column("gap_hours", Kind.NUMBER, "How long they were together.", "h"),
    *(
        Column(f"{flag.name.lower()}_hours", Kind.NUMBER, f"For how long `{flag.name.lower()}` was set.", "h")
        for flag in Flag
        if flag.name is not None
    ),
    Column("lamp_hours_on", Kind.NUMBER, "For how long the lamp was seen lit.", "h"),
    Column("lamp_switch_ons", Kind.WHOLE, "How often it was seen to come on."),
    Column("lamp_level_uvi", Kind.NUMBER, "Median UVI of its settled light.", "UVI", optional=True),
    Column("u_lamp_level_uvi", Kind.NUMBER, "Median standard uncertainty of that.", "UVI", optional=True),
    Column(
        "lamp_ramp_minutes",
        Kind.NUMBER,
        "From first light to nine tenths of the level.",
        "min",
        optional=True,
    ),
    Column(
        "calibration",
        Kind.TEXT,
        "Identity of the calibration that the whole day was derived by; nothing for none or several.",
        optional=True,
    ),
)


def days(source: Source, wanted: Wanted) -> Table:
    """Return the days of which anything was seen, spot after spot, in order."""
    return Table("days", DAY_COLUMNS, _day_rows(source, wanted))


def _day_rows(source: Source, wanted: Wanted) -> Iterator[Rows]:
    records = DayRecords(source.store, source.config)
    for spot in wanted.spots or source.store.assignments.spots():
        spans = source.store.assignments.timeline(spot, wanted.from_ms, wanted.to_ms)
        if not spans:
            continue
        first, last = days_of(source, Wanted(spans[0].from_ms, wanted.to_ms))
        n_days = (last - first).days + 1
        for done in range(0, n_days, _DAYS_AT_ONCE):
            source.progress(spot, done, n_days)
            begin = first + timedelta(days=done)
            end = min(last, begin + timedelta(days=_DAYS_AT_ONCE - 1))
            yield from rows_of(map(_day_cells, records.of(spot, begin, end)))


def _day_cells(record: DayRecord) -> Cells:
    profile, lamp = record.profile, record.lamp
    return (
        record.spot,
        record.date.isoformat(),
        profile.bounds.time_zone,
        profile.bounds.hours,
        profile.band.low_uvi,
        profile.band.high_uvi,
        profile.band.ceiling_uvi,
        profile.coverage,
        profile.at_least,
        profile.peak_uvi,
        profile.u_peak_uvi,
        profile.peak_ms,
        profile.mean_uvi_lit,
        profile.u_mean_uvi_lit,
        profile.dose_uvi_h,
        profile.u_dose_uvi_h,
        profile.dose_sed,
        profile.u_dose_sed,
        profile.lit_hours,
        profile.lit_threshold_uvi,
        profile.first_light_ms,
        profile.last_light_ms,
        *(getattr(profile, f"hours_{where}") for where, _ in _BAND_HOURS),
        *(getattr(profile, f"expected_hours_{where}") for where, _ in _BAND_HOURS),
        profile.max_gap_s,
        len(profile.gaps),
        sum(gap.end_ms - gap.start_ms for gap in profile.gaps) / HOUR_MS,
        *(profile.flag_hours.get(flag.name.lower(), 0.0) for flag in Flag if flag.name is not None),
        lamp.hours_on,
        lamp.switch_ons,
        lamp.level_uvi,
        lamp.u_level_uvi,
        lamp.ramp_minutes,
        record.calibration or None,
    )
