"""`baskline calibrate verify`: does the calibration still hold?"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from baskline import completing
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json, read_config
from baskline.printing import columns_of, console, say
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from calibrate.calibration import Calibration
    from ingest.checking import Series
    from ingest.config import Config

_LEAST_REFERENCE_UVI = 0.1
_MOST_REFERENCE_UVI = 100.0


class VerifyCommandError(KeeperError):
    """A check that cannot be made as asked."""


def verify(
    spot: Annotated[
        str,
        typer.Argument(
            metavar="SPOT", help="The spot's key in the configuration.", autocompletion=completing.spots
        ),
    ],
    reference: Annotated[
        float | None,
        typer.Option("--reference", metavar="UVI", help="What the meter shows beside the sensor, now."),
    ] = None,
    accuracy: Annotated[
        float | None,
        typer.Option(
            "--accuracy",
            metavar="PERCENT",
            min=0.0,
            max=50.0,
            help="Stated accuracy, if it is another meter than the one calibrated with.",
        ),
    ] = None,
    resolution: Annotated[
        float | None,
        typer.Option("--resolution", metavar="UVI", min=0.0, help="Step of the meter's last digit."),
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, max=3600, help="Over how long the spot's mean is taken.")
    ] = 30.0,
    withdraw: Annotated[
        int | None, typer.Option("--withdraw", metavar="CHECK", help="Let a check not count: it was a slip.")
    ] = None,
    chart: Annotated[
        Path | None,
        typer.Option(
            "--chart",
            metavar="FILE",
            readable=False,
            help="Draw the checks so far into a .png, .svg or .pdf file.",
        ),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    as_json: JsonOption = False,
) -> None:
    """Compare a spot with a hand-held UVI meter.

    Hold the meter beside the sensor, facing as it does, with the lamp warm; draw your hand back, then type
    what it shows. Wear glasses that stop UV, and do not touch the hot lamp. The comparison is kept. Without
    --reference, shows the checks so far and when the next is due.

    \b
    Examples:
      baskline calibrate verify slate --reference 1.9
      baskline calibrate verify slate --reference 2.1 --accuracy 5
      baskline calibrate verify slate --chart slate-checks.png
    """
    from baskline.check_words import check_fields, check_lines, due_line, series_lines
    from baskline.commands.calibrate.fit import refuse_chart_ending
    from firmware_host.clock import SystemClock
    from ingest.check_acts import MeterReading, check_now
    from ingest.checking import calibrated_ms, check_state, series_of
    from ingest.checks_now import Settle
    from ingest.store.store import Store
    from ingest.twins import twins

    refuse_chart_ending(chart)
    if reference is not None and not _LEAST_REFERENCE_UVI <= reference <= _MOST_REFERENCE_UVI:
        why = (
            "no lamp for animals gives so much"
            if reference > _MOST_REFERENCE_UVI
            else "the lamp has to be on"
        )
        raise typer.BadParameter(f"{reference:g} is no UVI to compare with: {why}", param_hint="--reference")
    configured = read_config(config)
    calibration = _calibration(spot, configured, config)
    clock = SystemClock()
    check = None
    if reference is not None:
        reading = MeterReading(reference, None if accuracy is None else accuracy / 100, resolution)
        check = check_now(configured, spot, reading, clock, Settle(seconds), _wait)
    elif not configured.bridge.store.exists():
        raise VerifyCommandError(
            "nothing is stored yet", where=str(configured.bridge.store), remedy="Give --reference UVI"
        )
    with Store.open(configured.bridge.store) as store:
        if withdraw is not None:
            store.checks.withdraw(spot, withdraw)
        known = store.checks.of(spot)
        now_ms = clock.moment().wall_ms
        series = series_of(known, calibration.identity)
        zone = configured.bridge.time_zone
        every_days = configured.rule_settings(spot).check_every_days
        state = check_state(known, calibration, calibrated_ms(calibration, zone), now_ms, every_days)
        beside = []
        if series.checks:
            beside = list(twins(store, configured, spot, series.checks[0].at_ms, now_ms))
    if chart is not None:
        _draw(spot, configured, series, chart)
    if as_json:
        print_json(check_fields(check, series, state, beside))
        return
    words = console()
    if check is not None:
        say(words, f"{spot}: {configured.spots[spot].label}")
        for line in check_lines(check):
            say(words, line)
        say(words, "")
    for line in series_lines(series, beside, zone, columns=columns_of(words, 90)):
        say(words, line, hang=4)
    say(words, due_line(state, zone))
    if chart is not None:
        say(words, f"\nDrawn: {chart}")


def _draw(spot: str, config: "Config", series: "Series", chart: Path) -> None:
    from baskline.charts.files import save_chart

    if not series.checks:
        raise VerifyCommandError(
            "no check of the present calibration is stored, so there is nothing to draw",
            where=f"spot.{spot}",
            remedy="Give --reference UVI",
        )

    def spec() -> dict[str, Any]:
        from baskline.charts.checks import checks_drawing, checks_spec

        drawing = checks_drawing(config.spots[spot].label, series, config.bridge.time_zone)
        assert drawing is not None
        return checks_spec(drawing)

    save_chart(spec, chart)


def _calibration(spot: str, config: "Config", file: Path) -> "Calibration":
    from calibrate.calibration_file import read_calibration
    from calibrate.nearest import did_you_mean

    if spot not in config.spots:
        raise VerifyCommandError(
            f"there is no spot {spot!r}", where=str(file), remedy=did_you_mean(spot, config.spots)
        )
    path = config.spots[spot].calibration
    if path is None:
        raise VerifyCommandError(
            "has no calibration that could be checked",
            where=f"{file}, spot.{spot}",
            remedy=f"Make one with `baskline calibrate {spot}`",
        )
    return read_calibration(path)


def _wait(why: str) -> None:
    typer.echo(f"({why})", err=True)
