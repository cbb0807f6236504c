"""What is found at the end of a day, and the events that it makes: they stand for as long as it is found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from exposure.events import Event, EventKind, EvidenceValue, Severity
from exposure.kinds import KINDS, new_event


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that is so.  `about` tells one cause of a kind from another, such as the day of a step."""

    sentence: str
    evidence: Mapping[str, EvidenceValue]
    severity: Severity | None = None
    about: str = ""


@dataclass(frozen=True, slots=True)
class NotSo:
    """Nothing of the kind, with why in words for an event that closes by it."""

    why: str


Findings: TypeAlias = Mapping[EventKind, Finding | NotSo]
"""What was judged, by kind.  A kind that is not there could not be judged: its event stays as it is."""

_GRAVITY = {Severity.NOTE: 0, Severity.TODAY: 1, Severity.NOW: 2}


def settle(spot: str, at_ms: int, found: Findings, open_events: Sequence[Event]) -> list[Event]:
    """Return the events of a spot that change by what was found.

    An open event changes only if it has become graver, and is then to be looked at anew.
    """
    by_kind = {event.kind: event for event in open_events if event.is_open and event.subject == spot}
    changes: list[Event] = []
    for kind, finding in found.items():
        event = by_kind.get(kind)
        if isinstance(finding, NotSo):
            if event is not None:
                changes.append(event.closed(at_ms, finding.why))
            continue
        if event is not None and event.evidence.get("about", "") != finding.about:
            changes.append(event.closed(at_ms, "another one has come"))
            event = None
        fresh = _event(kind, spot, at_ms, finding)
        if event is None:
            changes.append(fresh)
        elif _GRAVITY[fresh.severity] > _GRAVITY[event.severity]:
            changes.append(replace(fresh, identity=event.identity, opened_ms=event.opened_ms))
    return changes


def _event(kind: EventKind, spot: str, at_ms: int, finding: Finding) -> Event:
    severity = KINDS[kind].severity if finding.severity is None else finding.severity
    about = {"about": finding.about} if finding.about else {}
    return new_event(kind, spot, at_ms, finding.sentence, {**about, **finding.evidence}, severity=severity)
