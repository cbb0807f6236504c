"""The guided calibration with real parts: a board on a pseudo-terminal, daemon and store; time runs fast."""

import io
import subprocess
import sys
from pathlib import Path

import pytest
from rich.console import Console

from baskline.guided import Guided, GuidedError, Wish
from baskline.guided_talk import Talk
from calibrate.calibration_file import read_calibration
from firmware_host.clock import SystemClock
from ingest.captured import read_taken
from ingest.config import load_config
from ingest.store.store import Store
from ingest.temporary_daemon import running_daemon
from tests.baskline.guided_room import FastClock, Room

HEIGHTS = (0.9, 1.8, 2.9, 4.1, 5.2)
SPEED = 40


class Keeper(Talk):
    """Answers as a person would who does what is asked for."""

    def __init__(
        self, room: Room, clock: FastClock, *, leaves_before: int = 99, leaves_at: str = "(never)"
    ) -> None:
        self.paper = io.StringIO()
        super().__init__(Console(file=self.paper, width=1000, markup=False), clock, io.StringIO())
        self._room = room
        self._heights = list(HEIGHTS)
        self._leaves_before = leaves_before
        self._leaves_at = leaves_at

    def ask(self, question: str) -> str:
        answer = self._reply(question)
        self.paper.write(f"{question} {answer}\n")
        return answer

    def _reply(self, question: str) -> str:
        room = self._room
        if self._leaves_at in question:
            raise KeyboardInterrupt
        if "covered" in question:
            room.uvi = 0.0
        elif "minutes" in question:
            return "45"
        elif "hold still" in question:
            if len(HEIGHTS) - len(self._heights) >= self._leaves_before:
                raise KeyboardInterrupt
            if not self._heights:
                return "done"
            room.uvi = self._heights.pop(0)
        elif "meter show" in question:
            return f"{room.uvi * 1.03:.1f}"
        return ""

    def begin_at(self, n: int) -> None:
        del self._heights[:n]


def guide(room: Room, clock: FastClock, keeper: Keeper, *, resume: bool = False) -> str:
    wish = Wish("slate", room.config_file, 10.0, resume)
    Guided(wish, load_config(room.config_file), clock, keeper).run()
    return keeper.paper.getvalue()


def test_a_guided_calibration_gives_back_the_sensor_and_says_where_it_is(tmp_path: Path) -> None:
    room, clock = Room(tmp_path), FastClock(SPEED)
    with room.live(clock):
        told = guide(room, clock, Keeper(room, clock))
    (file,) = (tmp_path / "calibrations").glob("*.toml")
    calibration = read_calibration(file)
    assert dict(
        zip(calibration.parameter_names, (*calibration.model.dark, *calibration.model.shape), strict=True)
    )["slope.uva_counts"] == pytest.approx(1.03 / 96, rel=0.02)
    assert calibration.sensor_kind == "guva-s12sd"
    assert file.with_suffix(".png").read_bytes().startswith(b"\x89PNG")
    with Store.open(tmp_path / "room.db", read_only=True) as store:
        assert store.calibrations.identities() == [calibration.identity]
    assert load_config(room.config_file).spots["slate"].calibration == file
    assert "baskline.toml.1 is what the file was" in told
    for wanted in ("not running", "Do not look into the lamp", "is hot", "off by", "In short"):
        assert wanted in told


def test_what_was_taken_before_an_interruption_is_gone_on_with(tmp_path: Path) -> None:
    room, clock = Room(tmp_path, calibration="calibrations/slate.toml"), FastClock(SPEED)
    with room.live(clock):
        with pytest.raises(KeyboardInterrupt):
            guide(room, clock, Keeper(room, clock, leaves_before=2))
        (points,) = (tmp_path / "calibrations").glob("*.points.csv")
        before = read_taken(points)[1]
        assert [point.uvi for point in before] == [None, 0.9, 1.9]
        keeper = Keeper(room, clock)
        keeper.begin_at(2)
        told = guide(room, clock, keeper, resume=True)
    assert "2 pairs so far" in told
    assert read_taken(points)[1][:3] == before
    assert len(read_taken(points)[1]) == 7
    assert (tmp_path / "calibrations" / "slate.toml").exists()  # the configured file was not there yet
    assert "under [spot.slate]" not in told


def test_who_leaves_at_a_late_question_is_told_what_is_kept_and_what_is_to_do(tmp_path: Path) -> None:
    room, clock = Room(tmp_path), FastClock(SPEED)
    with room.live(clock):
        keeper = Keeper(room, clock, leaves_at="Keep this")
        with pytest.raises(KeyboardInterrupt):
            guide(room, clock, keeper)
        assert keeper.paper.getvalue().endswith("Go on with: baskline calibrate slate --resume\n")
        assert not list((tmp_path / "calibrations").glob("*.toml"))
        keeper = Keeper(room, clock, leaves_at="Name it in")
        keeper.begin_at(len(HEIGHTS))
        with pytest.raises(KeyboardInterrupt):
            guide(room, clock, keeper, resume=True)
    (file,) = (tmp_path / "calibrations").glob("*.toml")
    assert keeper.paper.getvalue().endswith(
        f'under [spot.slate], write:\n  calibration = "calibrations/{file.name}"\n'
    )
    assert load_config(room.config_file).spots["slate"].calibration is None


def test_a_second_calibration_leaves_the_first_alone(tmp_path: Path) -> None:
    room, clock = Room(tmp_path, calibration="calibrations/slate.toml"), FastClock(SPEED)
    with room.live(clock):
        guide(room, clock, Keeper(room, clock))
        first = (tmp_path / "calibrations" / "slate.toml").read_bytes()
        told = guide(room, clock, Keeper(room, clock))
    assert (tmp_path / "calibrations" / "slate.toml").read_bytes() == first
    assert len(list((tmp_path / "calibrations").glob("*.toml"))) == 2
    (second,) = set((tmp_path / "calibrations").glob("*.toml")) - {tmp_path / "calibrations" / "slate.toml"}
    assert "under [spot.slate]? [yes]" in told
    assert load_config(room.config_file).spots["slate"].calibration == second


def test_a_daemon_that_runs_is_read_along_with(tmp_path: Path) -> None:
    room, clock = Room(tmp_path), FastClock(SPEED)
    with room.live(clock), running_daemon(load_config(room.config_file), clock):
        keeper = Keeper(room, clock, leaves_before=1)
        with pytest.raises(KeyboardInterrupt):
            guide(room, clock, keeper)
    assert "baskline is running" in keeper.paper.getvalue()


def test_a_board_that_says_nothing_is_told_of(tmp_path: Path) -> None:
    room, clock = Room(tmp_path), FastClock(200)
    with pytest.raises(GuidedError, match="no reading"):
        guide(room, clock, Keeper(room, clock))


def test_nothing_to_resume_is_told(tmp_path: Path) -> None:
    room, clock = Room(tmp_path), FastClock(SPEED)
    with room.live(clock), pytest.raises(GuidedError, match="nothing was taken"):
        guide(room, clock, Keeper(room, clock), resume=True)


def test_the_command_takes_its_answers_from_a_pipe(tmp_path: Path) -> None:
    room, clock = Room(tmp_path, cadence_ms=50), SystemClock()
    told = ""
    with room.live(clock):
        command = [sys.executable, "-c", "from baskline.app import main; main()", "calibrate", "slate"]
        with subprocess.Popen(
            [*command, "-c", str(room.config_file), "--seconds", "0.5"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        ) as process:
            assert process.stdin is not None
            assert process.stdout is not None
            heights = list(HEIGHTS)
            while letter := process.stdout.read(1):
                told += letter
                asked = told.rpartition("\n")[2]
                if not asked.endswith((": ", "? ", ") ", "] ")):
                    continue
                answer = _answer(asked, room, heights)
                if answer is not None:
                    process.stdin.write(f"{answer}\n")
                    process.stdin.flush()
            assert process.wait(20) == 0, told
    assert len(list((tmp_path / "calibrations").glob("*.toml"))) == 1
    assert "Traceback" not in told


def _answer(asked: str, room: Room, heights: list[float]) -> str | None:
    """Return what a keeper types after `asked`; None where the question is not complete yet."""
    match asked.strip():
        case text if text.endswith(("covered:", "type skip:")):
            room.uvi = 0.0
        case text if text.endswith("been on?"):
            return "45"
        case text if text.endswith("done):"):
            if not heights:
                return "done"
            room.uvi = heights.pop(0)
        case text if text.endswith("(or again)"):
            return f"{room.uvi:.1f}"
        case text if not text.endswith(("[10]:", "[0.1]:", "[yes]")):
            return None
    return ""
