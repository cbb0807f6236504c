"""`baskline lamp changed`: what the keeper did about a lamp."""

from typing import Annotated, Final

import typer

from baskline import completing
from baskline.caution import LAMP_CAUTION
from baskline.commands.common import (
    DEFAULT_CONFIG,
    ConfigOption,
    StoreOption,
    read_config,
    store_of,
)
from baskline.printing import console, say

WHATS: Final = ("lamp", "distance", "mesh", "place", "other")

lamp = typer.Typer(
    help="Say what you changed about a lamp.",
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["--help", "-h"]},
)


@lamp.callback()
def _group() -> None:
    """Say what you changed about a lamp."""


@lamp.command("changed")
def changed(
    name: Annotated[
        str,
        typer.Argument(
            metavar="LAMP", help="The lamp's key in the configuration.", autocompletion=completing.lamps
        ),
    ],
    what: Annotated[
        str | None,
        typer.Option(
            "--what",
            metavar="|".join(WHATS),
            help="lamp: another bulb or tube; mesh: or glass, whatever the light passes through;"
            " place: lamp, perch or sensor moved.",
        ),
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(
            "--on",
            metavar="YYYY-MM-DD[THH:MM]",
            help="The day, and the time if you know it; without it, now.",
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A line to remember it by.")] = "",
    withdraw: Annotated[
        int | None,
        typer.Option("--withdraw", metavar="CHANGE", help="Let a change not count: it was noted by mistake."),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
) -> None:
    """Say that a lamp is new, moved or covered.

    From then on its level is judged anew; a new lamp also begins its burn-in. Where only a day is given, all
    of that day counts. Nothing that was measured is lost, and the configuration is not touched.

    \b
    Examples:
      baskline lamp changed wall_tube --what lamp --on 2025-05-16 --note new
      baskline lamp changed wall_tube --what lamp --on 2025-05-16T08:30
      baskline lamp changed rock_lamp --what distance
      baskline lamp changed meadow_tube --withdraw 1
    """
    from baskline.commands.dates import time_of
    from baskline.lamp_words import change_words, what_follows_words
    from exposure.days import local_date
    from firmware_host.clock import SystemClock
    from ingest.lamp_acts import keys_to_change, note_lamp_change, withdraw_lamp_change
    from ingest.store.lamp_changes import LampChangeKind
    from ingest.store.store import Store

    if (what is None) == (withdraw is None):
        raise typer.BadParameter("give either of them", param_hint="--what, --withdraw")
    if what is not None and what not in WHATS:
        raise typer.BadParameter(f"{what!r} is none of {', '.join(WHATS)}", param_hint="--what")
    if withdraw is not None and (on is not None or note):
        raise typer.BadParameter("a change is withdrawn by its number alone", param_hint="--withdraw")
    day, clock = time_of(on, "--on")
    configured = read_config(config)
    now_ms = SystemClock().moment().wall_ms
    words = console()
    with Store.open(store_of(configured, store)) as kept:
        if what is None:
            assert withdraw is not None
            taken_back = withdraw_lamp_change(kept, configured, name, withdraw)
            say(words, f"Withdrawn: change {withdraw} of {name}, {change_words(taken_back)}.")
            return
        if day is None:
            day = local_date(now_ms, configured.bridge.time_zone)
        change = note_lamp_change(
            kept, configured, name, LampChangeKind(what), day, note, now_ms, clock=clock
        )
    say(words, f"Noted: change {change.change_id} of {name}, {change_words(change)}.")
    say(words, f"{what_follows_words(change)}: `baskline calibrate verify SPOT`.")
    keys = keys_to_change(configured, change)
    if keys:
        say(words, f"In {config}, under [lamp.{name}], see that these are still right: {', '.join(keys)}.")
    say(words, f"A mistake? baskline lamp changed {name} --withdraw {change.change_id}")
    say(words, f"\n{LAMP_CAUTION}")
