"""Calibrations and fits in words and tables, as the command line prints them."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from math import floor, log10
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from baskline.wording import FLAG_WORDS
from calibrate.lamp_kinds import LAMP_KINDS
from calibrate.samples import Flag
from exposure.wording import uvi_text

if TYPE_CHECKING:
    from calibrate.budget import Budget
    from calibrate.calibration import Calibration
    from calibrate.fits.fit import Fit
    from ingest.calibration_history import CalibrationRecord

_MINUTE: Final = "%Y-%m-%d %H:%M"


def flag_words(flags: Flag) -> str:
    """Return what is wrong with a value, in words."""
    return ", ".join(FLAG_WORDS[flag.name.lower()] for flag in flags if flag.name is not None)


def number(value: float) -> str:
    """Return a level or a coefficient with as many digits as help."""
    return f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"


def _to_its_doubt(value: float, u: float) -> tuple[str, str]:
    """Return a number and its standard error, to two digits of the latter."""
    if not 0 < u < float("inf"):
        return number(value), "-"
    decimals = max(0, 1 - floor(log10(u)))
    return (f"{value:.{decimals}f}", f"{u:.{decimals}f}") if decimals < 10 else (f"{value:.4g}", f"{u:.2g}")


def aligned(rows: Sequence[Sequence[str]], *, left: Sequence[int] = (0,), gap: str = "  ") -> list[str]:
    """Return the rows as lines with their cells in columns; those in `left` begin alike, others end alike."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        gap.join(
            cell.ljust(width) if place in left else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def fit_lines(fit: "Fit", calibration: "Calibration | None", *, tried: bool = True) -> Iterator[str]:
    """Yield what a fit found and why; with `tried` also the other models."""
    yield f"Model: {fit.name}"
    rows = [("", "value", "±")]
    errors = fit.standard_errors
    rows += [(name, *_to_its_doubt(value, errors[name])) for name, value in fit.coefficients.items()]
    yield from _indented(aligned(rows))
    if fit.reduced_chi2 is not None and not fit.from_scatter:
        yield f"Scatter: reduced chi² {fit.reduced_chi2:.2f}, {fit.degrees_of_freedom} degrees of freedom"
    low, high = fit.uvi_range
    yield f"Holds from UVI {low:.2g} to {high:.3g}, outside of that samples are flagged"
    yield ""
    yield "Each pair:"
    yield from _indented(residual_lines(fit))
    yield ""
    yield "Why (AICc weighs how well a curve fits against how many numbers it needs):"
    for reason in fit.reasons:
        yield f"- {reason}"
    if tried and len(fit.candidates) > 1:
        yield ""
        yield "Tried (the lower AICc the better):"
        rows_tried = [("", "numbers", "AICc", "")]
        rows_tried += [
            (
                candidate.name,
                str(candidate.n_parameters),
                "" if candidate.aicc is None else f"{candidate.aicc:.1f}",
                candidate.note,
            )
            for candidate in fit.candidates
        ]
        yield from _indented(aligned(rows_tried, left=(0, 3)))
    if calibration is None:
        yield ""
        yield (
            "No lamp kind is stated, so this is no calibration yet: add `# lamp_kind = t5`, or --lamp-kind"
        )


def residual_lines(fit: "Fit") -> list[str]:
    """Return a table of the pairs and how far each is off the curve."""
    points = fit.points
    rows = [("pair", *points.channels, "meter UVI", "curve UVI", "off by")]
    for label, levels, reference, residual in zip(
        points.labels,
        points.levels.tolist(),
        points.reference_uvi.tolist(),
        fit.residual_uvi.tolist(),
        strict=True,
    ):
        rows.append(
            (
                label,
                *map(number, levels),
                f"{reference:.2f}",
                f"{reference - residual:.2f}",
                f"{residual:+z.2f}",
            )
        )
    return aligned(rows)


def calibration_lines(calibration: "Calibration") -> Iterator[str]:
    """Yield what a calibration is, above its curve and budget."""
    kind = LAMP_KINDS[calibration.lamp_kind]
    named = f"{calibration.name}: " if calibration.name else ""
    yield f"{named}calibration {calibration.identity}"
    yield (
        f"made on {calibration.made_on} under {kind.title}, sensor {calibration.sensor_kind},"
        f" valid for {calibration.valid_for_days} days"
    )
    low, high = calibration.uvi_range
    yield f"holds from UVI {low:.2g} to {high:.3g}"
    if calibration.temperature is not None:
        temperature = calibration.temperature
        cold, hot = temperature.valid_range_c
        yield (
            f"temperature coefficient {temperature.coefficient_per_c:+.2%} ±"
            f" {temperature.u_coefficient_per_c:.2%} per °C, holds from {cold:g} to {hot:g} °C"
        )
    if calibration.notes:
        yield calibration.notes


def budget_lines(budget: "Budget", at: Mapping[str, float]) -> Iterator[str]:
    """Yield the budget as a table."""
    where = ", ".join(f"{name} {number(level)}" for name, level in at.items())
    yield f"Where the uncertainty comes from, at {where}:"
    rows = [("source", "UVI", "share", "")]
    rows += [
        (
            row.source,
            f"± {row.u_uvi:.3f}",
            f"{row.share:.0%}",
            f"{row.basis}{'' if row.common else '; shrinks in a mean'}",
        )
        for row in budget.rows
    ]
    rows.append(("together (k = 1)", f"± {budget.u_uvi:.3f}", "", ""))
    yield from _indented(aligned(rows, left=(0, 3)))
    doubts = flag_words(budget.flags)
    yield f"UVI {uvi_text(budget.uvi, budget.u_uvi, 2.0, at_least=False)} (k = 2)"
    if doubts:
        yield f"doubtful: {doubts}"


def history_lines(records: Sequence["CalibrationRecord"], time_zone: str) -> list[str]:
    """Return what applied to a spot since when, the newest record last."""
    zone = ZoneInfo(time_zone)

    def local(ms: int | None) -> str:
        return "" if ms is None else datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone).strftime(_MINUTE)

    rows = [("generation", "from", "to", "calibration", "made on", "lamp", "")]
    for record in records:
        remarks = (("withdrawn",) if record.withdrawn else ()) + ((record.reason,) if record.reason else ())
        rows.append(
            (
                str(record.generation),
                local(record.from_ms),
                local(record.to_ms),
                record.calibration or "none",
                "" if record.made_on is None else record.made_on.isoformat(),
                record.lamp_kind,
                "; ".join(remarks),
            )
        )
    return aligned(rows, left=range(len(rows[0])))


def _indented(lines: Sequence[str]) -> Iterator[str]:
    for line in lines:
        yield f"  {line}"
