"""The open serial links: traffic in, what the boards have to say out, and what to answer them."""

import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fnmatch import fnmatch
from typing import Final

from firmware_host.claims import BoardClaims
from firmware_host.clock import Moment
from firmware_host.lines import Parser
from firmware_host.mapped import MappedParser
from firmware_host.news import BoardIdentified, News, Rebooted
from firmware_host.session import LinkSession, StoredSeqs
from firmware_host.traffic import LinkClosed, LinkOpened, Quiet, Received, Traffic
from firmware_host.wire import WireParser
from ingest.config import BoardConfig

_FOR_EVER_MS: Final = 2**53

log = logging.getLogger("baskline.links")


@dataclass(frozen=True, slots=True)
class LinkNews:
    """News, and the port that it came from."""

    port: str
    news: News


@dataclass(slots=True)
class _Link:
    port: str
    session: LinkSession


class Links:
    """All open links of a bridge."""

    def __init__(self, boards: Iterable[BoardConfig], stored: StoredSeqs) -> None:
        self._plain_boards = [board for board in boards if board.mapping is not None]
        self._stored = stored
        self._links: dict[int, _Link] = {}
        self._claims = BoardClaims()
        self._due_ms = _FOR_EVER_MS  # no link has anything to do before
        self._to_ask: dict[int, _Link] = {}  # that may have something to send

    def take(self, item: Traffic) -> Iterator[LinkNews]:
        """Take in one thing that happened; yield what the boards have to say."""
        match item:
            case Received(at, number, data):
                link = self._links.get(number)
                if link is not None:
                    news = link.session.receive(data, at)
                    self._note_wishes(number, link)
                    yield from self._believed(number, link, news)
            case LinkOpened():
                link = self._links[item.link] = _Link(item.port, self._session(item))
                self._note_wishes(item.link, link)
                log.info("port opened", extra={"port": item.port})
            case LinkClosed(at, number, reason):
                link = self._links.pop(number, None)
                self._to_ask.pop(number, None)
                if link is not None:
                    yield from self._believed(number, link, link.session.close(at))
                    self._claims.release(number)
                    log.warning("port closed", extra={"port": link.port, "reason": reason})
            case Quiet():
                pass

    def tick(self, at: Moment) -> Iterator[LinkNews]:
        """Do what is due on the links by `at`."""
        if at.mono_ms < self._due_ms:
            return
        self._due_ms = _FOR_EVER_MS
        for number, link in list(self._links.items()):
            due_ms = link.session.next_deadline_ms
            news = link.session.tick(at) if due_ms is not None and due_ms <= at.mono_ms else []
            self._note_wishes(number, link)
            yield from self._believed(number, link, news)

    def close(self, at: Moment) -> Iterator[LinkNews]:
        """Hand on everything that waits on any link."""
        for number, link in list(self._links.items()):
            yield from self._believed(number, link, link.session.close(at))
        self._links.clear()
        self._to_ask.clear()

    def _note_wishes(self, number: int, link: _Link) -> None:
        due_ms = link.session.next_deadline_ms
        if due_ms is not None and due_ms < self._due_ms:
            self._due_ms = due_ms
        if link.session.has_outgoing:
            self._to_ask[number] = link

    def outgoing(self) -> Iterator[tuple[int, bytes]]:
        """Yield, for each link that has any, the bytes to send on it."""
        if not self._to_ask:  # nearly always
            return
        to_ask, self._to_ask = self._to_ask, {}
        for number, link in to_ask.items():
            data = link.session.take_outgoing()
            if data:
                yield number, data

    def boards(self) -> dict[str, str]:
        """Return the port of each board that is connected now."""
        return {board: link.port for link in self._links.values() for board in link.session.boards}

    def _session(self, opened: LinkOpened) -> LinkSession:
        for board in self._plain_boards:
            assert board.mapping is not None
            usb, port = board.mapping.usb, board.mapping.port
            if (usb and usb == opened.usb) or (port and fnmatch(opened.port, port)):
                boot = self._unused_boot(board.identity, opened.at.wall_ms)
                parser: Parser = MappedParser(board.mapping.line_mapping(), board.identity, boot)
                return LinkSession(parser, opened.at, stored=self._stored, mapped=True)
        return LinkSession(WireParser(), opened.at, stored=self._stored)

    def _unused_boot(self, board: str, near: int) -> str:
        """Return a boot number for a board that has none: each opening of its port is a boot of its own.

        The time makes it likely to be new; where the clock had to be set back, the store says whether it is.
        """
        while True:
            boot = f"{near & 0xFFFF_FFFF:08x}"
            if not list(self._stored(board, boot)):
                return boot
            near += 1

    def _believed(self, number: int, link: _Link, news: list[News]) -> Iterator[LinkNews]:
        """Yield the news, but for boards that a newer link speaks for."""
        for each in news:
            if isinstance(each, BoardIdentified | Rebooted):
                conflict = self._claims.claim(each.board, number)
                if conflict is not None:
                    log.warning(
                        "two boards report the same identity; the port opened last is believed",
                        extra={
                            "board": each.board,
                            "port": link.port,
                            "do": "give each board its own identity",
                        },
                    )
            board = getattr(each, "board", None)
            if board is None or self._claims.speaks_for(board, number):
                yield LinkNews(link.port, each)
