"""The invented room hangs together: configuration, calibrations, light and mishaps."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from baskline.scenario import Doing, Scenario, ScenarioError, build
from calibrate.calibration_file import read_calibration
from exposure.days import HOUR_MS
from firmware_host.messages import Hello, Reading
from firmware_host.wire import WireParser
from ingest.config import Config, load_config

CALIBRATED = ["slate", "crevice", "thyme", "fern"]


@pytest.fixture(scope="module")
def scenario(tmp_path_factory) -> Scenario:
    return build(tmp_path_factory.mktemp("room"))


@pytest.fixture(scope="module")
def config(scenario) -> Config:
    return load_config(scenario.config_file)


@pytest.fixture(scope="module")
def day_ms(scenario) -> np.ndarray:
    return np.arange(scenario.day.start_ms, scenario.day.end_ms, 10_000)


def columns(scenario: Scenario, config: Config, spot: str, t_ms: np.ndarray) -> dict[str, np.ndarray]:
    """What a spot's sensor says, its prefix taken off."""
    wanted = config.spots[spot]
    identity = config.boards[wanted.board].identity
    (board,) = (board for board in scenario.boards if board.model.board == identity)
    named = zip(board.channels, board.values_at(t_ms).T, strict=True)
    split = [(*name.rpartition("."), values) for name, values in named]
    return {name: values for prefix, dot, name, values in split if not dot or prefix == wanted.sensor}


def test_the_room_has_what_was_promised(scenario, config):
    assert len(config.enclosures) == 3
    assert len(config.spots) == 5
    assert len({lamp.kind for lamp in config.lamps.values()}) == 2
    assert {board.identity for board in config.boards.values()} == {
        board.model.board for board in scenario.boards
    }
    assert sorted(len(board.watched) for board in scenario.boards) == [1, 1, 1, 2]
    assert any("mesh" in lamp.between for lamp in config.lamps.values())
    assert set(scenario.lights) == set(config.spots)


def test_its_files_say_that_it_is_invented(scenario):
    written = list(scenario.folder.rglob("*.toml"))
    assert len(written) == 1 + len(CALIBRATED)
    assert all("invented" in path.read_text().split("\n")[0].lower() for path in written)


def test_its_day_has_no_change_of_the_clocks(scenario):
    assert scenario.day.hours == 24


def test_boards_configuration_and_light_agree_on_spots_sensors_and_lamps(scenario, config):
    for board in scenario.boards:
        for watched in board.watched:
            spot = config.spots[watched.spot]
            lamp = config.lamps[spot.lamp]
            assert config.boards[spot.board].identity == board.model.board
            assert (spot.sensor or "") == watched.prefix
            assert lamp.kind == watched.light.lamp.kind
            assert spot.lit_from is not None
            assert spot.lit_until is not None
            lit = (
                spot.lit_from.hour * 60 + spot.lit_from.minute,
                spot.lit_until.hour * 60 + spot.lit_until.minute,
            )
            assert lit == (
                watched.light.lamp.photoperiod.on_minute,
                watched.light.lamp.photoperiod.off_minute,
            )
            if spot.kind == "basking":
                assert lamp.distance_cm == watched.light.distance_cm
            if spot.calibration is not None:
                assert read_calibration(spot.calibration).sensor_kind == board.model.sensor


def test_one_spot_is_not_calibrated(config):
    assert [key for key, spot in config.spots.items() if spot.calibration is None] == ["hay_rick"]


@pytest.mark.parametrize("spot", CALIBRATED)
def test_each_calibration_is_right_within_its_uncertainty_and_never_flagged(scenario, config, day_ms, spot):
    calibration = read_calibration(config.spots[spot].calibration)
    lamp_kind = config.lamps[config.spots[spot].lamp].kind
    converted = calibration.convert(columns(scenario, config, spot, day_ms), lamp_kind=lamp_kind, age_days=60)
    truth = scenario.lights[spot].uvi_at(day_ms)
    assert not converted.flags.any()
    deviation = (converted.uvi - truth)[truth > 0.05] / converted.u_uvi[truth > 0.05]
    assert np.mean(np.abs(deviation) < 2) > 0.95
    assert abs(deviation.mean()) > 0.05  # no calibration is perfect, this one neither


def test_calibrations_are_younger_than_their_lamps_and_older_than_the_day(scenario, config):
    for key in CALIBRATED:
        spot = config.spots[key]
        assert (
            config.lamps[spot.lamp].installed < read_calibration(spot.calibration).made_on < scenario.day.date
        )


def at(scenario: Scenario, hour: float) -> np.ndarray:
    return np.array([scenario.day.start_ms + round(hour * HOUR_MS)])


def test_basking_spots_are_in_their_band_but_for_the_mishaps(scenario, config):
    for key in ("slate", "thyme", "fern"):
        band = config.spots[key].band()
        for hour in (9.75, 12.5, 17.0):
            assert band.low_uvi < scenario.lights[key].uvi_at(at(scenario, hour))[0] < band.high_uvi, (
                key,
                hour,
            )


def test_retreats_have_little_light(scenario, day_ms):
    for key in ("crevice", "hay_rick"):
        assert scenario.lights[key].uvi_at(day_ms).max() < 0.5


def test_the_fern_is_over_its_ceiling_in_the_afternoon_and_no_other_spot_ever(scenario, config, day_ms):
    over = {
        key: day_ms[light.uvi_at(day_ms) > config.spots[key].band().ceiling_uvi]
        for key, light in scenario.lights.items()
    }
    fern = over.pop("fern")
    assert all(len(moments) == 0 for moments in over.values())
    rises, recovers = (h.at_ms for h in scenario.happenings if h.subject == "fern")
    assert rises < fern[0] < rises + HOUR_MS
    assert recovers - HOUR_MS < fern[-1] < recovers


def test_the_thyme_is_under_its_band_while_the_sage_leans_in(scenario, config):
    leans, cut = (h.at_ms for h in scenario.happenings if h.subject == "thyme")
    shaded = scenario.lights["thyme"].uvi_at(np.arange(leans + 600_000, cut - 600_000, 10_000))
    assert shaded.max() < 0.9 * config.spots["thyme"].band().low_uvi


def test_happenings_are_in_order_and_one_board_is_unplugged_and_back(scenario):
    times = [happening.at_ms for happening in scenario.happenings]
    assert times == sorted(times)
    assert scenario.day.start_ms < times[0] < times[-1] < scenario.day.end_ms
    plugs = [(h.doing, h.subject) for h in scenario.happenings if h.doing is not Doing.LIGHT]
    assert plugs == [(Doing.UNPLUG, "stone-1"), (Doing.PLUG, "stone-1")]


def test_a_board_says_the_same_of_a_moment_however_it_is_asked(scenario):
    for board in scenario.boards:
        t_ms = scenario.day.start_ms + 12 * HOUR_MS + np.array([0, 10_000, 20_000, 5, -10_000, 10_000])
        rows = [tuple(board.channels_at(int(moment)).values()) for moment in t_ms]
        np.testing.assert_array_equal(board.values_at(t_ms), rows)
        assert tuple(board.channels_at(int(t_ms[0]))) == board.channels


def test_boards_speak_the_wire_format_at_the_times_of_the_day(scenario):
    noon_ms = scenario.day.start_ms + 12 * HOUR_MS
    heard: dict[str, float] = {}
    for board in scenario.boards:
        simulated = board.simulated(utc_offset_ms=noon_ms, seed=1)
        simulated.start(0)
        messages = WireParser().feed(simulated.run(20_000))
        assert [type(message) for message in messages] == [Hello, Reading, Reading]
        last = messages[-1]
        assert isinstance(last, Reading)
        assert dict(zip(last.channels, last.values, strict=True)) == board.channels_at(noon_ms + 20_000)
        heard |= dict(zip(last.channels, last.values, strict=True))
    assert set(heard) == {"a.uva_counts", "b.uva_counts", "uva_counts", "uvs_counts", "temperature_c"}


def test_the_same_seed_gives_the_same_readings_and_another_gives_others(scenario, tmp_path, day_ms):
    same, other = build(tmp_path, seed=1), build(tmp_path, seed=2)
    for first, second, third in zip(scenario.boards, same.boards, other.boards, strict=True):
        np.testing.assert_array_equal(first.values_at(day_ms), second.values_at(day_ms))
        assert not np.array_equal(first.values_at(day_ms), third.values_at(day_ms))


def test_no_two_sensors_share_their_noise(scenario, day_ms):
    night = day_ms[:1000]
    dark = [column for board in scenario.boards for column in board.values_at(night).T[:-1]]
    for one, two in pairwise(dark):
        assert abs(np.corrcoef(one, two)[0, 1]) < 0.2


def test_a_folder_with_another_configuration_is_left_alone(tmp_path):
    (tmp_path / "baskline.toml").write_text("[bridge]\n")
    with pytest.raises(ScenarioError, match="another file than the demo's"):
        build(tmp_path)
    assert (tmp_path / "baskline.toml").read_text() == "[bridge]\n"


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ScenarioError, match="cannot be written"):
        build(Path(tmp_path / "file" / "room"))
