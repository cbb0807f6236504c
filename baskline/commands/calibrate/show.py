"""`baskline calibrate show`: a calibration's curve, budget and history."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from baskline import completing
from baskline.commands.calibrate.fit import local_day, refuse_chart_ending
from baskline.commands.calibrate.predict import levels_of
from baskline.commands.common import (
    DEFAULT_CONFIG,
    ConfigOption,
    JsonOption,
    StoreOption,
    print_json,
    read_config,
    store_of,
)
from baskline.printing import columns_of, console, say
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from calibrate.budget import Budget
    from calibrate.calibration import Calibration
    from ingest.calibration_history import CalibrationRecord
    from ingest.config import Config


class ShowCommandError(KeeperError):
    """Nothing that could be shown."""


def show(
    what: Annotated[
        str,
        typer.Argument(
            metavar="FILE|SPOT",
            help="A calibration file, or a spot's key.",
            autocompletion=completing.spots,
        ),
    ],
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at", metavar="NAME=VALUE", help="Where to take the budget; in the middle if left out."
        ),
    ] = None,
    more: Annotated[
        list[str] | None,
        typer.Argument(metavar="NAME=VALUE", help="Further levels.", show_default=False),
    ] = None,
    under: Annotated[
        str | None,
        typer.Option(
            "--under",
            metavar="LIGHT",
            help="How far it is off under another light: a spectrum as CSV, or a kind of lamp.",
        ),
    ] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE", help="Draw it into a .png, .svg or .pdf file.")
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show a curve, its uncertainty and its history.

    The uncertainty budget follows the GUM (JCGM 100): one line a source, the largest first. A spot is shown
    with the calibration that its configuration names, and with what applied to it when.

    \b
    Examples:
      baskline calibrate show slate
      baskline calibrate show slate.toml --at uva_counts=812 temperature_c=31
      baskline calibrate show slate --under metal-halide
    """
    from calibrate.budget import budget
    from calibrate.calibration_file import read_calibration
    from calibrate.curve import middle_levels, pairs_of

    refuse_chart_ending(chart)
    configured, file = (None, Path(what)) if Path(what).is_file() else _of_spot(what, config)
    calibration = read_calibration(file)
    levels = middle_levels(calibration)
    if at:
        # Only the temperature may be left out, and is then that of the calibration.
        levels |= levels_of([*at, *(more or ())], calibration)
    lamp_kind = None if configured is None else configured.lamps[configured.spots[what].lamp].kind
    age_days = None if configured is None else _age_days(calibration)
    result = budget(calibration, levels, lamp_kind=lamp_kind, age_days=age_days)
    if chart is not None:
        from baskline.charts.calibration import save_calibration_chart

        save_calibration_chart(calibration, pairs_of(calibration), chart)
    other_light = None if under is None else _under(calibration, under)
    records = [] if configured is None else _records(what, store_of(configured, store))
    if as_json:
        from baskline.calibration_json import calibration_fields, history_fields

        history = None if configured is None else history_fields(records)
        document = calibration_fields(calibration, result, levels)
        print_json({**document, "under": other_light, "history": history})
        return
    _tell(calibration, result, levels)
    if other_light is not None:
        _tell_under(other_light, calibration)
    if configured is not None:
        _tell_history(records, configured)
    if chart is not None:
        say(console(), f"\nDrawn: {chart}")


def _tell(calibration: "Calibration", result: "Budget", levels: "dict[str, float]") -> None:
    from baskline.calibration_words import budget_lines, calibration_lines
    from baskline.text_chart import curve_lines
    from calibrate.curve import curve_of, pairs_of

    words = console()
    for line in calibration_lines(calibration):
        say(words, line, hang=2)
    if len(calibration.channels) == 1:
        say(words, "")
        columns = columns_of(words, 68)
        for line in curve_lines(curve_of(calibration), pairs_of(calibration), columns=columns):
            words.print(line, soft_wrap=True)
    say(words, "")
    for line in budget_lines(result, levels):
        say(words, line, hang=6)


def _under(calibration: "Calibration", light: str) -> dict[str, Any]:
    """Return what is known of the calibration under a light: a kind of lamp by its model, or a file."""
    from baskline.spectrum_document import under_fields
    from calibrate.lamp_kinds import LAMP_KINDS
    from calibrate.lamp_spectra import lamp_model
    from calibrate.nearest import did_you_mean
    from calibrate.spectra import read_spectrum

    if light in LAMP_KINDS:
        return under_fields(calibration, lamp_model(light), light)
    if not Path(light).suffix and not Path(light).exists():
        raise ShowCommandError(
            f"there is no kind of lamp {light!r}, nor a file of that name",
            where="--under",
            remedy=did_you_mean(light, LAMP_KINDS),
        )
    return under_fields(calibration, read_spectrum(Path(light)), None)


def _tell_under(under: dict[str, Any], calibration: "Calibration") -> None:
    from baskline.spectrum_document import under_lines

    words = console()
    say(words, "")
    for line in under_lines(under, calibration):
        say(words, line, hang=4)


def _tell_history(records: "list[CalibrationRecord]", config: "Config") -> None:
    from baskline.calibration_words import history_lines

    words = console()
    say(words, "")
    if not records:
        say(words, "No history: nothing is stored of this spot yet.")
        return
    say(words, "What applied since when; of several the one with the highest generation:")
    for line in history_lines(records, config.bridge.time_zone):
        say(words, f"  {line}", hang=6)
    say(words, "To put another calibration over the past, or to undo that: baskline recompute --help")


def _of_spot(spot: str, config: Path) -> "tuple[Config, Path]":
    """Return the configuration and the calibration file that it names for a spot."""
    from calibrate.nearest import did_you_mean

    if Path(spot).suffix or "/" in spot:
        raise ShowCommandError("no such calibration file", where=spot, remedy="Check the path")
    configured = read_config(config)
    if spot not in configured.spots:
        raise ShowCommandError(
            f"there is no spot and no file {spot!r}",
            where=str(config),
            remedy=did_you_mean(spot, configured.spots),
        )
    file = configured.spots[spot].calibration
    if file is None:
        raise ShowCommandError(
            "has no calibration yet",
            where=f"{config}, spot.{spot}",
            remedy=f"Make one with `baskline calibrate {spot}`",
        )
    return configured, file


def _age_days(calibration: "Calibration") -> float:
    from firmware_host.clock import SystemClock

    return max(0, (local_day(SystemClock().moment().wall_ms) - calibration.made_on).days)


def _records(spot: str, store: Path) -> "list[CalibrationRecord]":
    from ingest.calibration_history import calibration_history
    from ingest.store.store import Store

    if not store.exists():
        return []
    with Store.open(store, read_only=True) as kept:
        return calibration_history(kept, spot)
