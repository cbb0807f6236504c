"""What the commands print on a real terminal, narrow and wide, and along a pipe."""

import fcntl
import os
import pty
import re
import struct
import subprocess
import termios
from pathlib import Path

import pytest

from tests.baskline.making import PROGRAM, demo_folder, environment, said_here

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


def on_terminal(command: str, *, columns: int, folder: Path) -> list[str]:
    """Return the lines that a command prints on a terminal of that many columns."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
    process = subprocess.Popen(
        [*PROGRAM, *command.split()],
        cwd=folder,
        env=environment(TERM="xterm"),
        stdin=subprocess.DEVNULL,
        stdout=theirs,
        stderr=theirs,
    )
    os.close(theirs)
    heard = b""
    try:
        while more := os.read(ours, 65_536):
            heard += more
    except OSError:  # how Linux says that nobody writes any more
        pass
    finally:
        os.close(ours)
    process.wait(30)
    return [line.rstrip("\r") for line in _STEERING.sub("", heard.decode()).split("\n")]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_line_fits_the_terminal(demo, command):
    for columns in (50, 80, 120):
        lines = on_terminal(command, columns=columns, folder=demo)
        assert len(lines) > 3
        assert [line for line in lines if len(line) > columns] == []


@pytest.mark.parametrize("command", COMMANDS)
def test_along_a_pipe_nothing_steers_a_terminal(demo, command):
    said = said_here(*command.split(), folder=demo)
    assert said.out
    assert "\x1b" not in said.out + said.err
