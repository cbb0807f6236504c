"""`baskline calibrate predict`: the UVI of given levels."""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline.commands.common import JsonOption, print_json
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from calibrate.calibration import Calibration


class LevelsError(KeeperError):
    """Levels that a calibration cannot be asked about."""


def predict(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A calibration file.")],
    at: Annotated[
        list[str], typer.Option("--at", metavar="NAME=VALUE", help="The level of a channel; one for each.")
    ],
    more: Annotated[
        list[str] | None,
        typer.Argument(metavar="NAME=VALUE", help="Further levels.", show_default=False),
    ] = None,
    lamp_kind: Annotated[
        str | None,
        typer.Option("--lamp-kind", metavar="KIND", help="The lamp in use, if not the calibration's own."),
    ] = None,
    days: Annotated[
        float | None,
        typer.Option("--days", min=0.0, help="Days since the calibration; not counted if left out."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say which UVI a calibration makes of levels.

    \b
    Examples:
      baskline calibrate predict slate.toml --at uva_counts=812 temperature_c=31
      baskline calibrate predict slate.toml --at uva_counts=812 --json
    """
    import numpy as np

    from calibrate.calibration_file import read_calibration
    from calibrate.lamp_kinds import lamp_kind as known_kind
    from calibrate.samples import Flag

    if lamp_kind is not None:
        known_kind(lamp_kind, where="--lamp-kind")
    calibration = read_calibration(file)
    levels = levels_of([*at, *(more or ())], calibration)
    converted = calibration.convert(
        {name: np.array([level]) for name, level in levels.items()}, lamp_kind=lamp_kind, age_days=days
    )
    uvi, u_uvi = float(converted.uvi[0]), float(converted.u_uvi[0])
    flags = Flag(int(converted.flags[0]))
    if as_json:
        from baskline.calibration_json import prediction_fields

        print_json(prediction_fields(calibration, levels, uvi, u_uvi, flags))
        return
    from baskline.calibration_words import flag_words
    from baskline.printing import console, say
    from calibrate.samples import AT_LEAST
    from exposure.wording import uvi_text

    doubts = f"\ndoubtful: {flag_words(flags)}" if flags else ""
    said = uvi_text(uvi, u_uvi, 2.0, at_least=bool(flags & AT_LEAST))
    say(console(), f"UVI {said} (k = 2){doubts}")


def levels_of(given: list[str], calibration: "Calibration") -> dict[str, float]:
    """Return the levels named by `NAME=VALUE`: all of the model's channels, and maybe the temperature."""
    from calibrate.nearest import did_you_mean

    levels: dict[str, float] = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not equals:
            raise typer.BadParameter(f"{text!r} is not NAME=VALUE, such as uva_counts=812", param_hint="--at")
        if name not in calibration.needs:
            raise LevelsError(
                f"this calibration reads no channel {name!r}",
                where="--at",
                remedy=did_you_mean(name, calibration.needs),
            )
        if name in levels:
            raise LevelsError(f"{name} is given twice", where="--at", remedy="Give each channel once")
        try:
            levels[name] = float(value)
        except ValueError:
            levels[name] = math.nan
        if not math.isfinite(levels[name]):
            raise LevelsError(
                f"{value!r} is not a finite number", where=f"--at {name}", remedy="Write it like 812.5"
            )
    missing = [channel.name for channel in calibration.channels if channel.name not in levels]
    if missing:
        raise LevelsError(
            f"nothing is said of {', '.join(missing)}",
            where="--at",
            remedy=f"Add --at {missing[0]}=VALUE: this calibration reads {', '.join(calibration.needs)}",
        )
    return levels
