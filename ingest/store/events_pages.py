"""Which events are looked for, and how SQLite is asked so that it reads few more than it gives."""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Literal, TypeAlias

from exposure.events import Event, EventKind, Severity

EventPlace: TypeAlias = tuple[int, str]
"""Where an event stands among all: when it opened, and its identity."""

Subject: TypeAlias = tuple[Literal["spot", "board"], str]

FOR_EVER_MS = 1 << 53


@dataclass(frozen=True, slots=True, kw_only=True)
class EventsWanted:
    """What events shall have in common; None for what does not matter.

    They were open at any time in [from_ms, to_ms).
    """

    subjects: tuple[Subject, ...] | None = None
    kind: EventKind | None = None
    severity: Severity | None = None
    is_open: bool | None = None
    from_ms: int | None = None
    to_ms: int = FOR_EVER_MS


@dataclass(frozen=True, slots=True)
class EventPage:
    """Some events in order, and the place of the first that comes after them; None if none does."""

    events: tuple[Event, ...]
    next: EventPlace | None


@dataclass(frozen=True, slots=True)
class Query:
    """What stands between SELECT … FROM event and ORDER BY, with its values."""

    text: str
    values: tuple[object, ...]


def queries(wanted: EventsWanted, begin: EventPlace | None, *, newest_first: bool) -> list[Query]:
    """Return what to ask for, each event by one of the queries; each reads an index in order.

    `begin` is the place at which to begin.
    """
    found: list[Query] = []
    for subject in (None,) if wanted.subjects is None else wanted.subjects:
        if wanted.is_open is not False:
            found.append(_query(wanted, subject, begin, newest_first, _Part.OPEN))
        if wanted.is_open is not True:
            found.append(_query(wanted, subject, begin, newest_first, _Part.CLOSED))
            if wanted.from_ms is not None and (newest_first or begin is None or begin[0] < wanted.from_ms):
                found.append(_query(wanted, subject, begin, newest_first, _Part.RUNNING_ON))
    return found


class _Part(Enum):
    OPEN = auto()
    CLOSED = auto()  # and opened in the time that is wanted
    RUNNING_ON = auto()  # opened before that time, and closed in it or later


def _query(
    wanted: EventsWanted, subject: Subject | None, begin: EventPlace | None, newest_first: bool, part: _Part
) -> Query:
    first_ms, before_ms = 0, wanted.to_ms
    conditions: list[tuple[str, tuple[object, ...]]] = []
    if part is not _Part.RUNNING_ON:
        conditions.append((f"closed_ms IS {'' if part is _Part.OPEN else 'NOT '}NULL", ()))
    if wanted.from_ms is not None:
        if part is _Part.CLOSED:
            first_ms = wanted.from_ms
        elif part is _Part.RUNNING_ON:
            before_ms = min(before_ms, wanted.from_ms)
            conditions.append(("closed_ms >= ?", (wanted.from_ms,)))
    if begin is not None:
        # With a plus SQLite takes no index for it: it would take it for this alone, and not for the times.
        conditions.append((f"(+opened_ms, identity) {'<=' if newest_first else '>='} (?, ?)", begin))
        if newest_first:
            before_ms = min(before_ms, begin[0] + 1)
        else:
            first_ms = max(first_ms, begin[0])
    conditions.append(("opened_ms >= ? AND opened_ms < ?", (first_ms, before_ms)))
    if subject is not None:
        conditions.append(("subject_kind = ? AND subject = ?", subject))
    if wanted.kind is not None:
        conditions.append(("kind = ?", (wanted.kind,)))
    if wanted.severity is not None:
        conditions.append(("severity = ?", (wanted.severity,)))
    return Query(
        f"INDEXED BY {_index(wanted, subject, part)} WHERE {' AND '.join(text for text, _ in conditions)}",
        tuple(value for _, values in conditions for value in values),
    )


def _index(wanted: EventsWanted, subject: Subject | None, part: _Part) -> str:
    """Return the index to read: without statistics SQLite would take that of the times for everything."""
    if part is not _Part.CLOSED:
        return "event_open" if part is _Part.OPEN else "event_by_closing"
    if subject is not None:
        return "event_by_subject"
    if wanted.kind is not None:
        return "event_by_kind"
    return "event_by_time" if wanted.severity is None else "event_by_severity"
