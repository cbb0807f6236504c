"""From a fit to a calibration: all that is not in the pairs themselves."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from calibrate.calibration import Calibration, Channel, Uncertainty
from calibrate.fits.fit import Fit
from calibrate.origin import Origin, Pair
from calibrate.points import ReferenceMeter

SPECTRAL_RELATIVE = 0.05
"""How far lamps of one kind differ in what a sensor makes of them, and one lamp as it ages.  Judgement."""

DRIFT_RELATIVE_PER_YEAR = 0.05
"""How far a sensor's window and diffuser age in a year.  Judgement."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a calibration was made with and under.

    `noise` by channel: standard deviation of one reading; `saturation` by channel: level of the rail.
    """

    lamp_kind: str
    sensor_kind: str
    made_on: date
    meter: ReferenceMeter
    noise: Mapping[str, float]
    saturation: Mapping[str, float] = field(default_factory=dict)
    spectral_relative: float = SPECTRAL_RELATIVE
    drift_relative_per_year: float = DRIFT_RELATIVE_PER_YEAR
    other_relative: float = 0.0
    valid_for_days: int = 365


def make_calibration(fit: Fit, under: Circumstances, *, name: str = "", notes: str = "") -> Calibration:
    """Return the calibration of a fit; raise `CalibrationError` or `UnknownLampKindError`."""
    return Calibration(
        lamp_kind=under.lamp_kind,
        sensor_kind=under.sensor_kind,
        model=fit.model,
        channels=tuple(
            Channel(
                channel,
                noise=under.noise.get(channel, 0.0),
                valid_range=valid_range,
                saturation=under.saturation.get(channel),
            )
            for channel, valid_range in zip(fit.points.channels, fit.channel_ranges, strict=True)
        ),
        uvi_range=fit.uvi_range,
        uncertainty=Uncertainty(
            covariance=tuple(map(tuple, fit.covariance.tolist())),
            fit_widening=fit.widening,
            reference_relative=under.meter.u_relative,
            reference_uvi=under.meter.u_zero_uvi,
            reference_resolution_uvi=under.meter.resolution_uvi,
            spectral_relative=under.spectral_relative,
            drift_relative_per_year=under.drift_relative_per_year,
            other_relative=under.other_relative,
        ),
        made_on=under.made_on,
        valid_for_days=under.valid_for_days,
        temperature=fit.temperature,
        name=name,
        notes=notes,
        origin=_origin(fit),
    )


def _origin(fit: Fit) -> Origin:
    points = fit.points
    degrees = [None] * len(points) if points.temperature_c is None else points.temperature_c.tolist()
    pairs = zip(
        points.levels.tolist(),
        points.reference_uvi.tolist(),
        points.u_reference_uvi.tolist(),
        degrees,
        strict=True,
    )
    return Origin(
        shape=fit.name,
        pairs=tuple(Pair(tuple(levels), uvi, u_uvi, degree) for levels, uvi, u_uvi, degree in pairs),
        dark=tuple(map(tuple, points.dark.tolist())),
        degrees_of_freedom=fit.degrees_of_freedom,
        reduced_chi2=fit.reduced_chi2,
        reasons=fit.reasons,
    )
