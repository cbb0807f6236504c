"""Events as they stand, and every state that they ever had."""

import json
from dataclasses import replace
from typing import cast

from exposure.events import Event, EventKind, Severity
from ingest.store.database import Database, Row
from ingest.store.errors import StoreError

_FIXED = "identity, kind, subject_kind, subject, opened_ms"
_CHANGING = "severity, sentence, advice, evidence, acknowledged_ms, closed_ms, closing"
_SELECT = f"SELECT {_FIXED}, {_CHANGING} FROM event"  # noqa: S608


class Events:
    """Events by identity.  The first acknowledgement and the first closing of each stand."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, event: Event) -> Event | None:
        """Store an event or its new state; return it as it now stands, or None if that changed nothing.

        An acknowledgement or closing that the store has and `event` has not is kept: somebody may have
        acknowledged it from elsewhere since the caller last saw it.
        """
        with self._database.transaction():
            known = self.get(event.identity)
            if known is not None:
                event = _with_firsts_of(known, event)
                if event == known:
                    return None
            self._write(event)
        return event

    def acknowledge(self, identity: str, at_ms: int) -> Event:
        """Record that a person has seen the event; return it."""
        with self._database.transaction():
            known = self.get(identity)
            if known is None:
                raise StoreError(
                    f"there is no event {identity!r}",
                    where=str(self._database.path),
                    remedy="See the events and their identities with `baskline events`.",
                )
            if known.acknowledged_ms is not None:
                return known
            event = known.acknowledged(at_ms)
            self._write(event)
        return event

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
        rows = self._database.rows(
            f"{_SELECT} WHERE opened_ms < ? AND (closed_ms IS NULL OR closed_ms >= ?)"
            " ORDER BY opened_ms, identity",
            (to_ms, from_ms),
        )
        return [_event(row) for row in rows]

    def history(self, identity: str) -> list[Event]:
        """Return every state that the event has had, first to last."""
        rows = self._database.rows(
            "SELECT event.identity, kind, subject_kind, subject, opened_ms, change.severity, change.sentence,"
            " change.advice, change.evidence, change.acknowledged_ms, change.closed_ms, change.closing"
            " FROM event_change AS change JOIN event USING (identity)"
            " WHERE change.identity = ? ORDER BY change_id",
            (identity,),
        )
        return [_event(row) for row in rows]

    def _write(self, event: Event) -> None:
        self._database.want_sync()
        fixed = (event.identity, event.kind, event.subject_kind, event.subject, event.opened_ms)
        changing = (
            event.severity,
            event.sentence,
            event.advice,
            json.dumps(dict(event.evidence), ensure_ascii=False),
            event.acknowledged_ms,
            event.closed_ms,
            event.closing,
        )
        self._database.execute(
            f"INSERT OR REPLACE INTO event ({_FIXED}, {_CHANGING}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*fixed, *changing),
        )
        self._database.execute(
            f"INSERT INTO event_change (identity, {_CHANGING}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",  # noqa: S608
            (event.identity, *changing),
        )


def _with_firsts_of(known: Event, event: Event) -> Event:
    merged = event
    if known.acknowledged_ms is not None:
        merged = replace(merged, acknowledged_ms=known.acknowledged_ms)
    if known.closed_ms is not None:
        merged = replace(merged, closed_ms=known.closed_ms, closing=known.closing)
    return merged


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
        evidence=cast(dict[str, str | float | int | bool | None], json.loads(evidence)),
        acknowledged_ms=acknowledged_ms,
        closed_ms=closed_ms,
        closing=closing,
    )
