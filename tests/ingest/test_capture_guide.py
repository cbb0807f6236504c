"""The course of a guided calibration, fed by hand: no port, no clock, no terminal."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from calibrate.points_file import read_points
from firmware_host.messages import Mark
from ingest.capture_fit import fit_points_of
from ingest.capture_guide import CaptureGuide
from ingest.capture_steps import AnswerError, NoReadingsError, Plan, Step
from ingest.captured import Setting, Taken, read_taken, write_points
from ingest.spot_levels import Levels

SETTING = Setting(("uva_counts",), lamp_kind="t5", sensor_kind="guva-s12sd", made_on=date(2026, 3, 2))
START_MS = 1_770_000_000_000


class Bench:
    """A guide, a sensor and the time."""

    def __init__(self, folder: Path, taken: list[Taken] | None = None, setting: Setting = SETTING) -> None:
        self.file = folder / "slate-2026-03-02.points.csv"
        self.now_ms = START_MS
        self._random = np.random.default_rng(4)
        self.guide = CaptureGuide(
            Plan(setting, top_uvi=5.0, window_s=20.0),
            lambda setting, taken: write_points(self.file, setting, taken),
            taken,
        )

    def say(self, text: str) -> None:
        self.guide.answer(text, self.now_ms)

    def feed(self, level: float, seconds: float = 25, *, drift: float = 0.0, marks: int = 0) -> None:
        """Let a reading come each second; the guide looks after each."""
        step = self.guide.step
        for second in range(round(seconds)):
            self.now_ms += 1000
            value = level + drift * second + self._random.normal(0, 0.8)
            self.guide.observe(
                Levels(
                    ("uva_counts", "temperature_c"),
                    np.array([self.now_ms]),
                    np.array([[value, 26.5]]),
                    np.array([marks], np.uint32),
                ),
                self.now_ms,
            )
            if self.guide.step is not step:
                return

    def until_pairs(self) -> None:
        for answer in ("10", "0.1", ""):
            self.say(answer)
        self.feed(21)
        self.say("60")

    def pair(self, uvi: float) -> None:
        self.say("")
        self.feed(21 + 96 * uvi)
        self.say(f"{uvi:.1f}")


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_a_whole_course_leaves_points_that_give_back_the_sensor(bench: Bench) -> None:
    bench.until_pairs()
    for uvi in (1.0, 2.0, 3.0, 4.0, 5.0):
        assert bench.guide.aim_uvi == pytest.approx(uvi)
        bench.pair(uvi)
    assert bench.guide.aim_uvi is None
    bench.say("done")
    bench.say("")
    bench.feed(21)
    assert bench.guide.step is Step.FINISHED
    read = read_points(bench.file)
    assert read.meter.u_relative == pytest.approx(0.10 / 3**0.5)
    assert read.noise["uva_counts"] == pytest.approx(0.8, rel=0.3)
    assert read.points.temperature_c is not None
    slope = fit_points_of(bench.file, name="slate").fit.coefficients["slope.uva_counts"]
    assert slope == pytest.approx(1 / 96, rel=0.01)


def test_every_point_is_in_the_file_as_soon_as_it_is_taken(bench: Bench) -> None:
    bench.until_pairs()
    assert len(read_taken(bench.file)[1]) == 1
    bench.pair(1.0)
    setting, taken = read_taken(bench.file)
    assert [point.uvi for point in taken] == [None, 1.0]
    assert taken == bench.guide.taken or taken[1].levels == pytest.approx(bench.guide.taken[1].levels)
    assert setting.meter_limits_percent == 10


def test_a_resumed_course_asks_for_the_lamp_and_goes_on_with_the_next_pair(
    bench: Bench, tmp_path: Path
) -> None:
    bench.until_pairs()
    bench.pair(1.0)
    setting, taken = read_taken(bench.file)
    again = Bench(tmp_path, taken, setting)
    assert again.guide.step is Step.LAMP_MINUTES
    again.say("45")
    assert again.guide.step is Step.PLACE
    again.pair(2.0)
    assert [point.uvi for point in read_taken(bench.file)[1]] == [None, 1.0, 2.0]


def test_a_cold_lamp_is_waited_for(bench: Bench) -> None:
    for answer in ("", "", ""):
        bench.say(answer)
    bench.feed(21)
    bench.say("28")
    assert bench.guide.step is Step.WARM_UP
    bench.feed(300, 100)
    assert bench.guide.step is Step.WARM_UP
    bench.feed(300, 100)
    assert bench.guide.step is Step.PLACE


def test_a_lamp_whose_beginning_was_seen_is_not_asked_about(bench: Bench) -> None:
    bench.guide.lamp_lit_since(START_MS - 40 * 60_000, START_MS)
    for answer in ("", "", ""):
        bench.say(answer)
    bench.feed(21)
    assert bench.guide.step is Step.PLACE


def test_warm_up_may_be_cut_short_and_is_remembered(bench: Bench) -> None:
    for answer in ("", "", ""):
        bench.say(answer)
    bench.feed(21)
    bench.say("5")
    bench.guide.skip(bench.now_ms)
    assert bench.guide.step is Step.PLACE
    assert "25 min" in bench.guide.remarks[0]


def test_a_level_that_moves_is_not_taken_until_it_holds_still(bench: Bench) -> None:
    bench.until_pairs()
    bench.say("")
    bench.feed(200, 40, drift=3.0)
    assert bench.guide.step is Step.TAKE_LEVEL
    seen = bench.guide.watching(bench.now_ms).seen
    assert seen is not None
    assert not seen.steady
    bench.feed(320, 45)
    assert bench.guide.step is Step.READING
    assert bench.guide.level is not None
    assert bench.guide.level.levels[0] == pytest.approx(320, abs=3)


def test_a_light_that_never_holds_still_is_taken_with_an_honest_uncertainty(bench: Bench) -> None:
    bench.until_pairs()
    bench.say("")
    bench.feed(200, 200, drift=1.5)
    assert bench.guide.step is Step.READING
    assert bench.guide.level is not None
    assert bench.guide.level.u_levels[0] > 3
    assert "wandered" in bench.guide.remarks[-1]


def test_readings_from_before_the_sensor_was_in_place_do_not_count(bench: Bench) -> None:
    bench.until_pairs()
    bench.say("")
    old = np.arange(bench.now_ms - 30_000, bench.now_ms, 1000)
    levels = Levels(("uva_counts",), old, np.full((30, 1), 900.0), np.zeros(30, np.uint32))
    bench.guide.observe(levels, bench.now_ms)
    assert bench.guide.watching(bench.now_ms).n_readings == 0


@pytest.mark.parametrize("answer", ["much", "-3", "1e9", "nan", ""])
def test_a_reading_that_is_no_uvi_is_asked_for_again(bench: Bench, answer: str) -> None:
    bench.until_pairs()
    bench.say("")
    bench.feed(200)
    with pytest.raises(AnswerError):
        bench.say(answer)
    assert bench.guide.step is Step.READING
    bench.say("1,9")  # a decimal comma is understood
    assert bench.guide.pairs[0].uvi == 1.9


def test_a_level_may_be_taken_again_and_a_pair_taken_back(bench: Bench) -> None:
    bench.until_pairs()
    bench.say("")
    bench.feed(200)
    bench.say("again")
    assert bench.guide.step is Step.PLACE
    assert bench.guide.pairs == []
    bench.pair(1.0)
    bench.say("undo")
    assert [point.uvi for point in read_taken(bench.file)[1]] == [None]


def test_too_few_pairs_are_not_done(bench: Bench) -> None:
    bench.until_pairs()
    bench.pair(1.0)
    with pytest.raises(AnswerError, match="too few"):
        bench.say("done")


def test_a_saturated_a_covered_and_an_uncovered_dark_are_told(bench: Bench) -> None:
    bench.until_pairs()
    bench.say("")
    with pytest.raises(AnswerError, match="limit"):
        bench.feed(4095, marks=int(Mark.SATURATED))
    bench.say("")
    with pytest.raises(AnswerError, match="hardly more"):
        bench.feed(21)
    bench.say("")
    with pytest.raises(AnswerError, match="not dark"):
        bench.feed(2)
    assert bench.guide.step is Step.PLACE


def test_a_board_that_falls_silent_ends_the_course_and_keeps_the_points(bench: Bench) -> None:
    bench.until_pairs()
    bench.pair(1.0)
    bench.say("")
    nothing = Levels((), np.empty(0, np.int64), np.empty((0, 0)), np.empty(0, np.uint32))
    bench.now_ms += 100_000
    bench.guide.observe(nothing, bench.now_ms)
    bench.now_ms += 100_000
    with pytest.raises(NoReadingsError):
        bench.guide.observe(nothing, bench.now_ms)
    assert len(read_taken(bench.file)[1]) == 2
