"""What the daemon tells at the end of a day: once, the same live and replayed, right after a wrong clock."""

import io
from collections.abc import Generator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from exposure.events import Event, EventKind, Severity
from firmware_host.capture import CaptureWriter
from firmware_host.clock import Moment
from ingest.assigning import record_assignments
from ingest.day_records import DayRecord, DayRecords
from ingest.mqtt.payloads import Change
from ingest.nightly import AFTER_START_MS, GRACE_MS, Nightly
from ingest.replay import replay
from ingest.store.judged import StandingRow
from ingest.store.lamp_changes import LampChangeKind
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store
from tests.ingest.nights import (
    DAY_MS,
    MIDNIGHT_MS,
    TODAY_MS,
    begin,
    of_kind,
    readings,
    room,
    steady,
    through_the_night,
    with_past,
)
from tests.ingest.rig import CONFIG, HOUR_MS, TODAY, Rig, calibration

IN_THE_EVENING = CONFIG + 'lit_from = "23:10"\nlit_until = "23:50"\nrules = { dose_low_uvi_h = 5.0 }\n'
YEAR_MS = 365 * DAY_MS


def to_outbox(event: Event, change: Change) -> OutgoingMessage:
    return OutgoingMessage("event", f"{change.value} {event.identity}".encode(), qos=1, retain=False)


def half(day: int) -> float:
    return 0.5 if day == 0 else 1.8


def fading(day: int) -> float:
    return float(1.3 * 0.98 ** (day / 7))


def test_a_day_of_little_light_is_told_after_midnight_and_closes_after_a_usual_one(tmp_path: Path) -> None:
    rig = room(tmp_path)
    with_past(rig, half)
    through_the_night(rig)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert (event.subject, event.opened_ms, event.closed_ms) == ("ledge", MIDNIGHT_MS, None)
    assert event.sentence.startswith("little dose, 5.0")
    with Store.open(rig.store_path) as store:
        store.begin_run(rig.clock.moment())
        store.readings.append([readings(half, rig.clock.moment().wall_ms, MIDNIGHT_MS + DAY_MS, boot=2)])
    rig.unplug("rock-1")
    rig.clock.advance_ms(DAY_MS)
    rig.start()
    rig.run(AFTER_START_MS / 1000 + 60, step_ms=15_000)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.closed_ms == MIDNIGHT_MS + DAY_MS
    rig.finish()


def test_a_usual_day_is_put_on_record_and_nothing_is_told_of_it(tmp_path: Path) -> None:
    rig = room(tmp_path)
    with_past(rig, steady)
    through_the_night(rig)
    assert rig.events() == []
    with rig.look() as store:
        assert store.judged.through("ledge") == MIDNIGHT_MS
        [row] = store.days.between("ledge", TODAY.isoformat(), TODAY.isoformat())
    assert (row.start_ms, row.end_ms, row.calibration) == (TODAY_MS, MIDNIGHT_MS, calibration().identity)


def test_a_day_is_not_judged_before_what_comes_late_is_in(tmp_path: Path) -> None:
    rig = room(tmp_path)
    with_past(rig, half)
    begin(rig)
    rig.run(1_200 + GRACE_MS / 1000 - 60, step_ms=15_000)
    assert rig.store.judged.through("ledge") == TODAY_MS
    rig.run(120, step_ms=15_000)
    assert rig.store.judged.through("ledge") == MIDNIGHT_MS
    rig.finish()


@pytest.mark.parametrize(
    ("per_week", "kind", "level"),
    [(0.98, EventKind.LAMP_FADING, 1.15), (1.02, EventKind.LAMP_RISING, 2.3)],
)
def test_a_lamp_that_leaves_its_band_soon_is_told(
    tmp_path: Path, per_week: float, kind: EventKind, level: float
) -> None:
    rig = room(tmp_path)
    with_past(rig, lambda day: level * per_week ** (day / 7), days=60)
    through_the_night(rig)
    [event] = of_kind(rig.events(), kind)
    assert event.opened_ms == MIDNIGHT_MS
    assert date.fromisoformat(str(event.evidence["earliest"])) > TODAY
    assert f"{100 * abs(per_week - 1):.0f}." in event.sentence or "1.9" in event.sentence


def test_a_step_is_told_and_ends_when_the_keeper_says_that_the_lamp_was_changed(tmp_path: Path) -> None:
    def stepped(day: int) -> float:
        return 1.8 if day < -5 else 1.4

    rig = room(tmp_path)
    with_past(rig, stepped, days=60)
    through_the_night(rig)
    [event] = of_kind(rig.events(), EventKind.LEVEL_STEPPED)
    assert event.is_open
    changed_on = TODAY + timedelta(days=1)
    with Store.open(rig.store_path) as store:
        store.lamp_changes.add("tube", changed_on, LampChangeKind.DISTANCE, "lowered", MIDNIGHT_MS)
        store.begin_run(rig.clock.moment())
        store.readings.append([readings(stepped, rig.clock.moment().wall_ms, MIDNIGHT_MS + DAY_MS, boot=2)])
    rig.unplug("rock-1")
    rig.clock.advance_ms(DAY_MS)
    rig.start()
    rig.run(AFTER_START_MS / 1000 + 60, step_ms=15_000)
    [event] = of_kind(rig.events(), EventKind.LEVEL_STEPPED)
    assert event.closing == "the lamp was changed since"
    rig.finish()


def test_a_calibration_that_ends_soon_is_told_once(tmp_path: Path) -> None:
    old = replace(calibration(), made_on=TODAY - timedelta(days=340))
    rig = room(tmp_path, CONFIG + "rules = { check_every_days = 0 }\n", calibrations={"ledge": old})
    with_past(rig, steady)
    through_the_night(rig)
    [event] = rig.events()
    assert event.kind is EventKind.CALIBRATION_DUE
    assert event.evidence["left_days"] == 25


def test_days_that_the_daemon_missed_are_judged_in_order_and_days_without_readings_are_not(
    tmp_path: Path,
) -> None:
    def level(day: int) -> float:
        return {-20: 0.5, -19: 1.8, -3: 4.0, -2: 1.8}.get(day, 1.8)

    rig = room(tmp_path, event_message=to_outbox)
    with_past(rig, level, until_ms=TODAY_MS - 18 * DAY_MS)
    with Store.open(rig.store_path) as store:
        store.begin_run(rig.clock.moment())
        store.readings.append([readings(level, TODAY_MS - 3 * DAY_MS, TODAY_MS - 2 * DAY_MS, boot=2)])
        store.judged.set_through("ledge", TODAY_MS - 21 * DAY_MS)
    begin(rig)
    rig.run(AFTER_START_MS / 1000 + 5, step_ms=1_000)
    said = [message.message.payload.decode() for message in rig.store.outbox.pending(99)]
    assert [text for text in said if "dose" in text] == [
        f"opened dose_low.ledge.{TODAY_MS - 19 * DAY_MS}",
        f"closed dose_low.ledge.{TODAY_MS - 19 * DAY_MS}",
        f"opened dose_high.ledge.{TODAY_MS - 2 * DAY_MS}",
    ]
    rig.finish()


def recorded(rig: Rig) -> bytes:
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    for item in rig.traffic:
        writer.write(item)
    return stream.getvalue()


def everything(store: Store) -> tuple[object, ...]:
    """Return all that the nights left behind."""
    history = [store.events.history(event.identity) for event in store.events.between(0, 1 << 52)]
    days = store.days.between("ledge", "2000-01-01", "2100-01-01")
    return history, days, store.judged.through("ledge"), store.judged.standing("ledge")


def test_a_capture_of_some_nights_gives_what_they_gave_when_they_were_live(tmp_path: Path) -> None:
    rig = room(tmp_path, IN_THE_EVENING, at_ms=MIDNIGHT_MS - 3_600_000)
    begin(rig)
    for _ in range(2):
        rig.boards["rock-1"].uvi = 1.5
        rig.run(3_000, step_ms=20_000)
        rig.boards["rock-1"].uvi = 0.0
        rig.run(DAY_MS / 1000 - 3_000, step_ms=120_000)
    rig.run(7_200, step_ms=60_000)
    rig.finish()
    with rig.look() as store:
        live = everything(store)
    for name in ("one.db", "two.db"):
        with Store.open(tmp_path / name) as store:
            for _ in range(2):  # the same again adds nothing
                replay(rig.settings, rig.calibrations, store, io.BytesIO(recorded(rig)))
                assert everything(store) == live
    assert [event.kind for [event, *_] in live[0]][:1] == [EventKind.DOSE_LOW]  # type: ignore[attr-defined]
    assert len(live[1]) == 3  # type: ignore[arg-type]


def test_a_run_that_dies_after_judging_does_not_judge_again_and_one_that_dies_before_does(
    tmp_path: Path,
) -> None:
    rig = room(tmp_path, event_message=to_outbox)
    with_past(rig, half)
    begin(rig)
    rig.run(1_200 + GRACE_MS / 1000 - 60, step_ms=15_000)
    rig.die()
    assert of_kind(rig.events(), EventKind.DOSE_LOW) == []
    for _ in range(2):
        rig.boards["rock-1"].link = None
        begin(rig)
        rig.run(AFTER_START_MS / 1000 + 30, step_ms=15_000)
        rig.die()
    assert len(of_kind(rig.events(), EventKind.DOSE_LOW)) == 1
    with rig.look() as store:
        said = [message.message.payload for message in store.outbox.pending(99)]
    assert [text for text in said if b"dose" in text] == [f"opened dose_low.ledge.{MIDNIGHT_MS}".encode()]


def test_what_was_closed_by_hand_stays_closed_while_its_cause_lasts(tmp_path: Path) -> None:
    def level(day: int) -> float:
        return 0.5 if day in (0, 1, 3) else 1.8

    rig = room(tmp_path)
    with_past(rig, level)
    through_the_night(rig)
    rig.unplug("rock-1")
    with Store.open(rig.store_path) as store:
        [event] = of_kind(store.events.open(), EventKind.DOSE_LOW)
        store.events.put(event.closed(rig.clock.moment().wall_ms, "by hand"))
    for day in (1, 2, 3):
        with Store.open(rig.store_path) as store:
            began_ms = max(MIDNIGHT_MS + (day - 1) * DAY_MS, rig.clock.moment().wall_ms)
            store.begin_run(rig.clock.moment())
            store.readings.append([readings(level, began_ms, MIDNIGHT_MS + day * DAY_MS, boot=1 + day)])
        rig.clock.set_wall_ms(MIDNIGHT_MS + day * DAY_MS + GRACE_MS)
        rig.start()
        rig.run(AFTER_START_MS / 1000 + 30, step_ms=15_000)
        rig.finish()
        n_told = len(of_kind(rig.events(), EventKind.DOSE_LOW))
        assert n_told == (2 if day == 3 else 1)


@pytest.mark.parametrize("synchronised", [True, False])
@pytest.mark.parametrize("jump_ms", [YEAR_MS, 5 * DAY_MS + 7_000_000])
def test_a_clock_that_jumps_ahead_and_back_judges_no_empty_days_and_each_day_once(
    tmp_path: Path, jump_ms: int, synchronised: bool
) -> None:
    rig = room(tmp_path)
    rig.clock.synchronised = synchronised
    with_past(rig, half)
    begin(rig)
    rig.run(900, step_ms=15_000)
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms + jump_ms)
    rig.run(900, step_ms=15_000)
    with rig.look() as store:
        assert (store.judged.through("ledge") or 0) <= rig.clock.moment().wall_ms
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms - jump_ms)
    rig.run(1_800, step_ms=15_000)
    rig.finish()
    assert rig.clock.moment().wall_ms == MIDNIGHT_MS + 2_400_000
    told = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert [event.subject for event in told] == ["ledge"]
    assert all(event.closed_ms is None for event in told)
    with rig.look() as store:
        assert store.judged.through("ledge") == MIDNIGHT_MS
        days = store.days.between("ledge", "2000-01-01", "2100-01-01")
    assert max(row.day for row in days) == TODAY.isoformat()


def test_a_run_that_begins_a_year_ahead_and_is_put_right_later_goes_on_judging(tmp_path: Path) -> None:
    rig = room(tmp_path)
    rig.clock.synchronised = False
    with_past(rig, half)
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms + YEAR_MS)
    begin(rig)
    rig.run(3_000, step_ms=15_000)  # over a midnight of that year
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms - YEAR_MS)
    rig.clock.synchronised = True
    rig.run(1_200, step_ms=15_000)
    rig.finish()
    told = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert [(event.opened_ms, event.is_open) for event in told] == [(MIDNIGHT_MS, True)]


def test_a_spot_that_is_new_is_judged_from_its_first_day_on(tmp_path: Path) -> None:
    rig = room(tmp_path)
    with_past(rig, lambda day: 1.8 if day > -10 else 0.3)
    with Store.open(rig.store_path) as store:
        store._database.execute("DELETE FROM judged")
    through_the_night(rig)
    with rig.look() as store:
        assert store.judged.through("ledge") == MIDNIGHT_MS
    assert {event.opened_ms for event in rig.events()} <= {MIDNIGHT_MS}


def test_a_spot_that_was_taken_out_of_the_configuration_begins_anew_when_it_is_back(tmp_path: Path) -> None:
    rig = room(tmp_path, CONFIG.replace("spot.ledge", "spot.shelf"))
    with Store.open(rig.store_path) as store:
        store.judged.set_through("ledge", TODAY_MS - 90 * DAY_MS)
        store.judged.set_standing("ledge", [StandingRow("dose_low", "", "note")])
    begin(rig)
    rig.finish()
    with rig.look() as store:
        assert store.judged.through("ledge") is None
        assert store.judged.standing("ledge") == []
        assert store.judged.through("shelf") == TODAY_MS


def test_the_day_is_the_keepers(tmp_path: Path) -> None:
    ends_ms = TODAY_MS + 18 * HOUR_MS + 900_000  # midnight in Kathmandu
    rig = room(tmp_path, CONFIG.replace('"UTC"', '"Asia/Kathmandu"'), at_ms=ends_ms - 1_200_000)
    with_past(rig, half, until_ms=ends_ms - 1_200_000)
    with Store.open(rig.store_path) as store:
        store.judged.set_through("ledge", ends_ms - DAY_MS)
    through_the_night(rig)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert (event.opened_ms, event.evidence["date"]) == (ends_ms, TODAY.isoformat())


def test_a_day_that_cannot_be_judged_is_left_and_the_watch_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def failing(*_: object) -> None:
        raise ZeroDivisionError

    rig = room(tmp_path)
    with_past(rig, half)
    monkeypatch.setattr("ingest.day_judging.lamp_view", failing)
    begin(rig)
    rig.run(2_700, step_ms=15_000)
    rig.finish()
    assert len([record for record in caplog.records if record.message == "a day could not be judged"]) == 1
    with rig.look() as store:
        assert store.judged.through("ledge") == MIDNIGHT_MS
        assert store.judged.standing("ledge") == []
        [extent] = [store.readings.extent("rock-1")]
    assert extent is not None
    assert extent[1] >= MIDNIGHT_MS + 1_400_000


def test_a_past_day_that_cannot_be_put_on_record_does_not_end_the_watch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    damaged = TODAY - timedelta(days=3)
    making = DayRecords.making

    def failing(self: DayRecords, spot: str, day: date) -> Generator[int, None, DayRecord | None]:
        if day == damaged:
            raise ZeroDivisionError
        return making(self, spot, day)

    rig = room(tmp_path)
    with_past(rig, half)
    monkeypatch.setattr(DayRecords, "making", failing)
    through_the_night(rig)
    assert "a day could not be put on record" in caplog.messages
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.opened_ms == MIDNIGHT_MS


def test_severity_grows_when_the_forecast_comes_near(tmp_path: Path) -> None:
    rig = room(tmp_path)
    with_past(rig, lambda day: 1.04 * 0.98 ** (day / 7), days=60)
    through_the_night(rig)
    [event] = of_kind(rig.events(), EventKind.LAMP_FADING)
    assert event.severity is Severity.TODAY


def test_readings_are_forgotten_only_once_their_day_is_judged_and_on_record(tmp_path: Path) -> None:
    rig = room(tmp_path, CONFIG.replace("[bridge]", "[bridge]\nraw_keep_days = 1"))
    with_past(rig, half, days=0)
    began_ms = TODAY_MS - 5 * DAY_MS
    with Store.open(rig.store_path) as store:
        store.begin_run(Moment(0, began_ms, True))
        record_assignments(store, rig.settings, rig.calibrations, began_ms)
        for day in range(5):
            from_ms = began_ms + day * DAY_MS
            store.readings.append([readings(half, from_ms, from_ms + DAY_MS, boot=10 + day)])
        store.judged.set_through("ledge", TODAY_MS - 3 * DAY_MS)
    begin(rig)
    assert rig.bridge._nightly.keep_from_ms() == TODAY_MS - 3 * DAY_MS - 300_000
    rig.run(4 * 3_600, step_ms=15_000)
    rig.finish()
    with rig.look() as store:
        extent = store.readings.extent("rock-1")
        rows = store.days.between("ledge", "2000-01-01", "2100-01-01")
    assert extent is not None
    assert extent[0] == TODAY_MS
    assert [row.day for row in rows] == [(TODAY - timedelta(days=n)).isoformat() for n in (5, 4, 3, 2, 1, 0)]


@pytest.mark.parametrize("bulk", [False, True])
def test_a_step_of_the_clock_in_a_capture_makes_no_spot_check_due(tmp_path: Path, bulk: bool) -> None:
    settings = room(tmp_path).settings
    with Store.open(tmp_path / "other.db") as store:
        store.begin_run(Moment(0, TODAY_MS, True))
        record_assignments(store, settings, {"ledge": calibration()}, TODAY_MS)
        nightly = Nightly(store, settings, {"ledge": calibration()}, TODAY_MS, bulk=bulk)
        with store.transaction():
            nightly.restamp(HOUR_MS, TODAY_MS + HOUR_MS)
            ended = nightly.step(TODAY_MS + 2 * HOUR_MS)
        assert any(not each.of_this_run for each in ended) != bulk
