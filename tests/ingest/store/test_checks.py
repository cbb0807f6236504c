from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.clock import Moment
from ingest.store.checks import CheckRecord
from ingest.store.database import Database
from ingest.store.errors import StoreError
from ingest.store.migrations import MIGRATIONS
from ingest.store.store import Store

CHECK = CheckRecord(
    spot="slate",
    from_ms=1_750_000_000_000,
    at_ms=1_750_000_030_000,
    reference_uvi=1.9,
    u_reading_uvi=0.04,
    u_meter_uvi=0.11,
    same_meter=True,
    uvi=2.01,
    u_uvi=0.12,
    u_random_uvi=0.01,
    n=30,
    flags=64,
    calibration="d5cd7e5deca5d9a9",
    ratio=0.945,
    u_ratio=0.04,
    e_n=0.7,
)


def test_a_check_comes_back_as_it_was_made(store: Store) -> None:
    number = store.checks.add(CHECK)
    assert store.checks.of("slate") == [replace(CHECK, check_id=number)]
    assert store.checks.of("crevice") == []


def test_checks_are_in_order_of_time(store: Store) -> None:
    late = store.checks.add(replace(CHECK, at_ms=CHECK.at_ms + 7 * 86_400_000))
    early = store.checks.add(CHECK)
    assert [check.check_id for check in store.checks.of("slate")] == [early, late]


def test_a_withdrawn_check_stays_on_record(store: Store) -> None:
    number = store.checks.add(CHECK)
    store.checks.withdraw("slate", number)
    assert [check.withdrawn for check in store.checks.of("slate")] == [True]
    with pytest.raises(StoreError, match="no check"):
        store.checks.withdraw("slate", number)
    with pytest.raises(StoreError, match="no check"):
        store.checks.withdraw("crevice", number)


def test_a_check_is_added_beside_a_daemon(store: Store, store_path: Path) -> None:
    with Store.open(store_path) as other:
        other.checks.add(CHECK)
    assert len(store.checks.of("slate")) == 1


def test_a_store_from_before_there_were_checks_gets_them(store_path: Path, moment: Moment) -> None:
    with Store.open(store_path) as store:
        store.begin_run(moment)
    before = [migration.name for migration in MIGRATIONS].index("spot checks")
    database = Database.connect(store_path, read_only=False)
    with database.transaction():
        database.execute("DROP TABLE spot_check")
        database.execute("DELETE FROM migration WHERE version > ?", (before,))
        database.execute(f"PRAGMA user_version = {before}")
    database.close()
    if len(MIGRATIONS) == before + 1:
        with Store.open(store_path) as store:
            store.checks.add(CHECK)
            assert len(store.checks.of("slate")) == 1
