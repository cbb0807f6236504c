"""A keeper's mistake gives one line that says what to do, and never a traceback."""

import os
import shlex
import shutil
import sqlite3
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from ingest.store.migrations import MIGRATIONS
from tests.baskline.making import PROGRAM, baskline, environment, fill, half_sine, room, said_here

DAY = date(2025, 5, 17)


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("room")
    fill(room(folder), DAY, half_sine(2.5, 7, 11), every_s=60)
    return folder


@pytest.fixture
def home(filled, tmp_path) -> Path:
    """A room with a day in it, to be spoilt."""
    return Path(shutil.copytree(filled, tmp_path / "home"))


def refused(said, code, *words):
    """One line on standard error, which has these words; nothing else."""
    assert said.code == code, said
    assert said.out == ""
    assert "Traceback" not in said.err
    assert said.err.startswith("baskline: ")
    assert said.err.count("\n") == 1, said.err
    for word in words:
        assert word in said.err


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["dya"], "Did you mean 'day'?"),
        (["day"], "Missing argument 'SPOT'"),
        (["day", "ledge", "fern"], "unexpected extra argument"),
        (["day", "ledge", "--jsno"], "No such option: --jsno"),
        (["day", "ledge", "--json", "--csv"], "give one of them"),
        (["day", "ledge", "--date", "17.5.2025"], "write it as 2025-05-17"),
        (["day", "ledge", "--date", "2025-02-30"], "'2025-02-30' is not a date"),
        (["day", "ledge", "--date", "0001-01-01"], "no readings can be from 1"),
        (["day", "ledge", "--date", "9999-12-31"], "no readings can be from 9999"),
        (["day", "ledge", "--chart", "day.gif"], "end the name with .png, .svg, .pdf"),
        (["day", "ledge", "--chart", "day"], "a file without an ending"),
        (["boards", "--seconds", "soon"], "valid number"),
        (["boards", "--seconds", "0"], "greater than or equal to 1"),
        (["boards", "--seconds", "inf"], "less than or equal to 86400"),
        (["check", "--seconds", "inf"], "less than or equal to 86400"),
        (["listen", "--seconds", "inf"], "less than or equal to 86400"),
        (["flash", "--seconds", "inf"], "less than or equal to 86400"),
        (["events", "--days", "0"], "greater than or equal to 1"),
        (["replay"], "Missing argument 'CAPTURE'"),
        (["export"], "Missing argument 'WHAT'. Choose from: readings, samples"),
        (["acknowledge"], "Missing argument 'EVENT|SPOT'"),
    ],
    ids=" ".join,
)
def test_wrong_use_ends_with_2_and_names_the_help(home, words, named):
    refused(said_here(*words, folder=home), 2, named, "--help")


def test_no_command_at_all_gives_the_help(tmp_path):
    said = said_here(folder=tmp_path)
    assert said.code == 2
    assert "Commands:" in said.err


@pytest.mark.parametrize("words", [["day", "ledge"], ["events"], ["run"], ["acknowledge", "x"]], ids=" ".join)
def test_a_missing_configuration_is_named(tmp_path, words):
    refused(said_here(*words, folder=tmp_path), 1, "baskline.toml: there is no such file")


def test_a_configuration_named_by_the_keeper_must_be_there_for_boards(tmp_path):
    refused(said_here("boards", "-c", "mine.toml", folder=tmp_path), 1, "mine.toml", "Check the name")


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[bridge\n", "line 1: not valid TOML"),
        ('[bridge]\nsite = "a"\nname = "b"\ntime_zone = "Europe/Vienna"\nstroe = "x.db"\n', "store"),
        ("\xff".encode("latin-1"), "not UTF-8"),
    ],
    ids=["broken", "unknown key", "not text"],
)
def test_a_bad_configuration_is_explained(tmp_path, text, named):
    (tmp_path / "baskline.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    refused(said_here("events", folder=tmp_path), 1, "baskline.toml", named)


def test_several_mistakes_in_a_configuration_are_all_said(home):
    text = (home / "baskline.toml").read_text()
    (home / "baskline.toml").write_text(text.replace("distance_cm = 30.0", "distance = 30.0\nkind_of = 1"))
    said = said_here("events", folder=home)
    assert said.code == 1
    assert "3 things to put right" in said.err
    assert len(said.err.splitlines()) == 4
    assert "Traceback" not in said.err


def test_an_unknown_spot_gives_the_nearest_name(home):
    refused(said_here("day", "lege", folder=home), 1, "there is no spot 'lege'. Did you mean 'ledge'?")


@pytest.mark.parametrize("words", [["day", "ledge"], ["events"]], ids=" ".join)
def test_a_missing_store_is_named(home, words):
    refused(said_here(*words, "--store", "none.db", folder=home), 1, "none.db: there is no store yet")


@pytest.mark.parametrize("words", [["day", "ledge"], ["events"], ["acknowledge", "x"]], ids=" ".join)
def test_a_store_of_a_newer_version_is_left_alone(home, words):
    with sqlite3.connect(home / "baskline.db") as database:
        database.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    database.close()
    refused(said_here(*words, folder=home), 1, "newer version")


def test_something_else_than_a_store_is_refused(home):
    refused(said_here("day", "ledge", "--store", "baskline.toml", folder=home), 1, "not a store")
    with sqlite3.connect(home / "other.db") as database:
        database.execute("CREATE TABLE recipe (name TEXT)")
    database.close()
    refused(said_here("events", "--store", "other.db", folder=home), 1, "belongs to something else")


def test_a_store_without_any_reading_says_where_to_look(home):
    (home / "baskline.db").unlink()
    said_here("acknowledge", "x", folder=home)  # makes an empty store
    refused(said_here("day", "ledge", folder=home), 1, "no reading of board rock-1", "baskline check")


def test_acknowledging_what_never_happened_says_how_to_find_events(home):
    refused(said_here("acknowledge", "x.y.1", folder=home), 1, "no event 'x.y.1'", "baskline events")


def test_damaged_readings_are_left_out_and_said_once(home):
    with sqlite3.connect(home / "baskline.db") as database:
        changed = database.execute("UPDATE tail SET data = x'00'").rowcount
        changed += database.execute("UPDATE chunk SET data = x'00'").rowcount
    database.close()
    assert changed > 0
    said = said_here("day", "ledge", "--date", "2025-05-17", "--json", folder=home)
    assert said.code == 0
    assert '"dose_uvi_h": null' in said.out
    assert said.err.startswith("baskline: left out: a row of readings is damaged: board rock-1")
    assert said.err.count("\n") == 1


def test_a_missing_extra_says_how_to_install_it(home):
    hidden = "import sys; sys.modules['vl_convert'] = None; from baskline.app import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", hidden, "day", "ledge", "--chart", "day.png"],
        cwd=home,
        env=environment(),
        capture_output=True,
        text=True,
    )
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "drawing needs the package vl_convert" in done.stderr
    assert "pip install 'baskline[charts]'" in done.stderr


def test_the_demo_does_without_charts_where_they_cannot_be_drawn(tmp_path, monkeypatch):
    from baskline import demo

    monkeypatch.setitem(sys.modules, "vl_convert", None)
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.5, 7, 11), every_s=600)
    said = []
    monkeypatch.setattr(demo, "say", lambda _words, line: said.append(line))
    demo._draw([_day(config)], config, tmp_path, demo.console())
    assert said == [
        f"No chart: {tmp_path}/day-ledge.png: drawing needs the package vl_convert. "
        "Install it with `pip install 'baskline[charts]'`"
    ]


def _day(config):
    from ingest.day import spot_day
    from ingest.store.store import Store

    with Store.open(config.bridge.store, read_only=True) as store:
        spot = config.spots["ledge"]
        return spot_day(
            store, "ledge", DAY, board="rock-1", time_zone=config.bridge.time_zone, band_now=spot.band()
        )


def test_a_chart_goes_only_where_it_can(home):
    refused(said_here("day", "ledge", "--chart", "no/day.png", folder=home), 1, "no/day.png", "another place")
    (home / "dir.png").mkdir()
    refused(said_here("day", "ledge", "--chart", "dir.png", folder=home), 1, "dir.png", "another place")


def test_a_capture_file_that_is_there_is_never_written_over(home):
    (home / "may.capture").write_text("the only copy")
    said = baskline("run", "--capture", "may.capture", folder=home)
    assert said.code == 1
    assert said.err.count("\n") == 1
    assert "may.capture: there is a file of that name already" in said.err
    assert (home / "may.capture").read_text() == "the only copy"


@pytest.mark.parametrize(
    ("content", "named"),
    [
        (b"not a capture\n", "not a capture file"),
        (b"", "not a capture file"),
        (b"baskline capture 99\n", "version"),
        (b"baskline capture 1\nnonsense\nand more\n", "damaged"),
        (b"baskline capture 1\n", "holds nothing"),
    ],
    ids=["other", "empty", "newer", "damaged", "nothing in it"],
)
def test_a_file_that_cannot_be_replayed_says_why(home, content, named):
    from firmware_host import capture

    content = content.replace(b"baskline capture 1\n", capture._FIRST_LINE)
    content = content.replace(b"baskline capture ", capture._NAME)
    (home / "x.capture").write_bytes(content)
    refused(said_here("replay", "x.capture", "--store", "x.db", folder=home), 1, "x.capture", named)


def test_a_replay_into_the_configured_store_is_refused(home):
    said = said_here("replay", "x.capture", "--store", "./baskline.db", folder=home)
    refused(said, 1, "the configured store")


@pytest.mark.parametrize("words", [["replay", ".", "--store", "x.db"], ["replay", "nix", "--store", "x.db"]])
def test_a_capture_that_cannot_be_opened_is_named(home, words):
    refused(said_here(*words, folder=home), 1, words[1], "cannot be read")


# Root may read everything: so as root the right to is given up first.
WITHOUT_RIGHTS = (
    ["setpriv", "--bounding-set=-dac_override,-dac_read_search", "--inh-caps=-all"]
    if os.geteuid() == 0
    else []
)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("baskline.toml", ["events"]),
        ("baskline.db", ["day", "ledge"]),
        ("ledge.toml", ["run"]),
        ("x.capture", ["replay", "x.capture", "--store", "x.db"]),
    ],
)
def test_a_file_that_may_not_be_read_is_named(home, name, words):
    (home / "x.capture").touch()
    (home / name).chmod(0)
    said = baskline(*words, folder=home, before=WITHOUT_RIGHTS)
    refused(said, 1, name)


def test_a_reader_that_goes_away_is_no_mistake(home):
    # More than a pipe holds, and less: the one fails while it is printed, the other when it is flushed.
    for words in (["day", "ledge", "--csv"], ["day", "ledge"]):
        process = subprocess.Popen(
            [*PROGRAM, *words], cwd=home, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        process.stderr.close()
        assert process.wait(30) == 0


def test_a_fault_of_ours_is_told_from_a_mistake(home, monkeypatch):
    monkeypatch.setattr("baskline.commands.events.store_of", lambda *_: 1 / 0)
    said = said_here("events", folder=home)
    assert said.code == 70
    assert "ZeroDivisionError" in said.err
    assert said.err.endswith("not in what you did; please report it.\n")


def test_ctrl_c_ends_with_130(home, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("baskline.commands.events.store_of", interrupt)
    assert said_here("events", folder=home).code == 130


TOO_LONG = "x" * 300


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["day", "ledge", "--store", TOO_LONG], "Choose a shorter name"),
        (["replay", "x.capture", "--store", TOO_LONG], "name"),
        (["init", "-c", TOO_LONG], "Choose a shorter name"),
        (["calibrate", "show", TOO_LONG], "Choose a shorter name"),
        (["demo", "--folder", TOO_LONG], "Choose a shorter name"),
        (["demo", "--folder", "ledge.toml"], "Choose another name"),
        (["recompute", "--from", "2025-05-17", "--spot", "ledge", "--calibration", "ports"], "its rights"),
    ],
    ids=lambda words: " ".join(words)[:30] if isinstance(words, list) else "",
)
def test_a_name_that_no_file_can_have_is_one_line(home, words, named):
    (home / "ports").mkdir()
    refused(said_here(*words, folder=home), 1, named)


def test_a_full_disk_is_one_line(home):
    """The chart goes to a device that is always full."""
    said = said_here("day", "ledge", "--date", DAY.isoformat(), "--chart", "full.svg", folder=home)
    assert said.code == 0
    (home / "full.svg").unlink()
    (home / "full.svg").symlink_to("/dev/full")
    refused(
        said_here("day", "ledge", "--date", DAY.isoformat(), "--chart", "full.svg", folder=home),
        1,
        "No space left on device",
    )


@pytest.mark.parametrize("words", [["day", "ledge", "--csv"], ["species"]], ids=" ".join)
def test_a_full_disk_behind_standard_output_is_one_line(home, words):
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*PROGRAM, *words], cwd=home, env=environment(), stdout=full, stderr=subprocess.PIPE, timeout=60
        )
    assert done.returncode == 1
    assert done.stderr == b"baskline: cannot be written: No space left on device. Make room on the disk\n"


def test_standard_streams_that_are_closed_are_no_mistake(home):
    command = shlex.join([*PROGRAM, "day", "ledge", "--date", DAY.isoformat()])
    done = subprocess.run(["sh", "-c", f"{command} <&- >&- 2>&-"], cwd=home, env=environment(), timeout=60)
    assert done.returncode == 0


def test_a_missing_configuration_names_the_command_that_makes_one(tmp_path):
    refused(said_here("day", "ledge", folder=tmp_path), 1, "`baskline init` makes one")


def test_a_room_without_spots_is_said_to_have_none(home):
    config = (home / "baskline.toml").read_text().partition("[board.")[0]
    assert "[bridge]" in config
    (home / "baskline.toml").write_text(config)
    for command in ("week", "lamps"):
        said = said_here(command, folder=home)
        assert (said.code, said.err) == (0, "")
        assert said.out.startswith("There is no "), said.out
    refused(said_here("day", "ledge", folder=home), 1, "There is none yet")
