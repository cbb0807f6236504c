"""One open link: bytes in, news out, and the requests to send to the board.  No port, no clock, no thread."""

from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Final, TypeAlias

from firmware_host.clock import Moment
from firmware_host.lines import Counts, Parser
from firmware_host.messages import BoardTime, Garbage, Hello, Message, Reading, ReplayEnd
from firmware_host.news import BoardIdentified, News, Rebooted
from firmware_host.stream import BoardStream
from firmware_host.wire import encode_hello_request, encode_replay_request, encode_time_request

StoredSeqs: TypeAlias = Callable[[str, str], Iterable[tuple[int, int]]]
"""What the store has of (board, boot) as (first_seq, last_seq) inclusive, with what is on its way to it."""

# A board that resets when its port opens is up again within about 2 s.
_HELLO_EVERY_MS: Final = 3_000
# One that never answers (no line to it, or another program on it) is not pestered.
_HELLO_TRIES: Final = 10
_HELLO_SELDOM_MS: Final = 30_000
# What a crystal drifts in a minute (3 ms at 50 ppm) is below what the link adds.
_TIME_EVERY_MS: Final = 60_000
# Answers still expected; older questions are forgotten.
_OPEN_QUESTIONS: Final = 4
# One link carries one board, or a few behind a radio bridge.  Identities that noise made up are bounded.
_BOARDS_MAX: Final = 32


class LinkSession:
    """The conversation on one link, from its opening to its closing.

    Feed it with `receive` and `tick`; send what `take_outgoing` returns after each.  Every reading comes out
    once, in order of sequence number within its boot unless its batch says `late`.
    """

    def __init__(self, parser: Parser, opened: Moment, *, stored: StoredSeqs, mapped: bool = False) -> None:
        """`mapped`: the board does not speak the wire format, so it is asked nothing."""
        self._parser = parser
        self._stored = stored
        self._mapped = mapped
        self._streams: dict[str, BoardStream] = {}
        self._outgoing = bytearray()
        self._hello_due_ms: int | None = None if mapped else opened.mono_ms
        self._hello_tries = 0
        self._time_due_ms: int | None = None  # once a board is heard
        self._asked_ms: dict[int, int] = {}  # when time was asked for, by token
        self._token = 0
        self._next_deadline_ms: int | None = None
        self._ask(opened.mono_ms)

    @property
    def counts(self) -> Counts:
        """What the parser has understood and what not."""
        return self._parser.counts

    @property
    def boards(self) -> dict[str, str]:
        """The boot of each board heard on this link."""
        return {board: stream.boot for board, stream in self._streams.items()}

    @property
    def next_deadline_ms(self) -> int | None:
        """When `tick` has something to do, on the host's monotonic axis; None if never."""
        return self._next_deadline_ms

    def receive(self, data: bytes, at: Moment) -> list[News]:
        """Take in bytes that were read at `at`."""
        news: list[News] = []
        messages = self._parser.feed(data)
        if len(messages) == 1 and type(messages[0]) is Reading:  # live readings come one by one
            reading = messages[0]
            stream = self._stream(reading.board, reading.boot, at.mono_ms, news)
            news += stream.take([reading], at.mono_ms)
            self._ask(at.mono_ms)
            return news
        for origin, run in groupby(messages, _origin):
            if origin is None:
                for message in run:
                    self._handle(message, at.mono_ms, news)
            else:
                readings: list[Reading] = list(run)  # type: ignore[arg-type]  # only readings have an origin
                news += self._stream(*origin, at.mono_ms, news).take(readings, at.mono_ms)
        self._ask(at.mono_ms)
        return news

    def tick(self, at: Moment) -> list[News]:
        """Do what is due by `at`."""
        news: list[News] = []
        for stream in self._streams.values():
            due_ms = stream.due_ms
            if due_ms is not None and due_ms <= at.mono_ms:
                news += stream.tick(at.mono_ms)
                if not stream.hears and self._hello_due_ms is None:
                    self._hello_due_ms = at.mono_ms + _HELLO_SELDOM_MS
        self._ask(at.mono_ms)
        return news

    def close(self, at: Moment) -> list[News]:
        """Hand on everything that waits: the link is gone.  Gaps stay open for the board's next link."""
        news: list[News] = []
        for message in self._parser.flush():
            self._handle(message, at.mono_ms, news)
        for stream in self._streams.values():
            news += stream.finish(at.mono_ms, gone=False)
        self._outgoing.clear()
        return news

    @property
    def has_outgoing(self) -> bool:
        """Whether `take_outgoing` has something to return."""
        return bool(self._outgoing)

    def take_outgoing(self) -> bytes:
        """Return the bytes to send to the board, once."""
        if not self._outgoing:  # nearly always
            return b""
        data = bytes(self._outgoing)
        self._outgoing.clear()
        return data

    def _handle(self, message: Message, at_ms: int, news: list[News]) -> None:
        match message:
            case Garbage():
                news.append(message)
            case Hello():
                stream = self._stream(message.board, message.boot, at_ms, news)
                news.append(message)
                news += stream.introduce(message, at_ms)
                self._hello_due_ms = None
                self._hello_tries = 0
            case BoardTime():
                asked_ms = self._asked_ms.pop(message.token, None)
                if asked_ms is not None:
                    stream = self._stream(message.board, message.boot, at_ms, news)
                    news += stream.answer_time(message, asked_ms, at_ms)
            case ReplayEnd():
                known = self._streams.get(message.board)
                if known is not None and known.boot == message.boot:
                    news += known.end_replay(message, at_ms)
            case Reading():  # from a parser's flush
                news += self._stream(message.board, message.boot, at_ms, news).take([message], at_ms)

    def _stream(self, board: str, boot: str, at_ms: int, news: list[News]) -> BoardStream:
        """Return the stream of this boot; a new one is news, and is asked to introduce itself."""
        stream = self._streams.get(board)
        if stream is not None and stream.boot == boot:
            return stream
        if stream is None:
            if len(self._streams) >= _BOARDS_MAX:
                news += self._streams.pop(next(iter(self._streams))).finish(at_ms, gone=False)
            news.append(BoardIdentified(board, boot))
        else:
            news += stream.finish(at_ms, gone=True)
            news.append(Rebooted(board, stream.boot, boot))
        if not self._mapped:
            self._time_due_ms = at_ms
            if self._hello_due_ms is None:
                self._hello_due_ms = at_ms
        stream = BoardStream(board, boot, self._stored(board, boot), mapped=self._mapped)
        self._streams[board] = stream
        return stream

    def _ask(self, at_ms: int) -> None:
        """Put on the way what is due to be asked, and see what is due next."""
        if self._hello_due_ms is not None and self._hello_due_ms <= at_ms:
            self._outgoing += encode_hello_request()
            self._hello_tries += 1
            often = self._hello_tries < _HELLO_TRIES
            self._hello_due_ms = at_ms + (_HELLO_EVERY_MS if often else _HELLO_SELDOM_MS)
        if self._time_due_ms is not None and self._time_due_ms <= at_ms:
            self._token += 1
            self._asked_ms[self._token] = at_ms
            self._asked_ms.pop(self._token - _OPEN_QUESTIONS, None)
            self._outgoing += encode_time_request(self._token)
            self._time_due_ms = at_ms + _TIME_EVERY_MS
        next_ms = self._hello_due_ms
        if self._time_due_ms is not None and (next_ms is None or self._time_due_ms < next_ms):
            next_ms = self._time_due_ms
        for stream in self._streams.values():
            wanted = stream.wanted(at_ms)
            if wanted is not None:
                self._outgoing += encode_replay_request(stream.boot, *wanted)
            due_ms = stream.due_ms
            if due_ms is not None and (next_ms is None or due_ms < next_ms):
                next_ms = due_ms
        self._next_deadline_ms = next_ms


def _origin(message: Message) -> tuple[str, str] | None:
    return (message.board, message.boot) if type(message) is Reading else None
