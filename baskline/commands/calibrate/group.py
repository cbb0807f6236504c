"""`baskline calibrate`: subcommands, and any other first word as the spot to calibrate."""

from pathlib import Path
from typing import Any

import typer
from typer.core import TyperGroup

from baskline import completing
from baskline.commands.common import DEFAULT_CONFIG, read_config
from calibrate.errors import KeeperError

GUIDED = "spot"
"""What stands before a word that is no subcommand: `calibrate slate` is `calibrate spot slate`."""


class SpotGroup(TyperGroup):
    """A group in which a word that is no subcommand is a spot."""

    def shell_complete(self, ctx: Any, incomplete: str) -> Any:
        """Return the subcommands and the spots that begin so."""
        subcommands = super().shell_complete(ctx, incomplete)
        kind = type(super().shell_complete(ctx, "")[0])  # typer's own name for it differs by version
        return [*subcommands, *(kind(spot) for spot in completing.spots(ctx, incomplete))]

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Return the subcommand meant and its arguments."""
        word = args[0]
        if word in self.commands:
            if word != GUIDED and not any(not arg.startswith("-") for arg in args[1:]):
                _refuse_ambiguous(word, args[1:])
        elif not word.startswith("-"):
            args = [GUIDED, *args]
        return super().resolve_command(ctx, args)


def _refuse_ambiguous(word: str, options: list[str]) -> None:
    """Refuse a subcommand that stands alone where the configuration has a spot of that name."""
    if any(option in ("--help", "-h") for option in options):
        return
    try:
        spots = read_config(Path(DEFAULT_CONFIG)).spots
    except KeeperError:
        return
    if word in spots:
        raise typer.BadParameter(
            f"{word!r} is a subcommand, and in {DEFAULT_CONFIG} it is a spot too: write"
            f" `baskline calibrate {GUIDED} {word}` for the spot"
        )
