"""Least squares with errors in both variables.

Notes
-----
Each pair (levels x, reference y) has true levels ξ that are not known; they are fitted along with the
parameters.  What is minimised is

    Σ (x − ξ)² / u_x²  +  Σ (y − f(ξ))² / u_y²  +  (dark reading − dark)² / u_dark²

over the parameters, the dark levels and all ξ; with the uncertainties stated it is χ².  For a straight
line this is the solution of York, and its covariance that at the adjusted points [1]_.  Where u_x is zero,
ξ is x and the problem is the ordinary one.

The true levels of each pair depend on no other pair, so they are eliminated.  At their minimum for given
parameters, with b the slopes of f at ξ and

    e = y − f(ξ) − b·(x − ξ),    w = u_y² + Σ b² u_x²,    ξ = x + b u_x² e / w,

the pair's share of the sum is e²/w, and −∂f/∂θ/√w is a derivative of e/√w that gives the sum's gradient
exactly and, as its second derivative, what the full problem gives with all ξ eliminated.

References
----------
.. [1] York, Evensen, Martínez & De Basabe Delgado 2004, Am. J. Phys. 72, 367-375.
.. [2] MacKinnon & White 1985, J. Econometrics 29, 305-325: the estimate that is known as HC3.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibrate.arrays import FloatArray
from calibrate.fits.shapes import Shape
from calibrate.models import Model

_AT_BOUND = 1e-9
_POLISH_STEPS = 4
_LEVEL_STEPS = 30


@dataclass(frozen=True, slots=True)
class Problem:
    """Points ready to be fitted: n pairs, k channels.

    `u_reference_uvi` (n,) is above 0 throughout.  Channels with `u_dark` 0 have their dark level fixed.
    `temperature_above_c` (n,) are the sensor's temperatures above the reference; with
    `fit_temperature` a common coefficient is fitted too, else `coefficient_per_c` is used.
    """

    levels: FloatArray
    u_levels: FloatArray
    reference_uvi: FloatArray
    u_reference_uvi: FloatArray
    dark: FloatArray
    u_dark: FloatArray
    temperature_above_c: FloatArray
    coefficient_per_c: float = 0.0
    fit_temperature: bool = False


@dataclass(frozen=True, slots=True)
class Solution:
    """What came out: the model, and all else at the minimum.

    `covariance` is that of the model's parameters (dark levels first), from the stated uncertainties.
    `coefficient_per_c` and its standard uncertainty are the given or the fitted one.  `residual_uvi` (n,)
    are y − f(x); `misfit` (n,) each pair's share of `chi2`, as a signed root.  `at_bound` tells which free
    parameters stand at their bound, `n_free` how many were fitted, without dark levels.  `condition` is
    the condition number of the scaled equations.  `unevenness` is how many times the standard error at the
    highest pair grows if each pair's scatter counts where it is, instead of one scatter for all [2]_.
    """

    model: Model
    covariance: FloatArray
    chi2: float
    n_free: int
    coefficient_per_c: float
    u_coefficient_per_c: float
    residual_uvi: FloatArray
    misfit: FloatArray
    at_bound: NDArray[np.bool_]
    condition: float
    unevenness: float


_Mask = NDArray[np.bool_]


class _Place(NamedTuple):
    """The pairs at some parameters, their true levels found: `misfit` (n,) e/√w, `gradient` (n, head)."""

    misfit: FloatArray
    gradient: FloatArray


class _Equations:
    """Residuals and derivatives as functions of one vector: dark levels, free parameters, coefficient."""

    def __init__(self, problem: Problem, shape: Shape) -> None:
        self.problem, self.shape = problem, shape
        self.fitted_dark = np.flatnonzero(problem.u_dark > 0)
        self.n_dark = len(self.fitted_dark)
        self.n_shape = len(shape.start)
        self.size = self.n_dark + self.n_shape + problem.fit_temperature
        self._squared_u_levels = problem.u_levels**2
        self._errs = bool((problem.u_levels > 0).any())
        self._last: tuple[bytes, _Place] | None = None

    def start(self) -> FloatArray:
        coefficient = [self.problem.coefficient_per_c] if self.problem.fit_temperature else []
        return np.concatenate((self.problem.dark[self.fitted_dark], self.shape.start, coefficient))

    def bounds(self) -> tuple[FloatArray, FloatArray]:
        lower, upper = np.full(self.size, -np.inf), np.full(self.size, np.inf)
        free = slice(self.n_dark, self.n_dark + self.n_shape)
        lower[free], upper[free] = self.shape.lower, self.shape.upper
        if self.problem.fit_temperature:
            lower[-1], upper[-1] = -0.05, 0.05
        return lower, upper

    def parts(self, vector: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Return dark levels (k,), free parameters, coefficient."""
        dark = self.problem.dark.copy()
        dark[self.fitted_dark] = vector[: self.n_dark]
        free = vector[self.n_dark : self.n_dark + self.n_shape]
        fitted = self.problem.fit_temperature
        return dark, free, float(vector[-1]) if fitted else self.problem.coefficient_per_c

    def residuals(self, vector: FloatArray) -> FloatArray:
        dark = (self.problem.dark[self.fitted_dark] - vector[: self.n_dark]) / self._u_dark
        return np.concatenate((self._place(vector).misfit, dark))

    def derivatives(self, vector: FloatArray) -> FloatArray:
        dark = np.zeros((self.n_dark, self.size))
        dark[np.arange(self.n_dark), np.arange(self.n_dark)] = -1 / self._u_dark
        return np.concatenate((self._place(vector).gradient, dark))

    @property
    def _u_dark(self) -> FloatArray:
        return self.problem.u_dark[self.fitted_dark]

    def _place(self, vector: FloatArray) -> _Place:
        # Residuals and derivatives are asked for one after the other at the same place.
        key = vector.tobytes()
        if self._last is None or self._last[0] != key:
            self._last = (key, self._find(vector))
        return self._last[1]

    def _find(self, vector: FloatArray) -> _Place:
        problem = self.problem
        dark, free, coefficient = self.parts(vector)
        model = self.shape.model(dark, free)
        sensitivity = (1 + coefficient * problem.temperature_above_c)[:, np.newaxis]
        levels, u_squared = problem.levels, self._squared_u_levels
        for _ in range(_LEVEL_STEPS):
            net = (levels - dark) / sensitivity
            uvi, by_net, by_shape = model.evaluate(net.T)
            slopes = by_net.T / sensitivity
            error = problem.reference_uvi - uvi - (slopes * (problem.levels - levels)).sum(axis=1)
            variance = problem.u_reference_uvi**2 + (slopes**2 * u_squared).sum(axis=1)
            if not self._errs:
                break
            better = problem.levels + slopes * u_squared * (error / variance)[:, np.newaxis]
            moved = np.abs(better - levels).max()
            if moved <= 1e-13 * np.abs(levels).max():
                break
            levels = better
        weight = -1 / np.sqrt(variance)
        gradient = np.empty((len(uvi), self.size))
        gradient[:, : self.n_dark] = -slopes[:, self.fitted_dark]
        gradient[:, self.n_dark : self.n_dark + self.n_shape] = by_shape.T @ self.shape.mixing
        if problem.fit_temperature:
            gradient[:, -1] = -(slopes * net).sum(axis=1) * problem.temperature_above_c
        return _Place(-error * weight, gradient * weight[:, np.newaxis])


def solve(problem: Problem, shape: Shape) -> Solution:
    """Fit a shape; raise `ValueError` or `LinAlgError` where it cannot be done."""
    equations = _Equations(problem, shape)
    lower, upper = equations.bounds()
    found = least_squares(
        equations.residuals,
        np.clip(equations.start(), lower, upper),
        jac=equations.derivatives,
        bounds=(lower, upper),
        x_scale="jac",
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=200,
    )
    free = _off_bounds(found.x, lower, upper, equations.start())
    vector = _polish(equations, found.x, free, lower, upper)
    return _solution(equations, vector, free)


def _off_bounds(vector: FloatArray, lower: FloatArray, upper: FloatArray, start: FloatArray) -> _Mask:
    """Return which unknowns are free at the minimum, not held by a bound."""
    size = np.maximum(np.abs(vector), np.abs(start))
    held = (vector - lower <= _AT_BOUND * size) | (upper - vector <= _AT_BOUND * size)
    return ~held


def _polish(
    equations: _Equations, vector: FloatArray, free: _Mask, lower: FloatArray, upper: FloatArray
) -> FloatArray:
    """Return the minimum to the last digits, by steps that solve the linearised problem directly."""
    cost = float(np.sum(equations.residuals(vector) ** 2))
    for _ in range(_POLISH_STEPS):
        jacobian = equations.derivatives(vector)[:, free]
        scale = np.linalg.norm(jacobian, axis=0)
        scale[scale == 0] = 1.0
        step = np.linalg.lstsq(jacobian / scale, -equations.residuals(vector), rcond=None)[0] / scale
        nearer = vector.copy()
        nearer[free] += step
        if not ((nearer >= lower) & (nearer <= upper)).all():
            break
        try:
            nearer_cost = float(np.sum(equations.residuals(nearer) ** 2))
        except ValueError:  # the model cannot be built there
            break
        if not nearer_cost <= cost * (1 + 1e-12):
            break
        vector, cost = nearer, nearer_cost
    return vector


def _covariance(equations: _Equations, vector: FloatArray, free: _Mask) -> tuple[FloatArray, float]:
    """Return the covariance of all unknowns, and how well they are determined.

    Unknowns held by a bound count as known.  The second is the condition number of the scaled equations.
    """
    used = np.flatnonzero(free)
    jacobian = equations.derivatives(vector)[:, used]
    scale = np.linalg.norm(jacobian, axis=0)
    scale[scale == 0] = 1.0
    singular, rotation = np.linalg.svd(jacobian / scale, full_matrices=False)[1:]
    condition = float(singular[0] / singular[-1]) if singular[-1] > 0 else np.inf
    inverse = rotation.T / np.maximum(singular, singular[0] * 1e-14)
    covariance = np.zeros((len(vector), len(vector)))
    covariance[np.ix_(used, used)] = inverse @ inverse.T / np.outer(scale, scale)
    return covariance, condition


def _unevenness(gradient: FloatArray, covariance: FloatArray, misfit: FloatArray, top: int) -> float:
    leverage = ((gradient @ covariance) * gradient).sum(axis=1)
    freedom = len(misfit) - float(leverage.sum())
    at_top = gradient[top] @ covariance
    even = float(at_top @ gradient[top]) * float(misfit @ misfit) / max(freedom, 1e-9)
    spread = misfit / np.maximum(1 - leverage, 1e-3)
    uneven = float(np.sum((gradient @ at_top * spread) ** 2))
    return max(float(np.sqrt(uneven / even)), 1.0) if even > 0 else 1.0


def _solution(equations: _Equations, vector: FloatArray, free: _Mask) -> Solution:
    problem, shape = equations.problem, equations.shape
    n_dark, n_shape = equations.n_dark, equations.n_shape
    residuals = equations.residuals(vector)
    covariance, condition = _covariance(equations, vector, free)
    dark, parameters, coefficient = equations.parts(vector)
    model = shape.model(dark, parameters)
    # From what was fitted to the model's own parameters: fixed dark levels are known, the rest is mixed.
    k = len(dark)
    spread = np.zeros((k + n_shape, len(vector)))
    spread[equations.fitted_dark, np.arange(n_dark)] = 1.0
    spread[k:, n_dark : n_dark + n_shape] = shape.mixing
    sensitivity = (1 + coefficient * problem.temperature_above_c)[:, np.newaxis]
    direct = model.evaluate(((problem.levels - dark) / sensitivity).T).uvi
    held = ~free[n_dark : n_dark + n_shape]
    return Solution(
        model=model,
        covariance=spread @ covariance @ spread.T,
        chi2=float(residuals @ residuals),
        n_free=int(n_shape - held.sum() + problem.fit_temperature),
        coefficient_per_c=coefficient,
        u_coefficient_per_c=float(np.sqrt(covariance[-1, -1])) if problem.fit_temperature else 0.0,
        residual_uvi=problem.reference_uvi - direct,
        misfit=residuals[: len(direct)],
        at_bound=held,
        condition=condition,
        unevenness=_unevenness(
            equations.derivatives(vector)[: len(direct)],
            covariance,
            residuals[: len(direct)],
            int(problem.reference_uvi.argmax()),
        ),
    )
