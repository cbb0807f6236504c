"""Calibrations, fits and predictions as JSON; baskline/OUTPUT.md describes it."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from calibrate.samples import Flag

if TYPE_CHECKING:
    from calibrate.budget import Budget
    from calibrate.calibration import Calibration, Temperature
    from calibrate.fits.fit import Fit
    from ingest.calibration_history import CalibrationRecord

FIT_SCHEMA: Final = "baskline.calibration_fit/1"
PREDICTION_SCHEMA: Final = "baskline.prediction/1"
CALIBRATION_SCHEMA: Final = "baskline.calibration/1"


def flag_names(flags: Flag) -> list[str]:
    """Return the flags that are set by their names in lower case."""
    return [flag.name.lower() for flag in flags if flag.name is not None]


def fit_fields(fit: "Fit", calibration: "Calibration | None", file: str | None) -> dict[str, Any]:
    """Return a fit; `identity` is None where no lamp kind was stated, so that it is no calibration yet."""
    return {
        "schema": FIT_SCHEMA,
        "model": fit.name,
        "kind": fit.model.kind,
        "channels": list(fit.points.channels),
        "coefficients": fit.coefficients,
        "standard_errors": fit.standard_errors,
        "covariance": fit.covariance.tolist(),
        "reduced_chi2": fit.reduced_chi2,
        "degrees_of_freedom": fit.degrees_of_freedom,
        "uncertainties_from_scatter": fit.from_scatter,
        "fit_widening": fit.widening,
        "valid_range": {
            "uvi": list(fit.uvi_range),
            **{
                channel: list(found)
                for channel, found in zip(fit.points.channels, fit.channel_ranges, strict=True)
            },
            **({} if fit.temperature is None else {"temperature_c": list(fit.temperature.valid_range_c)}),
        },
        "temperature": _temperature_fields(fit.temperature),
        "points": [
            {
                "label": label,
                "levels": dict(zip(fit.points.channels, levels, strict=True)),
                "reference_uvi": reference,
                "residual_uvi": residual,
            }
            for label, levels, reference, residual in zip(
                fit.points.labels,
                fit.points.levels.tolist(),
                fit.points.reference_uvi.tolist(),
                fit.residual_uvi.tolist(),
                strict=True,
            )
        ],
        "candidates": [
            {
                "model": candidate.name,
                "n_parameters": candidate.n_parameters,
                "aicc": candidate.aicc,
                "reduced_chi2": candidate.reduced_chi2,
                "note": candidate.note or None,
            }
            for candidate in fit.candidates
        ],
        "reasons": list(fit.reasons),
        "identity": None if calibration is None else calibration.identity,
        "file": file,
    }


def prediction_fields(
    calibration: "Calibration", levels: Mapping[str, float], uvi: float, u_uvi: float, flags: Flag
) -> dict[str, Any]:
    """Return one prediction; a value that there is not is None."""
    return {
        "schema": PREDICTION_SCHEMA,
        "calibration": calibration.identity,
        "at": dict(levels),
        "uvi": None if uvi != uvi else uvi,
        "u_uvi": None if u_uvi != u_uvi else u_uvi,
        "flags": flag_names(flags),
    }


def calibration_fields(
    calibration: "Calibration", budget: "Budget", at: Mapping[str, float]
) -> dict[str, Any]:
    """Return a calibration and its budget at one place."""
    parts = calibration.uncertainty
    return {
        "schema": CALIBRATION_SCHEMA,
        "identity": calibration.identity,
        "name": calibration.name or None,
        "notes": calibration.notes or None,
        "sensor_kind": calibration.sensor_kind,
        "lamp_kind": calibration.lamp_kind,
        "made_on": calibration.made_on.isoformat(),
        "valid_for_days": calibration.valid_for_days,
        "kind": calibration.model.kind,
        "coefficients": dict(
            zip(calibration.parameter_names, (*calibration.model.dark, *calibration.model.shape), strict=True)
        ),
        "covariance": [list(row) for row in parts.covariance],
        "fit_widening": parts.fit_widening,
        "valid_range": {
            "uvi": list(calibration.uvi_range),
            **{
                channel.name: list(channel.valid_range)
                for channel in calibration.channels
                if channel.valid_range is not None
            },
        },
        "temperature": _temperature_fields(calibration.temperature),
        "budget": {
            "at": dict(at),
            "uvi": budget.uvi,
            "u_uvi": budget.u_uvi,
            "expanded_uvi": budget.expanded_uvi,
            "flags": flag_names(budget.flags),
            "rows": [
                {
                    "source": row.source,
                    "basis": row.basis,
                    "u_uvi": row.u_uvi,
                    "share": row.share,
                    "common": row.common,
                }
                for row in budget.rows
            ],
        },
    }


def history_fields(records: "Sequence[CalibrationRecord]") -> list[dict[str, Any]]:
    """Return what applied to a spot since when, in the order in which it was recorded."""
    return [
        {
            "generation": record.generation,
            "from": utc_text(record.from_ms),
            "to": None if record.to_ms is None else utc_text(record.to_ms),
            "calibration": record.calibration or None,
            "made_on": None if record.made_on is None else record.made_on.isoformat(),
            "lamp_kind": record.lamp_kind,
            "reason": record.reason or None,
            "withdrawn": record.withdrawn,
        }
        for record in records
    ]


def utc_text(utc_ms: int) -> str:
    """Return a moment as RFC 3339 has it, in UTC."""
    at = datetime.fromtimestamp(utc_ms / 1000, UTC)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _temperature_fields(temperature: "Temperature | None") -> dict[str, Any] | None:
    if temperature is None:
        return None
    return {
        "channel": temperature.channel,
        "reference_c": temperature.reference_c,
        "coefficient_per_c": temperature.coefficient_per_c,
        "u_coefficient_per_c": temperature.u_coefficient_per_c,
        "valid_range_c": list(temperature.valid_range_c),
    }
