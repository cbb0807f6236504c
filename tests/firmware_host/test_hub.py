"""The hub with real pseudo-terminals, on the real clock."""

import contextlib
import os
import termios
import threading
import tty
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
import serial

from firmware_host.batch import ReadingBatch
from firmware_host.clock import SystemClock
from firmware_host.hub import SerialHub, keep_lines_up
from firmware_host.news import Lost, News
from firmware_host.ports import Port, PortWish, find_ports
from firmware_host.session import LinkSession
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.traffic import LinkClosed, LinkOpened, Quiet, Received, Traffic
from firmware_host.wire import WireParser

CLOCK = SystemClock()
PATIENCE_MS = 20_000


def channels_at(at_ms: float) -> Mapping[str, float]:
    return {"uva_counts": 100.0}


def now_ms() -> int:
    return CLOCK.moment().mono_ms


class Pipe:
    """A bare pseudo-terminal; the test plays the board."""

    def __init__(self, name: Path) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.name = name
        name.symlink_to(os.ttyname(slave))
        self._slave = slave

    def unplug(self) -> None:
        self.name.unlink()
        os.close(self._slave)
        os.close(self.master)


def hub_over(*patterns: str, rescan_s: float = 0.05) -> SerialHub:
    wishes = [PortWish(pattern) for pattern in patterns]
    return SerialHub(lambda: find_ports(wishes, list), CLOCK, rescan_s=rescan_s)


@pytest.fixture
def hub(tmp_path: Path) -> Iterator[SerialHub]:
    hub = hub_over(str(tmp_path / "board-*"))
    yield hub
    hub.close()


def polled_until(hub: SerialHub, done: Callable[[list[Traffic]], bool]) -> list[Traffic]:
    traffic: list[Traffic] = []
    end_ms = now_ms() + PATIENCE_MS
    while not done(traffic):
        assert now_ms() < end_ms, traffic
        traffic += [item for item in hub.poll(0.1) if not isinstance(item, Quiet)]
    return traffic


def holds(kind: type[Traffic]) -> Callable[[list[Traffic]], bool]:
    return lambda traffic: any(isinstance(item, kind) for item in traffic)


def test_bytes_arrive_with_their_link_and_moment(hub: SerialHub, tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    opened = polled_until(hub, holds(LinkOpened))
    assert opened == [LinkOpened(opened[0].at, 1, str(pipe.name), "")]
    before_ms = now_ms()
    os.write(pipe.master, b"bk1 what")
    (received,) = polled_until(hub, holds(Received))
    assert received == Received(received.at, 1, b"bk1 what")
    assert before_ms <= received.at.mono_ms <= now_ms()
    assert list(hub.links) == [1]
    pipe.unplug()


def test_silence_is_told_as_such_when_the_time_is_over(hub: SerialHub) -> None:
    started_ms = now_ms()
    traffic = hub.poll(0.03)
    assert traffic == [Quiet(traffic[0].at)]
    assert now_ms() - started_ms >= 25


def test_what_is_sent_reaches_the_board(hub: SerialHub, tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    polled_until(hub, holds(LinkOpened))
    assert hub.send(1, b"bk1 hello? ~AB50\n")
    assert os.read(pipe.master, 100) == b"bk1 hello? ~AB50\n"
    assert not hub.send(2, b"x")
    pipe.unplug()


def test_a_board_that_reads_nothing_never_blocks_and_fills_no_memory(hub: SerialHub, tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    polled_until(hub, holds(LinkOpened))
    request = b"x" * 50
    sent = 0
    while hub.send(1, request):
        sent += 1
        assert sent < 10_000
    read = b""
    os.set_blocking(pipe.master, False)
    while len(read) < 50 * sent:
        hub.poll(0)
        try:
            read += os.read(pipe.master, 65_536)
        except BlockingIOError:
            assert len(read) < 50 * sent
    assert read == request * sent
    assert hub.send(1, request)
    pipe.unplug()


def test_an_unplugged_board_is_told_and_found_again_on_another_port_as_a_new_link(
    hub: SerialHub, tmp_path: Path
) -> None:
    pipe = Pipe(tmp_path / "board-a")
    polled_until(hub, holds(LinkOpened))
    pipe.unplug()
    (closed,) = polled_until(hub, holds(LinkClosed))
    assert isinstance(closed, LinkClosed)
    assert (closed.link, closed.reason[:9]) == (1, "unplugged")
    assert hub.links == {}
    assert not hub.send(1, b"x")

    other = Pipe(tmp_path / "board-b")
    opened = polled_until(hub, holds(LinkOpened))[0]
    assert isinstance(opened, LinkOpened)
    assert (opened.link, opened.port) == (2, str(other.name))
    other.unplug()


def test_a_port_that_goes_while_bytes_wait_for_it_is_told(hub: SerialHub, tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    polled_until(hub, holds(LinkOpened))
    while hub.send(1, b"x" * 500):
        pass
    pipe.unplug()
    hub.send(1, b"")
    assert holds(LinkClosed)(polled_until(hub, holds(LinkClosed)))


def test_a_port_in_use_is_told_once_and_opened_when_it_is_free(tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    hub = hub_over(str(pipe.name))
    with serial.Serial(str(pipe.name), exclusive=True):
        for _ in range(8):
            hub.poll(0.06)
        (problem,) = hub.take_problems()
        assert "another program holds it" in str(problem.error)
        assert problem.port == str(pipe.name)
    opened = polled_until(hub, holds(LinkOpened))[0]
    assert isinstance(opened, LinkOpened)
    assert hub.take_problems() == []
    hub.close()
    pipe.unplug()


def test_a_port_that_is_not_there_is_told_once_and_opened_as_soon_as_it_is(tmp_path: Path) -> None:
    hub = hub_over(str(tmp_path / "ttyUSB0"))
    for _ in range(8):
        hub.poll(0.06)
    (problem,) = hub.take_problems()
    assert "no such port" in problem.error.what
    pipe = Pipe(tmp_path / "ttyUSB0")
    plugged_ms = now_ms()
    opened = polled_until(hub, holds(LinkOpened))[0]
    assert opened.at.mono_ms - plugged_ms < 1_000
    pipe.unplug()
    polled_until(hub, holds(LinkClosed))
    for _ in range(4):
        hub.poll(0.06)
    assert len(hub.take_problems()) == 1  # it is a new absence
    hub.close()


def test_a_baud_rate_that_is_none_is_told(tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    device = os.path.realpath(pipe.name)
    hub = SerialHub(lambda: [Port(str(pipe.name), device, "", -5)], CLOCK)
    hub.poll(0)
    (problem,) = hub.take_problems()
    assert "baud" in str(problem.error)
    hub.close()
    pipe.unplug()


def test_a_poll_that_waits_is_woken_from_another_thread(hub: SerialHub) -> None:
    hub.poll(0)
    quiet_hub = hub_over(rescan_s=3_600)
    quiet_hub.poll(0)
    started_ms = now_ms()
    threading.Timer(0.05, quiet_hub.wake).start()
    traffic = quiet_hub.poll(60)
    assert now_ms() - started_ms < 30_000
    assert isinstance(traffic[0], Quiet)
    quiet_hub.close()


def test_a_wake_before_the_poll_is_not_lost_and_counts_once(hub: SerialHub) -> None:
    quiet_hub = hub_over(rescan_s=3_600)
    quiet_hub.poll(0)
    for _ in range(100_000):
        quiet_hub.wake()
    started_ms = now_ms()
    quiet_hub.poll(60)
    assert now_ms() - started_ms < 30_000
    quiet_hub.poll(0.03)
    assert now_ms() - started_ms >= 25
    quiet_hub.close()


def test_closing_the_hub_closes_its_links(tmp_path: Path) -> None:
    pipe = Pipe(tmp_path / "board-a")
    hub = hub_over(str(pipe.name))
    polled_until(hub, holds(LinkOpened))
    (closed,) = hub.close()
    assert isinstance(closed, LinkClosed)
    with serial.Serial(str(pipe.name), exclusive=True):
        pass
    pipe.unplug()


def test_a_port_behind_a_converter_keeps_its_lines_up_when_it_closes() -> None:
    master, slave = os.openpty()
    with_hang_up = termios.tcgetattr(slave)
    with_hang_up[2] |= termios.HUPCL
    termios.tcsetattr(slave, termios.TCSANOW, with_hang_up)
    keep_lines_up(slave)
    assert not termios.tcgetattr(slave)[2] & termios.HUPCL
    os.close(master)
    os.close(slave)


def test_a_flood_on_one_port_does_not_starve_another(hub: SerialHub, tmp_path: Path) -> None:
    loud, soft = Pipe(tmp_path / "board-loud"), Pipe(tmp_path / "board-soft")
    opened = polled_until(hub, lambda traffic: len(traffic) == 2)
    numbers = {item.port: item.link for item in opened if isinstance(item, LinkOpened)}
    os.set_blocking(loud.master, False)
    os.write(soft.master, b"here")
    heard: set[int] = set()
    for _ in range(20):
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(loud.master, b"\0" * 4_096)
        heard |= {item.link for item in hub.poll(0.1) if isinstance(item, Received)}
    assert numbers[str(soft.name)] in heard
    loud.unplug()
    soft.unplug()


def test_64_boards_at_10_hz_lose_no_reading_and_survive_unplugging(bench: PtyBench) -> None:
    n_boards = 64
    for number in range(n_boards):
        model = BoardModel(f"b{number}", {"uva_counts": "counts"}, cadence_ms=100)
        bench.add(SimulatedBoard(model, channels_at, seed=number), now_ms())
    hub = hub_over(bench.pattern, rescan_s=0.5)
    sessions: dict[int, LinkSession] = {}
    seqs: dict[tuple[str, str], list[int]] = {}
    lost: list[Lost] = []

    def stored(board: str, boot: str) -> list[tuple[int, int]]:
        known = seqs.get((board, boot), [])
        return [(seq, seq) for seq in known]

    def keep(news: list[News]) -> None:
        for item in news:
            if isinstance(item, ReadingBatch):
                seqs.setdefault((item.board, item.boot), []).extend(item.seq.tolist())
            elif isinstance(item, Lost):
                lost.append(item)

    def take(traffic: list[Traffic]) -> None:
        news: list[News] = []
        for item in traffic:
            match item:
                case LinkOpened():
                    sessions[item.link] = LinkSession(WireParser(), item.at, stored=stored)
                case Received():
                    news += sessions[item.link].receive(item.data, item.at)
                case LinkClosed():
                    news += sessions.pop(item.link).close(item.at)
        at = traffic[-1].at
        for link, session in sessions.items():
            if session.next_deadline_ms is not None and session.next_deadline_ms <= at.mono_ms:
                news += session.tick(at)
            outgoing = session.take_outgoing()
            if outgoing:
                hub.send(link, outgoing)
        keep(news)

    def run(seconds: float) -> None:
        end_ms = now_ms() + round(seconds * 1000)
        while now_ms() < end_ms:
            take(hub.poll(0.05))

    with bench.running(CLOCK):
        run(2)
        bench.unplug("b7", keep_power=True)  # a board with a battery
        bench.unplug("b8")
        run(1)
        bench.plug("b7", now_ms())
        bench.plug("b8", now_ms())
        run(3)
    run(1)
    for session in sessions.values():
        keep(session.close(CLOCK.moment()))
    hub.close()

    assert lost == []
    assert len(seqs) == n_boards + 1  # b8 has booted twice
    for (board, _), known in seqs.items():
        assert sorted(known) == list(range(len(known))), board
        assert len(known) >= (15 if board == "b8" else 50), board


def test_a_wake_after_the_end_writes_into_no_file_that_has_the_number_by_then(tmp_path: Path) -> None:
    # A broker's thread or a second signal may come while the daemon is already storing its last readings.
    hub = hub_over(str(tmp_path / "board-*"))
    hub.close()
    with contextlib.ExitStack() as opened:
        files = [opened.enter_context((tmp_path / f"{n}").open("wb")) for n in range(8)]
        assert {file.fileno() for file in files} >= {hub._wake_read, hub._wake_write}
        hub.wake()
    assert {(tmp_path / f"{n}").read_bytes() for n in range(8)} == {b""}
