"""What a keeper changed about a lamp, and when: each change is a new beginning for what is said of it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum

from ingest.store.database import Database
from ingest.store.errors import StoreError


class LampChangeKind(StrEnum):
    """What was changed."""

    LAMP = "lamp"  # another bulb or tube: its hours and its burn-in begin anew
    DISTANCE = "distance"
    MESH = "mesh"  # or glass, or anything else that the light passes through
    PLACE = "place"  # the lamp, the perch or the sensor was moved
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class SeenBefore:
    """What a spot saw of the lamp on the day of a change before its moment: `coverage` is 0 to 1."""

    hours_on: float
    coverage: float


@dataclass(frozen=True, slots=True)
class ChangeMoment:
    """When on its day a lamp was changed: `clock` is what the keeper's clock showed, `before` is by spot."""

    at_ms: int
    clock: str
    before: Mapping[str, SeenBefore] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LampChange:
    """One change of a lamp, known by its key in the configuration, on a local day.

    `moment` is None where only the day is known: then all of it counts as after the change.
    """

    change_id: int
    lamp: str
    day: date
    what: LampChangeKind
    note: str
    recorded_ms: int
    withdrawn: bool = False
    moment: ChangeMoment | None = None


class LampChanges:
    """The changes of all lamps.  None is ever deleted; one that was a mistake is withdrawn."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        lamp: str,
        day: date,
        what: LampChangeKind,
        note: str,
        recorded_ms: int,
        moment: ChangeMoment | None = None,
    ) -> LampChange:
        """Store a change; return it."""
        at_ms, clock, before = None, "", "{}"
        if moment is not None:
            at_ms, clock = moment.at_ms, moment.clock
            before = json.dumps(
                {spot: [seen.hours_on, seen.coverage] for spot, seen in moment.before.items()}
            )
        with self._database.transaction():
            self._database.want_sync()
            cursor = self._database.execute(
                "INSERT INTO lamp_change (lamp, day, what, note, recorded_ms, at_ms, clock, before)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (lamp, day.isoformat(), what, note, recorded_ms, at_ms, clock, before),
            )
        return LampChange(int(cursor.lastrowid or 0), lamp, day, what, note, recorded_ms, moment=moment)

    def withdraw(self, change_id: int) -> LampChange:
        """Let a change count no longer; return it."""
        with self._database.transaction():
            self._database.want_sync()
            row = self._database.row(
                f"SELECT {_COLUMNS} FROM lamp_change WHERE change_id = ? AND NOT withdrawn",  # noqa: S608
                (change_id,),
            )
            if row is None:
                raise StoreError(
                    f"there is no change {change_id} of a lamp that could be withdrawn",
                    where=str(self._database.path),
                    remedy="See the changes and their numbers with `baskline lamps`",
                )
            self._database.execute("UPDATE lamp_change SET withdrawn = 1 WHERE change_id = ?", (change_id,))
        return replace(_change(*row), withdrawn=True)

    def of(self, lamp: str) -> list[LampChange]:
        """Return all changes of a lamp, also withdrawn ones, in order of their times."""
        rows = self._database.rows(
            f"SELECT {_COLUMNS} FROM lamp_change WHERE lamp = ? ORDER BY day, at_ms, change_id",  # noqa: S608
            (lamp,),
        )
        return [_change(*row) for row in rows]


_COLUMNS = "change_id, lamp, day, what, note, recorded_ms, withdrawn, at_ms, clock, before"


def _change(
    change_id: int,
    lamp: str,
    day: str,
    what: str,
    note: str,
    recorded_ms: int,
    withdrawn: bool,
    at_ms: int | None,
    clock: str,
    before: str,
) -> LampChange:
    moment = None
    if at_ms is not None:
        seen = {spot: SeenBefore(*each) for spot, each in json.loads(before).items()}
        moment = ChangeMoment(at_ms, clock, seen)
    return LampChange(
        change_id,
        lamp,
        date.fromisoformat(day),
        LampChangeKind(what),
        note,
        recorded_ms,
        bool(withdrawn),
        moment,
    )
