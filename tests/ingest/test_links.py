from pathlib import Path

import pytest

from firmware_host.batch import ReadingBatch
from firmware_host.clock import Moment
from firmware_host.messages import Garbage, Reading
from firmware_host.news import BoardIdentified
from firmware_host.traffic import LinkClosed, LinkOpened, Received
from firmware_host.wire import encode_reading
from ingest.config import BoardConfig, parse_config
from ingest.links import LinkNews, Links
from tests.ingest.rig import CONFIG, NOON_MS

PLAIN = """
[board.shelf]
identity = "shelf-1"
label = "On the shelf"
mapping = { format = "csv", channels = { uva_counts = 0 }, port = "/dev/ttyS*" }

[board.box]
identity = "box-1"
label = "In the box"
mapping = { format = "key_value", channels = { uva_counts = "uv" }, usb = "A50285BI" }
"""


def at(ms: int) -> Moment:
    return Moment(ms, NOON_MS + ms, True)


def line(seq: int, board: str = "rock-1", boot: str = "0000000a") -> bytes:
    return encode_reading(Reading(board, boot, seq, 1000 * (seq + 1), ("uva_counts",), (612.0,), 0, False))


def boards() -> list[BoardConfig]:
    return list(parse_config(CONFIG + PLAIN, file=Path("baskline.toml")).boards.values())


class Host:
    """Links with nothing stored, or what `stored` holds."""

    def __init__(self) -> None:
        self.stored: dict[tuple[str, str], list[tuple[int, int]]] = {}
        self.links = Links(boards(), lambda board, boot: self.stored.get((board, boot), []))
        self.now = 0

    def open(self, number: int, port: str = "/dev/ttyACM0", usb: str = "") -> None:
        assert list(self.links.take(LinkOpened(at(self.now), number, port, usb))) == []

    def receive(self, number: int, data: bytes) -> list[LinkNews]:
        self.now += 1_000
        news = list(self.links.take(Received(at(self.now), number, data)))
        self.now += 2_000
        return news + list(self.links.tick(at(self.now)))

    def close(self, number: int) -> list[LinkNews]:
        return list(self.links.take(LinkClosed(at(self.now), number, "unplugged")))


@pytest.fixture
def host() -> Host:
    return Host()


def readings(news: list[LinkNews]) -> list[tuple[str, int]]:
    return [
        (each.news.board, seq)
        for each in news
        if isinstance(each.news, ReadingBatch)
        for seq in each.news.seq.tolist()
    ]


def test_news_carry_the_port_that_they_came_from(host: Host) -> None:
    host.open(1, "/dev/ttyACM0")
    news = host.receive(1, line(0))
    assert {each.port for each in news} == {"/dev/ttyACM0"}
    assert BoardIdentified("rock-1", "0000000a") in [each.news for each in news]
    assert host.links.boards() == {"rock-1": "/dev/ttyACM0"}


def test_a_new_link_is_asked_who_it_is(host: Host) -> None:
    host.open(1)
    [(number, request)] = list(host.links.outgoing())
    assert number == 1
    assert request.startswith(b"bk1 hello?")
    assert list(host.links.outgoing()) == []


def test_bytes_of_a_link_that_is_not_known_are_passed_over(host: Host) -> None:
    assert host.receive(9, line(0)) == []
    assert host.close(9) == []


def test_plain_lines_are_read_by_the_mapping_of_their_port_or_device(host: Host) -> None:
    host.open(1, "/dev/ttyS0")
    host.open(2, "/dev/ttyUSB4", "A50285BI")
    host.open(3, "/dev/ttyUSB5", "OTHER")
    assert readings(host.receive(1, b"1\n600\n601\n")) == [("shelf-1", 0), ("shelf-1", 1)]
    assert readings(host.receive(2, b"uv=1\nuv=600,t=1\n")) == [("box-1", 0)]
    assert isinstance(host.receive(3, b"uv=600\n")[0].news, Garbage)
    asked = [number for number, _ in host.links.outgoing()]
    assert asked == [3]  # a plain board is asked nothing


def test_each_opening_of_a_plain_boards_port_is_a_boot_that_was_never_used(host: Host) -> None:
    boots = []
    for number in (1, 2, 3):
        host.now = 5_000  # the clock stands where it stood: a Pi that wakes at the same time each day
        host.open(number, "/dev/ttyS0")
        [batch] = [
            each.news for each in host.receive(number, b"1\n2\n") if isinstance(each.news, ReadingBatch)
        ]
        boots.append(batch.boot)
        host.stored[batch.board, batch.boot] = [(0, 0)]
        host.close(number)
    assert len(set(boots)) == 3


def test_what_is_stored_is_not_delivered_again(host: Host) -> None:
    host.stored["rock-1", "0000000a"] = [(0, 4)]
    host.open(1)
    assert readings(host.receive(1, b"".join(map(line, range(3, 7))))) == [("rock-1", 5), ("rock-1", 6)]


def test_a_link_that_closes_hands_on_what_it_held(host: Host) -> None:
    host.open(1)
    assert (
        readings(list(host.links.take(Received(at(500), 1, line(0))))) == []
    )  # until the board's time is known
    assert readings(host.close(1)) == [("rock-1", 0)]
    assert host.links.boards() == {}


def test_the_end_hands_on_what_every_link_held(host: Host) -> None:
    host.open(1)
    host.open(2)
    list(host.links.take(Received(at(500), 1, line(0))))
    list(host.links.take(Received(at(500), 2, line(0, "moss-2"))))
    assert readings(list(host.links.close(at(600)))) == [("rock-1", 0), ("moss-2", 0)]
    assert list(host.links.outgoing()) == []


def test_the_newer_of_two_links_speaks_for_a_board_until_it_closes(host: Host) -> None:
    host.open(1)
    assert readings(host.receive(1, line(0))) == [("rock-1", 0)]
    host.open(2)
    assert readings(host.receive(2, line(0, boot="0000000b"))) == [("rock-1", 0)]
    assert readings(host.receive(1, line(1))) == []
    assert readings(host.receive(2, line(1, boot="0000000b"))) == [("rock-1", 1)]
    host.close(2)
    assert readings(host.receive(1, line(2))) == [("rock-1", 2)]


def test_two_boards_on_one_link_are_both_heard(host: Host) -> None:
    host.open(1)
    both = readings(host.receive(1, line(0) + line(0, "moss-2") + line(1) + line(1, "moss-2")))
    assert sorted(both) == [("moss-2", 0), ("moss-2", 1), ("rock-1", 0), ("rock-1", 1)]
    assert set(host.links.boards()) == {"rock-1", "moss-2"}
