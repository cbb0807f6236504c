"""`baskline calibrate fit`: from a points file to a calibration."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from baskline.commands.common import JsonOption, print_json
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from calibrate.calibration import Calibration
    from calibrate.fits.fit import Fit, GivenCoefficient
    from calibrate.fits.make import Circumstances
    from calibrate.points_file import PointsFile

CHART_ENDINGS: Final = (".png", ".svg", ".pdf")
_MOST_PER_C: Final = 0.05


class FitCommandError(KeeperError):
    """Points that were fitted, and of which no file can be made as asked."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """What needs scipy: `calibrate.fits.fit.fit` and `calibrate.fits.make.make_calibration`."""

    fit: Callable[..., "Fit"]
    make_calibration: Callable[..., "Calibration"]


def fit(
    points: Annotated[
        Path, typer.Argument(metavar="POINTS.csv", help="Levels and meter readings side by side.")
    ],
    model: Annotated[
        str | None,
        typer.Option("--model", help="proportional, line, power or curve; chosen by itself if left out."),
    ] = None,
    as_json: JsonOption = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Write the calibration; never over another."),
    ] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE", help="Draw it into a .png, .svg or .pdf file.")
    ] = None,
    lamp_kind: Annotated[
        str, typer.Option("--lamp-kind", metavar="KIND", help="The light, if the file does not say.")
    ] = "",
    sensor_kind: Annotated[
        str, typer.Option("--sensor-kind", metavar="PART", help="The sensor, if the file does not say.")
    ] = "",
    per_c: Annotated[
        float | None,
        typer.Option("--per-c", help="A known temperature coefficient: 0.002 is +0.2 % per °C."),
    ] = None,
    u_per_c: Annotated[float, typer.Option("--u-per-c", min=0.0, help="Its standard uncertainty.")] = 0.0,
    must_reach: Annotated[
        float | None,
        typer.Option("--must-reach", metavar="UVI", help="Refuse unless the points reach this UVI."),
    ] = None,
    name: Annotated[str, typer.Option("--name", help="What the calibration is of, in your words.")] = "",
) -> None:
    """Fit a points file, and say why which curve was taken.

    calibrate/POINTS_FILE.md describes the file. Points from which no honest calibration can be made are
    refused, with what to do about them.

    \b
    Examples:
      baskline calibrate fit slate.points.csv -o slate-2026-03.toml
      baskline calibrate fit slate.points.csv --model line --json
    """
    from baskline.calibration_json import fit_fields
    from calibrate.points_file import read_points

    refuse_chart_ending(chart)
    given = _given_coefficient(per_c, u_per_c)
    read = read_points(points)
    calibration = None
    fitted = fitting().fit(
        read.points,
        model=model,
        temperature=given,
        saturation=dict(read.saturation),
        must_reach_uvi=must_reach,
    )
    under = _circumstances(read, lamp_kind, sensor_kind)
    if under is not None:
        calibration = fitting().make_calibration(fitted, under, name=name, notes=f"from {points.name}")
    elif output is not None or chart is not None:
        raise FitCommandError(
            "nothing says under which kind of lamp these points were taken: a calibration holds only there",
            where=str(points),
            remedy="Add a line such as `# lamp_kind = t5` over the names of the columns, or give --lamp-kind",
        )
    if output is not None and calibration is not None:
        from ingest.calibration_files import write_new

        write_new(output, calibration)
    if chart is not None and calibration is not None:
        from baskline.charts.calibration import save_calibration_chart

        save_calibration_chart(calibration, fitted.points, chart)
    if as_json:
        print_json(fit_fields(fitted, calibration, file=None if output is None else str(output)))
    else:
        _tell(fitted, calibration, output, chart)


def _tell(fitted: "Fit", calibration: "Calibration | None", output: Path | None, chart: Path | None) -> None:
    from baskline.calibration_words import fit_lines
    from baskline.printing import columns_of, console, say
    from baskline.text_chart import curve_lines
    from calibrate.curve import curve_of

    words = console()
    for line in fit_lines(fitted, calibration):
        say(words, line, hang=2)
    if calibration is not None and len(calibration.channels) == 1:
        say(words, "")
        for line in curve_lines(curve_of(calibration), fitted.points, columns=columns_of(words, 68)):
            words.print(line, soft_wrap=True)
    if output is not None:
        say(words, f'\nWritten: {output}. To use it, write in its [spot.…] table: calibration = "{output}"')
    if chart is not None:
        say(words, f"\nDrawn: {chart}")


def refuse_chart_ending(chart: Path | None) -> None:
    """Refuse a name under which no chart can be drawn."""
    if chart is not None and chart.suffix.lower() not in CHART_ENDINGS:
        raise typer.BadParameter(
            f"no chart can be drawn as {chart.suffix or 'a file without an ending'}: end the name with"
            f" {', '.join(CHART_ENDINGS)}",
            param_hint="--chart",
        )


def _given_coefficient(per_c: float | None, u_per_c: float) -> "GivenCoefficient | None":
    if per_c is None:
        return None
    if not (math.isfinite(per_c) and abs(per_c) < _MOST_PER_C):
        raise typer.BadParameter(
            f"{per_c:g} is no coefficient of a sensor: write 0.002 for +0.2 % per °C", param_hint="--per-c"
        )
    fitting()
    from calibrate.fits.fit import GivenCoefficient

    return GivenCoefficient(per_c, u_per_c)


def _circumstances(read: "PointsFile", lamp_kind: str, sensor_kind: str) -> "Circumstances | None":
    """Return under what the points were taken: options before the file; None without a lamp kind."""
    from calibrate.fits.make import Circumstances
    from calibrate.lamp_kinds import lamp_kind as known_kind
    from firmware_host.clock import SystemClock

    if lamp_kind:
        known_kind(lamp_kind, where="--lamp-kind")
    kind = lamp_kind or read.lamp_kind
    if not kind:
        return None
    return Circumstances(
        lamp_kind=kind,
        sensor_kind=sensor_kind or read.sensor_kind or "not stated",
        made_on=read.made_on or local_day(SystemClock().moment().wall_ms),
        meter=read.meter,
        noise=read.noise,
        saturation=read.saturation,
    )


def local_day(utc_ms: int) -> date:
    """Return the day of a moment on this computer's clock."""
    return datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone().date()


@cache
def fitting() -> "Fitting":
    """Return the functions that need scipy, or raise the instruction to install it."""
    try:
        from calibrate.fits.fit import fit as fit_points
        from calibrate.fits.make import make_calibration
    except ModuleNotFoundError as missing:
        raise FitCommandError(
            f"fitting needs the package {missing.name}",
            remedy="Install it with `pip install 'baskline[fits]'`",
        ) from None
    return Fitting(fit_points, make_calibration)
