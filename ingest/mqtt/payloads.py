"""What is said on the topics: JSON with units in its names, times in UTC, and null for what is not known.

Described for people in ingest/TOPICS.md, field by field; a test holds both to one JSON schema.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

from calibrate.samples import Flag
from exposure.attention import Notice
from exposure.events import Event, EventKind, Severity
from exposure.place import Place
from ingest.mqtt.topics import Topics
from ingest.store.outbox import OutgoingMessage

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NOTICE_SCHEMA = "baskline.notice/1"
_OPEN_EVENTS_LISTED = 50  # keeps the retained message under some 50 kB, whatever happens


class Change(StrEnum):
    """What happened to an event."""

    OPENED = "opened"
    ACKNOWLEDGED = "acknowledged"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotState:
    """A spot as it is now; None wherever nothing is known.

    `at_ms` is when the sample was taken; `u_uvi` its standard uncertainty (k = 1); `dose_uvi_h` and
    `coverage` (0 to 1) are of the keeper's day so far, which began at `day_from_ms`; `open_events` are the
    kinds open at this spot; `calibration_until` is the last day on which its calibration holds.
    """

    spot: str
    at_ms: int | None
    uvi: float | None
    u_uvi: float | None
    flags: Flag
    place: Place
    dose_uvi_h: float | None
    coverage: float
    zone: int | None
    band_low_uvi: float | None
    band_high_uvi: float | None
    ceiling_uvi: float | None
    open_events: Sequence[EventKind] = ()
    day_from_ms: int | None = None
    calibration_until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardState:
    """A board as it is now.  `lost_readings` counts since the bridge started what no replay brought back."""

    board: str
    connected: bool
    port: str | None
    firmware: str | None
    sensor: str | None
    last_reading_ms: int | None
    lost_readings: int
    open_events: Sequence[EventKind] = ()


class Payloads:
    """Writes the payloads of one bridge; each names its site and bridge, so that it stands alone in a log."""

    def __init__(self, site: str, bridge: str) -> None:
        self._origin = {"site": site, "bridge": bridge}

    def spot_state(self, state: SpotState) -> str:
        """Return the retained message of a spot, its numbers rounded to what their uncertainty supports."""
        decimals = decimals_for(state.u_uvi)
        return _json(
            {
                **self._origin,
                "spot": state.spot,
                "at": iso_utc(state.at_ms),
                "uvi": _rounded(state.uvi, decimals),
                "u_uvi": _rounded(state.u_uvi, decimals),
                "flags": flag_names(state.flags),
                "place": state.place.value,
                "dose_uvi_h": _rounded(state.dose_uvi_h, 3),
                "coverage": _rounded(state.coverage, 3),
                "day_from": iso_utc(state.day_from_ms),
                "zone": state.zone,
                "band_low_uvi": _rounded(state.band_low_uvi, 3),
                "band_high_uvi": _rounded(state.band_high_uvi, 3),
                "ceiling_uvi": _rounded(state.ceiling_uvi, 3),
                "calibration_until": state.calibration_until and state.calibration_until.isoformat(),
                "open_events": [kind.value for kind in state.open_events],
            }
        )

    def board_state(self, state: BoardState) -> str:
        """Return the retained message of a board."""
        return _json(
            {
                **self._origin,
                "board": state.board,
                "connected": state.connected,
                "port": state.port,
                "firmware": state.firmware,
                "sensor": state.sensor,
                "last_reading_at": iso_utc(state.last_reading_ms),
                "lost_readings": state.lost_readings,
                "open_events": [kind.value for kind in state.open_events],
            }
        )

    def event(self, event: Event, change: Change) -> str:
        """Return the message that says how an event has changed."""
        return _json(
            {
                "event_type": event_type(event.kind, change),
                "change": change.value,
                **self._origin,
                **event_fields(event),
            }
        )

    def event_for_outbox(self, topics: Topics, event: Event, change: Change) -> OutgoingMessage:
        """Return that message as the outbox keeps it: to arrive at least once, and not to be retained."""
        return OutgoingMessage(topics.event, self.event(event, change).encode(), qos=1, retain=False)

    def notice(self, notice: Notice, text: str, at_ms: int) -> str:
        """Return the message of what should reach a person; `text` is the notice in words."""
        severities = {event.severity for event in notice.events}
        return _json(
            {
                "schema": NOTICE_SCHEMA,
                "event_type": notice.why.value,
                "why": notice.why.value,
                **self._origin,
                "at": iso_utc(at_ms),
                "urgent": notice.urgent,
                "escalated": notice.escalated,
                "severity": next(each.value for each in Severity if each in severities),
                "kind": notice.kind.value,
                "title": notice.title[:1].upper() + notice.title[1:],
                "text": text,
                "count": len(notice.events),
                "events": [event.identity for event in notice.events],
            }
        )

    def open_events(self, events: Sequence[Event], at_ms: int) -> str:
        """Return the retained message of what is open: the newest are listed, all are counted."""
        newest_first = sorted(events, key=lambda event: event.opened_ms, reverse=True)
        return _json(
            {
                **self._origin,
                "at": iso_utc(at_ms),
                "count": len(events),
                "events": [event_fields(event) for event in newest_first[:_OPEN_EVENTS_LISTED]],
            }
        )


def event_type(kind: EventKind, change: Change) -> str:
    """Return kind and change in one word, which hubs can branch on."""
    return f"{kind.value}_{change.value}"


def flag_names(flags: Flag) -> list[str]:
    """Return the names of the flags that are set, in lower case."""
    return [flag.name.lower() for flag in flags if flag.name is not None]


def iso_utc(utc_ms: int | None) -> str | None:
    """Return a time as ISO 8601 in UTC with milliseconds."""
    if utc_ms is None:
        return None
    at = _EPOCH + timedelta(milliseconds=utc_ms)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def decimals_for(u_uvi: float | None) -> int:
    """Return how many decimals a UVI deserves: two significant digits of its uncertainty, from 0 to 3.

    Two digits of an uncertainty are common practice, no source.
    """
    if u_uvi is None or not math.isfinite(u_uvi) or u_uvi <= 0.0:
        return 2
    return min(max(1 - math.floor(math.log10(u_uvi)), 0), 3)


def event_fields(event: Event) -> dict[str, object]:
    """Return an event as JSON values, under the names of ingest/TOPICS.md."""
    return {
        "identity": event.identity,
        "kind": event.kind.value,
        "subject_kind": event.subject_kind,
        "subject": event.subject,
        "severity": event.severity.value,
        "sentence": event.sentence,
        "advice": event.advice,
        "evidence": {name: _finite(value) for name, value in event.evidence.items()},
        "opened_at": iso_utc(event.opened_ms),
        "acknowledged_at": iso_utc(event.acknowledged_ms),
        "closed_at": iso_utc(event.closed_ms),
        "closing": event.closing,
    }


def _rounded(value: float | None, decimals: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0  # turns -0.0 into 0.0


def _finite(value: object) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _json(fields: Mapping[str, object]) -> str:
    return json.dumps(fields, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
