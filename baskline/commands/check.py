"""`baskline check`: is everything in order, and if not, what is to be done?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json
from baskline.printing import console, say

if TYPE_CHECKING:
    from rich.console import Console

    from baskline.findings import Finding

SCHEMA = "baskline.check/1"
_HANG = 6


def check(
    config: ConfigOption = DEFAULT_CONFIG,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, max=86_400, help="How long to listen to the boards at most.")
    ] = 12.0,
    as_json: JsonOption = False,
) -> None:
    """Prove that all is in order, or say what to mend.

    Looks at the configuration, calibrations, store, boards and broker; changes nothing, and may run beside
    the daemon. Exit code 0: all is well; 1: something is to be mended.

    \b
    Examples:
      baskline check
      baskline check --json
    """
    from baskline.findings import look_at_everything

    words = console()
    found = list(look_at_everything(config, seconds)) if as_json else print_findings(words, config, seconds)
    troubles = [finding for finding in found if not finding.fine]
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "fine": not troubles,
                "findings": [
                    {
                        "part": each.part,
                        "subject": each.subject,
                        "fine": each.fine,
                        "what": each.what,
                        "do": each.do or None,
                    }
                    for each in found
                ],
            }
        )
    if troubles:
        raise typer.Exit(1)


def print_findings(words: "Console", config: Path, seconds: float) -> "list[Finding]":
    """Print each finding as soon as it is there, and how many are to be mended."""
    from baskline.findings import look_at_everything

    found = []
    for finding in look_at_everything(config, seconds):
        found.append(finding)
        sign = "MEND  " if not finding.fine else "note  " if finding.do else "fine  "
        say(words, f"{sign}{finding.part} {finding.subject}: {finding.what}", hang=_HANG)
        if finding.do:
            say(words, f"{'':{_HANG}}{finding.do}", hang=_HANG)
    n_troubles = sum(not finding.fine for finding in found)
    say(words, "\nAll is well." if not n_troubles else f"\n{n_troubles} to mend.")
    return found
