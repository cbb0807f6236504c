"""`baskline export`: files that are whole or not there, and mistakes told in one line."""

import csv
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest
import typer

from baskline.app import app
from exposure.days import day_bounds
from firmware_host.clock import Moment
from ingest.assigning import read_calibrations, record_assignments
from ingest.export.tables import COLUMNS, What
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from tests.baskline.making import (
    PROGRAM,
    VIENNA,
    baskline,
    demo_folder,
    environment,
    fill,
    half_sine,
    room,
    said_here,
)

DAY = date(2025, 5, 17)
HELP = typer.main.get_command(app).commands["export"].help
EXAMPLES = [line.strip() for line in HELP.splitlines() if line.strip().startswith("baskline ")]


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return demo_folder(tmp_path_factory)


@pytest.fixture
def garden(tmp_path) -> Path:
    """A folder with a room that has one day of readings each minute."""
    config = room(tmp_path / "garden")
    fill(config, DAY, half_sine(3.0, 8.0, 12.0), every_s=60.0)
    return tmp_path / "garden"


def files(folder):
    """The files of a folder, but for those by which SQLite lets several read at once."""
    return sorted(path.name for path in folder.iterdir() if not path.name.startswith("baskline.db-"))


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.parametrize("line", EXAMPLES)
def test_the_examples_in_the_help_work(demo, tmp_path, line):
    demo = shutil.copytree(demo, tmp_path / "demo")
    said = said_here(*shlex.split(line)[1:], folder=demo)
    assert (said.code, said.err) == (0, "")
    assert said.out


@pytest.mark.parametrize("what", What)
def test_every_table_goes_to_standard_output_with_its_documented_names(demo, what):
    said = said_here("export", what, "--from", "2025-05-10", folder=demo)
    assert (said.code, said.err) == (0, "")
    names = said.out.splitlines()[0].split(",")
    assert names[: len(COLUMNS[what])] == [column.name for column in COLUMNS[what]]
    if what not in (What.CHECKS, What.LAMP_CHANGES):  # the demo need not have any
        assert len(rows_of(said.out)) > 0


def test_samples_are_those_that_day_prints(demo):
    printed = rows_of(said_here("day", "slate", "--date", "2025-05-17", "--csv", folder=demo).out)
    words = ("export", "samples", "--spot", "slate", "--from", "2025-05-17", "--to", "2025-05-17")
    exported = rows_of(said_here(*words, folder=demo).out)
    assert len(exported) == len(printed) > 8_000
    for ours, theirs in zip(exported, printed, strict=True):
        assert (ours["time_utc"], ours["flags"]) == (theirs["time_utc"], theirs["flags"])
        assert float(ours["uvi"]) == pytest.approx(float(theirs["uvi"]), abs=6e-5)
        assert float(ours["u_uvi"]) == pytest.approx(float(theirs["u_uvi"]), abs=6e-5)


def test_days_are_those_that_day_prints(demo):
    printed = json.loads(said_here("day", "fern", "--date", "2025-05-17", "--json", folder=demo).out)
    words = ("export", "days", "--spot", "fern", "--from", "2025-05-17", "--to", "2025-05-17")
    (exported,) = rows_of(said_here(*words, folder=demo).out)
    same = printed.keys() & exported.keys()
    assert {"dose_sed", "u_peak_uvi", "hours_above_ceiling", "coverage", "lit_threshold_uvi"} <= same
    for name in same - {"date", "time_zone", "spot", "at_least", "peak_at", "gaps"}:
        assert float(exported[name]) == pytest.approx(printed[name], abs=6e-5), name


def test_a_parquet_file_says_where_it_is_from(garden):
    said = said_here("export", "samples", "-o", "s.parquet", folder=garden)
    assert re.fullmatch(r"s\.parquet: samples, 1440 rows, \d+\.\d kB\n", said.out)
    metadata = pyarrow.parquet.read_schema(garden / "s.parquet").metadata
    about = {key.decode(): value.decode() for key, value in metadata.items() if key.startswith(b"baskline.")}
    with Store.open(garden / "baskline.db", read_only=True) as store:
        identities = store.calibrations.identities()
    assert json.loads(about["baskline.calibrations"]) == {"ledge": identities}
    assert (about["baskline.site"], about["baskline.bridge"]) == ("test", "room")
    assert about["baskline.table"] == "samples"
    assert about["baskline.time_zone"] == VIENNA
    assert re.fullmatch(r"\d+\.\d+\.\d+\S*", about["baskline.version"])
    assert about["baskline.from"] == "1970-01-01T00:00:00.000Z"


def test_the_format_is_that_of_the_ending_or_the_one_that_is_said(garden):
    assert said_here("export", "days", "-o", "d.CSV", folder=garden).code == 0
    assert said_here("export", "days", "-o", "d.txt", "--format", "csv", folder=garden).code == 0
    assert (garden / "d.CSV").read_bytes() == (garden / "d.txt").read_bytes()
    assert b"\r" not in (garden / "d.txt").read_bytes()
    assert said_here("export", "days", "-o", "d.dat", "--format", "parquet", folder=garden).code == 0
    assert pyarrow.parquet.read_table(garden / "d.dat").num_rows == 1


def test_a_hyphen_is_standard_output(garden):
    assert said_here("export", "days", "-o", "-", folder=garden) == said_here("export", "days", folder=garden)
    assert not (garden / "-").exists()


def test_a_board_may_be_named_by_its_key_or_its_identity(garden):
    by_key = said_here("export", "readings", "--board", "rock", folder=garden)
    by_identity = said_here("export", "readings", "--board", "rock-1", folder=garden)
    assert by_key == by_identity
    assert len(rows_of(by_key.out)) == 1440


def test_a_file_that_is_there_is_left_alone_unless_said_so(garden):
    (garden / "d.csv").write_text("mine")
    said = said_here("export", "days", "-o", "d.csv", folder=garden)
    assert said.code == 1
    assert "d.csv: this file is there already. Name another, or say --overwrite" in said.err
    assert (garden / "d.csv").read_text() == "mine"
    assert said_here("export", "days", "-o", "d.csv", "--overwrite", folder=garden).code == 0
    assert (garden / "d.csv").read_text().startswith("spot,date,")


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("days", "-o", "d.xls"), 2, "'d.xls' ends in neither .csv nor .parquet"),
        (("days", "-o", "d"), 2, "ends in neither"),
        (("days", "--format", "parquet"), 2, "Parquet goes only into a file"),
        (("days", "--format", "xls"), 2, "xls"),
        (("weather",), 2, "weather"),
        (("readings", "--spot", "ledge"), 2, "readings are not of a spot"),
        (("samples", "--board", "rock"), 2, "samples are not of a board"),
        (("lamp-changes", "--spot", "ledge"), 2, "lamp-changes are not of a spot"),
        (("days", "--from", "17.5.2025"), 2, "'17.5.2025' is not a date"),
        (("days", "--to", "0001-01-01"), 2, "no readings can be from 1"),
        (("days", "--from", "2025-05-18", "--to", "2025-05-17"), 2, "2025-05-17 is before 2025-05-18"),
        (("days", "--spot", "legde"), 1, "there is no spot 'legde'. Did you mean 'ledge'?"),
        (("readings", "--board", "rokc"), 1, "there is no board 'rokc'. Did you mean 'rock'?"),
        (("days", "-o", "no/where.csv"), 1, "cannot be written (No such file or directory)"),
        (("days", "-o", "folder.csv"), 1, "this is a folder"),
        (("days", "--store", "none.db"), 1, "there is no store yet"),
    ],
)
def test_a_mistake_is_told_in_one_line_and_leaves_nothing(garden, words, code, told):
    (garden / "folder.csv").mkdir()
    before = files(garden)
    said = said_here("export", *words, folder=garden)
    assert said.code == code
    assert told in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""
    assert files(garden) == before


def test_without_the_library_for_parquet_the_line_to_type_is_said(garden, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    said = said_here("export", "days", "-o", "d.parquet", folder=garden)
    assert said.code == 1
    assert "pip install 'baskline[parquet]'" in said.err
    assert not (garden / "d.parquet").exists()
    assert said_here("export", "days", "-o", "d.csv", folder=garden).code == 0


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_full_disk_leaves_no_half_of_a_file_and_the_old_one_as_it_was(tmp_path, form):
    config = room(tmp_path)
    fill(config, DAY, half_sine(3.0, 8.0, 12.0), every_s=5.0)
    target = tmp_path / f"s.{form}"
    target.write_text("the old one")
    # No file may grow beyond 80 blocks of 512 bytes: as far as the program can tell, the disk is full.
    limit = ("sh", "-c", 'ulimit -f 80; trap "" XFSZ; exec "$@"', "sh")
    said = baskline("export", "samples", "-o", target, "--overwrite", folder=tmp_path, before=limit)
    assert said.code == 1
    assert said.err.startswith(f"baskline: {target}: cannot be written (")
    assert target.read_text() == "the old one"
    assert [path.name for path in tmp_path.iterdir() if "partial" in path.name] == []


def test_ctrl_c_leaves_no_half_of_a_file(garden):
    interrupting = (
        "import ingest.export.csv_rows as rows\n"
        "def interrupted(table, stream):\n"
        "    stream.write('half a line')\n"
        "    raise KeyboardInterrupt\n"
        "rows.write_csv = interrupted\n"
        "from baskline.app import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", interrupting, "export", "days", "-o", "d.csv"],
        cwd=garden,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 130
    assert [path.name for path in garden.iterdir() if "d.csv" in path.name] == []


def test_a_reader_that_leaves_early_is_no_mistake(garden):
    command = f"{shlex.join([*PROGRAM, 'export', 'samples'])} | head -n 1"
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", command],
        cwd=garden,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("time_utc,spot,uvi")


def test_an_export_beside_a_running_daemon_is_not_in_its_way(garden):
    with Store.open(garden / "baskline.db") as store:
        store.begin_run(Moment(0, day_bounds(DAY, VIENNA).end_ms, synchronised=True))
        with store.transaction():
            said = baskline("export", "readings", folder=garden)
    assert (said.code, said.err) == (0, "")
    assert len(rows_of(said.out)) == 1440


_MEASURED = (
    "import resource, sys\n"
    "from baskline.app import main\n"
    "try:\n"
    "    main()\n"
    "finally:\n"
    "    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\n"
)


@pytest.mark.parametrize("name", ["s.csv", "s.parquet"])
def test_a_longer_time_needs_no_more_memory(tmp_path, name):
    config = room(tmp_path)
    n_days, start_ms = 16, day_bounds(DAY, VIENNA).start_ms
    with Store.open(config.bridge.store) as store:
        store.begin_run(Moment(0, start_ms, synchronised=True))
        record_assignments(store, config, read_calibrations(config), start_ms)
        for number in range(n_days):
            seq = np.arange(86_400, dtype=np.int64) + number * 86_400
            counts = 1500.0 + (seq % 7)[:, np.newaxis]
            store.readings.append(
                [
                    StampedBatch(
                        "rock-1",
                        "0a1b2c3d",
                        ("uva_counts",),
                        seq,
                        start_ms + 1000 * seq,
                        counts,
                        np.zeros(86_400, np.uint32),
                    )
                ]
            )

    def peak_kb(*words):
        done = subprocess.run(
            [sys.executable, "-c", _MEASURED, "export", "samples", "-o", name, "--overwrite", *words],
            cwd=tmp_path,
            env=environment(),
            capture_output=True,
            text=True,
            timeout=90,
        )
        assert done.returncode == 0, done.stderr
        return int(done.stderr), done.stdout

    few_kb, few = peak_kb("--to", "2025-05-20")
    many_kb, many = peak_kb()
    assert f"{4 * 86_400} rows" in few
    assert f"{n_days * 86_400} rows" in many
    # A million samples more are 40 MB as bare arrays, and some hundreds of MB as text.
    assert many_kb - few_kb < 25_000


def test_a_terminal_sees_how_far_it_is(garden):
    import pty

    terminal, other = pty.openpty()
    process = subprocess.Popen(
        [*PROGRAM, "export", "samples", "-o", "s.csv"],
        cwd=garden,
        env=environment(TERM="xterm", COLUMNS="80"),
        stdout=other,
        stderr=other,
    )
    os.close(other)
    seen = b""
    while True:
        try:
            piece = os.read(terminal, 4096)
        except OSError:  # so a pseudo-terminal says that all have left
            break
        if not piece:
            break
        seen += piece
    os.close(terminal)
    assert process.wait(30) == 0
    assert b"ledge" in seen
    assert b"s.csv: samples, 1440 rows" in seen
