"""The log's lines about what happens on the links."""

import logging
from collections import Counter
from collections.abc import Collection
from typing import Final

from firmware_host.clock import Moment
from firmware_host.messages import Garbage
from firmware_host.news import BoardIdentified, BootReused, ClockAnomaly, Lost, News, Rebooted

log = logging.getLogger("baskline.bridge")

_GARBAGE_EVERY_MS: Final = 60_000


class LinkLog:
    """Logs the links' news.  Garbage is counted, and told once a minute: noise must not fill the log."""

    def __init__(self, configured: Collection[str], start: Moment) -> None:
        """`configured`: the identities of the boards that belong to a spot or are expected."""
        self._configured = configured
        self._unknown_told: set[str] = set()
        self._garbage: Counter[tuple[str, str]] = Counter()
        self._excerpts: dict[tuple[str, str], str] = {}
        self._garbage_told_ms = start.mono_ms

    def hear(self, news: News, port: str) -> None:
        """Log or count one piece of news."""
        match news:
            case BoardIdentified(board, boot):
                log.info("board identified", extra={"board": board, "port": port, "boot": boot})
                self._tell_unknown(board)
            case Rebooted(board, _, boot):
                log.warning("board started again", extra={"board": board, "port": port, "boot": boot})
            case Lost(board, boot, first, last):
                log.warning(
                    "readings lost: they did not come and the board can no longer repeat them",
                    extra={"board": board, "boot": boot, "first_seq": first, "last_seq": last},
                )
            case Garbage(n_bytes, reason, excerpt):
                self._garbage[port, reason] += n_bytes
                self._excerpts[port, reason] = excerpt
            case ClockAnomaly(board, boot, jump):
                log.warning(
                    "the board's own time jumped",
                    extra={"board": board, "boot": boot, "fault": jump.fault.value, "by_ms": jump.by_ms},
                )
            case BootReused(board, boot):
                log.error(
                    "the board started again under its old boot number: its readings cannot be told apart",
                    extra={
                        "board": board,
                        "boot": boot,
                        "do": "let its program draw a new boot number at each start",
                    },
                )

    def tick(self, now: Moment) -> None:
        """Tell of garbage, if that is due."""
        if now.mono_ms - self._garbage_told_ms >= _GARBAGE_EVERY_MS:
            self._garbage_told_ms = now.mono_ms
            self.tell_garbage()

    def tell_garbage(self) -> None:
        """Log what made no sense since the last time."""
        for (port, reason), n_bytes in self._garbage.items():
            log.warning(
                "bytes that made no sense",
                extra={
                    "port": port,
                    "reason": reason,
                    "n_bytes": n_bytes,
                    "excerpt": self._excerpts[port, reason],
                },
            )
        self._garbage.clear()
        self._excerpts.clear()

    def _tell_unknown(self, board: str) -> None:
        if board not in self._configured and board not in self._unknown_told:
            self._unknown_told.add(board)
            log.warning(
                "this board is not in the configuration: its readings are kept, but belong to no spot",
                extra={
                    "board": board,
                    "do": f'add a table [board.NAME] with identity = "{board}", and a spot',
                },
            )
