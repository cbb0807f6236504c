"""Spot checks in words, as JSON, and as a control chart drawn with letters."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from baskline.calibration_json import flag_names, utc_text
from baskline.calibration_words import aligned, flag_words
from baskline.measured_words import full_day, signed
from calibrate.control_chart import ControlChart
from calibrate.samples import Flag
from calibrate.spot_check import Moved, MovedOfTwo, Verdict, verdict_of
from exposure.days import local_date
from exposure.wording import uvi_text

if TYPE_CHECKING:
    from ingest.checking import CheckState, Series
    from ingest.store.checks import CheckRecord
    from ingest.twins import Twin

SCHEMA: Final = "baskline.spot_check/1"

_VERDICTS: Final = {
    Verdict.WITHIN: "within: the calibration holds",
    Verdict.DOUBTFUL: "doubtful: measure again; clean the sensor's window and see that nothing shades it",
    Verdict.OUT: "out: take its UVI for unknown; clean the sensor and measure again, or calibrate anew",
}
_CHART_WIDTH: Final = 41
_LEAST_CHART_WIDTH: Final = 13
_BESIDE_CHART: Final = 48
_SHOWN: Final = 20


def check_lines(check: "CheckRecord") -> Iterator[str]:
    """Yield what one check says."""
    seconds = (check.at_ms - check.from_ms) / 1000
    said = uvi_text(check.uvi, check.u_uvi, 2.0, at_least=False)
    yield f"meter {check.reference_uvi:g}, spot {said} (k = 2; mean of {check.n} readings in {seconds:.0f} s)"
    if check.flags:
        yield f"doubtful: {flag_words(Flag(check.flags))}"
    yield f"E_n {signed(check.e_n, '+.2f')}: {verdict_words(check.e_n)}"
    if not check.same_meter:
        yield "The meter counts as another than the one that this spot was calibrated with."


def verdict_words(e_n: float) -> str:
    """Return what a check says, and what to do about it."""
    return _VERDICTS[verdict_of(e_n)]


def series_lines(series: "Series", twins: Sequence["Twin"], time_zone: str, *, columns: int) -> Iterator[str]:
    """Yield the control chart and what has changed since the first check."""
    zone = ZoneInfo(time_zone)
    if series.chart is None:
        yield "No check of this calibration yet."
        return
    chart = series.chart
    yield (
        f"Checks of this calibration (meter over spot): centre {chart.centre:.3f}, limits {chart.low:.3f} to"
        f" {chart.high:.3f}"
    )
    yield from (f"  {line}" for line in chart_lines(chart, series.checks, zone, columns=columns))
    yield from series_words(series, twins, zone)


def series_words(series: "Series", twins: Sequence["Twin"], zone: ZoneInfo) -> Iterator[str]:
    """Yield what the checks say together: signals of the last one, and what has changed since the first."""
    if series.chart is not None:
        for i, why in _latest_signals(series.chart):
            yield f"signal at {_day(series.checks[i].at_ms, zone)}: {why}"
    yield from _moved_lines(series, zone)
    for twin in twins:
        yield _twin_line(twin)


def chart_lines(
    chart: ControlChart, checks: Sequence["CheckRecord"], zone: ZoneInfo, *, columns: int
) -> list[str]:
    """Return a line for each check: `o` its ratio (`x` beyond a limit), `e` the weighted mean, `|` limits.

    The picture takes what `columns` leave beside the words, within reason.
    """
    half = max(float(abs(chart.values - chart.centre).max()), 3 * chart.sigma) * 1.1
    width = max(_LEAST_CHART_WIDTH, min(_CHART_WIDTH, columns - _BESIDE_CHART))
    middle = width // 2

    def place(value: float) -> int:
        return middle + round((value - chart.centre) / half * middle)

    rows = []
    for i in range(max(0, len(checks) - _SHOWN), len(checks)):
        line = [" "] * (2 * middle + 1)
        for limit in (chart.low, chart.high):
            line[place(limit)] = "|"
        line[middle] = ":"
        line[place(float(chart.ewma[i]))] = "e"
        value = float(chart.values[i])
        line[place(value)] = "o" if chart.low <= value <= chart.high else "x"
        check = checks[i]
        rows.append(
            (
                f"{check.check_id}",
                _day(check.at_ms, zone),
                "".join(line),
                f"{value:.3f}",
                f"E_n {signed(check.e_n, '+.2f')}",
                verdict_of(check.e_n).value,
            )
        )
    lines = aligned(rows, left=(1, 2, 5))
    return [*lines, "o a check, e their weighted mean (EWMA), : centre, | limits (3 sigma)"]


def due_line(state: "CheckState", time_zone: str) -> str:
    """Return when the next check is due."""
    if state.due_ms is None:
        return "No check is asked for (check_every_days is 0)."
    day = local_date(state.due_ms, time_zone)
    late = " It is overdue." if state.overdue else ""
    return f"Next check: {full_day(day)}.{late}"


def check_fields(
    check: "CheckRecord | None", series: "Series", state: "CheckState", twins: Sequence["Twin"]
) -> dict[str, Any]:
    """Return a check with its series as JSON."""
    chart = series.chart
    return {
        "schema": SCHEMA,
        "check": None if check is None else record_fields(check),
        "checks": [record_fields(known) for known in series.checks],
        "chart": None
        if chart is None
        else {
            "centre": chart.centre,
            "low": chart.low,
            "high": chart.high,
            "ewma": chart.ewma.tolist(),
            "ewma_low": chart.ewma_low.tolist(),
            "ewma_high": chart.ewma_high.tolist(),
            "signals": [{"index": i, "why": why.value} for i, why in chart.signals],
        },
        "moved": None if series.moved is None else series.moved.value,
        "light_ratio": series.light,
        "sensor_ratio": series.sensor,
        "twins": [{"spot": twin.spot, "moved": twin.moved.value} for twin in twins],
        "due": None if state.due_ms is None else utc_text(state.due_ms),
        "overdue": state.overdue,
    }


def record_fields(check: "CheckRecord") -> dict[str, Any]:
    """Return one check as JSON."""
    return {
        "id": check.check_id,
        "spot": check.spot,
        "at": utc_text(check.at_ms),
        "reference_uvi": check.reference_uvi,
        "uvi": check.uvi,
        "u_uvi": check.u_uvi,
        "n": check.n,
        "seconds": (check.at_ms - check.from_ms) / 1000,
        "same_meter": check.same_meter,
        "ratio": check.ratio,
        "u_ratio": check.u_ratio,
        "e_n": check.e_n,
        "verdict": verdict_of(check.e_n).value,
        "flags": flag_names(Flag(check.flags)),
        "calibration": check.calibration,
    }


def _latest_signals(chart: ControlChart) -> list[tuple[int, str]]:
    last = len(chart.values) - 1
    return [(i, why.value) for i, why in chart.signals if i == last]


def _moved_lines(series: "Series", zone: ZoneInfo) -> Iterator[str]:
    if series.moved is None or series.light is None or series.sensor is None:
        return
    since = f"Since the first check, {_day(series.checks[0].at_ms, zone)}:"
    light = f"the light is {signed(series.light - 1, '+.0%')} by the meter"
    sensor = f"the sensor has moved by {signed(series.sensor - 1, '+.0%')} against the meter"
    match series.moved:
        case Moved.NOTHING:
            yield f"{since} nothing has changed beyond what two readings can tell."
        case Moved.LIGHT:
            yield f"{since} {light}, and the sensor follows: it is the lamp, or what stands between."
        case Moved.SENSOR:
            yield f"{since} {sensor}, while the light is the same: it is the sensor, its window or its place."
        case Moved.BOTH:
            yield f"{since} {light}, and {sensor}: both have changed."


def _twin_line(twin: "Twin") -> str:
    own, other = signed(twin.own.ratio - 1, "+.0%"), signed(twin.other.ratio - 1, "+.0%")
    said = {
        MovedOfTwo.NOTHING: "neither has changed",
        MovedOfTwo.LIGHT: "both alike, so it is the lamp",
        MovedOfTwo.FIRST: "this one alone, so it is this sensor or its view",
        MovedOfTwo.SECOND: "the other alone, so it is that sensor or its view",
        MovedOfTwo.UNCLEAR: "both, and not alike",
    }[twin.moved]
    return (
        f"Beside {twin.spot} under the same lamp, day against day: this {own}, {twin.spot} {other}: {said}."
    )


def _day(utc_ms: int, zone: ZoneInfo) -> str:
    return local_date(utc_ms, zone.key).isoformat()
