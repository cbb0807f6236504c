"""The calibration: the fitted conversion from a sensor's channels to UVI, with its uncertainty and limits."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from calibrate.arrays import FlagArray, FloatArray
from calibrate.conversion import Conversion, Converted
from calibrate.errors import KeeperError
from calibrate.identity import NOT_CONTENT, content_hash
from calibrate.lamp_kinds import lamp_kind
from calibrate.models import Model, parameter_names
from calibrate.origin import Origin

Range = tuple[float, float]


class CalibrationError(KeeperError):
    """A calibration that contradicts itself."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel as the calibration knows it; all numbers in the channel's own unit (counts, mV, …).

    `noise`: standard deviation of one reading under steady light.  `valid_range`: lowest and highest
    level at which it was calibrated.  `saturation`: at or above this level the sensor is at its rail.
    """

    name: str
    noise: float
    valid_range: Range | None = None
    saturation: float | None = None


@dataclass(frozen=True, slots=True)
class Temperature:
    """How the sensor's own temperature enters.

    The sensitivity is taken as 1 + `coefficient_per_c` · (T − `reference_c`) times that at `reference_c`.
    An uncorrected sensor has coefficient 0 and, in `u_coefficient_per_c`, what is not known about it.
    Outside `valid_range_c`, or where `channel` says nothing, a sample is flagged.
    """

    channel: str
    reference_c: float
    valid_range_c: Range
    coefficient_per_c: float = 0.0
    u_coefficient_per_c: float = 0.0
    u_temperature_c: float = 0.0


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties (k = 1) besides the channels' noise and the temperature.

    `covariance` is that of the model's parameters in the order of `parameter_names(model)`.
    `fit_widening` multiplies the uncertainty that comes from it, so that k = 2 holds about 95 % although
    the points were few or scattered more than they should.
    The reference meter's error is common to all its readings, so no number of points averages it away:
    `reference_relative` is its share that grows with the reading, `reference_uvi` its zero error.
    `reference_resolution_uvi`, the step of its last digit, is kept for the record: it acts on each
    reference reading by itself, so the covariance already has it.
    `spectral_relative`: lamps of the calibrated kind differ in spectrum.  `drift_relative_per_year`:
    ageing since the calibration.  `other_*`: anything else, such as placing the sensor.
    """

    covariance: tuple[tuple[float, ...], ...]
    fit_widening: float = 1.0
    reference_relative: float = 0.0
    reference_uvi: float = 0.0
    reference_resolution_uvi: float = 0.0
    spectral_relative: float = 0.0
    drift_relative_per_year: float = 0.0
    other_relative: float = 0.0
    other_uvi: float = 0.0


@dataclass(frozen=True, slots=True)
class LampFactor:
    """What to multiply by under another lamp kind than the calibrated one, and how sure that is (k = 1)."""

    lamp_kind: str
    factor: float
    u_relative: float
    source: str = field(default="", metadata=NOT_CONTENT)


@dataclass(frozen=True, slots=True)
class Calibration:
    """A conversion from channels to UVI.

    `identity` is a hash over everything that can change an answer (so not over `name`, `notes` and
    `origin`): two
    calibrations with one identity answer alike for ever.  `uvi_range` is the lowest and highest level at
    which it was compared with the reference.  Raises `CalibrationError` if it contradicts itself.
    """

    lamp_kind: str
    sensor_kind: str
    model: Model
    channels: tuple[Channel, ...]
    uvi_range: Range
    uncertainty: Uncertainty
    made_on: date
    valid_for_days: int = 365
    temperature: Temperature | None = None
    lamp_factors: tuple[LampFactor, ...] = ()
    name: str = field(default="", metadata=NOT_CONTENT)
    notes: str = field(default="", metadata=NOT_CONTENT)
    origin: Origin | None = field(default=None, metadata=NOT_CONTENT)
    identity: str = field(init=False)
    _conversion: Conversion = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        _refuse_contradictions(self)
        object.__setattr__(self, "identity", content_hash(self))
        object.__setattr__(self, "_conversion", Conversion(self))

    @property
    def parameter_names(self) -> tuple[str, ...]:
        """Names of the model's parameters, in the order of the covariance."""
        return parameter_names(self.model)

    @property
    def needs(self) -> tuple[str, ...]:
        """The channels that `convert` reads, the temperature's last if there is one."""
        names = tuple(channel.name for channel in self.channels)
        return names if self.temperature is None else (*names, self.temperature.channel)

    def reach_uvi(self, lamp_kind: str) -> float:
        """Return the highest UVI under that kind of lamp for which nothing is extrapolated."""
        return self.uvi_range[1] * self._conversion.under(lamp_kind, None).factor

    def convert(
        self,
        columns: Mapping[str, FloatArray],
        marks: FlagArray | None = None,
        *,
        lamp_kind: str | None = None,
        age_days: float | None = None,
    ) -> Converted:
        """Return the UVI of each reading, its standard uncertainty, and what is wrong with it.

        Parameters
        ----------
        columns
            Channel name to values (n,), in the channel's own unit.  Names that are not needed are ignored.
        marks
            Marks of each reading (n,): 1 saturated, 2 ranged, 4 fault, 65536 host clock unsure.
        lamp_kind
            The kind of the lamp in use; None if not stated, which is taken as the calibration's own.
        age_days
            Days from `made_on` to the readings; None leaves ageing and staleness out.

        Returns
        -------
        Converted
            Arrays (n,): `uvi`, `u_uvi` (k = 1), `flags` (bits of `Flag`).

        Notes
        -----
        What happens where the calibration does not reach; each case is flagged, none is silently clipped:

        - A needed channel that is absent, NaN or infinite: NaN, MISSING; with a fault mark SENSOR_FAULT
          too.  A fault mark alone is another sensor's: a board leaves out what the failed one would say.
        - A saturation mark, or a channel at its saturation level: SATURATED; the value is a lower bound.
        - Below zero: clamped to 0, because less than no light cannot be.  If it is below by more than
          3 times what noise and the fit explain, NEGATIVE, and the amount below is added to `u_uvi`.
        - Above `uvi_range` or a channel's range by more than 3 times the noise: the model is still used,
          ABOVE_RANGE.  A quarter (judgement) of the excess over `uvi_range` is added to `u_uvi`.  Below a
          range by more than 3 times the noise: BELOW_RANGE.
        - Temperature out of range: corrected with the same coefficient (the correction held within a
          factor of 2), TEMPERATURE.  Unknown temperature: taken as anywhere in the valid range,
          not corrected, TEMPERATURE.
        - Another lamp kind: OTHER_LAMP_KIND, multiplied by its factor in `lamp_factors` if there is one,
          else unchanged with 100 % (k = 1, judgement) added to the relative uncertainty: with the models
          of `calibrate.lamp_spectra`, hobby sensors are off by factors between 0.05 and 30.
        - Older than `valid_for_days`: STALE_CALIBRATION.  Clock mark: CLOCK_UNSURE.

        "Added" means in quadrature, as independent parts are (JCGM 100:2008, 5.1.2).
        """
        return self._conversion.convert(columns, marks, lamp_kind=lamp_kind, age_days=age_days)


def _refuse_contradictions(calibration: Calibration) -> None:
    lamp_kind(calibration.lamp_kind)
    names = tuple(channel.name for channel in calibration.channels)
    _require(names == calibration.model.channels, "channels", "must be the model's channels, in its order")
    _require(len(set(names)) == len(names), "channels", "name each channel once")
    _require_range(calibration.uvi_range, "uvi_range")
    _require(calibration.uvi_range[0] >= 0, "uvi_range", "must not begin below 0")
    _require(calibration.valid_for_days > 0, "valid_for_days", "must be above 0")
    _require(
        all(map(math.isfinite, calibration.model.dark + calibration.model.shape)),
        "model",
        "parameters must be finite numbers",
    )
    for channel in calibration.channels:
        where = f"channels.{channel.name}"
        _require_not_negative(channel.noise, f"{where}.noise")
        if channel.valid_range is not None:
            _require_range(channel.valid_range, f"{where}.valid_range")
        if channel.saturation is not None:
            _require(math.isfinite(channel.saturation), f"{where}.saturation", "must be a finite number")
    for part in (
        "reference_relative",
        "reference_uvi",
        "reference_resolution_uvi",
        "spectral_relative",
        "drift_relative_per_year",
        "other_relative",
        "other_uvi",
    ):
        _require_not_negative(getattr(calibration.uncertainty, part), f"uncertainty.{part}")
    factor = calibration.uncertainty.fit_widening
    _require(1 <= factor < math.inf, "uncertainty.fit_widening", "must be a finite number, at least 1")
    _refuse_impossible_covariance(calibration.uncertainty.covariance, len(parameter_names(calibration.model)))
    if calibration.temperature is not None:
        _refuse_odd_temperature(calibration.temperature, names)
    for other in calibration.lamp_factors:
        lamp_kind(other.lamp_kind, where="lamp_factors")
        where = f"lamp_factors.{other.lamp_kind}"
        _require(other.lamp_kind != calibration.lamp_kind, where, "is the calibration's own lamp kind")
        _require(0 < other.factor < math.inf, f"{where}.factor", "must be above 0")
        _require_not_negative(other.u_relative, f"{where}.u_relative")
    kinds = [other.lamp_kind for other in calibration.lamp_factors]
    _require(len(set(kinds)) == len(kinds), "lamp_factors", "name each lamp kind once")


def _refuse_odd_temperature(temperature: Temperature, channel_names: tuple[str, ...]) -> None:
    _require(temperature.channel not in channel_names, "temperature.channel", "is one of the UV channels")
    _require_range(temperature.valid_range_c, "temperature.valid_range_c")
    _require(math.isfinite(temperature.reference_c), "temperature.reference_c", "must be a finite number")
    _require(
        abs(temperature.coefficient_per_c) <= 0.05,
        "temperature.coefficient_per_c",
        "must lie within ±0.05 (5 % per °C)",
    )
    _require_not_negative(temperature.u_coefficient_per_c, "temperature.u_coefficient_per_c")
    _require_not_negative(temperature.u_temperature_c, "temperature.u_temperature_c")


def _refuse_impossible_covariance(rows: tuple[tuple[float, ...], ...], size: int) -> None:
    where = "uncertainty.covariance"
    _require(len(rows) == size and all(len(row) == size for row in rows), where, f"must be {size} × {size}")
    matrix = np.array(rows)
    _require(bool(np.isfinite(matrix).all()), where, "must be finite numbers")
    variances = matrix.diagonal()
    _require(bool((variances >= 0).all()), where, "must not have a negative variance on its diagonal")
    # Parameters differ in scale by many powers of ten, so the judgement is made on correlations.
    scale = np.sqrt(np.where(variances > 0, variances, 1.0))
    correlation = matrix / np.outer(scale, scale)
    _require(bool(np.allclose(correlation, correlation.T, rtol=0, atol=1e-9)), where, "must be symmetric")
    lowest = float(np.linalg.eigvalsh((correlation + correlation.T) / 2)[0])
    _require(lowest > -1e-6, where, "is not one that real numbers can have (not positive semi-definite)")


def _require(condition: bool, where: str, what: str) -> None:
    if not condition:
        raise CalibrationError(what, where=where)


def _require_range(limits: Range, where: str) -> None:
    low, high = limits
    _require(-math.inf < low < high < math.inf, where, "must be two finite numbers, the lower one first")


def _require_not_negative(number: float, where: str) -> None:
    _require(0 <= number < math.inf, where, "must be a finite number, not below 0")
