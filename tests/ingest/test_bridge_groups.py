"""However traffic is grouped, the store is the same; whatever noise does, nothing is invented."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from exposure.events import Event
from firmware_host.clock import Moment
from firmware_host.messages import Hello, Reading
from firmware_host.simulated.noise import LineNoise, NoiseLevel
from firmware_host.traffic import LinkOpened, Quiet, Received, Traffic
from firmware_host.wire import encode_hello, encode_reading
from ingest.bridge import Bridge
from ingest.store.store import Store
from tests.ingest.rig import NOON_MS, Board, Rig, calibration, config, counts, every_reading

Kept = tuple[dict[tuple[str, str, int], tuple[object, ...]], list[Event]]


def lived(folder: Path) -> list[Traffic]:
    """Return the traffic of a few minutes with noise, a gap, a restart, a step of the clock, and events."""
    noise = LineNoise(NoiseLevel(drop=0.03, flip=0.03, split=0.02, duplicate=0.03, garbage=0.02), seed=8)
    rig = Rig(
        folder / "live.db",
        Board(noise=noise, uvi=lambda at_ms: 6.0 if at_ms > 10_060_000 else 1.8),
        synchronised=False,
    )
    rig.start()
    rig.plug("rock-1")
    rig.run(150)
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms + 3_600_000)
    rig.clock.synchronised = True
    rig.unplug("rock-1", keep_power=True)
    rig.run(45)
    rig.plug("rock-1")
    rig.run(60)
    board = rig.boards["rock-1"].simulated
    board.start(rig.now_ms)
    rig.run(60)
    # Deaf and then dead: what it said last waits for its time, which never comes.
    board.receive = lambda data, now_ms: None  # type: ignore[method-assign]
    board.start(rig.now_ms)
    rig.run(1.1)
    board.stop()
    rig.run(60)
    rig.finish()
    return rig.traffic


def kept(traffic: list[Traffic], groups: list[int]) -> Kept:
    """Return what is stored of traffic taken in by groups of these sizes, the last of them over and over."""
    with TemporaryDirectory() as folder, Store.open(Path(folder) / "s.db") as store:
        bridge = Bridge(config(), store, {"ledge": calibration()}, traffic[0].at)
        at = 0
        for size in groups + [groups[-1]] * len(traffic):
            group = traffic[at : at + size]
            if not group:
                break
            bridge.take(group)
            bridge.tick(group[-1].at)
            at += size
        bridge.finish(traffic[-1].at)
        events = sorted(store.events.between(0, 1 << 52), key=lambda event: event.identity)
        return every_reading(store, ["rock-1"]), events


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> list[Traffic]:
    return lived(tmp_path_factory.mktemp("session"))


@pytest.fixture(scope="module")
def one_by_one(session: list[Traffic]) -> Kept:
    readings, events = kept(session, [1])
    assert len(readings) > 250
    assert {event.kind.value for event in events} >= {"over_ceiling", "board_silent"}
    return readings, events


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(groups=st.lists(st.integers(1, 400), min_size=1, max_size=12))
def test_traffic_in_any_groups_gives_the_same_readings_and_events(
    session: list[Traffic], one_by_one: Kept, groups: list[int]
) -> None:
    assert kept(session, groups) == one_by_one


def test_what_came_before_an_introduction_is_judged_by_what_was_known_before_it() -> None:
    def at(seconds: float) -> Moment:
        return Moment(round(1000 * seconds), NOON_MS + round(1000 * seconds), True)

    def reading(seq: int) -> Received:
        names = ("uva_counts", "temperature_c")
        values = (counts(6.0), 25.0)
        line = encode_reading(Reading("rock-1", "0000000a", seq, 120_000 * seq, names, values, 0, False))
        return Received(at(120 * seq), 1, line)

    hello = Hello("rock-1", "0000000a", "f", "s", ("uva_counts",), ("counts",), 120_000, 0)
    traffic: list[Traffic] = [LinkOpened(at(0), 1, "/dev/tty1", "")]
    traffic += [reading(1), reading(2), Received(at(250), 1, encode_hello(hello)), reading(3), Quiet(at(390))]
    apart = kept(traffic, [1])
    assert [event.opened_ms - NOON_MS for event in apart[1] if event.kind == "over_ceiling"] == [360_000]
    assert kept(traffic, [len(traffic)]) == apart


chances = st.floats(0, 0.3)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    level=st.builds(
        NoiseLevel,
        drop=chances,
        flip=chances,
        split=chances,
        duplicate=chances,
        garbage=chances,
        burst_bytes=st.integers(1, 3_000),
    ),
    seed=st.integers(0, 1 << 30),
)
def test_noise_of_any_kind_never_raises_and_never_invents_a_reading(level: NoiseLevel, seed: int) -> None:
    with TemporaryDirectory() as folder:
        board = Board(uvi=lambda at_ms: at_ms % 7_000 / 1_000, noise=LineNoise(level, seed), cadence_ms=500)
        rig = Rig(Path(folder) / "s.db", board)
        rig.start()
        rig.plug("rock-1")
        rig.run(40)
        rig.finish()
        with rig.look() as store:
            boards = [record.board for record in store.boards.all()]
            readings = every_reading(store, boards)
        # A flipped bit that meets the CRC has one chance in 65,536 a line, and none here.
        for (identity, boot, seq), (_, shown, _) in readings.items():
            assert (identity, boot) == ("rock-1", board.simulated.boot)
            assert 0 <= seq < board.simulated.next_seq
            made_ms = 10_000_000 + (seq + 1) * 500
            assert dict(shown) == {
                "uva_counts": round(12 + made_ms % 7_000 / 1_000 / 0.003),
                "temperature_c": 25.0,
            }
        times = [utc_ms for _, (utc_ms, _, _) in sorted(readings.items())]
        assert (np.diff(times) > 0).all()
