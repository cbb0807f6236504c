"""`baskline calibrate SPOT`: lead through a calibration."""

from typing import Annotated

import typer

from baskline import completing
from baskline.commands.calibrate.fit import fitting
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, read_config
from calibrate.errors import KeeperError


class UnknownSpotError(KeeperError):
    """A spot that the configuration does not know."""


def spot(
    spot: Annotated[
        str,
        typer.Argument(
            metavar="SPOT", help="The spot's key in the configuration.", autocompletion=completing.spots
        ),
    ],
    config: ConfigOption = DEFAULT_CONFIG,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.5, max=600, help="For how long each level is averaged.")
    ] = 20.0,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with the points that were taken last.")
    ] = False,
) -> None:
    """Lead through the calibration of SPOT with a hand-held UVI meter.

    Shows the live level, asks for a dark reading and for pairs at several heights, fits them, and writes the
    calibration beside the older ones. Each point is kept at once: Ctrl-C loses none.

    \b
    Examples:
      baskline calibrate slate
      baskline calibrate slate --resume
    """
    from calibrate.nearest import did_you_mean
    from firmware_host.clock import SystemClock

    configured = read_config(config)
    if spot not in configured.spots:
        raise UnknownSpotError(
            f"there is no spot {spot!r}, nor a subcommand",
            where=str(config),
            remedy=did_you_mean(spot, [*configured.spots, "fit", "predict", "show", "verify"]),
        )
    fitting()  # before an hour is spent
    from baskline.guided import Guided, Wish
    from baskline.guided_talk import Talk
    from baskline.printing import console

    clock = SystemClock()
    wish = Wish(spot, config, seconds, resume)
    Guided(wish, configured, clock, Talk(console(), clock)).run()
