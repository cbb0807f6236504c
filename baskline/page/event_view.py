"""Events in words, as the page lists them.  Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from baskline.page.spot_view import moment_words
from exposure.events import GRAVEST_FIRST, Event, Severity
from exposure.kinds import KINDS
from exposure.wording import duration_text
from ingest.config import Config

SEVERITY_WORDS: Final = {Severity.NOW: "Now", Severity.TODAY: "Today", Severity.NOTE: "Note"}


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event.  `spot` is the key of its page, '' for a board's; `ended` says how it ended, '' if open."""

    identity: str
    severity: Severity
    severity_words: str
    short: str
    who: str
    spot: str
    sentence: str
    advice: str
    since: str
    ended: str
    seen: str

    @property
    def is_open(self) -> bool:
        """Whether it has not closed yet."""
        return not self.ended


def event_rows(events: Iterable[Event], config: Config, now_ms: int) -> list[EventRow]:
    """Return events as they are listed, in the order given."""
    zone = ZoneInfo(config.bridge.time_zone)
    boards = {board.identity: board.label for board in config.boards.values()}

    def row(event: Event) -> EventRow:
        is_spot = event.subject_kind == "spot"
        spot = event.subject if is_spot and event.subject in config.spots else ""
        who = config.spots[spot].label if spot else event.subject
        if not is_spot:
            who = f"Board {boards.get(event.subject, event.subject)}"
        return EventRow(
            identity=event.identity,
            severity=event.severity,
            severity_words=SEVERITY_WORDS[event.severity],
            short=KINDS[event.kind].short,
            who=who,
            spot=spot,
            sentence=event.sentence,
            advice=event.advice,
            since=moment_words(event.opened_ms, now_ms, zone),
            ended=_ended(event, now_ms, zone),
            seen="" if event.acknowledged_ms is None else moment_words(event.acknowledged_ms, now_ms, zone),
        )

    return [row(event) for event in events]


def gravest_first(events: Iterable[Event]) -> list[Event]:
    """Return events by how soon somebody should look, then oldest first."""
    return sorted(
        events, key=lambda event: (GRAVEST_FIRST.index(event.severity), event.opened_ms, event.identity)
    )


def _ended(event: Event, now_ms: int, zone: ZoneInfo) -> str:
    if event.closed_ms is None:
        return ""
    how = f", {event.closing}" if event.closing else ""
    if event.closed_ms == event.opened_ms:
        return f"at once{how}"
    lasted = duration_text((event.closed_ms - event.opened_ms) / 1000)
    return f"until {moment_words(event.closed_ms, now_ms, zone)}, after {lasted}{how}"
