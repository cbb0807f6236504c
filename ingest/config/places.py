"""The tables that say what hangs where: boards, enclosures, lamps and spots."""

from collections.abc import Mapping
from datetime import time
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, PrivateAttr, model_validator

from exposure.bands import Band, BandError
from exposure.rules import RuleSettings
from exposure.species import Species
from exposure.zones import zone_band
from firmware_host.mapped import LineMapping, MappingError
from ingest.config.fields import (
    Baud,
    ClaimedUvi,
    Date,
    DistanceCm,
    Factor,
    Finite,
    HoldS,
    Identity,
    Key,
    LampKindKey,
    LineField,
    LocalTime,
    NotNegative,
    Part,
    PathFromFile,
    SensorPrefix,
    SpanS,
    Text,
    TextList,
    refused_by,
)
from ingest.config.table import Table, key

_USUAL = RuleSettings()


class MappingConfig(Table):
    """`[board.<key>.mapping]`: how to read a board that prints plain lines of its own."""

    format: Literal["csv", "key_value", "json"] = key("the form of the board's lines", '"csv"')
    channels: Annotated[Mapping[str, LineField], AfterValidator(MappingProxyType)] = key(
        "the field of each channel: a column from 0 in csv, else a key",
        "{ uva_counts = 0, temperature_c = 1 }",
    )
    separator: str = key("the one character between two fields", '";"', ",")
    board_ms: LineField | None = key("the field with the board's milliseconds since its start", "2", None)
    usb: Text | None = key("the USB serial number of the board", '"A50285BI"', None)
    port: Text | None = key("the port of the board, which may hold * and ?", '"/dev/ttyUSB0"', None)
    baud: Baud | None = key("the speed of the board's port", "9600", None)

    @model_validator(mode="after")
    def _usable(self) -> Self:
        try:
            self.line_mapping()
        except MappingError as error:
            refused_by(error)
        return self

    def line_mapping(self) -> LineMapping:
        """Return it as the parser of plain lines takes it."""
        return LineMapping(self.format, self.channels, self.separator, self.board_ms)


class BoardConfig(Table):
    """`[board.<key>]`: a board that is expected."""

    identity: Identity = key("what the board calls itself in its lines", '"pico-rock-1"')
    label: Text = key("the board in the keeper's words", '"Pico behind the slate"')
    mapping: MappingConfig | None = key(
        "how to read a board that prints plain lines",
        '{ format = "csv", channels = { uva_counts = 0 }, port = "/dev/ttyUSB0" }',
        None,
    )
    silent_after_s: SpanS | None = key(
        "the seconds without a reading after which the board counts as silent", "120", None
    )


class EnclosureConfig(Table):
    """`[enclosure.<key>]`: where animals live."""

    label: Text = key("the enclosure in the keeper's words", '"Rock garden"')
    species: Text | None = key("the scientific name of who lives there", '"Pogona vitticeps"', None)
    notes: Text | None = key("anything worth keeping", '"two adults"', None)


class LampConfig(Table):
    """`[lamp.<key>]`: a lamp as it hangs."""

    label: Text | None = key("the lamp in the keeper's words", '"Tube over the meadow"', None)
    kind: LampKindKey = key("the kind of lamp", '"t5"')
    installed: Date = key("the day on which the lamp was put in", "2025-01-18")
    distance_cm: DistanceCm = key("the distance from the lamp to the animal's back in cm", "30.0")
    between: TextList = key("what the light passes through", '["mesh"]', ())
    package_claim_uvi: ClaimedUvi | None = key("the UVI that the package promises", "3.0", None)
    package_claim_at_cm: DistanceCm | None = key(
        "the distance in cm at which the package promises it", "30.0", None
    )


class BandConfig(Table):
    """`[spot.<key>.band]`: a band typed in, in place of a zone."""

    low_uvi: Finite = key("the level below which there is too little", "1.0")
    high_uvi: Finite = key("the level above which there is more than wanted", "2.6")
    ceiling_uvi: Finite = key("the level that must never be passed", "4.0")

    @model_validator(mode="after")
    def _usable(self) -> Self:
        try:
            self.band()
        except BandError as error:
            refused_by(error)
        return self

    def band(self) -> Band:
        """Return it as the rules take it."""
        return Band(self.low_uvi, self.high_uvi, self.ceiling_uvi)


class RulesConfig(Table):
    """`[spot.<key>.rules]`: how this spot is judged, where it is to be judged otherwise than usual."""

    k: Factor = key("the k for which a UVI is really over a limit, UVI - k·u", "2.5", _USUAL.k)
    over_hold_s: HoldS = key(
        "the seconds really over the ceiling before it is an event", "30", _USUAL.over_hold_s
    )
    far_times: Factor = key(
        "how many times the ceiling is so far over it that a shorter hold is enough", "1.5", _USUAL.far_times
    )
    far_hold_s: HoldS = key(
        "the seconds so far over the ceiling before it is an event", "10", _USUAL.far_hold_s
    )
    probably_over_hold_s: HoldS = key(
        "the seconds over the ceiling by best estimate before it is an event",
        "600",
        _USUAL.probably_over_hold_s,
    )
    above_hold_s: HoldS = key(
        "the seconds really above the band before it is an event", "3600", _USUAL.above_hold_s
    )
    under_hold_s: HoldS = key(
        "the seconds really under the band before it is an event", "1800", _USUAL.under_hold_s
    )
    k_back: Factor = key("the k for which a UVI is back, the limit outside UVI ± k·u", "0.5", _USUAL.k_back)
    back_hold_s: HoldS = key("the seconds back before an event ends", "600", _USUAL.back_hold_s)
    warm_up_s: HoldS = key(
        "the seconds after coming on for which a lamp may be under the band", "900", _USUAL.warm_up_s
    )
    dark_uvi: NotNegative = key("the UVI up to which the lamp counts as off", "0.05", _USUAL.dark_uvi)
    lit_hold_s: HoldS = key("the seconds over that before the lamp counts as on", "120", _USUAL.lit_hold_s)
    dark_hold_s: HoldS = key(
        "the seconds under that before the lamp counts as off", "600", _USUAL.dark_hold_s
    )
    lamp_late_s: HoldS = key(
        "the seconds for which a lamp may be dark by day or lit at night", "300", _USUAL.lamp_late_s
    )
    flicker_times: Annotated[int, Field(ge=2)] = key(
        "how many returns from dark within the window are flicker", "6", _USUAL.flicker_times
    )
    flicker_window_s: HoldS = key(
        "the seconds within which returns from dark are counted", "1800", _USUAL.flicker_window_s
    )
    sensor_hold_s: HoldS = key(
        "the seconds for which a sensor must report a fault before it is an event",
        "300",
        _USUAL.sensor_hold_s,
    )
    stuck_hold_s: HoldS = key(
        "the seconds for which a lit spot's UVI may be the same to the last digit",
        "43200",
        _USUAL.stuck_hold_s,
    )
    dose_low_uvi_h: NotNegative | None = key("the least dose of a day in UVI·h", "8.0", None)
    dose_high_uvi_h: NotNegative | None = key("the greatest dose of a day in UVI·h", "30.0", None)
    dose_low_part: Part = key(
        "the part of its usual dose under which a day is out of the ordinary", "0.5", _USUAL.dose_low_part
    )
    dose_high_part: Factor = key(
        "the part of its usual dose over which a day is out of the ordinary", "2.0", _USUAL.dose_high_part
    )
    dose_coverage: Part = key(
        "the part of a day's light that must have been seen to judge its dose", "0.8", _USUAL.dose_coverage
    )
    lamp_notice_days: NotNegative = key(
        "how many days ahead a rising or fading lamp is told", "60", _USUAL.lamp_notice_days
    )
    step_part: Part = key(
        "the part by which the level must change from one day to the next", "0.2", _USUAL.step_part
    )
    slow_times: Factor = key(
        "how many times its usual time to warm up makes a lamp slow", "3.0", _USUAL.slow_times
    )
    calibration_notice_days: NotNegative = key(
        "how many days before its end a calibration is due", "60", _USUAL.calibration_notice_days
    )
    check_every_days: NotNegative = key(
        "how many days after a comparison with a meter the next is due, 0 for never",
        "14",
        _USUAL.check_every_days,
    )
    max_gap_s: SpanS = key(
        "the longest silence in seconds over which a hold runs on", "180", _USUAL.max_gap_s
    )


class SpotConfig(Table):
    """`[spot.<key>]`: a place watched by one sensor."""

    label: Text = key("the spot in the keeper's words", '"Slate ledge"')
    enclosure: Key = key("the key of the enclosure that the spot is in", '"rock_garden"')
    lamp: Key = key("the key of the lamp that lights the spot", '"rock_lamp"')
    board: Key = key("the key of the board that watches the spot", '"rock"')
    sensor: SensorPrefix | None = key("which sensor of a board that has several", '"a"', None)
    calibration: PathFromFile | None = key(
        "the calibration file of the sensor at this spot", '"calibrations/ledge.toml"', None
    )
    zone: Annotated[int, Field(ge=1, le=4)] | None = key("the published exposure zone", "3", None)
    own_band: BandConfig | None = key(
        "a band in place of a zone",
        "{ low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 4.0 }",
        None,
        alias="band",
    )
    kind: Literal["basking", "retreat"] = key(
        "whether the animal basks here or gets away from the light", '"retreat"', "basking"
    )
    lit_from: LocalTime | None = key("the local time at which the lamp comes on", '"08:30"', None)
    lit_until: LocalTime | None = key("the local time at which the lamp goes off", '"20:30"', None)

    rules: RulesConfig = key("how this spot is judged", "{ under_hold_s = 1800 }", RulesConfig())

    _by_species: Species | None = PrivateAttr(default=None)

    @property
    def by_species(self) -> Species | None:
        """The species that gives the spot its band, where its keeper gave neither zone nor band."""
        return self._by_species

    def take_band_of(self, species: Species) -> None:
        """Let a species give the band; said once, while the file is read."""
        self._by_species = species

    def band(self) -> Band:
        """Return the band typed in, else the zone's, else that of the species."""
        if self.own_band is not None:
            return self.own_band.band()
        if self.zone is not None:
            return zone_band(self.zone)
        assert self._by_species is not None, "a spot has a zone or a band, or a species that gives it one"
        return self._by_species.band

    def rule_settings(self, time_zone: str) -> RuleSettings:
        """Return how the spot is judged, where the local clock is that of `time_zone`."""
        return RuleSettings(
            **self.rules.model_dump(),
            lit_from_minute=_minute(self.lit_from),
            lit_until_minute=_minute(self.lit_until),
            time_zone=time_zone,
        )


def _minute(local_time: time | None) -> int | None:
    return None if local_time is None else local_time.hour * 60 + local_time.minute
