"""The months that a report is offered of."""

from datetime import date
from pathlib import Path

from baskline.page.months import months_with_readings
from exposure.days import local_date
from ingest.day_records import DayRecords
from tests.baskline.page.rooms import PageRoom

DAY_MS = 86_400_000


def test_months_in_which_nothing_was_read_are_left_out(tmp_path: Path) -> None:
    room = PageRoom(tmp_path)
    room.watch()
    room.pass_s(600)
    room.clock.advance_ms(220 * DAY_MS)  # over the turn of the year
    room.pass_s(600)
    assert months_with_readings(room.store, room.config) == [date(2027, 1, 1), date(2026, 5, 1)]
    room.stop_watching()


def test_a_month_on_record_is_offered_when_its_readings_are_forgotten(tmp_path: Path) -> None:
    room = PageRoom(tmp_path)
    room.watch()
    room.pass_s(7200)
    day = local_date(room.now_ms, "Europe/Vienna")
    for record in (records := DayRecords(room.store, room.config)).of("ledge", day, day):
        records.keep(record)
    room.clock.advance_ms(100 * DAY_MS)
    room.store.readings.forget_before(room.now_ms)
    assert months_with_readings(room.store, room.config) == [date(2026, 5, 1)]
    room.stop_watching()
