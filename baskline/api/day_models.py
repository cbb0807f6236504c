"""Days and samples of a spot."""

from pydantic import Field

from baskline.api.event_models import Event
from baskline.api.room_models import Band
from baskline.api.values import Day, Document, LocalTime, UtcTime

_U = "Its standard uncertainty (k = 1)."


class Gap(Document):
    """When nothing was seen with a value."""

    from_: LocalTime = Field(alias="from", description="Begin.")
    to: LocalTime = Field(description="End.")


class DayFigures(Document):
    """A spot's local day, as `baskline day SPOT --json` has it.  All figures are of what was seen."""

    schema_: str = Field(alias="schema", description="Form of the document.", examples=["baskline.day/1"])
    spot: str = Field(description="Key of the spot.", examples=["slate"])
    date: Day
    time_zone: str = Field(description="IANA name of the time zone of the day.", examples=["Europe/Vienna"])
    day_hours: float = Field(description="How long the day lasts.", examples=[24.0])
    band: Band
    coverage: float = Field(description="Part of the day that was seen, 0 to 1.", examples=[0.97])
    at_least: bool = Field(description="Whether peak, mean, dose and hours above may be higher.")
    peak_uvi: float | None = Field(description="The highest UVI.", examples=[3.3])
    u_peak_uvi: float | None = Field(description=_U)
    peak_at: LocalTime | None = Field(description="When it was.")
    mean_uvi_lit: float | None = Field(description="Mean UVI while lit.", examples=[3.15])
    u_mean_uvi_lit: float | None = Field(description=_U)
    dose_uvi_h: float | None = Field(description="The dose.", examples=[26.4])
    u_dose_uvi_h: float | None = Field(description=_U)
    dose_sed: float | None = Field(description="The same dose in SED (100 J/m²).", examples=[23.8])
    u_dose_sed: float | None = Field(description=_U)
    lit_hours: float | None = Field(description="For how long it was lit.", examples=[8.33])
    lit_threshold_uvi: float | None = Field(description="What divides lit from dark.", examples=[0.05])
    first_light: LocalTime | None = Field(description="When light was first seen.")
    last_light: LocalTime | None = Field(description="When light was last seen.")
    hours_below_band: float | None = Field(description="Hours lit, but below the band.")
    hours_in_band: float | None = Field(description="Hours in the band.")
    hours_above_band: float | None = Field(description="Hours above the band, ceiling included.")
    hours_above_ceiling: float | None = Field(description="Hours above the ceiling.")
    expected_hours_below_band: float | None = Field(description="The same, weighed by probability.")
    expected_hours_in_band: float | None = Field(description="The same, weighed by probability.")
    expected_hours_above_band: float | None = Field(description="The same, weighed by probability.")
    expected_hours_above_ceiling: float | None = Field(description="The same, weighed by probability.")
    max_gap_s: float = Field(description="A longer silence counts as not seen.", examples=[35.0])
    gaps: list[Gap] = Field(description="When nothing was seen.")
    flag_hours: dict[str, float] = Field(description="Hours by flag; only those that occurred.")


class Usual(Document):
    """What was usual in some days."""

    median: float
    scatter: float = Field(description="As a standard deviation.")
    days: int = Field(description="How many days.", examples=[30])


class Compared(Document):
    """A figure beside the days before it."""

    value: float | None = Field(description="The day's; null unless nine tenths of it were seen.")
    week: Usual | None = Field(description="The 7 days before; null with too few seen well.")
    month: Usual | None = Field(description="The 30 days before.")
    unlike: bool | None = Field(description="Whether it is out of the ordinary.")


class DoseVerdict(Document):
    """What can be said of a day's dose."""

    state: str = Field(description="`low`, `high`, `usual` or `cannot_tell`.", examples=["usual"])
    sentence: str = Field(description="The same in words, with the dose (k = 2).")
    probability: float | None = Field(description="How probable it is; null where it cannot be told.")
    least_uvi_h: float | None = Field(description="Under this the dose is low.")
    greatest_uvi_h: float | None = Field(description="Over this it is high.")
    usual_uvi_h: float | None = Field(description="Median of the usual days.")
    light_coverage: float = Field(description="Part of the time for light that was seen, 0 to 1.")


class SpotDay(DayFigures):
    """A spot's local day, beside those before it, with what happened in it."""

    ramp_minutes: float | None = Field(description="From first light to nine tenths of the level.")
    compared: dict[str, Compared] = Field(description="Figures beside the days before, by name.")
    dose_verdict: DoseVerdict | None = Field(description="What of the dose; null while the day lasts.")
    events: list[Event] = Field(description="What happened at the spot or to its board, oldest first.")


class LampDay(Document):
    """What the day says of the lamp."""

    hours_on: float = Field(description="For how long it was seen lit.", examples=[9.0])
    switch_ons: int = Field(description="How often it was seen to come on.", examples=[1])
    level_uvi: float | None = Field(description="Median UVI of its settled light.", examples=[3.2])
    u_level_uvi: float | None = Field(description="Median standard uncertainty of that (k = 1).")
    ramp_minutes: float | None = Field(description="From first light to nine tenths of the level.")


class RecordedDay(DayFigures):
    """A spot's local day as it is kept for ever."""

    calibration: str | None = Field(
        description="Identity of the calibration of the whole day; null for none or several."
    )
    lamp: LampDay


class Days(Document):
    """Days of a spot of which anything was seen, in order."""

    spot: str = Field(description="Key of the spot.", examples=["slate"])
    days: list[RecordedDay]
    next: Day | None = Field(description="The `cursor` for what follows; null when that is all.")


class Sample(Document):
    """A calibrated value."""

    time_utc: UtcTime = Field(description="When it was taken.")
    uvi: float | None = Field(description="The UVI; null where there is none.", examples=[3.1294])
    u_uvi: float | None = Field(description=_U, examples=[0.1494])
    flags: list[str] = Field(description="What is doubtful about it.", examples=[["above_range"]])


class SamplesPage(Document):
    """Samples of a spot in order of time."""

    spot: str = Field(description="Key of the spot.", examples=["slate"])
    samples: list[Sample]
    next: str | None = Field(
        description="The `cursor` for what follows; null when that is all.", examples=["1747487390009"]
    )
