"""`baskline check`: is everything in order, and if not, what is to be done?"""

from typing import Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json
from baskline.printing import console, say

SCHEMA = "baskline.check/1"
_HANG = 6


def check(
    config: ConfigOption = DEFAULT_CONFIG,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, help="How long to listen to the boards at most.")
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

    found = []
    words = console()
    for finding in look_at_everything(config, seconds):
        found.append(finding)
        if not as_json:
            sign = "MEND  " if not finding.fine else "note  " if finding.do else "fine  "
            say(words, f"{sign}{finding.part} {finding.subject}: {finding.what}", hang=_HANG)
            if finding.do:
                say(words, f"{'':{_HANG}}{finding.do}", hang=_HANG)
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
    else:
        say(words, "\nAll is well." if not troubles else f"\n{len(troubles)} to mend.")
    if troubles:
        raise typer.Exit(1)
