"""Another calibration over the past: what changes, what does not, and back again."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from calibrate.calibration import Calibration, Channel, Uncertainty
from calibrate.calibration_file import format_calibration
from calibrate.models import LineModel
from exposure.days import day_bounds
from firmware_host.clock import Moment
from ingest.config import Config, parse_config
from ingest.recompute import RecomputeError, Span, recompute, undo
from ingest.store.assignments import Assignment
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from ingest.summaries import Summariser

CONFIG = """\
[bridge]
site = "test"
name = "room"
time_zone = "Europe/Vienna"
store = "room.db"
[board.stone]
identity = "stone-1"
label = "Behind the slate"
[board.wall]
identity = "wall-1"
label = "On the wall"
[enclosure.rock_garden]
label = "Rock garden"
[lamp.tube]
kind = "t5"
installed = 2025-02-08
distance_cm = 38.0
[spot.slate]
label = "Slate ledge"
enclosure = "rock_garden"
lamp = "tube"
board = "stone"
zone = 3
[spot.fern]
label = "Fern"
enclosure = "rock_garden"
lamp = "tube"
board = "wall"
zone = 3
"""
ZONE = "Europe/Vienna"
DAYS = [date(2026, 3, 28), date(2026, 3, 29), date(2026, 3, 30)]  # the clocks change on the 29th
FROM_MS = day_bounds(DAYS[0], ZONE).start_ms
TO_MS = day_bounds(DAYS[-1], ZONE).end_ms
EVER = Span(DAYS[0], None)


def calibration(slope: float, channel: str = "uva_counts") -> Calibration:
    return Calibration(
        lamp_kind="t5",
        sensor_kind="guva-s12sd",
        model=LineModel((channel,), (0.0,), (slope,)),
        channels=(Channel(channel, noise=1.0),),
        uvi_range=(0.0, 8.0),
        uncertainty=Uncertainty(((0.0, 0.0), (0.0, 1e-9)), reference_relative=0.05),
        made_on=date(2026, 3, 1),
    )


OLD, NEW = calibration(0.01), calibration(0.008)


def quiet(_what: str, _done: int, _total: int) -> None:
    pass


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return parse_config(CONFIG, file=tmp_path / "baskline.toml")


@pytest.fixture(scope="module")
def three_days(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three days of two spots, a reading each minute, summarised with the old calibration."""
    path = tmp_path_factory.mktemp("three_days") / "room.db"
    with Store.open(path) as store:
        store.begin_run(Moment(0, FROM_MS, True))
        at_ms = np.arange(FROM_MS, TO_MS, 60_000)
        hour = (at_ms - FROM_MS) / 3_600_000 % 24
        counts = np.where((hour > 8) & (hour < 20), 250.0, 0.0)
        store.calibrations.put(OLD.identity, format_calibration(OLD))
        for board, spot in (("stone-1", "slate"), ("wall-1", "fern")):
            store.assignments.record(Assignment(spot, board, "", OLD.identity, "t5", "1.0 2.6 7.4"), FROM_MS)
            for part in np.array_split(np.arange(len(at_ms)), 9):
                store.readings.append(
                    [
                        StampedBatch(
                            board,
                            "0a1b2c3d",
                            ("uva_counts",),
                            part,
                            at_ms[part],
                            counts[part, np.newaxis],
                            np.zeros(len(part), np.uint32),
                        )
                    ]
                )
        summarise(store)
    return path


@pytest.fixture
def store(three_days: Path, tmp_path: Path) -> Iterator[Store]:
    shutil.copy(three_days, tmp_path / "room.db")
    with Store.open(tmp_path / "room.db") as store:
        yield store


def summarise(store: Store) -> None:
    summariser = Summariser(store)
    while summariser.step(before_ms=TO_MS):
        pass


def minutes(store: Store, spot: str) -> np.ndarray:
    found = store.minutes.between(spot, FROM_MS, TO_MS)
    return np.column_stack([found.minute, found.mean_uvi, found.u_uvi, found.dose_uvi_h])


def test_a_new_calibration_changes_samples_summaries_and_doses_of_its_spot_alone(
    store: Store, config: Config
) -> None:
    fern = minutes(store, "fern")
    (change,) = recompute(store, config, {"slate": NEW}, EVER, reason="recompute", progress=quiet)
    assert [each.day for each in change.days] == DAYS
    for each in change.days:
        assert each.before.mean_uvi_lit == pytest.approx(2.5, rel=0.01)
        assert each.after.mean_uvi_lit == pytest.approx(2.0, rel=0.01)
        assert each.before.dose_uvi_h is not None
        assert each.after.dose_uvi_h == pytest.approx(0.8 * each.before.dose_uvi_h)
    summarise(store)
    assert np.nanmax(minutes(store, "slate")[:, 1]) == pytest.approx(2.0)
    assert np.array_equal(minutes(store, "fern"), fern, equal_nan=True)


def test_undoing_it_brings_back_every_summary_to_the_bit(store: Store, config: Config) -> None:
    before = minutes(store, "slate")
    (change,) = recompute(store, config, {"slate": NEW}, EVER, reason="recompute", progress=quiet)
    summarise(store)
    assert not np.array_equal(minutes(store, "slate"), before, equal_nan=True)
    assert change.generation is not None
    (back,) = undo(store, config, change.generation, progress=quiet)
    summarise(store)
    assert back.calibration == OLD.identity
    assert back.days[0].after == change.days[0].before
    assert np.array_equal(minutes(store, "slate"), before, equal_nan=True)
    assert [record.withdrawn for record in store.assignments.history("slate")] == [False, True]


def test_only_the_days_asked_for_change(store: Store, config: Config) -> None:
    middle = Span(DAYS[1], DAYS[1])
    (change,) = recompute(store, config, {"slate": NEW}, middle, reason="recompute", progress=quiet)
    summarise(store)
    assert [each.day for each in change.days] == [DAYS[1]]
    bounds = day_bounds(DAYS[1], ZONE)
    uvi = store.minutes.between("slate", FROM_MS, TO_MS)
    inside = (uvi.minute * 60_000 >= bounds.start_ms) & (uvi.minute * 60_000 < bounds.end_ms)
    assert bounds.hours == 23
    assert uvi.mean_uvi[inside].max() == pytest.approx(2.0)
    assert uvi.mean_uvi[~inside].max() == pytest.approx(2.5)


def test_what_applied_already_changes_nothing(store: Store, config: Config) -> None:
    (change,) = recompute(store, config, {"slate": OLD}, EVER, reason="recompute", progress=quiet)
    assert change.generation is None
    assert len(store.assignments.history("slate")) == 1


def test_mirrors_get_what_has_changed_again(store: Store, config: Config) -> None:
    store.cursors.set("mirror", store.readings.position())
    recompute(store, config, {"slate": NEW}, Span(DAYS[2], None), reason="recompute", progress=quiet)
    batches, _ = store.readings.since(store.cursors.get("mirror"), 10**6)
    first_ms = min(int(batch.utc_ms[0]) for batch in batches if batch.board == "stone-1")
    assert FROM_MS < first_ms <= day_bounds(DAYS[2], ZONE).start_ms


def test_a_calibration_of_another_sensor_is_refused_and_changes_nothing(store: Store, config: Config) -> None:
    other = calibration(0.01, "uvb_counts")
    with pytest.raises(RecomputeError, match="uvb_counts"):
        recompute(store, config, {"slate": other}, EVER, reason="recompute", progress=quiet)
    assert len(store.assignments.history("slate")) == 1
    assert store.calibrations.identities() == [OLD.identity]


def test_a_time_without_readings_is_refused(store: Store, config: Config) -> None:
    with pytest.raises(RecomputeError, match="nothing of slate"):
        recompute(
            store, config, {"slate": NEW}, Span(date(2030, 1, 1), None), reason="recompute", progress=quiet
        )


def test_what_the_configuration_said_cannot_be_undone(store: Store, config: Config) -> None:
    with pytest.raises(RecomputeError, match="no recomputation"):
        undo(store, config, 1, progress=quiet)
    assert not store.assignments.history("slate")[0].withdrawn


def test_a_second_recomputation_may_be_undone_alone(store: Store, config: Config) -> None:
    third = replace(NEW, notes="again", made_on=date(2026, 3, 2))
    recompute(store, config, {"slate": NEW}, EVER, reason="recompute", progress=quiet)
    (later,) = recompute(store, config, {"slate": third}, EVER, reason="recompute", progress=quiet)
    assert later.generation is not None
    (back,) = undo(store, config, later.generation, progress=quiet)
    assert back.calibration == NEW.identity


def test_progress_is_told_to_its_end(store: Store, config: Config) -> None:
    told: dict[str, tuple[int, int]] = {}
    recompute(
        store,
        config,
        {"slate": NEW},
        EVER,
        reason="recompute",
        progress=lambda what, done, total: told.update({what: (done, total)}),
    )
    assert set(told) == {"days before", "minutes", "days after"}
    assert told["days after"] == (3, 3)
