"""How a guided command talks: on a terminal with a line that lives, and through a pipe line by line."""

import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol, TextIO

from rich.console import Console
from rich.live import Live
from rich.text import Text

from baskline.printing import say
from firmware_host.clock import Clock


class Shown(Protocol):
    """A line that can be replaced while something is waited for."""

    def show(self, line: str) -> None:
        """Replace the line."""

    def enter_pressed(self, wait_s: float) -> bool:
        """Wait; return at once, and true, if the keeper presses Enter meanwhile."""


class Talk:
    """Says, asks and waits.  Without a terminal nothing is redrawn and Enter cannot cut a wait short."""

    def __init__(self, words: Console, clock: Clock, stdin: TextIO | None = None) -> None:
        self._words = words
        self._clock = clock
        self._stdin = sys.stdin if stdin is None else stdin
        self._on_terminal = words.is_terminal and self._stdin.isatty()

    def say(self, line: str = "", *, hang: int = 0) -> None:
        """Print a line, folded to the terminal."""
        say(self._words, line, hang=hang)

    def draw(self, line: str) -> None:
        """Print a line of a table or a picture as it is."""
        self._words.print(line, soft_wrap=True)

    def ask(self, question: str) -> str:
        """Ask and return the answer; the end of the input is an interruption."""
        self._words.print(f"{question} ", end="", soft_wrap=True)
        self._words.file.flush()
        line = self._stdin.readline()
        if not line:
            self._words.print()
            raise KeyboardInterrupt
        if not self._on_terminal:
            self._words.print()
        return line.strip()

    @contextmanager
    def waiting(self) -> Iterator[Shown]:
        """Give a line to show while waiting."""
        if not self._on_terminal:
            yield _Unseen(self._clock)
            return
        with Live(console=self._words, auto_refresh=False, transient=True) as live:
            yield _Living(live, self._stdin)


class _Unseen:
    def __init__(self, clock: Clock) -> None:
        self._clock = clock

    def show(self, line: str) -> None:
        """Leave it out: a pipe would keep every one of them."""

    def enter_pressed(self, wait_s: float) -> bool:
        """Wait; nobody can press anything."""
        self._clock.wait_s(wait_s)
        return False


class _Living:
    def __init__(self, live: Live, stdin: TextIO) -> None:
        self._live = live
        self._stdin = stdin

    def show(self, line: str) -> None:
        """Replace the line."""
        self._live.update(Text(line), refresh=True)

    def enter_pressed(self, wait_s: float) -> bool:
        """Wait for a line from the keyboard; one with words in it was meant for something else."""
        ready, _, _ = select.select([self._stdin], [], [], wait_s)
        return bool(ready) and self._stdin.readline() == "\n"
