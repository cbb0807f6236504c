"""What is found at the end of a day, and the events that it makes: they stand for as long as it is found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

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


@dataclass(frozen=True, slots=True)
class Standing:
    """Something that was so when it was last looked for: its cause, as in `Finding`, and its severity."""

    about: str
    severity: Severity


NOTHING_STOOD: Final[Mapping[EventKind, Standing]] = {}


def settle(
    spot: str,
    at_ms: int,
    found: Findings,
    open_events: Sequence[Event],
    stood: Mapping[EventKind, Standing] = NOTHING_STOOD,
) -> list[Event]:
    """Return the events of a spot that change by what was found.

    An open event changes only if it has become graver, and is then to be looked at anew.  What `stood`
    already and has no open event was closed by hand: it is told again only when it has become graver, or
    when it has gone and come again.
    """
    by_kind = {event.kind: event for event in open_events if event.is_open and event.subject == spot}
    changes: list[Event] = []
    for kind, finding in found.items():
        event = by_kind.get(kind)
        if isinstance(finding, NotSo):
            if event is not None:
                changes.append(_closed(event, at_ms, finding.why))
            continue
        if event is not None and event.evidence.get("about", "") != finding.about:
            changes.append(_closed(event, at_ms, "another one has come"))
            event = None
        fresh = _event(kind, spot, at_ms, finding)
        if event is None:
            known = stood.get(kind)
            if known is None or known.about != finding.about or fresh.severity.is_graver_than(known.severity):
                changes.append(fresh)
        elif fresh.severity.is_graver_than(event.severity):
            changes.append(replace(fresh, identity=event.identity, opened_ms=event.opened_ms))
    return changes


def corrected(
    spot: str, since_ms: int, found: Findings, open_events: Sequence[Event], changes: Sequence[Event]
) -> list[Event]:
    """Return the spot's open events of a day that was judged anew, as they would read if told now.

    Those that have opened since `since_ms` tell of that day.  Those among the `changes` are right already.
    """
    changed = {event.identity for event in changes}
    anew = []
    for event in open_events:
        finding = found.get(event.kind)
        if (
            event.is_open
            and event.subject == spot
            and event.opened_ms >= since_ms
            and event.identity not in changed
            and isinstance(finding, Finding)
        ):
            fresh = _event(event.kind, spot, event.opened_ms, finding)
            now = replace(event, sentence=fresh.sentence, evidence=fresh.evidence)
            if now != event:
                anew.append(now)
    return anew


def still_standing(
    found: Findings, stood: Mapping[EventKind, Standing] = NOTHING_STOOD
) -> dict[EventKind, Standing]:
    """Return what is so after something was looked for: what could not be judged is as it was.

    Nothing is less grave than it ever was while it stood: an event that was closed by hand is not told again
    for going down and up.
    """
    standing = {kind: known for kind, known in stood.items() if kind not in found}
    for kind, finding in found.items():
        if isinstance(finding, Finding):
            severity, known = _severity(kind, finding), stood.get(kind)
            if known is not None and known.about == finding.about and known.severity.is_graver_than(severity):
                severity = known.severity
            standing[kind] = Standing(finding.about, severity)
    return standing


def _closed(event: Event, at_ms: int, why: str) -> Event:
    return event.closed(max(at_ms, event.opened_ms), why)  # a clock that was ahead may have opened it


def _severity(kind: EventKind, finding: Finding) -> Severity:
    return KINDS[kind].severity if finding.severity is None else finding.severity


def _event(kind: EventKind, spot: str, at_ms: int, finding: Finding) -> Event:
    severity = _severity(kind, finding)
    about = {"about": finding.about} if finding.about else {}
    return new_event(kind, spot, at_ms, finding.sentence, {**about, **finding.evidence}, severity=severity)
