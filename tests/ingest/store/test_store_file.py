"""The file itself: formats, refusals, locks."""

import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.clock import Moment
from ingest.store.errors import StoreError
from ingest.store.lock import is_held
from ingest.store.migrations import MIGRATIONS, Migration
from ingest.store.store import Store


def test_a_new_store_has_every_migration_on_record(store: Store) -> None:
    rows = store._database.rows("SELECT version, name FROM migration ORDER BY version")
    assert rows == [(place, step.name) for place, step in enumerate(MIGRATIONS, start=1)]
    assert store._database.row("PRAGMA journal_mode") == ("wal",)


def test_an_older_store_is_brought_up_to_date(store_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Store.open(store_path).close()
    step = Migration("a later idea", ("CREATE TABLE later (idea TEXT) STRICT",))
    monkeypatch.setattr("ingest.store.schema.MIGRATIONS", (*MIGRATIONS, step))
    with Store.open(store_path) as store:
        assert store._database.rows("SELECT * FROM later") == []
        assert store._database.row("PRAGMA user_version") == (len(MIGRATIONS) + 1,)


def test_a_migration_that_fails_leaves_the_store_as_it_was(
    store_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(store_path).close()
    step = Migration(
        "half an idea", ("CREATE TABLE half (idea TEXT) STRICT", "CREATE TABLE half (idea TEXT)")
    )
    with monkeypatch.context() as patched:
        patched.setattr("ingest.store.schema.MIGRATIONS", (*MIGRATIONS, step))
        with pytest.raises(StoreError, match="half"):
            Store.open(store_path)
    with Store.open(store_path) as store:
        assert store._database.row("SELECT count(*) FROM sqlite_schema WHERE name = 'half'") == (0,)
        assert store._database.row("PRAGMA user_version") == (len(MIGRATIONS),)


def test_a_store_of_a_newer_version_is_refused_and_left_alone(store_path: Path) -> None:
    Store.open(store_path).close()
    with sqlite3.connect(store_path) as raw:
        raw.execute("PRAGMA user_version = 99")
    raw.close()
    before = store_path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(StoreError, match=r"format 99.*newer version"):
            Store.open(store_path, read_only=read_only)
    assert store_path.read_bytes() == before


def test_an_older_store_opened_for_reading_asks_for_the_daemon(
    store_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(store_path).close()
    monkeypatch.setattr("ingest.store.store.MIGRATIONS", (*MIGRATIONS, Migration("later", ())))
    with pytest.raises(StoreError, match="Start the daemon once"):
        Store.open(store_path, read_only=True)


def test_a_file_that_is_no_database_is_refused_and_left_alone(store_path: Path) -> None:
    store_path.write_text("spot = 'ledge'\n" * 100)
    before = store_path.read_bytes()
    with pytest.raises(StoreError, match="not an SQLite database"):
        Store.open(store_path)
    assert store_path.read_bytes() == before


def test_a_strangers_database_is_refused_and_left_alone(store_path: Path) -> None:
    with sqlite3.connect(store_path) as raw:
        raw.execute("CREATE TABLE recipes (title TEXT)")
    raw.close()
    before = store_path.read_bytes()
    with pytest.raises(StoreError, match="belongs to something else"):
        Store.open(store_path)
    assert store_path.read_bytes() == before


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no folder .*/nowhere"):
        Store.open(tmp_path / "nowhere" / "baskline.db")


def test_a_folder_is_not_a_store(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="this is a folder"):
        Store.open(tmp_path)


def test_reading_a_store_that_does_not_exist_does_not_make_one(store_path: Path) -> None:
    with pytest.raises(StoreError, match="no store yet"):
        Store.open(store_path, read_only=True)
    assert not store_path.exists()


def test_a_store_opened_for_reading_refuses_to_write(store: Store, store_path: Path, moment: Moment) -> None:
    with Store.open(store_path, read_only=True) as reader:
        with pytest.raises(StoreError, match="only for reading"):
            reader.cursors.set("mirror", 1)
        assert reader.cursors.get("mirror") == 0


def test_a_second_daemon_is_refused_until_the_first_has_gone(store_path: Path, moment: Moment) -> None:
    assert not is_held(store_path)
    first = Store.open(store_path)
    first.begin_run(moment)
    assert is_held(store_path)
    with Store.open(store_path) as second:
        with pytest.raises(StoreError, match=rf"another daemon .*process {os.getpid()}"):
            second.begin_run(moment)
        second.cursors.set("mirror", 3)  # all but appending is allowed
        first.close()
        assert not is_held(store_path)
        assert second.begin_run(moment) == 2


def test_a_full_disk_is_said_and_loses_nothing(store: Store) -> None:
    store.calibrations.put("before", "kept")
    (pages,) = store._database.row("PRAGMA page_count") or (0,)
    store._database.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreError, match=r"the disk is full\. Free some space"):
        store.calibrations.put("too much", "x" * 100_000)
    store._database.execute("PRAGMA max_page_count = 1000000")
    assert store.calibrations.identities() == ["before"]
    store.calibrations.put("after", "works again")


def test_what_makes_sqlite_end_a_snapshot_is_said_and_not_that_it_has_ended(store: Store) -> None:
    def fill_the_disk() -> None:
        with store._database.snapshot():
            store._database.execute("ROLLBACK")  # as SQLite does by itself then
            raise StoreError("the disk is full")

    with pytest.raises(StoreError, match="the disk is full"):
        fill_the_disk()


def test_a_disk_that_can_only_be_read_is_told_from_a_want_of_rights(
    store_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(store_path).close()
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(StoreError, match="this user may not read"):
        Store.open(store_path)
    disk = os.statvfs(store_path.parent)
    fields = [*disk[:8], disk.f_flag | os.ST_RDONLY, disk.f_namemax]
    monkeypatch.setattr(os, "statvfs", lambda _: os.statvfs_result(fields))
    with pytest.raises(StoreError, match=r"can only be read.*copy the store"):
        Store.open(store_path)


def test_a_locked_store_is_said(store: Store, store_path: Path) -> None:
    with Store.open(store_path) as other, other.transaction():
        store._database.execute("PRAGMA busy_timeout = 10")
        with pytest.raises(StoreError, match="another program has been writing"):
            store.cursors.set("mirror", 1)
    store.cursors.set("mirror", 2)
    assert store.cursors.get("mirror") == 2


def test_a_damaged_store_is_said(store_path: Path) -> None:
    Store.open(store_path).close()
    whole = bytearray(store_path.read_bytes())
    whole[4096:] = b"\xff" * (len(whole) - 4096)
    store_path.write_bytes(whole)
    with pytest.raises(StoreError, match=r"damaged.*backup"), Store.open(store_path) as store:
        store.calibrations.identities()


# Rights do not bind root, so these run as somebody else where the tests run as root: who may not read this
# Python, so that what pathlib imports only when it is asked for an URI comes before.
_WITHOUT_RIGHTS = """
import os, sys, urllib.parse
from pathlib import Path
from ingest.store.errors import StoreError
from ingest.store.store import Store
if os.geteuid() == 0:
    os.setuid(65534)
try:
    Store.open(Path(sys.argv[1]), read_only=sys.argv[2] == "read")
except StoreError as error:
    print(error)
"""


@pytest.fixture
def locked_folder() -> Iterator[Path]:
    """A folder with a store, both readable to all and writable to none but root; no daemon runs."""
    with tempfile.TemporaryDirectory(prefix="baskline-") as name:
        folder = Path(name)
        Store.open(folder / "baskline.db").close()
        (folder / "baskline.db").chmod(0o444)
        folder.chmod(0o555)
        yield folder
        folder.chmod(0o755)


@pytest.mark.parametrize(
    ("way", "said"), [("write", "may not read and write the store"), ("read", "start the daemon")]
)
def test_a_store_without_the_rights_to_it_says_which(locked_folder: Path, way: str, said: str) -> None:
    command = [sys.executable, "-c", _WITHOUT_RIGHTS, str(locked_folder / "baskline.db"), way]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.stderr == ""
    assert said in done.stdout


def test_closing_ends_use(store_path: Path) -> None:
    store = Store.open(store_path)
    store.close()
    with pytest.raises(StoreError, match="closed"):
        store.cursors.get("mirror")
