"""One shape fitted to the points, and what its scatter says."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy.special import chdtri, stdtrit

from calibrate.arrays import FloatArray
from calibrate.fits.shapes import Shape, curve_shape, line_shape, may_be_negative, power_shape
from calibrate.fits.solve import Problem, Solution, solve
from calibrate.points import Points

CURVE_PIECES = (2, 3, 4)

WORST_CONDITION = 1e7
"""Beyond it the equations do not tell parameters apart."""

LEAST_TEMPERATURE_SPAN_C = 5.0
"""Over fewer degrees no coefficient is looked for."""


@dataclass(frozen=True, slots=True)
class Unfit:
    """A shape that the points could not carry, and why."""

    name: str
    n_parameters: int
    why: str


@dataclass(frozen=True, slots=True)
class Attempt:
    """A shape fitted to points; `solution` has unit weights if no uncertainty was `stated`."""

    name: str
    points: Points
    problem: Problem
    solution: Solution
    stated: bool

    @property
    def freedom(self) -> int:
        """Degrees of freedom."""
        return len(self.points) - self.solution.n_free

    @property
    def reduced_chi2(self) -> float | None:
        """χ² for each degree of freedom; without stated uncertainties the variance about the fit, in UVI²."""
        return self.solution.chi2 / self.freedom if self.freedom > 0 else None

    @property
    def covariance(self) -> FloatArray:
        """The parameters' covariance from the stated uncertainties, or from the scatter if none were."""
        return self.solution.covariance * self._variance_of_unit_weight

    @property
    def _variance_of_unit_weight(self) -> float:
        return 1.0 if self.stated or self.reduced_chi2 is None else self.reduced_chi2

    @property
    def widening(self) -> float:
        """What standard errors have to be multiplied by so that 2 of them hold 95 %.

        With stated uncertainties: by nothing, unless χ² is beyond its 95 % limit; then by the scatter.
        Where the scatter counts, its few degrees of freedom do too (Student's t; JCGM 100:2008, G.3), and
        so does that it often grows with the UVI.
        """
        if self.reduced_chi2 is None:
            return 1.0
        few = float(stdtrit(self.freedom, 0.975)) / 1.96
        if not self.stated:
            return few * self.solution.unevenness
        if self.solution.chi2 <= float(chdtri(self.freedom, 0.05)):
            return 1.0
        return sqrt(self.reduced_chi2) * few

    @property
    def u_coefficient_per_c(self) -> float:
        """Standard uncertainty of the fitted temperature coefficient, widened; 0 if it was not fitted."""
        return self.solution.u_coefficient_per_c * sqrt(self._variance_of_unit_weight) * self.widening


def attempts(
    points: Points, model: str | None, *, reference_c: float, given_per_c: float | None, stated: bool
) -> Iterator[Attempt | Unfit]:
    """Try all shapes that may come into question, with and without a temperature coefficient."""
    for some, shape in _shapes(points, model):
        for problem in _problems(some, reference_c, given_per_c, stated=stated):
            yield _attempt(some, shape, problem, stated=stated)


def _shapes(points: Points, model: str | None) -> Iterator[tuple[Points, Shape]]:
    sets = [points.channels]
    if model is None and len(points.channels) > 1:
        sets += [(channel,) for channel in points.channels if not may_be_negative(channel)]
    for channels in sets:
        some = points if channels == points.channels else points.of_channels(channels)
        net = some.levels - some.dark_level()[0]
        for shape in _shapes_of_one(channels, net, some.reference_uvi, model):
            label = shape.name if len(points.channels) == 1 else f"{shape.name} in {' and '.join(channels)}"
            yield some, replace(shape, name=label)


def _shapes_of_one(
    channels: tuple[str, ...], net: FloatArray, uvi: FloatArray, model: str | None
) -> Iterator[Shape]:
    # A single channel needs no bound on its weight: that it rises is judged afterwards.
    bounded = len(channels) > 1
    if model in (None, "proportional"):
        yield line_shape(channels, net, uvi, intercept=False, bounded=bounded)
    if model in (None, "line"):
        yield line_shape(channels, net, uvi, intercept=True, bounded=bounded)
    if len(channels) > 1:
        return
    if model in (None, "power") and (power := power_shape(channels, net, uvi)) is not None:
        yield power
    if model in (None, "curve"):
        for pieces in CURVE_PIECES:
            if (curve := curve_shape(channels, net, uvi, pieces)) is not None:
                yield curve


def _problems(
    points: Points, reference_c: float, given_per_c: float | None, *, stated: bool
) -> Iterator[Problem]:
    n = len(points)
    dark, u_dark = points.dark_level()
    above = np.zeros(n) if points.temperature_c is None else points.temperature_c - reference_c
    problem = Problem(
        levels=points.levels,
        # Without uncertainties of the reference nothing says how errors in the levels weigh against them.
        u_levels=points.u_levels if stated else np.zeros_like(points.levels),
        reference_uvi=points.reference_uvi,
        u_reference_uvi=points.u_reference_uvi if stated else np.ones(n),
        dark=dark,
        u_dark=u_dark if stated else np.zeros_like(dark),
        temperature_above_c=above,
        coefficient_per_c=given_per_c or 0.0,
    )
    yield problem
    if given_per_c is None and np.ptp(above) >= LEAST_TEMPERATURE_SPAN_C:
        yield replace(problem, fit_temperature=True)


def _attempt(points: Points, shape: Shape, problem: Problem, *, stated: bool) -> Attempt | Unfit:
    name = with_temperature(shape.name) if problem.fit_temperature else shape.name
    n_parameters = len(shape.start) + problem.fit_temperature
    if n_parameters > len(points) or (n_parameters == len(points) and not stated):
        return Unfit(name, n_parameters, f"needs more than {len(points)} pairs")
    try:
        solution = solve(problem, shape)
        if not stated:
            solution = _with_uncertain_dark(points, shape, problem, solution)
    except (ValueError, np.linalg.LinAlgError):
        return Unfit(name, n_parameters, "does not settle")
    if solution.condition > WORST_CONDITION:
        return Unfit(name, n_parameters, "the pairs do not tell its numbers apart")
    return Attempt(name, points, problem, solution, stated)


def with_temperature(name: str) -> str:
    """Return the name of a shape with the temperature coefficient fitted."""
    return f"{name}, temperature fitted"


def _with_uncertain_dark(points: Points, shape: Shape, problem: Problem, solution: Solution) -> Solution:
    """Return the fit with the dark level's uncertainty, now that the scatter says what weighs against it."""
    u_dark = points.dark_level()[1]
    freedom = len(points) - solution.n_free
    if not u_dark.any() or freedom < 1 or solution.chi2 == 0:
        return solution
    sigma = sqrt(solution.chi2 / freedom)
    again = solve(replace(problem, u_dark=u_dark, u_reference_uvi=np.full(len(points), sigma)), shape)
    # Back to unit weights, so that all attempts without stated uncertainties compare.
    return replace(
        again,
        chi2=again.chi2 * sigma**2,
        covariance=again.covariance / sigma**2,
        u_coefficient_per_c=again.u_coefficient_per_c / sigma,
        misfit=again.misfit * sigma,
    )
