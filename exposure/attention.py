"""What a keeper shall be told now: not at night what can wait, not thirty times what happened once."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from operator import attrgetter
from typing import Final

from exposure.attention_settings import AttentionSettings
from exposure.days import local_date, local_minute, local_time_ms
from exposure.events import GRAVEST_FIRST, Event, EventKind, Severity
from exposure.kinds import KINDS


class Why(StrEnum):
    """Why a notice is given."""

    NEW = "new"
    GRAVER = "graver"
    AGAIN = "again"
    MISSED = "missed"  # for now, and over before anybody was told
    OVER = "over"


_WORDS: Final = {
    Why.NEW: "",
    Why.GRAVER: " (graver now)",
    Why.AGAIN: " (still)",
    Why.MISSED: " (ended already)",
    Why.OVER: " (ended)",
}


@dataclass(frozen=True, slots=True)
class Told:
    """What the keeper was told of one event: how grave it was, how many times, and when last."""

    severity: Severity
    times: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to tell now: one event, or several of a kind that happened together, oldest first.

    `urgent`: to be told at any hour.  `escalated`: told often enough, and nobody has acknowledged it.
    """

    why: Why
    kind: EventKind
    urgent: bool
    title: str
    events: tuple[Event, ...]
    escalated: bool = False


@dataclass(frozen=True, slots=True)
class Attention:
    """What to tell now, what was told by then (to be handed in next time), and when to ask again.

    `next_ms` is None if nothing is due before an event changes.
    """

    notices: tuple[Notice, ...]
    told: Mapping[str, Told]
    next_ms: int | None


def attention(
    events: Iterable[Event],
    told: Mapping[str, Told],
    now_ms: int,
    settings: AttentionSettings,
    boards: Mapping[str, str],
    *,
    name_of: Callable[[Event], str] = attrgetter("subject"),
) -> Attention:
    """Return what the keeper shall be told now.

    Parameters
    ----------
    events
        In their latest version: all that are open, all that `told` names, and all that have changed since
        the last call.
    told
        What was told before, from the last call; empty at first: then all that is open is told.
    now_ms
        The time, UTC milliseconds since the epoch.
    boards
        The board of each spot.
    name_of
        What the keeper calls the spot or board of an event.

    Notes
    -----
    - An event for now is told at once, at any hour.  Any other waits until `gather_s` after it opened and
      for the end of quiet hours, and is told together with all that wait and are of its kind.
    - Of a spot whose board is silent nothing is told but what is for now: it is the board that needs a hand.
    - An acknowledged event is not told again, unless it becomes graver.  A note is told once.
    - That an event is over is told once, gathered as it was, outside quiet hours, if it was told and not
      acknowledged.  An event that was over before it was due is not told at all, unless it was for now.
    """
    known = list(events)
    silent = {event.subject for event in known if event.kind is EventKind.BOARD_SILENT and event.is_open}
    moment = _Moment(now_ms, _quiet_until_ms(now_ms, settings), settings, told, name_of)
    for event in known:
        moment.judge(event, hidden=event.subject_kind == "spot" and boards.get(event.subject) in silent)
    return moment.attention()


class _Moment:
    """What is due at one moment, gathered event by event."""

    def __init__(
        self,
        now_ms: int,
        quiet_until_ms: int | None,
        settings: AttentionSettings,
        told: Mapping[str, Told],
        name_of: Callable[[Event], str],
    ) -> None:
        self._now_ms = now_ms
        self._quiet_until_ms = quiet_until_ms
        self._settings = settings
        self._before = told
        self._name_of = name_of
        self._told: dict[str, Told] = {}
        self._groups: dict[tuple[Why, EventKind, bool], list[Event]] = {}
        self._waiting: dict[tuple[Why, EventKind], list[Event]] = {}
        self._next_ms: int | None = None

    def judge(self, event: Event, *, hidden: bool) -> None:
        before = self._before.get(event.identity)
        if event.kind is EventKind.BACK_IN_BAND:  # that something is over is told of the event itself
            return
        if not event.is_open:
            self._judge_closed(event, before)
            return
        if before is not None:
            self._told[event.identity] = before
        if event.acknowledged_ms is not None:
            self._told.setdefault(event.identity, Told(event.severity, 0, self._now_ms))
            return
        urgent = event.severity is Severity.NOW
        if hidden and not urgent:
            return
        why, due_ms = _due(event, before, self._now_ms, self._settings)
        if why is None:
            return
        quiet_ms = 0 if urgent or self._quiet_until_ms is None else self._quiet_until_ms
        if self._now_ms >= max(due_ms, quiet_ms):
            self._tell(why, event)
            return
        self._wait(max(due_ms, quiet_ms))
        if why is Why.NEW and self._now_ms >= quiet_ms:
            self._waiting.setdefault((why, event.kind), []).append(event)

    def attention(self) -> Attention:
        for (why, kind), events in self._waiting.items():
            if (why, kind, False) in self._groups:
                for event in events:
                    self._tell(why, event)
        notices = [
            self._notice(why, kind, sorted(events, key=lambda event: event.opened_ms), escalated=escalated)
            for (why, kind, escalated), events in self._groups.items()
        ]
        notices.sort(
            key=lambda each: (not each.urgent, GRAVEST_FIRST.index(each.events[0].severity), each.title)
        )
        return Attention(tuple(notices), self._told, self._next_ms)

    def _judge_closed(self, event: Event, before: Told | None) -> None:
        if before is None:
            if event.severity is Severity.NOW and event.acknowledged_ms is None:
                self._group(Why.MISSED, event)
            return
        if before.times == 0 or event.acknowledged_ms is not None or event.severity is Severity.NOTE:
            return
        assert event.closed_ms is not None
        due_ms = _gathered_ms(event.closed_ms, self._now_ms, self._settings)
        due_ms = max(due_ms, self._quiet_until_ms or 0)
        if self._now_ms >= due_ms:
            self._tell(Why.OVER, event)
            return
        self._told[event.identity] = before
        self._wait(due_ms)
        if self._quiet_until_ms is None:
            self._waiting.setdefault((Why.OVER, event.kind), []).append(event)

    def _tell(self, why: Why, event: Event) -> None:
        if why is Why.OVER:
            self._told.pop(event.identity, None)
            self._group(why, event)
            return
        before = self._before.get(event.identity)
        times = before.times + 1 if before is not None and why is Why.AGAIN else 1
        after = Told(event.severity, times, self._now_ms)
        self._told[event.identity] = after
        self._group(why, event, escalated=times > self._settings.escalate_after)
        again_ms = _again_ms(event, after, self._settings)
        if again_ms is not None:
            self._wait(again_ms)

    def _group(self, why: Why, event: Event, *, escalated: bool = False) -> None:
        self._groups.setdefault((why, event.kind, escalated), []).append(event)

    def _wait(self, until_ms: int) -> None:
        self._next_ms = until_ms if self._next_ms is None else min(self._next_ms, until_ms)

    def _notice(self, why: Why, kind: EventKind, events: list[Event], *, escalated: bool) -> Notice:
        places = ", ".join(sorted({self._name_of(event) for event in events}))
        urgent = why is not Why.OVER and any(event.severity is Severity.NOW for event in events)
        title = f"{KINDS[kind].short}: {places}{_WORDS[why]}"
        return Notice(why, kind, urgent, title, tuple(events), escalated)


def _gathered_ms(at_ms: int, now_ms: int, settings: AttentionSettings) -> int:
    """Return until when what happened waits for more of its kind."""
    wait_ms = round(1000 * settings.gather_s)
    # A clock that was ahead told the time of what is still to come: it has happened.
    return at_ms + wait_ms if at_ms <= now_ms + wait_ms else now_ms


def _due(
    event: Event, before: Told | None, now_ms: int, settings: AttentionSettings
) -> tuple[Why | None, int]:
    """Return why and from when on an open, unacknowledged event is to be told."""
    if before is None:
        urgent = event.severity is Severity.NOW
        return Why.NEW, event.opened_ms if urgent else _gathered_ms(event.opened_ms, now_ms, settings)
    if before.times == 0 or event.severity.is_graver_than(before.severity):
        return Why.GRAVER, before.at_ms  # one acknowledged before it was told is open to telling again
    again_ms = _again_ms(event, before, settings)
    return (None, 0) if again_ms is None else (Why.AGAIN, again_ms)


def _again_ms(event: Event, told: Told, settings: AttentionSettings) -> int | None:
    """Return when an event that was told is to be told again; None for a note."""
    if event.severity is Severity.NOTE:
        return None
    wait_s = settings.again_today_s
    if event.severity is Severity.NOW:
        doublings = min(told.times - 1, 30)
        wait_s = min(settings.again_now_s * 2.0**doublings, settings.again_now_most_s)
    return told.at_ms + round(1000 * wait_s)


def _quiet_until_ms(now_ms: int, settings: AttentionSettings) -> int | None:
    """Return when the quiet hours end that hold now; None outside them."""
    begin, end = settings.quiet_from_minute, settings.quiet_until_minute
    if begin is None or end is None:
        return None
    minute, zone = local_minute(now_ms, settings.time_zone), settings.time_zone
    today = local_date(now_ms, zone)
    if begin < end:
        return local_time_ms(today, end, zone) if begin <= minute < end else None
    if minute >= begin:
        return local_time_ms(today + timedelta(days=1), end, zone)
    return local_time_ms(today, end, zone) if minute < end else None
