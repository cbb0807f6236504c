"""Lamps."""

from pydantic import ConfigDict, Field

from baskline.api.values import AskedClock, AskedDay, Day, Document
from ingest.lamp_acts import MOST_NOTE_CHARACTERS
from ingest.store.lamp_changes import LampChangeKind


class NewChange(Document):
    """What was changed about a lamp, and when."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"date": "2025-05-17", "what": "mesh", "note": "finer"}]},
    )

    date: AskedDay = Field(description="The local day, not one to come.", examples=["2025-05-17"])
    time: AskedClock | None = Field(
        None, description="What the clock there showed, if known; without it now, where the day is today."
    )
    what: LampChangeKind = Field(description="What was changed.")
    note: str = Field(
        "",
        strict=True,
        max_length=MOST_NOTE_CHARACTERS,
        description="One line of yours, without control characters.",
        examples=["finer mesh"],
    )


class Change(Document):
    """A change of a lamp: from there on a new baseline counts."""

    id: int = Field(description="Its number.", examples=[3])
    date: Day
    time: str | None = Field(
        description="What the clock there showed; null where only the day is known: all of it counts.",
        examples=["08:30"],
    )
    what: LampChangeKind
    note: str = Field(description="The keeper's note; empty without one.")
    withdrawn: bool = Field(description="Whether it was taken back.")


class Changes(Document):
    """What was noted about a lamp, also what was withdrawn, by day."""

    lamp: str = Field(description="Key of the lamp.", examples=["rock_lamp"])
    changes: list[Change]


class Step(Document):
    """A sudden change that is not ageing."""

    date: Day = Field(description="The first day of the new level.")
    ratio: float = Field(description="New level over old.", examples=[0.78])
    u_ratio: float = Field(description="Its standard uncertainty (k = 1).")


class Forecast(Document):
    """When the level passes a limit if it goes on as now."""

    limit: str = Field(description="`low`, `high`, `ceiling`, or `due`: seven tenths of the baseline.")
    limit_uvi: float
    expected: Day
    earliest: Day
    latest: Day | None = Field(description="With `earliest` at 95 %; null if that may be over a year away.")


class LampAtSpot(Document):
    """What a spot has seen of its lamp."""

    spot: str = Field(description="Key of the spot.", examples=["slate"])
    since: Day = Field(description="When its present baseline begins.")
    state: str = Field(description="`burning_in`, `too_few_days`, `steady`, `fading` or `rising`.")
    days: int = Field(description="Days since then of which something was seen.")
    hours_seen: float = Field(description="Hours that it was seen lit in these days.")
    hours_on: float = Field(description="Hours that it has burned since it was put in.")
    switch_ons: int = Field(description="How often it was seen to come on.")
    level_uvi: float | None = Field(description="Its level now, by the trend.")
    u_level_uvi: float | None = Field(description="Standard uncertainty of the last day's level (k = 1).")
    baseline_uvi: float | None = Field(description="Its level after the burn-in.")
    times_claim: float | None = Field(description="That over what the package claims.")
    per_week: float | None = Field(description="Relative change a week.", examples=[-0.014])
    per_week_low: float | None = Field(description="Lower end of its 95 % interval.")
    per_week_high: float | None = Field(description="Upper end.")
    steps: list[Step]
    forecasts: list[Forecast]
    replace_by: Day | None = Field(description="The earliest day on which it may be too weak here.")


class Lamp(Document):
    """A lamp, as `baskline lamps --json` has it."""

    lamp: str = Field(description="Its key in the configuration.", examples=["rock_lamp"])
    label: str = Field(
        description="What the keeper calls it; its key without a label.", examples=["Lamp over the slate"]
    )
    kind: str = Field(description="Its kind.", examples=["t5"])
    installed: Day = Field(description="When it was put in.")
    distance_cm: float = Field(description="Its distance.", examples=[38.0])
    between: list[str] = Field(description="What its light passes through.", examples=[["mesh"]])
    package_claim_uvi: float | None = Field(description="What the package claims.")
    package_claim_at_cm: float | None = Field(description="At which distance.")
    replace_by: Day | None = Field(description="The earliest day on which it may be too weak.")
    spots: list[LampAtSpot] = Field(description="What each spot that it lights has seen of it.")
    changes: list[Change]


class Lamps(Document):
    """All lamps, in the configuration's order."""

    schema_: str = Field(alias="schema", description="Form of the document.", examples=["baskline.lamps/1"])
    lamps: list[Lamp]
