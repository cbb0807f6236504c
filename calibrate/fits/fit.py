"""Fit calibration points, and say why the shape that was taken was taken."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.calibration import Range, Temperature
from calibrate.fits.attempt import Attempt, Unfit, attempts
from calibrate.fits.choose import UNKNOWN_COEFFICIENT_PER_C, choose, rate, with_known_coefficient
from calibrate.fits.refusals import (
    FitRefusedError,
    refuse_meaningless,
    refuse_not_rising,
    refuse_unfit,
    without_saturated,
)
from calibrate.fits.shapes import MODEL_NAMES
from calibrate.models import LineModel, Model, parameter_names
from calibrate.nearest import did_you_mean
from calibrate.points import Points

TEMPERATURE_MARGIN_C = 2.0
"""How far beyond the temperatures of the points a calibration still counts as covered.  Judgement."""

STANDS_OUT = 3.5
"""A pair off by more than this many times its uncertainty is named."""


@dataclass(frozen=True, slots=True)
class GivenCoefficient:
    """A temperature coefficient known beforehand, such as from a data sheet (k = 1)."""

    per_c: float
    u_per_c: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A shape that was tried.  `aicc` is None if it could not be compared, and `note` says why."""

    name: str
    n_parameters: int
    aicc: float | None
    reduced_chi2: float | None
    note: str


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted conversion, without what is common to all readings of the reference meter.

    `points` are the pairs that were used, with the channels that were used.  `covariance` (p, p) is that
    of all parameters, in the order of `parameter_names`, from the stated uncertainties; or, with
    `from_scatter`, from the scatter of the pairs, because none were stated.  `widening` is what
    `Uncertainty.fit_widening` wants.  `residual_uvi` (n,) are reference less fitted.  `temperature` is
    None without a temperature channel.  `reasons` are sentences for the keeper.
    """

    name: str
    points: Points
    model: Model
    covariance: FloatArray
    reduced_chi2: float | None
    degrees_of_freedom: int
    from_scatter: bool
    widening: float
    residual_uvi: FloatArray
    uvi_range: Range
    channel_ranges: tuple[Range, ...]
    temperature: Temperature | None
    candidates: tuple[Candidate, ...]
    reasons: tuple[str, ...]

    @property
    def coefficients(self) -> dict[str, float]:
        """All parameters by name."""
        names = parameter_names(self.model)
        return dict(zip(names, (*self.model.dark, *self.model.shape), strict=True))

    @property
    def standard_errors(self) -> dict[str, float]:
        """Standard errors by name, without the widening."""
        errors = np.sqrt(np.maximum(self.covariance.diagonal(), 0.0)).tolist()
        return dict(zip(parameter_names(self.model), errors, strict=True))


def fit(
    points: Points,
    *,
    model: str | None = None,
    temperature: GivenCoefficient | None = None,
    saturation: dict[str, float] | None = None,
    must_reach_uvi: float | None = None,
) -> Fit:
    """Fit calibration points.

    Parameters
    ----------
    points
        The pairs and the dark readings.
    model
        One of `MODEL_NAMES`; None to choose.  With a model asked for, several channels are all used, and
        what is merely unwise about the points becomes a reason instead of a refusal.
    temperature
        A known coefficient.  Without one, it is fitted where the temperatures of the pairs allow.
    saturation
        Level by channel at and above which a pair is left out.
    must_reach_uvi
        The highest UVI that is to be measured.

    Raises
    ------
    FitRefusedError
        Too few pairs, too close together, all at one height, contradictory, saying nothing, or not
        reaching high enough.
    """
    if model is not None and model not in MODEL_NAMES:
        raise FitRefusedError(f"unknown model {model!r}", remedy=did_you_mean(model, MODEL_NAMES))
    asked_for = model is not None
    points, left_out = without_saturated(points, saturation or {})
    warnings = refuse_unfit(points, asked_for=asked_for, must_reach_uvi=must_reach_uvi)
    stated = bool((points.u_reference_uvi > 0).all())
    reference_c = _reference_c(points)
    outcomes = list(
        attempts(
            points,
            model,
            reference_c=reference_c,
            given_per_c=None if temperature is None else temperature.per_c,
            stated=stated,
        )
    )
    tried = [outcome for outcome in outcomes if isinstance(outcome, Attempt)]
    unfit = [outcome for outcome in outcomes if isinstance(outcome, Unfit)]
    if not tried:
        notes = "; ".join(f"{outcome.name}: {outcome.why}" for outcome in unfit)
        raise FitRefusedError(f"no shape can be fitted ({notes})", remedy="Take more pairs, further apart")
    rated = rate(tried)
    chosen, why = choose(rated, asked_for=asked_for)
    chosen = with_known_coefficient(chosen, tried)

    warnings += refuse_meaningless(chosen.points, chosen.solution.residual_uvi, asked_for=asked_for)
    refuse_not_rising(chosen.points, chosen.solution.model, chosen.covariance * chosen.widening**2)
    coefficient, about_temperature = _temperature(chosen, reference_c, temperature)
    return Fit(
        name=chosen.name,
        points=chosen.points,
        model=chosen.solution.model,
        covariance=chosen.covariance,
        reduced_chi2=chosen.reduced_chi2,
        degrees_of_freedom=chosen.freedom,
        from_scatter=not stated,
        widening=chosen.widening,
        residual_uvi=chosen.solution.residual_uvi,
        uvi_range=_uvi_range(chosen),
        channel_ranges=_channel_ranges(chosen.points),
        temperature=coefficient,
        candidates=(
            *(
                Candidate(
                    entry.attempt.name,
                    entry.attempt.solution.n_free,
                    entry.aicc,
                    entry.attempt.reduced_chi2,
                    "" if entry.aicc is not None else "too few pairs to compare it",
                )
                for entry in rated
            ),
            *(Candidate(outcome.name, outcome.n_parameters, None, None, outcome.why) for outcome in unfit),
        ),
        reasons=(why, *left_out, *warnings, *_remarks(chosen), *about_temperature),
    )


def _reference_c(points: Points) -> float:
    """Return the mean temperature as the pairs weigh in the slope: there, slope and coefficient part best."""
    if points.temperature_c is None:
        return 0.0
    uvi = points.reference_uvi
    weights = (uvi / np.maximum(points.u_reference_uvi, 1e-3 * uvi.max())) ** 2
    return round(float(np.average(points.temperature_c, weights=weights)), 1)


def _uvi_range(chosen: Attempt) -> Range:
    model, uvi = chosen.solution.model, chosen.points.reference_uvi
    dark_is_zero = not (isinstance(model, LineModel) and model.intercept is not None)
    covers_zero = dark_is_zero and len(chosen.points.dark) > 0
    # The light of the highest pair was compared, also where the curve puts it above the meter.
    fitted_uvi = round(float((uvi - chosen.solution.residual_uvi).max()), 3)
    return (0.0 if covers_zero else max(float(uvi.min()), 0.0)), max(float(uvi.max()), fitted_uvi)


def _channel_ranges(points: Points) -> tuple[Range, ...]:
    every = np.concatenate((points.levels, points.dark))
    lows, highs = every.min(axis=0), every.max(axis=0)
    return tuple(zip(lows.tolist(), np.maximum(highs, lows + 1e-9).tolist(), strict=True))


def _temperature(
    chosen: Attempt, reference_c: float, given: GivenCoefficient | None
) -> tuple[Temperature | None, tuple[str, ...]]:
    points = chosen.points
    if points.temperature_c is None:
        return None, ()
    if given is not None:
        coefficient, u, said = given.per_c, given.u_per_c, "as given"
    elif chosen.problem.fit_temperature:
        coefficient, u = chosen.solution.coefficient_per_c, chosen.u_coefficient_per_c
        said = "fitted"
    else:
        coefficient, u, said = 0.0, UNKNOWN_COEFFICIENT_PER_C, "not to be told from these pairs"
    low, high = float(points.temperature_c.min()), float(points.temperature_c.max())
    covered = (low - TEMPERATURE_MARGIN_C, high + TEMPERATURE_MARGIN_C)
    temperature = Temperature(points.temperature_channel, reference_c, covered, coefficient, u)
    return temperature, (f"temperature coefficient {coefficient:+.2%} ± {u:.2%} per °C, {said}",)


def _remarks(chosen: Attempt) -> tuple[str, ...]:
    solution, points = chosen.solution, chosen.points
    said = []
    if not chosen.stated:
        said.append("no uncertainty of the reference readings is stated: it is taken from their scatter")
    if len(points.dark) == 0:
        said.append("no dark reading: the dark level is taken as 0")
    if isinstance(solution.model, LineModel):
        held = solution.at_bound[: len(points.channels)]
        said += [
            f"{channel} has no weight: more of it cannot mean less UVI"
            for channel, is_held in zip(points.channels, held, strict=True)
            if is_held
        ]
    if chosen.stated and chosen.widening > 1 and chosen.reduced_chi2 is not None:
        said.append(
            f"the pairs scatter {sqrt(chosen.reduced_chi2):.1f} times as much as their uncertainties "
            f"explain: the fit's own is widened {chosen.widening:.1f} times"
        )
    unit = 1.0 if chosen.stated else sqrt(chosen.reduced_chi2 or 1.0)
    for label, misfit in zip(points.labels, solution.misfit / unit, strict=True):
        if abs(misfit) > STANDS_OUT:
            said.append(f"{label} is off by {abs(misfit):.1f} times its uncertainty: take it again")
    return tuple(said)
