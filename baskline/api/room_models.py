"""The room: bridge, enclosures, spots, boards."""

from pydantic import Field

from baskline.api.values import Document, UtcTime
from exposure.events import EventKind
from exposure.place import Place


class Bridge(Document):
    """This bridge."""

    site: str = Field(description="Site, as configured.", examples=["home"])
    bridge: str = Field(description="Name of the bridge, as configured.", examples=["reptile-room"])
    version: str = Field(description="Version of baskline.", examples=["0.2.0"])
    time_zone: str = Field(description="IANA name of the keeper's time zone.", examples=["Europe/Vienna"])
    at: UtcTime = Field(description="When this was so.")
    watched: bool = Field(description="Whether `baskline run` is at work; without it nothing new comes.")
    newest_reading_at: UtcTime | None = Field(description="When the newest reading was taken.")
    open_events: int = Field(description="How many events are open.", examples=[1])
    may_change: bool = Field(description="Whether changes can be made here, or this is only for looking.")


class Enclosure(Document):
    """Where animals live."""

    enclosure: str = Field(description="Its key in the configuration.", examples=["rock_garden"])
    label: str = Field(description="Its name in the keeper's words.", examples=["Rock garden"])
    species: str | None = Field(description="Who lives there.", examples=["Pogona vitticeps"])
    notes: str | None = Field(description="The keeper's notes.")
    spots: list[str] = Field(description="Keys of the spots in it.", examples=[["slate", "crevice"]])


class Enclosures(Document):
    """All enclosures, in the configuration's order."""

    enclosures: list[Enclosure]


class Band(Document):
    """What is wanted at a spot."""

    low_uvi: float = Field(description="Below this there is too little.", examples=[2.6])
    high_uvi: float = Field(description="Above this there is more than wanted.", examples=[3.5])
    ceiling_uvi: float = Field(description="Must never be passed.", examples=[8.0])


class LastValue(Document):
    """A sample with a value."""

    at: UtcTime
    uvi: float = Field(examples=[3.14])
    u_uvi: float = Field(description="Its standard uncertainty (k = 1).", examples=[0.15])
    flags: list[str] = Field(description="What is doubtful about it.", examples=[[]])


class SpotNow(Document):
    """A spot as it is now.  `null` means not known now, never zero."""

    spot: str = Field(description="Its key in the configuration.", examples=["slate"])
    label: str = Field(description="Its name in the keeper's words.", examples=["Slate ledge"])
    kind: str = Field(description="`basking` or `retreat`.", examples=["basking"])
    enclosure: str = Field(description="Key of its enclosure.", examples=["rock_garden"])
    lamp: str = Field(description="Key of its lamp.", examples=["rock_lamp"])
    board: str = Field(description="Identity of the board that watches it.", examples=["stone-1"])
    zone: int | None = Field(description="The published exposure zone, if it has its band from one.")
    band: Band
    calibration: str | None = Field(description="Identity of the calibration; null without one.")
    at: UtcTime | None = Field(description="When its newest sample was taken.")
    current: bool = Field(description="Whether that is recent enough to be the present.")
    uvi: float | None = Field(description="Its UVI now.", examples=[3.14])
    u_uvi: float | None = Field(description="Standard uncertainty of that (k = 1).", examples=[0.15])
    flags: list[str] = Field(description="What is doubtful about its newest sample.", examples=[[]])
    place: Place = Field(description="Where its UVI stands against the band.")
    last: LastValue | None = Field(description="The newest sample with a value, however old.")
    dose_uvi_h: float | None = Field(description="Dose of the local day so far.", examples=[12.3])
    coverage: float = Field(description="Part of the day so far that was seen, 0 to 1.", examples=[0.99])
    open_events: list[EventKind] = Field(description="Kinds of the events that are open at the spot.")


class Spots(Document):
    """All spots as they are now, in the configuration's order."""

    at: UtcTime = Field(description="When this was so.")
    spots: list[SpotNow]


class Board(Document):
    """A board as it is now."""

    board: str = Field(description="What the board calls itself.", examples=["stone-1"])
    label: str = Field(description="Its name in the keeper's words.", examples=["Behind the slate"])
    spots: list[str] = Field(description="Keys of the spots that it watches.", examples=[["slate"]])
    silent: bool = Field(description="Whether it was last heard longer ago than suits it.")
    last_reading_at: UtcTime | None = Field(description="When its newest reading was taken.")
    port: str | None = Field(description="The port that it was last heard on.", examples=["/dev/ttyACM0"])
    firmware: str | None = Field(description="Its firmware; null while it has not introduced itself.")
    sensor: str | None = Field(description="Kind of its sensor.", examples=["guva-s12sd"])
    cadence_ms: int | None = Field(description="How often it reads.", examples=[10000])
    ring: int | None = Field(description="How many past readings it can repeat.", examples=[360])


class Boards(Document):
    """All configured boards, in the configuration's order."""

    at: UtcTime = Field(description="When this was so.")
    boards: list[Board]
