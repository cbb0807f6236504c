"""What comes one by one: events, spot checks, changes of lamps."""

import json

from calibrate.samples import Flag
from calibrate.spot_check import verdict_of
from exposure.events import Event
from ingest.export.cells import Cells, days_of, rows_of
from ingest.export.columns import Column, Kind, flag_text
from ingest.export.table import Source, Table, Wanted
from ingest.mqtt.payloads import event_fields
from ingest.store.checks import CheckRecord
from ingest.store.lamp_changes import LampChange

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
    Column(
        "changed_at",
        Kind.UTC_TIME,
        "When it was changed; nothing where only the day is known.",
        optional=True,
    ),
    Column("what", Kind.TEXT, "What was changed: `lamp`, `distance`, `mesh`, `place` or `other`."),
    Column("note", Kind.TEXT, "The keeper's note.", optional=True),
    Column("recorded_at", Kind.UTC_TIME, "When it was typed in."),
    Column("withdrawn", Kind.TRUTH, "Whether it was taken back and counts no longer."),
)


def events(source: Source, wanted: Wanted) -> Table:
    """Return the events that were open at any time, oldest first."""
    subjects = {*(("spot", spot) for spot in wanted.spots), *(("board", board) for board in wanted.boards)}
    found = [
        event
        for event in source.store.events.between(wanted.from_ms, wanted.to_ms)
        if not subjects or (event.subject_kind, event.subject) in subjects
    ]
    return Table("events", EVENT_COLUMNS, rows_of(map(_event_cells, found)))


def checks(source: Source, wanted: Wanted) -> Table:
    """Return the spot checks, withdrawn ones too, spot after spot, in order of time."""
    spots = wanted.spots or tuple(source.store.assignments.spots())
    found = [
        check
        for spot in spots
        for check in source.store.checks.of(spot)
        if wanted.from_ms <= check.at_ms < wanted.to_ms
    ]
    return Table("checks", CHECK_COLUMNS, rows_of(map(_check_cells, found)))


def lamp_changes(source: Source, wanted: Wanted) -> Table:
    """Return what was changed about the configured lamps, withdrawn changes too, lamp after lamp."""
    first, last = days_of(source, wanted)
    found = [
        change
        for lamp in source.config.lamps
        for change in source.store.lamp_changes.of(lamp)
        if first <= change.day <= last
    ]
    return Table("lamp-changes", LAMP_CHANGE_COLUMNS, rows_of(map(_lamp_change_cells, found)))


def _event_cells(event: Event) -> Cells:
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


def _check_cells(check: CheckRecord) -> Cells:
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


def _lamp_change_cells(change: LampChange) -> Cells:
    return (
        change.change_id,
        change.lamp,
        change.day.isoformat(),
        None if change.moment is None else change.moment.at_ms,
        change.what.value,
        change.note or None,
        change.recorded_ms,
        change.withdrawn,
    )
