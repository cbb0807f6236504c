"""Events."""

from pydantic import Field

from baskline.api.values import Document, UtcTime
from exposure.events import EventKind, Severity


class Event(Document):
    """Something that the keeper must know: it opens, may be acknowledged, and closes."""

    identity: str = Field(
        description="Kind, subject and moment in one word.", examples=["over_ceiling.fern.1747480920008"]
    )
    kind: EventKind = Field(description="What kind of thing happened.")
    subject_kind: str = Field(description="`spot` or `board`.", examples=["spot"])
    subject: str = Field(description="Key of the spot, or identity of the board.", examples=["fern"])
    severity: Severity = Field(description="How soon to look.")
    sentence: str = Field(
        description="What happened, with its numbers.",
        examples=["above the ceiling, 3.5 ± 0.3 over 3 (k = 2)"],
    )
    advice: str = Field(description="What to do.")
    evidence: dict[str, str | bool | int | float | None] = Field(
        description="The numbers behind it, units in their names.", examples=[{"uvi": 3.51, "u_uvi": 0.17}]
    )
    opened_at: UtcTime = Field(description="When it began.")
    acknowledged_at: UtcTime | None = Field(description="When somebody said that they have seen it.")
    closed_at: UtcTime | None = Field(description="When it was over.")
    closing: str | None = Field(description="Why it was over.")


class Events(Document):
    """Events, oldest first."""

    events: list[Event]
    next: str | None = Field(
        description="The `cursor` with which to ask for what follows; null when that is all.",
        examples=["1747480920008.over_ceiling.fern.1747480920008"],
    )
