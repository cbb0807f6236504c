"""Notices: what should reach a person now, decided whenever an event changes or something is due."""

import logging
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Final, TypeAlias

from exposure.attention import Notice, attention
from exposure.events import Event
from ingest.config import Config
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store

log = logging.getLogger("baskline.bridge")

NoticeMessage: TypeAlias = Callable[[Notice, int], OutgoingMessage]
"""Makes the message of a notice that is given at a time."""

_NEVER_MS: Final = 1 << 60


class Attending:
    """Decides what to tell, and puts it into the outbox together with the memory of having told it."""

    def __init__(self, store: Store, config: Config, message: NoticeMessage, now_ms: int) -> None:
        """Go on where an earlier run left off."""
        self._store = store
        self._settings = config.attention_settings()
        self._boards = {key: config.boards[spot.board].identity for key, spot in config.spots.items()}
        self._name_of = name_of_subject(config)
        self._message = message
        self._told_here: set[str] = set()  # in this run, by its clock
        with store.transaction():
            self._not_in_the_future(now_ms)
        self.due_ms = now_ms
        """When something may be due though no event changes."""

    def attend(self, changed: Iterable[Event], now_ms: int) -> None:
        """Tell what is to be told now, in the transaction that stores `changed`."""
        before = self._store.told.all()
        known = {event.identity: event for event in (*changed, *self._store.events.open())}
        for identity in before.keys() - known.keys():
            event = self._store.events.get(identity)
            if event is not None:
                known[identity] = event
        answer = attention(
            known.values(), before, now_ms, self._settings, self._boards, name_of=self._name_of
        )
        self._store.told.replace(before, answer.told)
        for notice in answer.notices:
            self._store.outbox.put(self._message(notice, now_ms), now_ms)
            log.info(notice.title, extra={"notice": notice.why.value, "urgent": notice.urgent})
        self._told_here = {
            identity
            for identity, told in answer.told.items()
            if identity in self._told_here or told != before.get(identity)
        }
        self.due_ms = _NEVER_MS if answer.next_ms is None else answer.next_ms

    def restamp(self, step_ms: int, now_ms: int) -> None:
        """Move what this run has told to a better time, which is `now_ms` now; in that transaction."""
        before = self._store.told.all()
        after = {
            identity: replace(told, at_ms=told.at_ms + step_ms) if identity in self._told_here else told
            for identity, told in before.items()
        }
        self._store.told.replace(before, after)
        self._not_in_the_future(now_ms)
        self.due_ms = now_ms

    def _not_in_the_future(self, now_ms: int) -> None:
        """Take back what a clock that was ahead has said: else a reminder might never come."""
        before = self._store.told.all()
        after = {identity: replace(told, at_ms=min(told.at_ms, now_ms)) for identity, told in before.items()}
        self._store.told.replace(before, after)


def name_of_subject(config: Config) -> Callable[[Event], str]:
    """Return what says how the keeper calls the spot or board of an event."""
    labels = Counter(spot.label for spot in config.spots.values())
    names = {
        ("spot", key): spot.label
        if labels[spot.label] == 1
        else f"{spot.label} ({config.enclosures[spot.enclosure].label})"
        for key, spot in config.spots.items()
    }
    names.update({("board", board.identity): board.label for board in config.boards.values()})
    return lambda event: names.get((event.subject_kind, event.subject), event.subject)
