"""What comes one by one: days, events, spot checks, changes of lamps."""

import json
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from calibrate.samples import Flag
from calibrate.spot_check import verdict_of
from exposure.days import HOUR_MS, local_date
from exposure.events import Event
from ingest.day_records import DayRecord, DayRecords
from ingest.export.columns import Column, Kind, Rows, flag_text
from ingest.export.table import Source, Table, Wanted
from ingest.mqtt.payloads import event_fields
from ingest.store.checks import CheckRecord
from ingest.store.lamp_changes import LampChange

_DAYS_AT_ONCE = 31

Cell = str | int | float | bool | None

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

EVENT_COLUMNS = (
    Column("identity", Kind.TEXT, "Kind, subject and moment in one word."),
    Column("kind", Kind.TEXT, "What kind of thing happened."),
    Column("subject_kind", Kind.TEXT, "Whether to a spot, a board, or what else."),
    Column("subject", Kind.TEXT, "Key of the spot, or identity of the board."),
    Column("severity", Kind.TEXT, "How soon to look: `now`, `today` or `note`."),
    Column("sentence", Kind.TEXT, "What happened, with its numbers."),
    Column("advice", Kind.TEXT, "What to do."),
    Column("evidence", Kind.TEXT, "The numbers behind it, a JSON object with units in its names."),
    Column("opened_at", Kind.UTC_TIME, "When it began."),
    Column("acknowledged_at", Kind.UTC_TIME, "When somebody said that they have seen it.", optional=True),
    Column("closed_at", Kind.UTC_TIME, "When it was over.", optional=True),
    Column("closing", Kind.TEXT, "Why it was over.", optional=True),
)

CHECK_COLUMNS = (
    Column("id", Kind.WHOLE, "Its number."),
    Column("spot", Kind.TEXT, "Key of the spot."),
    Column("from_at", Kind.UTC_TIME, "When the mean begins."),
    Column("at", Kind.UTC_TIME, "When the mean ends."),
    Column("reference_uvi", Kind.NUMBER, "What the meter showed.", "UVI"),
    Column("u_reading_uvi", Kind.NUMBER, "What is unsure of that reading by itself.", "UVI"),
    Column("u_meter_uvi", Kind.NUMBER, "What is unsure of all readings of that meter alike.", "UVI"),
    Column("same_meter", Kind.TRUTH, "Whether the calibration was made with it."),
    Column("uvi", Kind.NUMBER, "The spot's mean.", "UVI"),
    Column("u_uvi", Kind.NUMBER, "Its standard uncertainty.", "UVI"),
    Column("u_random_uvi", Kind.NUMBER, "What of it is by chance.", "UVI"),
    Column("n", Kind.WHOLE, "Readings in the mean."),
    Column("ratio", Kind.NUMBER, "Meter over spot."),
    Column("u_ratio", Kind.NUMBER, "Its standard uncertainty."),
    Column("e_n", Kind.NUMBER, "Difference spot less meter over its expanded uncertainty (k = 2)."),
    Column("verdict", Kind.TEXT, "`within`, `doubtful` or `out`."),
    Column("flags", Kind.TEXT, "Flags of the samples in the mean, with spaces between.", optional=True),
    Column("calibration", Kind.TEXT, "Identity of the calibration.", optional=True),
    Column("withdrawn", Kind.TRUTH, "Whether it was taken back and counts no longer."),
)

LAMP_CHANGE_COLUMNS = (
    Column("id", Kind.WHOLE, "Its number."),
    Column("lamp", Kind.TEXT, "Key of the lamp."),
    Column("date", Kind.DATE, "The local day of the change."),
    Column("what", Kind.TEXT, "What was changed: `lamp`, `distance`, `mesh`, `place` or `other`."),
    Column("note", Kind.TEXT, "The keeper's note.", optional=True),
    Column("recorded_at", Kind.UTC_TIME, "When it was typed in."),
    Column("withdrawn", Kind.TRUTH, "Whether it was taken back and counts no longer."),
)


def days(source: Source, wanted: Wanted) -> Table:
    """Return the days of which anything was seen, spot after spot, in order."""
    return Table("days", DAY_COLUMNS, _day_rows(source, wanted))


def events(source: Source, wanted: Wanted) -> Table:
    """Return the events that were open at any time, oldest first."""
    subjects = {*(("spot", spot) for spot in wanted.spots), *(("board", board) for board in wanted.boards)}
    found = [
        event
        for event in source.store.events.between(wanted.from_ms, wanted.to_ms)
        if not subjects or (event.subject_kind, event.subject) in subjects
    ]
    return Table("events", EVENT_COLUMNS, _rows(map(_event_cells, found)))


def checks(source: Source, wanted: Wanted) -> Table:
    """Return the spot checks, withdrawn ones too, spot after spot, in order of time."""
    spots = wanted.spots or tuple(source.store.assignments.spots())
    found = [
        check
        for spot in spots
        for check in source.store.checks.of(spot)
        if wanted.from_ms <= check.at_ms < wanted.to_ms
    ]
    return Table("checks", CHECK_COLUMNS, _rows(map(_check_cells, found)))


def lamp_changes(source: Source, wanted: Wanted) -> Table:
    """Return what was changed about the configured lamps, withdrawn changes too, lamp after lamp."""
    first, last = _days_of(source, wanted)
    found = [
        change
        for lamp in source.config.lamps
        for change in source.store.lamp_changes.of(lamp)
        if first <= change.day <= last
    ]
    return Table("lamp-changes", LAMP_CHANGE_COLUMNS, _rows(map(_lamp_change_cells, found)))


def _days_of(source: Source, wanted: Wanted) -> tuple[date, date]:
    time_zone = source.config.bridge.time_zone
    return local_date(wanted.from_ms, time_zone), local_date(wanted.to_ms - 1, time_zone)


def _day_rows(source: Source, wanted: Wanted) -> Iterator[Rows]:
    records = DayRecords(source.store, source.config)
    for spot in wanted.spots or source.store.assignments.spots():
        spans = source.store.assignments.timeline(spot, wanted.from_ms, wanted.to_ms)
        if not spans:
            continue
        first, last = _days_of(source, Wanted(spans[0].from_ms, wanted.to_ms))
        n_days = (last - first).days + 1
        for done in range(0, n_days, _DAYS_AT_ONCE):
            source.progress(spot, done, n_days)
            begin = first + timedelta(days=done)
            end = min(last, begin + timedelta(days=_DAYS_AT_ONCE - 1))
            yield from _rows(map(_day_cells, records.of(spot, begin, end)))


def _rows(cells: Iterator[tuple[Cell, ...]]) -> Iterator[Rows]:
    by_column: Sequence[tuple[Cell, ...]] = list(zip(*cells, strict=True))
    if by_column:
        yield from Rows(tuple(list(column) for column in by_column)).parts()


def _day_cells(record: DayRecord) -> tuple[Cell, ...]:
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


def _event_cells(event: Event) -> tuple[Cell, ...]:
    evidence = json.dumps(event_fields(event)["evidence"], ensure_ascii=False, allow_nan=False)
    return (
        event.identity,
        event.kind.value,
        event.subject_kind,
        event.subject,
        event.severity.value,
        event.sentence,
        event.advice,
        evidence,
        event.opened_ms,
        event.acknowledged_ms,
        event.closed_ms,
        event.closing,
    )


def _check_cells(check: CheckRecord) -> tuple[Cell, ...]:
    return (
        check.check_id,
        check.spot,
        check.from_ms,
        check.at_ms,
        check.reference_uvi,
        check.u_reading_uvi,
        check.u_meter_uvi,
        check.same_meter,
        check.uvi,
        check.u_uvi,
        check.u_random_uvi,
        check.n,
        check.ratio,
        check.u_ratio,
        check.e_n,
        verdict_of(check.e_n).value,
        flag_text(Flag(check.flags)),
        check.calibration or None,
        check.withdrawn,
    )


def _lamp_change_cells(change: LampChange) -> tuple[Cell, ...]:
    return (
        change.change_id,
        change.lamp,
        change.day.isoformat(),
        change.what.value,
        change.note or None,
        change.recorded_ms,
        change.withdrawn,
    )
