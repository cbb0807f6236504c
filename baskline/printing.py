"""Words on a terminal: wrapped at its width, with no number torn from its unit; as they are when piped."""

import re
import shutil
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from rich.console import Console

# Wide enough for every table: what is piped is for programs and `less -S`.
_PIPED_WIDTH: Final = 1000
_TOGETHER = re.compile(r" (?=±)|(?<=±) |(?<=\bk) (?==)|(?<=\bk =) |(?<=\d) (?=(?:h|min|s|UVI|SED|UVI·h)\b|%)")
_NO_BREAK: Final = "\N{NO-BREAK SPACE}"


def console(*, quiet: bool = False) -> "Console":
    """Return the console for words and tables: no colours of its own guessing, plain text when piped.

    Square brackets are the keeper's TOML tables, never markup.  `quiet` prints nothing, where JSON follows.
    """
    from rich.console import Console

    class Plain(Console):
        def on_broken_pipe(self) -> None:
            """Leave it to the outermost shell; rich itself would end the process with an error."""
            raise

    piped = not sys.stdout.isatty()
    return Plain(
        highlight=False,
        markup=False,
        emoji=False,
        quiet=quiet,
        soft_wrap=piped,
        width=_PIPED_WIDTH if piped else None,
    )


def say(words: "Console", text: str, *, hang: int = 0) -> None:
    """Print `text`; where a line of it does not fit, what follows is indented by `hang`."""
    words.print(folded(text, words.width, hang=hang) if words.is_terminal else text)


def program() -> str:
    """Return what to type for this program: its name, or where it lies if that is not on the path."""
    called = Path(sys.argv[0])
    return "baskline" if called.name != "baskline" or shutil.which("baskline") else str(called)


def columns_of(words: "Console", most: int) -> int:
    """Return how many columns a picture may have: `most`, or what the terminal leaves of it."""
    return min(most, words.width) if words.is_terminal else most


def folded(text: str, width: int, *, hang: int = 0) -> str:
    """Return `text`, its lines broken at spaces to fit `width`, `2.9 ± 0.3 UVI` and `k = 2` kept whole."""
    pieces = [
        piece
        for line in kept_together(text).split("\n")
        for piece in textwrap.wrap(
            line, width, subsequent_indent=" " * hang, break_long_words=False, break_on_hyphens=False
        )
        or [""]
    ]
    return "\n".join(pieces).replace(_NO_BREAK, " ")


def kept_together(text: str) -> str:
    """Return `text` with spaces that do not break between a number, its uncertainty and its unit."""
    return _TOGETHER.sub(_NO_BREAK, text)
