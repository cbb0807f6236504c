"""Spot checks and calibrations."""

from pydantic import ConfigDict, Field

from baskline.api.values import Day, Document, UtcTime


class NewCheck(Document):
    """What a hand-held UVI meter shows beside the sensor, now."""

    model_config = ConfigDict(
        extra="forbid", strict=True, json_schema_extra={"examples": [{"reference_uvi": 1.9}]}
    )

    reference_uvi: float = Field(ge=0.1, le=100, description="What the meter shows.", examples=[1.9])
    accuracy_percent: float | None = Field(
        None,
        ge=0,
        le=50,
        description="Stated accuracy, if it is another meter than the one calibrated with.",
        examples=[5.0],
    )
    resolution_uvi: float | None = Field(
        None, ge=0, le=10, description="Step of the meter's last digit.", examples=[0.1]
    )
    seconds: float = Field(30.0, ge=1, le=120, description="Over how long the spot's mean is taken.")


class Check(Document):
    """A comparison of a spot with a meter."""

    id: int = Field(description="Its number.", examples=[7])
    spot: str = Field(description="Key of the spot.", examples=["slate"])
    at: UtcTime
    reference_uvi: float = Field(description="What the meter showed.", examples=[1.9])
    uvi: float = Field(description="The spot's mean.", examples=[1.87])
    u_uvi: float = Field(description="Its standard uncertainty (k = 1).", examples=[0.09])
    n: int = Field(description="Readings in the mean.", examples=[30])
    seconds: float = Field(description="How long the mean is.", examples=[29.0])
    same_meter: bool = Field(description="Whether it counts as the meter of the calibration.")
    ratio: float = Field(description="Meter over spot.", examples=[1.016])
    u_ratio: float = Field(description="Its standard uncertainty (k = 1).", examples=[0.06])
    e_n: float = Field(description="Difference over its expanded uncertainty (k = 2).", examples=[-0.2])
    verdict: str = Field(description="`within`, `doubtful` or `out`.", examples=["within"])
    flags: list[str] = Field(description="Of the samples in the mean.")
    calibration: str = Field(description="Identity of the calibration.")


class Signal(Document):
    """A check that stands out."""

    index: int = Field(description="Its place in `checks`, from 0.")
    why: str = Field(description="`beyond the limit`, `drift` or `run on one side`.")


class ControlChart(Document):
    """The ratios of the checks on a control chart."""

    centre: float = Field(description="Centre line.")
    low: float = Field(description="Lower limit of a single check (3 sigma).")
    high: float = Field(description="Upper limit.")
    ewma: list[float] = Field(description="The weighted mean up to each check.")
    ewma_low: list[float] = Field(description="Its lower limits.")
    ewma_high: list[float] = Field(description="Its upper limits.")
    signals: list[Signal]


class Twin(Document):
    """Another spot under the same lamp."""

    spot: str = Field(description="Its key.")
    moved: str = Field(description="Which has changed since the first check.")


class Checks(Document):
    """The checks of the spot's present calibration, as `baskline calibrate verify SPOT --json` has them."""

    schema_: str = Field(
        alias="schema", description="Form of the document.", examples=["baskline.spot_check/1"]
    )
    spot: str = Field(description="Key of the spot.", examples=["slate"])
    checks: list[Check] = Field(description="In order of time; withdrawn ones are left out.")
    chart: ControlChart | None = Field(description="Control chart; null before the first check.")
    moved: str | None = Field(description="What has changed since the first check.")
    light_ratio: float | None = Field(description="The light by the meter, last check over first.")
    sensor_ratio: float | None = Field(description="The sensor relative to the meter.")
    twins: list[Twin]
    due: UtcTime | None = Field(description="When the next check is due; null if none is asked for.")
    overdue: bool = Field(description="Whether that was more than a day ago.")


class CalibrationEntry(Document):
    """A calibration that the store knows."""

    identity: str = Field(
        description="A hash of all that can change an answer.", examples=["e60b7f27513cce9f"]
    )
    name: str | None = Field(description="What it is of, in the keeper's words.")
    sensor_kind: str = Field(description="The sensor.", examples=["guva-s12sd"])
    lamp_kind: str = Field(description="The light that it was made under.", examples=["t5"])
    made_on: Day
    valid_for_days: int = Field(description="After that, samples are flagged.", examples=[365])
    spots: list[str] = Field(description="Spots that it applies to now.", examples=[["slate"]])


class Calibrations(Document):
    """All calibrations that ever gave a number, by identity."""

    calibrations: list[CalibrationEntry]


class Temperature(Document):
    """How the sensor's temperature enters."""

    channel: str
    reference_c: float
    coefficient_per_c: float
    u_coefficient_per_c: float
    valid_range_c: list[float]


class BudgetRow(Document):
    """One source of uncertainty."""

    source: str
    basis: str = Field(description="Where the number comes from.")
    u_uvi: float
    share: float = Field(description="Its part of the variance, 0 to 1.")
    common: bool = Field(description="Whether it errs alike in all samples.")


class Budget(Document):
    """Where the uncertainty comes from, in the middle of the calibrated range (after the GUM, JCGM 100)."""

    at: dict[str, float] = Field(description="The levels, by channel.")
    uvi: float
    u_uvi: float
    expanded_uvi: float = Field(description="Twice `u_uvi` (k = 2).")
    flags: list[str]
    rows: list[BudgetRow]


class Calibration(Document):
    """A calibration with its budget, as `baskline calibrate show FILE --json` has it."""

    schema_: str = Field(
        alias="schema", description="Form of the document.", examples=["baskline.calibration/1"]
    )
    identity: str
    name: str | None
    notes: str | None
    sensor_kind: str
    lamp_kind: str
    made_on: Day
    valid_for_days: int
    kind: str = Field(description="`line`, `power` or `curve`.")
    coefficients: dict[str, float]
    covariance: list[list[float]]
    fit_widening: float
    valid_range: dict[str, list[float]] = Field(description="Lowest and highest, of the UVI and by channel.")
    temperature: Temperature | None
    budget: Budget
    spots: list[str] = Field(description="Spots that it applies to now.")
