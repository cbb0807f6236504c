"""What applied to a spot, and since when: board, calibration, lamp kind, band."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ingest.store.database import Database
from ingest.store.dirty import DirtyMinutes
from ingest.store.errors import StoreError
from ingest.store.identities import Identities


@dataclass(frozen=True, slots=True)
class Assignment:
    """What applies to a spot.

    `sensor` is the prefix of its channels on a board with several sensors, '' without; `calibration` is the
    identity of a calibration, '' for none; `band` is text that the caller understands.
    """

    spot: str
    board: str
    sensor: str
    calibration: str
    lamp_kind: str
    band: str


@dataclass(frozen=True, slots=True)
class AssignedSpan:
    """An assignment that held in [from_ms, to_ms), and the generation of records that says so."""

    from_ms: int
    to_ms: int
    assignment: Assignment
    generation: int


@dataclass(frozen=True, slots=True)
class AssignmentRecord:
    """One record as it was made.  `to_ms` None: without an end.  A withdrawn one no longer counts."""

    generation: int
    from_ms: int
    to_ms: int | None
    assignment: Assignment
    reason: str
    withdrawn: bool


class Assignments:
    """Records that are never changed: where several cover a moment, the one of the latest generation holds.

    So an earlier answer stays on record and comes back when what superseded it is withdrawn.
    """

    def __init__(
        self,
        database: Database,
        identities: Identities,
        dirty: DirtyMinutes,
        extent: Callable[[str], tuple[int, int] | None],
    ) -> None:
        self._extent = extent
        self._database = database
        self._identities = identities
        self._dirty = dirty

    def record(
        self, assignment: Assignment, from_ms: int, *, to_ms: int | None = None, reason: str = ""
    ) -> int | None:
        """Let `assignment` hold from `from_ms` on; return its generation, or None if it already did."""
        with self._database.transaction():
            end_ms = _FOR_EVER_MS if to_ms is None else to_ms
            held = self.timeline(assignment.spot, from_ms, end_ms)
            same_ms = sum(span.to_ms - span.from_ms for span in held if span.assignment == assignment)
            if same_ms == end_ms - from_ms:
                return None
            return self._add([(from_ms, to_ms, assignment)], reason)

    def recalibrate(
        self, spot: str, calibration: str, from_ms: int, *, to_ms: int | None = None, reason: str = ""
    ) -> int | None:
        """Put another calibration over [from_ms, to_ms), all else as it was; return the generation.

        None if that changes nothing.  `withdraw` of the generation undoes it.
        """
        with self._database.transaction():
            end_ms = _FOR_EVER_MS if to_ms is None else to_ms
            spans = [
                (
                    span.from_ms,
                    None if span.to_ms == _FOR_EVER_MS else span.to_ms,
                    replace(span.assignment, calibration=calibration),
                )
                for span in self.timeline(spot, from_ms, end_ms)
                if span.assignment.calibration != calibration
            ]
            return self._add(spans, reason) if spans else None

    def withdraw(self, generation: int) -> None:
        """Let all records of a generation count no longer."""
        with self._database.transaction():
            records = self._records("generation = ? AND NOT withdrawn", (generation,))
            if not records:
                raise StoreError(
                    f"there is no generation {generation} of assignments that could be withdrawn",
                    where=str(self._database.path),
                    remedy="See the generations in the history of the spot",
                )
            self._mark_dirty(records)
            self._database.execute("UPDATE assignment SET withdrawn = 1 WHERE generation = ?", (generation,))
            self._mark_dirty(records)

    def timeline(self, spot: str, from_ms: int, to_ms: int) -> list[AssignedSpan]:
        """Return what held in [from_ms, to_ms), in time order; times without assignment are left out."""
        spot_id = self._identities.find_spot(spot)
        if spot_id is None:
            return []
        spans: list[AssignedSpan] = []
        for made in self._records("spot_id = ? AND NOT withdrawn", (spot_id,)):
            start = max(made.from_ms, from_ms)
            end = min(_FOR_EVER_MS if made.to_ms is None else made.to_ms, to_ms)
            if start < end:
                spans = _overlaid(spans, AssignedSpan(start, end, made.assignment, made.generation))
        return spans

    def history(self, spot: str) -> list[AssignmentRecord]:
        """Return all records of a spot in the order in which they were made."""
        spot_id = self._identities.find_spot(spot)
        return [] if spot_id is None else self._records("spot_id = ?", (spot_id,))

    def revision(self) -> tuple[int, int]:
        """Return something that differs after every change of what applies to any spot."""
        n_records, n_withdrawn = self._database.row("SELECT count(*), total(withdrawn) FROM assignment") or (
            0,
            0,
        )
        return int(n_records), int(n_withdrawn)

    def spots(self) -> list[str]:
        """Return all spots that ever had an assignment, by name."""
        rows = self._database.rows(
            "SELECT DISTINCT spot FROM spot JOIN assignment USING (spot_id) ORDER BY spot"
        )
        return [spot for (spot,) in rows]

    def _add(self, spans: Sequence[tuple[int, int | None, Assignment]], reason: str) -> int:
        (generation,) = self._database.row("SELECT ifnull(max(generation), 0) + 1 FROM assignment") or (1,)
        made = [AssignmentRecord(generation, start, end, what, reason, False) for start, end, what in spans]
        self._mark_dirty(made)
        self._database.execute_many(
            "INSERT INTO assignment (generation, spot_id, from_ms, to_ms, board, sensor, calibration,"
            " lamp_kind, band, reason) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (
                    generation,
                    self._identities.spot(what.spot),
                    start,
                    end,
                    what.board,
                    what.sensor,
                    what.calibration,
                    what.lamp_kind,
                    what.band,
                    reason,
                )
                for start, end, what in spans
            ],
        )
        self._mark_dirty(made)
        return int(generation)

    def _mark_dirty(self, records: Sequence[AssignmentRecord]) -> None:
        """Mark what `records` cover, for the boards that count there: before a change and after it."""
        for made in records:
            end_ms = _FOR_EVER_MS if made.to_ms is None else made.to_ms
            for span in self.timeline(made.assignment.spot, made.from_ms, end_ms):
                board_id = self._identities.find_board(span.assignment.board)
                extent = None if board_id is None else self._extent(span.assignment.board)
                if board_id is None or extent is None:
                    continue
                first_ms, last_ms = max(span.from_ms, extent[0]), min(span.to_ms - 1, extent[1])
                if first_ms <= last_ms:
                    self._dirty.mark(board_id, first_ms, last_ms)

    def _records(self, condition: str, values: tuple[int, ...]) -> list[AssignmentRecord]:
        rows = self._database.rows(
            "SELECT generation, from_ms, to_ms, spot, board, sensor, calibration, lamp_kind, band, reason,"  # noqa: S608
            f" withdrawn FROM assignment JOIN spot USING (spot_id) WHERE {condition}"
            " ORDER BY generation, assignment_id",
            values,
        )
        return [
            AssignmentRecord(generation, from_ms, to_ms, Assignment(*what), reason, bool(withdrawn))
            for generation, from_ms, to_ms, *what, reason, withdrawn in rows
        ]


_FOR_EVER_MS = 2**53


def _overlaid(spans: list[AssignedSpan], new: AssignedSpan) -> list[AssignedSpan]:
    left: list[AssignedSpan] = []
    for span in spans:
        if span.from_ms < new.from_ms:
            left.append(replace(span, to_ms=min(span.to_ms, new.from_ms)))
        if span.to_ms > new.to_ms:
            left.append(replace(span, from_ms=max(span.from_ms, new.to_ms)))
    left.append(new)
    return sorted(left, key=lambda span: span.from_ms)
