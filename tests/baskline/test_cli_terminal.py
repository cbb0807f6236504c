"""What the commands print on a real terminal, narrow and wide, and along a pipe."""

import contextlib
import fcntl
import os
import pty
import re
import struct
import subprocess
import termios
import threading
from pathlib import Path

import pytest

from tests.baskline.making import PROGRAM, demo_folder, ended_here, environment, said_here

_STEERING = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
COMMANDS = [
    "--help",
    "species skink",
    "check --seconds 1",
    "boards --seconds 1",
    "day slate",
    "day hay_rick",
    "week",
    "lamps",
    "events",
    "calibrate show slate",
    "calibrate verify slate",
]


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return demo_folder(tmp_path_factory)


class Terminal:
    """A pseudo-terminal of that many columns; `theirs` is the end that a program writes to."""

    def __init__(self, columns: int) -> None:
        self._ours, self.theirs = pty.openpty()
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
        self._heard = b""
        self._hearing = threading.Thread(target=self._hear)
        self._hearing.start()

    def _hear(self) -> None:
        with contextlib.suppress(OSError):  # how Linux says that nobody writes any more
            while more := os.read(self._ours, 65_536):
                self._heard += more

    def lines(self) -> list[str]:
        """Hang up; return the lines that were printed."""
        os.close(self.theirs)
        self._hearing.join()
        os.close(self._ours)
        text = _STEERING.sub("", self._heard.decode())
        return [line.rstrip("\r") for line in text.split("\n")]


def on_terminal(command: str, *, columns: int, folder: Path) -> list[str]:
    """Return the lines that a command prints, run in this process, whose own ends go to the terminal."""
    terminal = Terminal(columns)
    kept = [(number, os.dup(number)) for number in range(3)]
    try:
        for number, _ in kept:
            os.dup2(terminal.theirs, number)
        with open(terminal.theirs, "w", closefd=False) as out:
            ended_here(*command.split(), folder=folder, out=out, err=out, env={"TERM": "xterm"})
    finally:
        for number, saved in kept:
            os.dup2(saved, number)
            os.close(saved)
        lines = terminal.lines()
    return lines


@pytest.mark.parametrize("command", COMMANDS)
def test_every_line_fits_the_terminal(demo, command):
    for columns in (50, 80, 120):
        lines = on_terminal(command, columns=columns, folder=demo)
        assert len(lines) > 3
        assert [line for line in lines if len(line) > columns] == []


def test_a_process_of_its_own_prints_the_same(demo):
    terminal = Terminal(50)
    subprocess.run(
        [*PROGRAM, "day", "slate"],
        cwd=demo,
        env=environment(TERM="xterm"),
        stdin=subprocess.DEVNULL,
        stdout=terminal.theirs,
        stderr=terminal.theirs,
        timeout=60,
        check=True,
    )
    assert terminal.lines() == on_terminal("day slate", columns=50, folder=demo)


@pytest.mark.parametrize("command", COMMANDS)
def test_along_a_pipe_nothing_steers_a_terminal(demo, command):
    said = said_here(*command.split(), folder=demo)
    assert said.out
    assert "\x1b" not in said.out + said.err
