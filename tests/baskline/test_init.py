"""`baskline init`: from an empty folder to a configuration that loads, and never less than there was."""

import contextlib
import io
import os
import re
import signal
import stat
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from unittest import mock

import pytest

from baskline.app import main
from baskline.first_hour.draft import key_from
from exposure.bands import Band
from firmware_host.simulated.board import BoardModel
from ingest.config import load_config
from ingest.store.lock import WriterLock
from tests.baskline.making import PROGRAM, baskline, environment, room
from tests.baskline.plugged import plugged, rock

TWINS = BoardModel("twin-1", {"a.uva_counts": "counts", "b.uva_counts": "counts"}, cadence_ms=200, ring=600)
SKIP = {"Enter to look again": ["skip"], "MQTT": ["none"]}


@dataclass
class Keeper:
    """Answers what is asked: each question's answers in turn, then Enter; `None` is the end of the input."""

    answers: Mapping[str, Sequence[str | None]]
    heard: io.StringIO
    asked: list[str] = field(default_factory=list)

    def isatty(self) -> bool:
        return False

    def readline(self) -> str:
        question = self.heard.getvalue().rstrip(" ").rpartition("\n")[2].strip()
        assert len(self.asked) < 200, f"asked without end: {question}"
        of_it = [name for name in self.answers if question.startswith(name)]
        number = sum(1 for asked in self.asked if of_it and asked.startswith(of_it[0]))
        self.asked.append(question)
        if not of_it or number >= len(self.answers[of_it[0]]):
            return "\n"
        given = self.answers[of_it[0]][number]
        if given is None:
            raise KeyboardInterrupt
        return f"{given}\n"


@dataclass
class Session:
    code: int
    out: str
    err: str
    asked: list[str]


def init(folder: Path, answers: Mapping[str, Sequence[str | None]], *words: str) -> Session:
    """Run `baskline init` in `folder`, with the keeper's home in it."""
    out, err = io.StringIO(), io.StringIO()
    keeper = Keeper(answers, out)
    home = environment(HOME=str(folder / "home"), TZ="Europe/Vienna")
    with (
        mock.patch.object(sys, "argv", ["baskline", "init", *words]),
        mock.patch.object(sys, "stdin", keeper),
        mock.patch.dict(os.environ, home, clear=True),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as ended,
    ):
        main()
    assert isinstance(ended.value.code, int)
    return Session(ended.value.code, out.getvalue(), err.getvalue(), keeper.asked)


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name not in ("home", "ports"))


ROOM = {
    "Site": ["fern-street"],
    "Name an enclosure": ["Rock garden"],
    "Name another": [""],
    "Who lives there?": ["bearded dragon"],
    "Kind": ["metal"],
    "Since when": ["2025-03-02"],
    "How far": ["38,5"],
    "Is there mesh": ["y"],
    "Name a spot": ["Slate ledge", "Crevice"],
    "Watched by": ["behind_the_slate"],
    "basking or retreat": ["basking", "retreat"],
    "Zone, or": ["1 2.6 4"],
    "What do you call it?": ["Behind the slate", "Twins"],
    "MQTT": ["none"],
}


@pytest.fixture
def two_boards(tmp_path):
    with plugged(tmp_path / "ports", [rock(), rock(TWINS)]):
        yield {**ROOM, "Enter to look again": [f"{tmp_path}/ports/*"]}


def test_an_empty_folder_becomes_a_room_with_what_was_answered(tmp_path, two_boards):
    said = init(tmp_path, two_boards)
    assert said.err == ""
    assert said.code == 0, said.out
    assert files(tmp_path) == ["baskline.toml"]
    config = load_config(tmp_path / "baskline.toml")
    assert (config.bridge.site, config.bridge.time_zone) == ("fern-street", "Europe/Vienna")
    assert {key: board.identity for key, board in config.boards.items()} == {
        "behind_the_slate": "rock-1",
        "twins": "twin-1",
    }
    assert config.enclosures["rock_garden"].species == "Pogona vitticeps"
    lamp = config.lamps["rock_garden_lamp"]
    assert (lamp.kind, lamp.installed, lamp.distance_cm, lamp.between) == (
        "metal-halide",
        date(2025, 3, 2),
        38.5,
        ("mesh",),
    )
    ledge, crevice = config.spots["slate_ledge"], config.spots["crevice"]
    assert (ledge.board, ledge.sensor, ledge.band()) == ("behind_the_slate", None, Band(1.0, 2.6, 4.0))
    assert (crevice.board, crevice.sensor, crevice.kind, crevice.zone) == ("twins", "a", "retreat", 1)
    assert config.mqtt is None
    assert "twins.b watches nothing yet" in said.out


def test_it_explains_itself_in_the_file_and_ends_with_the_check_and_the_next_step(tmp_path, two_boards):
    said = init(tmp_path, two_boards)
    text = (tmp_path / "baskline.toml").read_text()
    assert "# Zone 1: UVI 0 to 0.7, ceiling 1.4.\n# Zones guide" in text
    assert text in re.sub(r"^   ", "", said.out, flags=re.M)  # shown before it was written
    assert "Before you reach in: lamps are hot" in said.out
    assert "Measure with the lamp off and cold" in said.out
    check, _, after = said.out.partition("The check\n")[2].partition("What comes next\n")
    assert check.startswith("fine  configuration baskline.toml: 2 boards, 2 spots\n")
    assert "fine  board rock-1: heard on" in check
    assert "MEND  calibration slate_ledge" in check
    assert "baskline calibrate slate_ledge\n" in after
    assert "The same for crevice." in after
    assert "baskline run\n" in after


def test_a_species_in_several_zones_offers_the_lower_one_and_an_unknown_one_none(tmp_path, two_boards):
    answers = {key: value for key, value in two_boards.items() if key != "Zone, or"}
    said = init(tmp_path, answers)
    assert load_config(tmp_path / "baskline.toml").spots["slate_ledge"].zone == 3
    assert "Pogona vitticeps is put in zones 3 and 4; the default is the zone with the least UV." in said.out

    (tmp_path / "baskline.toml").unlink()
    said = init(tmp_path, {**answers, "Who lives there?": ["tuatara"], "Zone, or": ["", "9", "1 2", "2"]})
    assert "'tuatara' is not in the table, and no zone is guessed." in said.out
    assert "Zone, or low high ceiling:" in said.asked  # without a default
    config = load_config(tmp_path / "baskline.toml")
    assert config.enclosures["rock_garden"].species == "tuatara"
    assert config.spots["slate_ledge"].zone == 2
    assert "note  species rock_garden: 'tuatara' is not in the table" in said.out


def test_without_a_board_it_writes_what_it_can_and_says_to_flash_one(tmp_path):
    said = init(tmp_path, {**ROOM, **SKIP})
    assert said.code == 0
    config = load_config(tmp_path / "baskline.toml")
    assert (len(config.boards), len(config.enclosures), len(config.lamps), len(config.spots)) == (0, 1, 1, 0)
    assert "1. baskline flash\n" in said.out.partition("What comes next")[2]


@pytest.mark.parametrize(
    ("question", "wrong", "right", "named"),
    [
        ("Site", "Fern Street", "fern", "for example 'fern-street'"),
        ("Time zone", "vienna", "Europe/Vienna", "Did you mean 'Europe/Vienna'?"),
        ("Kind", "t9", "t5", "not one of them"),
        ("Since when", "2999-01-01", "2025-01-01", "still to come"),
        ("Since when", "yesterday", "2025-01-01", "is no date"),
        ("How far", "nan", "30", "not above zero"),
        ("How far", "3200", "32", "3200 mm are 320"),
        ("Is there mesh", "perhaps", "n", "neither yes nor no"),
        ("MQTT", "my broker", "broker.lan:1884", "which is no host"),
        ("MQTT", "broker.lan:99999", "broker.lan", "is no port"),
        ("Enter to look again", "ttyUSB0", "skip", "is neither"),
    ],
)
def test_an_answer_that_cannot_be_meant_is_asked_for_again(tmp_path, question, wrong, right, named):
    answers = {**ROOM, **SKIP, "Write it": ["no"], question: [wrong, right]}
    said = init(tmp_path, answers)
    assert (said.code, said.err) == (0, "")
    assert named in said.out
    assert sum(asked.startswith(question) for asked in said.asked) >= 2
    assert files(tmp_path) == []


def test_a_broker_and_its_user_are_written_and_the_password_is_not(tmp_path):
    said = init(tmp_path, {**ROOM, **SKIP, "MQTT": ["broker.lan:1884"], "User name": ["bridge"]})
    mqtt = load_config(tmp_path / "baskline.toml").mqtt
    assert mqtt is not None
    assert (mqtt.host, mqtt.port, mqtt.username) == ("broker.lan", 1884, "bridge")
    assert mqtt.password_file is not None
    assert "Put the password into the first line of the file mqtt-password" in said.out


@pytest.mark.parametrize("question", ["Site", "Time zone", "Enter to look again", "Kind", "MQTT", "Write it"])
def test_ctrl_c_leaves_nothing_behind(tmp_path, question):
    said = init(tmp_path, {**ROOM, **SKIP, question: [None]})
    assert said.code == 130
    assert said.out.endswith("Nothing was written.\n")
    assert files(tmp_path) == []


def test_no_to_the_last_question_leaves_nothing_behind(tmp_path):
    said = init(tmp_path, {**ROOM, **SKIP, "Write it": ["no"]})
    assert said.code == 0
    assert files(tmp_path) == []


def test_the_first_hour_in_two_sittings_ends_with_a_watch(tmp_path):
    """First without a board, then with one; then the daemon hears it."""
    init(tmp_path, {**ROOM, **SKIP, "Show the room": ["no"]})
    config = tmp_path / "baskline.toml"
    config.write_text(config.read_text() + f'\n[serial]\nports = ["{tmp_path}/ports/*"]\n')
    with plugged(tmp_path / "ports", [rock()]):
        said = init(
            tmp_path, {**SKIP, "Name a spot": ["Slate ledge"], "Zone, or": ["3"], "Show the room": ["no"]}
        )
        assert said.code == 0
        assert "A spot in Rock garden? [yes]:" in said.asked
        assert list(load_config(config).spots) == ["slate_ledge"]
        daemon = subprocess.Popen(
            [*PROGRAM, "run"],
            cwd=tmp_path,
            env=environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert daemon.stdout is not None
        heard = next(line for line in daemon.stdout if '"board identified"' in line)
        assert '"rock-1"' in heard
        daemon.send_signal(signal.SIGTERM)
        out, err = daemon.communicate(timeout=30)
    assert daemon.returncode == 0, err
    assert '"stopped"' in out


COMMENT = "# mine, and it stays\n"


@pytest.fixture
def old(tmp_path) -> Path:
    """A room with one calibrated spot, and a comment of the keeper's."""
    room(tmp_path, ports=f"{tmp_path}/ports/*", more=COMMENT)
    return tmp_path


@pytest.mark.parametrize("mode", [0o640, 0o444])
def test_a_file_that_is_there_keeps_every_byte_and_a_copy(old, mode):
    before = (old / "baskline.toml").read_bytes()
    (old / "baskline.toml").chmod(mode)
    answers = {
        "What do you call it?": ["Twins"],
        "Another spot in": ["y"],
        "Name a spot": ["Crevice"],
        "basking or retreat": ["retreat"],
        "MQTT": ["none"],
        "Show the room": ["no"],
    }
    with plugged(old / "ports", [rock(), rock(TWINS)]):
        said = init(old, answers)
    assert said.code == 0, said.out + said.err
    after = (old / "baskline.toml").read_bytes()
    assert after.startswith(before)
    assert (old / "baskline.toml.1").read_bytes() == before
    assert stat.S_IMODE((old / "baskline.toml").stat().st_mode) == mode
    assert stat.S_IMODE((old / "baskline.toml.1").stat().st_mode) == mode
    assert files(old) == ["baskline.toml", "baskline.toml.1", "ledge.toml"]
    config = load_config(old / "baskline.toml")
    assert (config.boards["twins"].identity, config.spots["crevice"].sensor) == ("twin-1", "a")
    assert config.spots["crevice"].lamp == "tube"
    assert b"# Added by `baskline init` on " in after[len(before) :]
    assert "Known already: rock-1." in said.out
    assert not any(asked.startswith(("Site", "Time zone")) for asked in said.asked)


def test_a_board_that_is_not_heard_is_offered_for_no_spot(old):
    """Which sensors it has, only the board says."""
    path = old / "baskline.toml"
    path.write_text(path.read_text() + '[board.far]\nidentity = "far-1"\nlabel = "Far away"\n')
    with plugged(old / "ports", [rock()]):
        said = init(old, {**SKIP, "Show the room": ["no"]})
    assert "Nothing to add." in said.out
    assert not any(asked.startswith(("A spot", "Another spot", "Name a spot")) for asked in said.asked)


def test_the_second_sensor_of_a_known_board_is_offered(tmp_path):
    config = {"Enter to look again": [f"{tmp_path}/ports/*"]}
    with plugged(tmp_path / "ports", [rock(TWINS)]):
        init(tmp_path, {**ROOM, **config, "Name a spot": ["Ledge"]})
        said = init(
            tmp_path, {"Another spot": ["y"], "Name a spot": ["Hide"], "MQTT": ["none"], "Zone, or": ["2"]}
        )
    spots = load_config(tmp_path / "baskline.toml").spots
    assert {key: spot.sensor for key, spot in spots.items()} == {"ledge": "a", "hide": "b"}, said.out


def test_nothing_to_add_changes_nothing(old):
    before = (old / "baskline.toml").read_bytes()
    with plugged(old / "ports", [rock()]):
        said = init(old, {"MQTT": ["none"], "Show the room": ["no"]})
    assert said.code == 0
    assert "Nothing to add." in said.out
    assert (old / "baskline.toml").read_bytes() == before
    assert files(old) == ["baskline.toml", "ledge.toml"]


def test_each_copy_has_a_number_of_its_own(old):
    (old / "baskline.toml.1").write_text("older")
    init(old, {**SKIP, "MQTT": ["broker.lan"], "Show the room": ["no"]})
    assert (old / "baskline.toml.1").read_text() == "older"
    assert COMMENT in (old / "baskline.toml.2").read_text()


def test_windows_line_ends_stay_what_they_are(old):
    path = old / "baskline.toml"
    path.write_bytes(path.read_bytes().rstrip(b"\n").replace(b"\n", b"\r\n"))
    init(old, {**SKIP, "MQTT": ["broker.lan"], "Show the room": ["no"]})
    content = path.read_bytes()
    assert content.count(b"\n") == content.count(b"\r\n")
    assert load_config(path).mqtt is not None


def test_a_link_stays_a_link(old):
    (old / "real").mkdir()
    (old / "baskline.toml").rename(old / "real" / "room.toml")
    (old / "baskline.toml").symlink_to("real/room.toml")
    init(old, {**SKIP, "MQTT": ["broker.lan"], "Show the room": ["no"]})
    assert (old / "baskline.toml").is_symlink()
    assert files(old / "real") == ["room.toml", "room.toml.1"]
    assert "[mqtt]" in (old / "real" / "room.toml").read_text()


def test_a_file_that_changes_meanwhile_is_left_alone(old, monkeypatch):
    path = old / "baskline.toml"

    class Meddler(Keeper):
        def readline(self) -> str:
            if "Write it" in self.heard.getvalue():
                path.write_text(path.read_text() + "# by an editor\n")
            return super().readline()

    monkeypatch.setattr(sys.modules[__name__], "Keeper", Meddler)
    said = init(old, {**SKIP, "MQTT": ["broker.lan"], "Show the room": ["no"]})
    assert said.code == 1
    assert "it was changed meanwhile, and is left alone. Begin again" in said.err
    assert path.read_text().endswith("# by an editor\n")
    assert files(old) == ["baskline.toml", "ledge.toml"]


def test_a_file_that_is_to_be_mended_is_not_touched(tmp_path):
    (tmp_path / "baskline.toml").write_text("[bridge\n")
    said = init(tmp_path, {})
    assert (said.code, said.asked) == (1, [])
    assert "not valid TOML" in said.err
    assert (tmp_path / "baskline.toml").read_text() == "[bridge\n"


def test_while_the_daemon_holds_the_ports_it_says_so_and_asks_on(old):
    daemon = WriterLock(old / "baskline.db")
    daemon.take()
    said = init(old, {"MQTT": ["none"], "Show the room": ["no"]})
    daemon.give_back()
    assert "`baskline run` is running and holds the ports" in said.out
    assert "Nothing to add." in said.out


@pytest.mark.parametrize(
    ("config", "named"),
    [("nowhere/baskline.toml", "there is no folder nowhere"), (".", "Is a directory")],
)
def test_a_place_that_cannot_hold_it_is_said_before_anything_is_asked(tmp_path, config, named):
    said = init(tmp_path, {}, "--config", config)
    assert (said.code, said.asked, said.out) == (1, [], "")
    assert named in said.err


def test_the_end_of_the_input_is_an_interruption(tmp_path):
    said = baskline("init", folder=tmp_path)
    assert (said.code, said.err) == (130, "")
    assert said.out.endswith("\nNothing was written.\n")
    assert files(tmp_path) == []


QUIET = {**SKIP, "Show the room": ["no"]}


def test_a_unit_of_ones_own_is_written_where_it_belongs_and_never_over_another(old):
    said = init(old, {**QUIET, "system, user": ["user"]})
    unit = old / "home" / ".config" / "systemd" / "user" / "baskline.service"
    assert f"run --config {old}/baskline.toml\n" in unit.read_text()
    assert "User=" not in unit.read_text()
    assert "systemctl --user enable --now baskline.service" in said.out
    unit.write_text("mine\n")
    said = init(old, {**QUIET, "system, user": ["user"]})
    assert "is there already, and is left as it is" in said.out
    assert unit.read_text() == "mine\n"


def test_a_unit_of_the_system_is_laid_beside_with_the_lines_to_type(old):
    said = init(old, {**QUIET, "system, user": ["system"]})
    assert f"sudo cp {old}/baskline.service /etc/systemd/system/\n" in said.out
    assert "sudo systemctl enable --now baskline.service\n" in said.out
    assert f"ReadWritePaths={old}\n" in (old / "baskline.service").read_text()


def test_a_unit_that_is_only_shown_is_not_written(old):
    said = init(old, {**QUIET, "system, user": ["show"]})
    assert "SupplementaryGroups=dialout\n" in said.out
    assert files(old) == ["baskline.toml", "ledge.toml"]


def test_who_may_not_read_serial_ports_is_told_how_to_be_let(old, monkeypatch):
    monkeypatch.setattr("baskline.first_hour.finish.lacks_group", lambda name: name == "dialout")
    said = init(old, QUIET)
    assert "1. sudo usermod -aG dialout $USER\n   Then log out and in again" in said.out


@pytest.mark.parametrize(
    ("label", "key"),
    [
        ("Slate ledge", "slate_ledge"),
        ("Terrarium Süd", "terrarium_sued"),
        ("Su\u0308d", "sued"),
        ("Straße", "strasse"),
        ("Rocher d'été", "rocher_d_ete"),
        ("Камень", "spot_3"),
    ],
)
def test_a_key_is_spelled_as_its_label_is_said(label, key):
    assert key_from(label, (), "spot_3") == key
