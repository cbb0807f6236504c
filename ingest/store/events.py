"""Events as they stand, and every state that they ever had."""

import json
from collections.abc import Iterable
from dataclasses import replace

from exposure.events import Event, EventKind, Severity
from exposure.one_event import BY_HAND
from ingest.store.database import Database, Row
from ingest.store.errors import StoreError
from ingest.store.events_pages import EventPage, EventPlace, EventsWanted, queries

_FIXED = "identity, kind, subject_kind, subject, opened_ms"
_CHANGING = "severity, sentence, advice, evidence, acknowledged_ms, closed_ms, closing"
_SELECT = f"SELECT {_FIXED}, {_CHANGING} FROM event"  # noqa: S608
_REPLACE = f"INSERT OR REPLACE INTO event ({_FIXED}, {_CHANGING}) VALUES ({', '.join('?' * 12)})"  # noqa: S608
_ADD_CHANGE = f"INSERT INTO event_change (identity, {_CHANGING}) VALUES ({', '.join('?' * 8)})"  # noqa: S608


class Events:
    """Events by identity.  The first acknowledgement and the first closing of each stand."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, event: Event) -> Event | None:
        """Store an event or its new state; return it as it now stands, or None if that changed nothing.

        An acknowledgement or closing that the store has and `event` has not is kept: somebody may have
        acknowledged it from elsewhere since the caller last saw it.  But an event that has become graver was
        not seen as that by anybody.  And what a capture says again, with the times of a clock that was set
        since or of an event that has closed since, changes nothing.
        """
        with self._database.transaction():
            known = self.get(event.identity)
            if known is not None:
                if known.opened_ms != event.opened_ms or (event.is_open and not known.is_open):
                    return None
                event = _with_firsts_of(known, event)
                if _changing(event) == _changing(known):
                    return None
            self._write(event)
        return event

    def acknowledge(self, identity: str, at_ms: int) -> Event:
        """Record that a person has seen the event; return it."""
        with self._database.transaction():
            known = self._known(identity)
            event = known.acknowledged(max(at_ms, known.opened_ms))
            if event != known:
                self._write(event)
        return event

    def close(self, identity: str, at_ms: int) -> Event:
        """Record that a person has closed the event, and so has seen it; return it.

        Whoever watches it goes on in silence, also after a restart, until it says that the cause has gone.
        """
        with self._database.transaction():
            known = self._known(identity)
            if not known.is_open:
                return known
            at_ms = max(at_ms, known.opened_ms)  # the clock may be behind the one that opened it
            event = known.acknowledged(at_ms).closed(at_ms, BY_HAND)
            self._write(event)
            self._database.execute("INSERT OR IGNORE INTO closed_by_hand VALUES (?)", (identity,))
        return event

    def causes_last(self) -> list[Event]:
        """Return the events closed by hand whose cause has not gone as far as is known, oldest first."""
        rows = self._database.rows(
            f"{_SELECT} JOIN closed_by_hand USING (identity) ORDER BY opened_ms, identity"
        )
        return [_event(row) for row in rows]

    def causes_gone(self, identities: Iterable[str]) -> None:
        """Record that the cause of these events has gone: what comes is a new event."""
        with self._database.transaction():
            self._database.execute_many(
                "DELETE FROM closed_by_hand WHERE identity = ?", [(identity,) for identity in identities]
            )

    def correct(self, event: Event) -> None:
        """Store an event that is known with times that are known better now."""
        with self._database.transaction():
            self._write(event)

    def get(self, identity: str) -> Event | None:
        """Return the event as it stands, or None."""
        row = self._database.row(f"{_SELECT} WHERE identity = ?", (identity,))
        return _event(row) if row else None

    def open(self) -> list[Event]:
        """Return the events that have not closed, oldest first."""
        rows = self._database.rows(f"{_SELECT} WHERE closed_ms IS NULL ORDER BY opened_ms, identity")
        return [_event(row) for row in rows]

    def between(self, from_ms: int, to_ms: int) -> list[Event]:
        """Return the events that were open at any time in [from_ms, to_ms), oldest first."""
        return list(self._found(EventsWanted(from_ms=from_ms, to_ms=to_ms), None, newest_first=False))

    def page(
        self,
        wanted: EventsWanted,
        limit: int,
        begin: EventPlace | None = None,
        *,
        newest_first: bool = False,
    ) -> EventPage:
        """Return at most `limit` events from the place `begin` on, such as the `next` of another page."""
        found = self._found(wanted, begin, newest_first=newest_first, limit=limit + 1)
        rest = found[limit:]
        return EventPage(tuple(found[:limit]), _place(rest[0]) if rest else None)

    def history(self, identity: str) -> list[Event]:
        """Return every state that the event has had, first to last."""
        rows = self._database.rows(
            f"SELECT {_FIXED}, {_CHANGING} FROM event_change JOIN"  # noqa: S608
            f" (SELECT {_FIXED} FROM event) USING (identity) WHERE identity = ? ORDER BY change_id",
            (identity,),
        )
        return [_event(row) for row in rows]

    def _found(
        self, wanted: EventsWanted, begin: EventPlace | None, *, newest_first: bool, limit: int = -1
    ) -> list[Event]:
        way = "DESC" if newest_first else "ASC"
        parts = [
            self._database.rows(
                f"{_SELECT} {query.text} ORDER BY opened_ms {way}, identity {way} LIMIT ?",
                (*query.values, limit),
            )
            for query in queries(wanted, begin, newest_first=newest_first)
        ]
        found = sorted((_event(row) for part in parts for row in part), key=_place, reverse=newest_first)
        return found if limit < 0 else found[:limit]

    def _known(self, identity: str) -> Event:
        known = self.get(identity)
        if known is None:
            raise StoreError(
                f"there is no event {identity!r}",
                where=str(self._database.path),
                remedy="See the events and their identities with `baskline events`",
            )
        return known

    def _write(self, event: Event) -> None:
        self._database.want_sync()
        fixed = (event.identity, event.kind, event.subject_kind, event.subject, event.opened_ms)
        self._database.execute(_REPLACE, (*fixed, *_changing(event)))
        self._database.execute(_ADD_CHANGE, (event.identity, *_changing(event)))


def _changing(event: Event) -> tuple[object, ...]:
    return (
        event.severity,
        event.sentence,
        event.advice,
        json.dumps(dict(event.evidence), ensure_ascii=False),
        event.acknowledged_ms,
        event.closed_ms,
        event.closing,
    )


def _with_firsts_of(known: Event, event: Event) -> Event:
    merged = event
    if known.acknowledged_ms is not None and not event.severity.is_graver_than(known.severity):
        merged = replace(merged, acknowledged_ms=known.acknowledged_ms)
    if known.closed_ms is not None:
        merged = replace(merged, closed_ms=known.closed_ms, closing=known.closing)
    return merged


def _place(event: Event) -> EventPlace:
    return event.opened_ms, event.identity


def _event(row: Row) -> Event:
    identity, kind, subject_kind, subject, opened_ms, severity, sentence, advice, evidence, *ends = row
    acknowledged_ms, closed_ms, closing = ends
    return Event(
        identity=identity,
        kind=EventKind(kind),
        subject_kind=subject_kind,
        subject=subject,
        severity=Severity(severity),
        opened_ms=opened_ms,
        sentence=sentence,
        advice=advice,
        evidence=json.loads(evidence),
        acknowledged_ms=acknowledged_ms,
        closed_ms=closed_ms,
        closing=closing,
    )
