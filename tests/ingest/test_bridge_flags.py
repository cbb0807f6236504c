"""What is not known is said to be so: no calibration, no channel, no sensor, no spot."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibrate.calibration import LampFactor
from calibrate.samples import Flag
from exposure.events import EventKind
from firmware_host.messages import Mark
from tests.ingest.rig import CONFIG, Board, PlainBoard, Rig, calibration, config

TWO_SENSORS = (
    CONFIG.replace('board = "rock"\n', 'board = "rock"\nsensor = "a"\n')
    + """
[spot.cave]
label = "Cave"
enclosure = "garden"
lamp = "tube"
board = "rock"
sensor = "b"
band = { low_uvi = 0.0, high_uvi = 0.7, ceiling_uvi = 1.4 }
"""
)


def test_a_board_that_is_not_configured_is_kept_and_belongs_to_no_spot(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    rig = Rig(tmp_path / "s.db", Board(), Board("stranger-9", uvi=9.0, seed=2))
    rig.start()
    rig.plug("rock-1")
    rig.plug("stranger-9")
    rig.run(90)
    rig.unplug("stranger-9")
    rig.run(90)
    rig.finish()
    [seqs] = rig.seqs("stranger-9").values()
    assert seqs == list(range(90))
    assert not [event for event in rig.events() if event.subject == "stranger-9"]
    assert not [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]
    [told] = [record for record in caplog.records if "not in the configuration" in record.message]
    assert told.board == "stranger-9"
    assert 'identity = "stranger-9"' in told.do


def test_a_spot_without_calibration_has_flags_and_never_a_value(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=9.0), calibrations={})
    rig.start()
    rig.plug("rock-1")
    rig.run(90)
    rig.finish()
    samples = rig.samples()
    assert len(samples) == 90
    assert np.isnan(samples.uvi).all()
    assert np.isnan(samples.u_uvi).all()
    assert (samples.flags & Flag.UNCALIBRATED != 0).all()
    assert not [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]
    day = rig.day().profile
    assert day.dose_uvi_h is None
    assert day.peak_uvi is None
    assert day.coverage == 0


def test_a_calibration_added_later_counts_from_then_on(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), calibrations={})
    rig.start()
    rig.plug("rock-1")
    rig.run(60)
    rig.finish()
    rig.calibrations = {"ledge": calibration()}
    rig.away(0.5)
    rig.start()
    rig.run(60)
    rig.finish()
    samples = rig.samples()
    assert len(samples) == 120
    assert np.isnan(samples.uvi[:60]).all()
    assert samples.uvi[60:] == pytest.approx(np.full(60, 1.8), abs=0.01)


def test_a_reading_without_a_channel_that_is_needed_is_flagged_missing(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(units={"temperature_c": "degC"}))
    rig.start()
    rig.plug("rock-1")
    rig.run(30)
    rig.finish()
    samples = rig.samples()
    assert len(samples) == 30
    assert (samples.flags & Flag.MISSING != 0).all()
    assert np.isnan(samples.uvi).all()


def test_a_sensor_that_fails_for_a_while_leaves_a_gap_and_not_a_zero(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=2.0))
    rig.start()
    rig.plug("rock-1")
    rig.run(60)
    rig.boards["rock-1"].marks = Mark.FAULT
    rig.run(60)
    rig.boards["rock-1"].marks = Mark(0)
    rig.run(60)
    rig.finish()
    samples = rig.samples()
    failed = samples.flags & Flag.SENSOR_FAULT != 0
    assert failed.sum() == 60
    assert np.isnan(samples.uvi[failed]).all()
    assert samples.uvi[~failed] == pytest.approx(np.full(120, 2.0), abs=0.01)


def test_each_spot_of_a_board_with_two_sensors_sees_its_own(tmp_path: Path) -> None:
    settings = config(TWO_SENSORS)
    rig = Rig(
        tmp_path / "s.db",
        Board(units={"a.uva_counts": "counts", "b.uva_counts": "counts", "temperature_c": "degC"}),
        settings=settings,
    )
    rig.boards["rock-1"].simulated._channels_at = lambda at_ms: {
        "a.uva_counts": 612.0,
        "b.uva_counts": 112.0,
        "temperature_c": 25.0,
    }
    rig.start()
    rig.plug("rock-1")
    rig.run(30)
    rig.finish()
    assert rig.samples("ledge").uvi == pytest.approx(np.full(30, 1.8))
    assert rig.samples("cave").uvi == pytest.approx(np.full(30, 0.3))


def test_what_a_board_measured_before_it_hung_at_the_spot_is_not_the_spots(tmp_path: Path) -> None:
    # It lay in the sun on the workbench until it was put up and baskline started for the first time.
    board = Board(uvi=9.0, replay_lines_per_s=500)
    rig = Rig(tmp_path / "s.db", board)
    board.simulated.start(rig.now_ms)
    rig.away(600.5)
    board.uvi = 1.8
    rig.plug("rock-1")
    rig.start()
    rig.run(60)
    rig.finish()
    [seqs] = rig.seqs().values()
    assert seqs == list(range(660))
    samples = rig.samples()
    assert len(samples) == pytest.approx(60, abs=1)
    assert samples.uvi.max() < 2
    assert not [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]


def test_a_plain_board_that_never_says_how_often_it_reads_is_judged_too(tmp_path: Path) -> None:
    board = Board(uvi=6.0, cadence_ms=120_000)
    board.simulated = PlainBoard(board.simulated.model, board.simulated._channels_at, seed=1)
    mapping = (
        'mapping = { format = "csv", channels = { uva_counts = 0, temperature_c = 1 }, port = "/dev/tty*" }'
    )
    text = CONFIG.replace('label = "Behind the rock"', f'label = "Behind the rock"\n{mapping}')
    rig = Rig(tmp_path / "s.db", board, settings=config(text))
    rig.start()
    rig.plug("rock-1")
    rig.run(1_500, step_ms=1000)
    assert [event.kind for event in rig.store.events.open()] == [EventKind.OVER_CEILING]
    rig.unplug("rock-1")
    rig.run(650, step_ms=1000)
    rig.finish()
    [silent] = [event for event in rig.events() if event.kind is EventKind.BOARD_SILENT]
    assert silent.evidence["silent_after_s"] == 600


def test_a_board_that_speaks_every_two_minutes_is_judged_too(tmp_path: Path) -> None:
    # Its spot's `max_gap_s` is the usual minute: over which no hold would ever run on.
    rig = Rig(tmp_path / "s.db", Board(uvi=6.0, cadence_ms=120_000))
    rig.start()
    rig.plug("rock-1")
    rig.run(1200, step_ms=1000)
    [event] = [event for event in rig.store.events.open() if event.kind is EventKind.OVER_CEILING]
    assert event.evidence["held_s"] == pytest.approx(120, abs=1.1)
    assert rig.bridge.spots["ledge"].state(rig.bridge.now_utc_ms(rig.clock.moment()), ()).uvi is not None
    rig.finish()
    assert not [event for event in rig.events() if event.kind is EventKind.BOARD_SILENT]
    assert rig.day().profile.dose_uvi_h == pytest.approx(6.0 * 9 * 120 / 3600, rel=0.01)


@pytest.mark.parametrize("factor_known", [False, True])
def test_another_kind_of_lamp_is_an_event_unless_the_calibration_knows_its_factor(
    tmp_path: Path, factor_known: bool
) -> None:
    factors = (LampFactor("t5", 1.3, 0.1),) if factor_known else ()
    other = replace(calibration(), lamp_kind="mercury-vapour", lamp_factors=factors)
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=10_000), calibrations={"ledge": other})
    rig.start()
    rig.plug("rock-1")
    rig.run(1_200, step_ms=10_000)
    rig.finish()
    samples = rig.samples()
    assert (samples.flags & Flag.OTHER_LAMP_KIND != 0).all()
    kinds = {event.kind for event in rig.events()}
    assert (EventKind.CALIBRATION_OTHER_LAMP in kinds) is not factor_known
