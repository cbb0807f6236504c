"""What comes in long series: raw readings, samples, minute summaries."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from calibrate.arrays import FloatArray
from firmware_host.messages import Mark
from ingest.export.columns import Coded, Column, Kind, Rows, flag_texts
from ingest.export.table import DAY_MS, Source, Table, Wanted, windows
from ingest.history import History
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from ingest.store.dirty import MINUTE_MS

_MONTH_MS = 30 * DAY_MS

_FLAGS = Column("flags", Kind.TEXT, "Flags that are set, with spaces between.", optional=True)

READING_COLUMNS = (
    Column("time_utc", Kind.UTC_TIME, "When the board took it."),
    Column("board", Kind.TEXT, "What the board calls itself."),
    Column("boot", Kind.TEXT, "One start of the board; it differs each time."),
    Column("seq", Kind.WHOLE, "Number since that start; with board and boot it names the reading for ever."),
    Column(
        "marks",
        Kind.TEXT,
        "What the board says of it: `saturated`, `ranged`, `fault`; and `clock_unsure` from the computer.",
        optional=True,
    ),
)
"""After these comes one column for each channel."""

SAMPLE_COLUMNS = (
    Column("time_utc", Kind.UTC_TIME, "When it was taken."),
    Column("spot", Kind.TEXT, "Key of the spot."),
    Column("uvi", Kind.NUMBER, "The UVI.", "UVI", optional=True),
    Column("u_uvi", Kind.NUMBER, "Its standard uncertainty.", "UVI", optional=True),
    _FLAGS,
    Column("calibration", Kind.TEXT, "Identity of the calibration that it was derived by.", optional=True),
)

MINUTE_COLUMNS = (
    Column("time_utc", Kind.UTC_TIME, "When the minute begins."),
    Column("spot", Kind.TEXT, "Key of the spot."),
    Column("n", Kind.WHOLE, "Samples in it."),
    Column("covered_ms", Kind.WHOLE, "For how much of the minute they stand.", "ms"),
    Column("mean_uvi", Kind.SINGLE, "Mean UVI.", "UVI", optional=True),
    Column("min_uvi", Kind.SINGLE, "Lowest UVI.", "UVI", optional=True),
    Column("max_uvi", Kind.SINGLE, "Highest UVI.", "UVI", optional=True),
    Column("u_uvi", Kind.SINGLE, "Mean standard uncertainty of its samples.", "UVI", optional=True),
    Column("dose_uvi_h", Kind.SINGLE, "What it adds to the dose.", "UVI·h"),
    Column("flags", Kind.TEXT, "All flags that occurred in it, with spaces between.", optional=True),
)


def readings(source: Source, wanted: Wanted) -> Table:
    """Return the raw readings, board after board, each in order of time."""
    boards = wanted.boards or tuple(record.board for record in source.store.boards.all())
    channels = list(dict.fromkeys(name for board in boards for name in source.store.readings.channels(board)))
    units = _units(source, boards)
    columns = [*READING_COLUMNS]
    for channel in channels:
        columns.append(
            Column(
                free_name(channel, [column.name for column in columns]),
                Kind.NUMBER,
                "A channel, raw.",
                units.get(channel, ""),
                optional=True,
            )
        )
    return Table("readings", tuple(columns), _reading_rows(source, wanted, boards, channels))


def free_name(channel: str, taken: Sequence[str]) -> str:
    """Return the name of a channel's column: its own, with `_` behind it where that is taken."""
    while channel in taken:
        channel += "_"
    return channel


def samples(source: Source, wanted: Wanted) -> Table:
    """Return the samples, spot after spot, each in order of time; the same that `History.samples` gives."""
    spots = wanted.spots or tuple(source.store.assignments.spots())
    spans = {spot: _seen_spans(source, wanted, spot) for spot in spots}
    used = {
        spot: sorted({each.calibration for each in found if each.calibration})
        for spot, found in spans.items()
    }
    return Table("samples", SAMPLE_COLUMNS, _sample_rows(source, spans), used)


def minutes(source: Source, wanted: Wanted) -> Table:
    """Return the one-minute summaries, spot after spot, each in order of time."""
    spots = wanted.spots or tuple(source.store.assignments.spots())
    return Table("minutes", MINUTE_COLUMNS, _minute_rows(source, wanted, spots))


@dataclass(frozen=True, slots=True)
class _Span:
    """Part of a spot's time of which there may be readings, and what it is derived by."""

    from_ms: int
    to_ms: int
    calibration: str


def _reading_rows(
    source: Source, wanted: Wanted, boards: Sequence[str], channels: list[str]
) -> Iterator[Rows]:
    for board in boards:
        extent = source.store.readings.extent(board)
        if extent is None:
            continue
        steps = windows(max(wanted.from_ms, extent[0]), min(wanted.to_ms, extent[1] + 1), DAY_MS)
        for number, (from_ms, to_ms) in enumerate(steps):
            source.progress(board, number, len(steps))
            batches = source.store.readings.between(board, from_ms, to_ms)
            if batches:
                yield from _rows_of(batches, channels).parts()


def _rows_of(batches: list[StampedBatch], channels: list[str]) -> Rows:
    """Return the readings of one board as rows in order of time."""
    utc_ms = np.concatenate([batch.utc_ms for batch in batches])
    seq = np.concatenate([batch.seq for batch in batches])
    boots = list(dict.fromkeys(batch.boot for batch in batches))
    boot = np.concatenate([np.full(len(batch), boots.index(batch.boot), np.int64) for batch in batches])
    order = np.lexsort((seq, boot, utc_ms))
    return Rows(
        (
            utc_ms[order],
            Coded.constant(batches[0].board, len(utc_ms)),
            Coded(boots, boot[order]),
            seq[order],
            _mark_texts(np.concatenate([batch.marks for batch in batches])[order]),
            *(np.concatenate([_channel(batch, channel) for batch in batches])[order] for channel in channels),
        )
    )


def _channel(batch: StampedBatch, channel: str) -> FloatArray:
    if channel in batch.channels:
        return batch.values[:, batch.channels.index(channel)]
    return np.full(len(batch), np.nan)


def _mark_texts(marks: np.ndarray[tuple[int], np.dtype[np.uint32]]) -> Coded:
    found, codes = np.unique(marks, return_inverse=True)
    return Coded([_mark_text(int(each)) for each in found], codes.astype(np.int64))


def _mark_text(marks: int) -> str | None:
    names = [mark.name.lower() for mark in Mark if marks & mark and mark.name is not None]
    if marks & CLOCK_UNSURE_MARK:
        names.append("clock_unsure")
    return " ".join(names) or None


def _units(source: Source, boards: Sequence[str]) -> dict[str, str]:
    """Return the units that boards gave for their channels, where they do not contradict each other."""
    said: dict[str, set[str]] = {}
    for board in boards:
        record = source.store.boards.get(board)
        if record is not None and record.hello is not None:
            for channel, unit in zip(record.hello.channels, record.hello.units, strict=True):
                said.setdefault(channel, set()).add(unit)
    return {channel: units.pop() for channel, units in said.items() if len(units) == 1}


def _seen_spans(source: Source, wanted: Wanted, spot: str) -> list[_Span]:
    """Return when a board with readings watched the spot, one calibration at a time."""
    found = []
    for span in source.store.assignments.timeline(spot, wanted.from_ms, wanted.to_ms):
        extent = source.store.readings.extent(span.assignment.board)
        if extent is not None:
            seen = _Span(
                max(span.from_ms, extent[0]), min(span.to_ms, extent[1] + 1), span.assignment.calibration
            )
            if seen.from_ms < seen.to_ms:
                found.append(seen)
    return found


def _sample_rows(source: Source, spans: dict[str, list[_Span]]) -> Iterator[Rows]:
    history = History(source.store)
    for spot, found in spans.items():
        steps = [
            (from_ms, to_ms, span.calibration)
            for span in found
            for from_ms, to_ms in windows(span.from_ms, span.to_ms, DAY_MS)
        ]
        for number, (from_ms, to_ms, calibration) in enumerate(steps):
            source.progress(spot, number, len(steps))
            derived = history.samples(spot, from_ms, to_ms)
            n = len(derived)
            if n:
                yield from Rows(
                    (
                        derived.utc_ms,
                        Coded.constant(spot, n),
                        derived.uvi,
                        derived.u_uvi,
                        flag_texts(derived.flags),
                        Coded.constant(calibration or None, n),
                    )
                ).parts()


def _minute_rows(source: Source, wanted: Wanted, spots: Sequence[str]) -> Iterator[Rows]:
    for spot in spots:
        steps = [
            step
            # They are kept longer than the readings, so that these do not tell where they end.
            for span in source.store.assignments.timeline(spot, wanted.from_ms, wanted.to_ms)[:1]
            for step in windows(span.from_ms // MINUTE_MS * MINUTE_MS, wanted.to_ms, _MONTH_MS)
        ]
        for number, (from_ms, to_ms) in enumerate(steps):
            source.progress(spot, number, len(steps))
            found = source.store.minutes.between(spot, from_ms, to_ms)
            n = len(found)
            if n:
                yield from Rows(
                    (
                        found.minute * MINUTE_MS,
                        Coded.constant(spot, n),
                        found.n,
                        found.covered_ms,
                        found.mean_uvi,
                        found.min_uvi,
                        found.max_uvi,
                        found.u_uvi,
                        found.dose_uvi_h,
                        flag_texts(found.flags),
                    )
                ).parts()
