"""The help teaches: short in the list, with examples that work, and nothing undocumented."""

import re
import shlex
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from baskline.app import app
from tests.baskline.documented import OUTPUT
from tests.baskline.making import PROGRAM, baskline, demo_folder, environment, leave_first_hours, said_here

REPOSITORY = Path(__file__).parents[2]


def all_commands(group, name="baskline") -> Iterator[tuple[str, object]]:
    """Yield (how it is called, command), groups within groups too."""
    for word, command in group.commands.items():
        called = f"{name} {word}"
        if command.hidden:  # `calibrate SPOT`, which has no word of its own
            continue
        if hasattr(command, "commands"):
            yield from all_commands(command, called)
        else:
            yield called, command


COMMANDS = dict(all_commands(typer.main.get_command(app)))
EXAMPLES = [
    line.strip()
    for command in COMMANDS.values()
    for line in (command.help or "").splitlines()
    if line.strip().startswith("baskline ")
]
# What works in the demo's folder.  The demo itself has tests of its own, like commands that need a board.
IN_THE_DEMO = (
    "species",
    "check",
    "boards",
    "replay",
    "day",
    "week",
    "lamps",
    "events",
    "acknowledge",
    "close",
    "recompute --from",
    "calibrate show",
    "calibrate predict",
)
BRIEF = [line for line in EXAMPLES if line.removeprefix("baskline ").startswith(IN_THE_DEMO)]


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return demo_folder(tmp_path_factory)


def help_of(*words, folder) -> str:
    return said_here(*words, "--help", folder=folder).out


def test_the_list_of_commands_shows_each_first_sentence_whole(tmp_path):
    listed = help_of(folder=tmp_path)
    assert "..." not in listed.partition("Commands:")[2]
    for called, command in COMMANDS.items():
        if called.count(" ") == 1:
            sentence = command.help.partition(".")[0]
            assert f"{called.split()[1]} " in listed
            assert sentence in listed, f"too long for the list: {sentence}"


@pytest.mark.parametrize("called", COMMANDS)
def test_every_command_has_help_and_an_example(called):
    command = COMMANDS[called]
    assert command.help
    assert any(line.startswith(called) for line in EXAMPLES), f"{called} shows no example"


@pytest.mark.parametrize("called", COMMANDS)
def test_every_option_and_argument_has_help(called):
    for parameter in COMMANDS[called].params:
        if parameter.name != "help":
            assert getattr(parameter, "help", None), f"{called}: {parameter.name} has no help"


@pytest.mark.parametrize("called", COMMANDS)
def test_help_fits_80_columns(tmp_path, called):
    assert max(map(len, help_of(*called.split()[1:], folder=tmp_path).splitlines())) <= 80


@pytest.mark.parametrize("called", COMMANDS)
def test_every_command_stands_in_the_page_of_outputs_and_in_the_readme(called):
    words = called.removeprefix("baskline ")
    page = OUTPUT.read_text("utf-8")
    assert re.search(rf"`(baskline )?{words}\b", page), f"baskline/OUTPUT.md has nothing of {called}"
    readme = (REPOSITORY / "README.md").read_text("utf-8")
    if "baskline demo" in readme:  # before that it is not a description of the commands yet
        assert called in readme, f"README.md has nothing of {called}"


@pytest.mark.parametrize("line", EXAMPLES)
def test_the_examples_in_the_help_name_options_that_there_are(line):
    called = max((each for each in COMMANDS if line.startswith(f"{each} ") or line == each), key=len)
    COMMANDS[called].make_context(called, shlex.split(line)[len(called.split()) :])


@pytest.mark.parametrize("line", BRIEF)
def test_the_examples_in_the_help_work(demo, tmp_path, line):
    demo = shutil.copytree(demo, tmp_path / "demo")  # they change it, and others look at it too
    for name in ("slate.toml", "new.toml"):
        shutil.copy(demo / "calibrations" / "slate.toml", demo / name)
    words = shlex.split(line)[1:]
    if words[0] == "replay":
        leave_first_hours(demo / words[1])
    if words[0] in ("acknowledge", "close") and "." in words[1]:
        found = said_here("events", "--json", folder=demo).out
        words[1] = re.search(r'"(over_ceiling\.fern\.\d+)"', found)[1]
    said = said_here(*words, folder=demo)
    assert said.err == ""
    # Nothing hangs on the ports of the demo's room, and its calibrations may be old by now.
    assert said.code == (1 if words[0] == "check" else 0)
    assert said.out


@pytest.mark.parametrize("line", [line for line in EXAMPLES if line.split()[1] == "run"])
def test_the_examples_of_the_daemon_start_it(demo, tmp_path, line):
    config = (demo / "baskline.toml").read_text()
    (tmp_path / "baskline.toml").write_text(config + '\n[serial]\nports = ["/nowhere/*"]\n')
    (tmp_path / "calibrations").symlink_to(demo / "calibrations")
    process = subprocess.Popen(
        [*PROGRAM, *shlex.split(line)[1:]],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert '"started"' in process.stdout.readline()
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 0
    assert '"stopped"' in out
    # A first run says the cautions, and not in the middle of the log.
    assert err.startswith("Before you reach in: lamps are hot")
    assert "Before you reach in" not in out


def test_help_is_asked_for_in_a_short_way_too(tmp_path):
    assert said_here("day", "-h", folder=tmp_path).out == help_of("day", folder=tmp_path)


def test_help_needs_nothing_heavy(tmp_path):
    said = baskline("--help", folder=tmp_path, env={"PYTHONPROFILEIMPORTTIME": "1"})
    imported = {line.rpartition("|")[2].strip() for line in said.err.splitlines()}
    assert "baskline.commands.day" in imported
    heavy = {"numpy", "pydantic", "rich", "altair", "vl_convert", "scipy", "paho", "serial", "sqlite3"}
    assert not heavy & imported


def completed(line, folder, *, run=said_here) -> list[str]:
    """What the Tab key gives in bash at the end of `line`."""
    words = line.split(" ")
    asked = {"_BASKLINE_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1)}
    said = run(folder=folder, env=asked)
    assert said.err == ""
    return said.out.split()


def test_tab_completes_commands_spots_and_open_events(demo, tmp_path):
    assert completed("baskline ack", demo) == ["acknowledge"]
    for run in (baskline, said_here):
        assert completed("baskline day s", demo, run=run) == ["slate"]
    assert completed("baskline week g", demo) == ["green_wall"]
    assert completed("baskline lamps w", demo) == ["wall_tube"]
    assert completed(f"baskline day -c {demo}/baskline.toml th", tmp_path) == ["thyme"]
    assert completed("baskline calibrate s", demo) == ["show", "slate"]
    assert completed("baskline calibrate verify cr", demo) == ["crevice"]
    assert completed("baskline recompute --spot f", demo) == ["fern"]
    assert completed("baskline listen me", demo) == ["meadow_sun", "meadow_hay"]
    assert completed("baskline species Euble", demo) == ["Eublepharis", "macularius"]
    (event,) = completed("baskline acknowledge calibration_missing.h", demo)
    assert event.startswith("calibration_missing.hay_rick.")


def test_tab_gives_nothing_where_there_is_no_configuration(tmp_path):
    assert completed("baskline day s", tmp_path) == []
    assert completed("baskline acknowledge x", tmp_path) == []
