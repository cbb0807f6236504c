"""The firmware on the host's real serial link: hub, session, gap filling, through an outage of the host."""

from collections.abc import Callable

from firmware_host.batch import ReadingBatch
from firmware_host.clock import SystemClock
from firmware_host.hub import SerialHub
from firmware_host.messages import Garbage, Hello
from firmware_host.news import Lost, News
from firmware_host.ports import Port
from firmware_host.session import LinkSession
from firmware_host.traffic import LinkClosed, LinkOpened, Received
from firmware_host.wire import WireParser
from tests.hardware.firmware_bench import FirmwareBench

PATIENCE_MS = 60_000

MakeBench = Callable[..., FirmwareBench]


class Bridge:
    """As much of a bridge as it takes to read one board: what it has read outlives its restarts."""

    def __init__(self) -> None:
        self._clock = SystemClock()
        self.news: list[News] = []
        self.seqs: set[int] = set()

    def run_until(self, bench: FirmwareBench, done: Callable[[], bool]) -> None:
        """Start, read until `done`, and stop."""
        hub = SerialHub(lambda: [Port(bench.port, bench.port, "", 115_200)], self._clock)
        sessions: dict[int, LinkSession] = {}
        deadline_ms = self._clock.moment().mono_ms + PATIENCE_MS
        while not done():
            assert self._clock.moment().mono_ms < deadline_ms, self.news[-5:]
            for traffic in hub.poll(0.1):
                if isinstance(traffic, LinkOpened):
                    sessions[traffic.link] = LinkSession(WireParser(), traffic.at, stored=self._stored)
                elif isinstance(traffic, Received):
                    self._learn(sessions[traffic.link].receive(traffic.data, traffic.at))
                elif isinstance(traffic, LinkClosed):
                    self._learn(sessions.pop(traffic.link).close(traffic.at))
            for link, session in sessions.items():
                self._learn(session.tick(self._clock.moment()))
                hub.send(link, session.take_outgoing())
        hub.close()

    def _stored(self, _board: str, _boot: str) -> list[tuple[int, int]]:
        return [(seq, seq) for seq in sorted(self.seqs)]

    def _learn(self, news: list[News]) -> None:
        self.news += news
        for one in news:
            if isinstance(one, ReadingBatch):
                assert self.seqs.isdisjoint(one.seq.tolist())
                self.seqs.update(one.seq.tolist())


def test_what_the_host_missed_is_filled_in_from_the_boards_ring(make_bench: MakeBench) -> None:
    bench = make_bench(settings={"cadence_ms": 100})
    bridge = Bridge()
    bridge.run_until(bench, lambda: len(bridge.seqs) >= 10)
    before = max(bridge.seqs)
    feeds = (bench.watchdog() or (0, 0, 0))[1]
    while (bench.watchdog() or (0, 0, 0))[1] < feeds + 60:  # about thirty readings that nobody hears
        SystemClock().wait_s(0.1)
    bridge.run_until(bench, lambda: max(bridge.seqs) > before + 25 and _whole(bridge.seqs))
    assert bridge.seqs == set(range(max(bridge.seqs) + 1))
    hello = next(one for one in bridge.news if isinstance(one, Hello))
    assert hello.board == bench.identity
    assert not [one for one in bridge.news if isinstance(one, Lost)]
    # At most the line that was under way each time the port opened.
    assert sum(isinstance(one, Garbage) for one in bridge.news) <= 2


def _whole(seqs: set[int]) -> bool:
    return len(seqs) == max(seqs) + 1
