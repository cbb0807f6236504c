"""Days before the one that is judged, put on record where that is missing."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from firmware_host.clock import Moment
from ingest.assigning import record_assignments
from ingest.day_records import DayRecords
from ingest.days_before import DaysBefore
from ingest.store.store import Store
from tests.ingest.nights import MIDNIGHT_MS, TODAY_MS, readings, steady
from tests.ingest.rig import HOUR_MS, TODAY, calibration, config


def test_a_day_whose_readings_turn_out_to_be_of_its_edges_alone_is_not_made_for_ever(tmp_path: Path) -> None:
    put_up_ms = TODAY_MS - 4 * HOUR_MS
    with Store.open(tmp_path / "s.db") as store:
        store.begin_run(Moment(0, TODAY_MS, True))
        all_day = readings(steady, put_up_ms - HOUR_MS, MIDNIGHT_MS)
        kept = (all_day.utc_ms < put_up_ms - 600_000) | (all_day.utc_ms >= TODAY_MS + 120_000)
        columns = {name: getattr(all_day, name)[kept] for name in ("seq", "utc_ms", "values", "marks")}
        store.readings.append([replace(all_day, **columns)])
        record_assignments(store, config(), {"ledge": calibration()}, put_up_ms)
        yesterday = TODAY - timedelta(days=1)
        records = DayRecords(store, config())
        assert records.unkept("ledge", yesterday, yesterday) == [yesterday]
        assert records.derive("ledge", yesterday) is None
        before = DaysBefore(store, config(), records)
        steps = 0
        while before.kept_some("ledge", TODAY):
            steps += 1
            assert steps < 10
        assert records.of("ledge", yesterday, yesterday) == []
