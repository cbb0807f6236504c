"""A recorded session pushed through the bridge again gives what it gave when it was live."""

import io
from collections.abc import Iterable
from pathlib import Path

import pytest

from exposure.events import Event
from firmware_host.capture import CaptureError, CaptureWriter
from firmware_host.clock import Moment
from firmware_host.simulated.noise import LineNoise, NoiseLevel
from firmware_host.traffic import LinkOpened, Received, Traffic
from ingest.replay import replay
from ingest.store.store import Store
from tests.ingest.rig import CONFIG, HOUR_MS, NOON_MS, Board, Rig, calibration, config, day_of, every_reading

TWO_BOARDS = (
    CONFIG
    + """
[board.moss]
identity = "moss-2"
label = "In the moss"

[spot.moss]
label = "Moss"
enclosure = "garden"
lamp = "tube"
board = "moss"
band = { low_uvi = 0.5, high_uvi = 1.5, ceiling_uvi = 2.0 }
"""
)
PLAIN = CONFIG.replace(
    'label = "Behind the rock"\n',
    'label = "Behind the rock"\n'
    'mapping = { format = "csv", channels = { uva_counts = 0, temperature_c = 1 }, port = "/dev/ttyS*" }\n',
)
SPOTS = {"ledge": "rock-1", "moss": "moss-2"}


def recorded(traffic: Iterable[Traffic]) -> bytes:
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    for item in traffic:
        writer.write(item)
    return stream.getvalue()


def eventful(store_path: Path) -> Rig:
    """Live through an hour and a half in which much goes wrong."""
    noise = LineNoise(NoiseLevel(drop=0.01, flip=0.01, split=0.005, duplicate=0.01, garbage=0.01), seed=3)
    rig = Rig(
        store_path,
        Board(noise=noise, uvi=lambda at_ms: 1.8 if at_ms % 1_800_000 < 1_200_000 else 6.0),
        Board("moss-2", uvi=lambda at_ms: 1.0 + at_ms % 60_000 / 60_000, seed=2, cadence_ms=2_000),
        settings=config(TWO_BOARDS),
        synchronised=False,
    )
    rig.clock.set_wall_ms(NOON_MS - 2 * HOUR_MS)
    rig.start()
    rig.plug("rock-1")
    rig.plug("moss-2")
    rig.run(1_300, step_ms=250)
    rig.unplug("moss-2")
    rig.run(400, step_ms=250)
    rig.clock.set_wall_ms(NOON_MS + 1_700_000)
    rig.clock.synchronised = True
    rig.run(300, step_ms=250)
    rig.plug("moss-2")
    rig.run(200, step_ms=250)
    rig.unplug("rock-1", keep_power=True)
    rig.run(120, step_ms=250)
    rig.plug("rock-1")
    rig.run(600, step_ms=250)
    rig.boards["moss-2"].simulated.start(rig.now_ms)
    rig.run(1_500, step_ms=250)
    rig.finish()
    return rig


def replayed(rig: Rig, capture: bytes, path: Path) -> Store:
    store = Store.open(path)
    replay(rig.settings, rig.calibrations, store, io.BytesIO(capture))
    return store


def comparable(events: Iterable[Event]) -> list[Event]:
    return sorted(events, key=lambda event: event.identity)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    return eventful(tmp_path_factory.mktemp("live") / "live.db")


def test_a_capture_gives_the_same_store_each_time_and_that_of_the_live_run(
    lived: Rig, tmp_path: Path
) -> None:
    capture = recorded(lived.traffic)
    with (
        replayed(lived, capture, tmp_path / "one.db") as one,
        replayed(lived, capture, tmp_path / "two.db") as two,
        lived.look() as live,
    ):
        readings = every_reading(one, SPOTS.values())
        assert len(readings) > 5_000
        assert every_reading(two, SPOTS.values()) == readings
        assert every_reading(live, SPOTS.values()) == readings

        events = comparable(one.events.between(0, 1 << 52))
        assert {event.kind.value for event in events} >= {"over_ceiling", "board_silent", "back_in_band"}
        assert comparable(two.events.between(0, 1 << 52)) == events
        assert comparable(live.events.between(0, 1 << 52)) == events

        for spot in SPOTS:
            profile = day_of(one, lived.settings, spot).profile
            assert profile.dose_uvi_h is not None
            assert day_of(two, lived.settings, spot).profile == profile
            assert day_of(live, lived.settings, spot).profile == profile


def test_a_replay_leaves_no_minute_to_summarise(lived: Rig, tmp_path: Path) -> None:
    with replayed(lived, recorded(lived.traffic), tmp_path / "one.db") as store:
        assert store.minutes.dirty() == []
        profile = day_of(store, lived.settings, "ledge").profile
        minutes = store.minutes.between("ledge", profile.bounds.start_ms, profile.bounds.end_ms)
        assert minutes.dose_uvi_h.sum() == pytest.approx(profile.dose_uvi_h, rel=1e-5)
        assert minutes.covered_ms.sum() == pytest.approx(
            profile.coverage * (profile.bounds.end_ms - profile.bounds.start_ms), abs=len(minutes)
        )


def test_replaying_into_the_same_store_again_adds_nothing(lived: Rig, tmp_path: Path) -> None:
    capture = recorded(lived.traffic)
    with replayed(lived, capture, tmp_path / "one.db") as store:
        readings = every_reading(store, SPOTS.values())
        events = comparable(store.events.between(0, 1 << 52))
        again = replay(lived.settings, lived.calibrations, store, io.BytesIO(capture))
        assert again.n_stored == 0
        assert every_reading(store, SPOTS.values()) == readings
        assert comparable(store.events.between(0, 1 << 52)) == events


def test_plain_lines_of_a_capture_are_stored_once_however_often_it_is_replayed(tmp_path: Path) -> None:
    at = [Moment(5_000 + 1_000 * n, NOON_MS + 1_000 * n, True) for n in range(60)]
    traffic: list[Traffic] = [LinkOpened(at[0], 1, "/dev/ttyS3", "")]
    traffic += [Received(moment, 1, b"612,25.0\r\n") for moment in at]
    with Store.open(tmp_path / "s.db") as store:
        for expected in (59, 0):  # the first line after opening may be half a one
            done = replay(config(PLAIN), {"ledge": calibration()}, store, io.BytesIO(recorded(traffic)))
            assert done.n_stored == expected


def test_a_capture_cut_off_by_a_power_cut_gives_what_it_holds(lived: Rig, tmp_path: Path) -> None:
    capture = recorded(lived.traffic)
    with Store.open(tmp_path / "s.db") as store:
        done = replay(lived.settings, lived.calibrations, store, io.BytesIO(capture[: len(capture) // 2]))
        assert done.cut_bytes > 0
        part = every_reading(store, SPOTS.values())
    with replayed(lived, capture, tmp_path / "whole.db") as store:
        assert part.keys() < every_reading(store, SPOTS.values()).keys()


def test_an_empty_capture_is_refused(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s.db") as store, pytest.raises(CaptureError, match="holds nothing"):
        replay(config(), {}, store, io.BytesIO(recorded([])))
