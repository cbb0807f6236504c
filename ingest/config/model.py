"""The tables of a configuration file and their keys.  What must hold between keys stands in `cross.py`.

Each key carries its meaning (a noun phrase) and an example in TOML: a keeper is told both when it is wrong.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any, Literal, Self, TypeAlias, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from exposure.bands import Band, BandError
from exposure.zones import zone_band
from firmware_host.mapped import LineMapping, MappingError
from ingest.config.fields import (
    Date,
    EnvironmentName,
    Finite,
    Host,
    Identity,
    Key,
    LampKindKey,
    LineField,
    LocalTime,
    Name,
    PathFromFile,
    PortNumber,
    Ports,
    Positive,
    SensorPrefix,
    Text,
    TextList,
    TimeZoneName,
    Topic,
    Url,
    refused_by,
)
from ingest.config.secrets import read_secret

T = TypeVar("T")

ByKey: TypeAlias = Annotated[Mapping[Key, T], AfterValidator(MappingProxyType)]


def _no_entries() -> Mapping[str, Any]:
    return MappingProxyType({})


def _key(
    meaning: str, example: str, default: Any = ..., *, check_default: bool = False, alias: str | None = None
) -> Any:
    """Describe a key; without a default it must be given.  `alias`: its spelling in the file, if another."""
    return Field(
        default, description=meaning, examples=[example], validate_default=check_default, alias=alias
    )


class Table(BaseModel):
    """What all tables have in common: no unknown keys, no guessing of types, no change later."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class BridgeConfig(Table):
    """`[bridge]`: this computer, and how it keeps what it hears."""

    site: Name = _key("the house or institution", '"home"')
    name: Name = _key("this bridge, named differently from each other bridge of the site", '"reptile-room"')
    time_zone: TimeZoneName = _key("the time zone that says when a day begins", '"Europe/Vienna"')
    store: PathFromFile = _key(
        "the file that keeps all readings", '"baskline.db"', "baskline.db", check_default=True
    )
    # Two seconds: a power cut loses no more than what a board's ring of past readings still holds, and a
    # memory card is spared most of the page writes that each commit costs.
    commit_interval_s: Annotated[float, Field(gt=0, le=60)] = _key(
        "the seconds for which readings gather before they are written", "2.0", 2.0
    )
    raw_keep_days: Annotated[int, Field(ge=1, le=36_500)] | None = _key(
        "the number of days after which raw readings are dropped", "400", None
    )


class SerialConfig(Table):
    """`[serial]`: where boards are looked for."""

    ports: Ports = _key('"auto", or a list of paths that may hold * and ?', '["/dev/ttyACM*"]', "auto")
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = _key(
        "the speed of the serial ports", "115200", 115200
    )


class MqttConfig(Table):
    """`[mqtt]`: the broker that is told."""

    host: Host = _key("the name or address of the broker", '"broker.lan"')
    port: PortNumber | None = _key("the broker's port", "1883", None)
    tls: bool = _key(
        "whether the connection is encrypted and the broker's certificate checked", "true", False
    )
    ca_file: PathFromFile | None = _key(
        "the certificate of the authority that signed the broker's", '"ca.pem"', None
    )
    certificate_file: PathFromFile | None = _key("the certificate of this bridge", '"bridge.pem"', None)
    key_file: PathFromFile | None = _key("the key of this bridge's certificate", '"bridge.key"', None)
    username: Text | None = _key("the name of this bridge at the broker", '"bridge"', None)
    password_file: PathFromFile | None = _key(
        "the file whose first line is the password", '"mqtt-password"', None
    )
    password_env: EnvironmentName | None = _key(
        "the environment variable that holds the password", '"MQTT_PASSWORD"', None
    )
    root_topic: Topic = _key("the first words of each topic", '"baskline"', "baskline")
    discovery: bool = _key("whether a home automation hub is told which entities there are", "false", True)
    discovery_prefix: Topic = _key(
        "the first words of the hub's discovery topics", '"homeassistant"', "homeassistant"
    )

    @property
    def port_or_usual(self) -> int:
        """The port given, or the one registered for MQTT with or without TLS."""
        return self.port if self.port is not None else (8883 if self.tls else 1883)

    def password(self) -> str | None:
        """Return the password from where the file says that it is, or raise `SecretError`."""
        return read_secret(key="mqtt.password", file=self.password_file, variable=self.password_env)


class MirrorConfig(Table):
    """`[mirror]`: a server with the InfluxDB v2 write interface, fed from the store."""

    url: Url = _key("the address of the server", '"http://mirror.lan:8086"')
    org: Text = _key("the organisation on the server", '"home"')
    bucket: Text = _key("the bucket on the server", '"baskline"')
    token_file: PathFromFile | None = _key(
        "the file whose first line is the access token", '"mirror-token"', None
    )
    token_env: EnvironmentName | None = _key(
        "the environment variable that holds the access token", '"MIRROR_TOKEN"', None
    )

    def token(self) -> str | None:
        """Return the token from where the file says that it is, or raise `SecretError`."""
        return read_secret(key="mirror.token", file=self.token_file, variable=self.token_env)


class MappingConfig(Table):
    """`[board.<key>.mapping]`: how to read a board that prints plain lines of its own."""

    format: Literal["csv", "key_value", "json"] = _key("the form of the board's lines", '"csv"')
    channels: Annotated[Mapping[str, LineField], AfterValidator(MappingProxyType)] = _key(
        "the field of each channel: a column from 0 in csv, else a key",
        "{ uva_counts = 0, temperature_c = 1 }",
    )
    separator: str = _key("the one character between two fields", '";"', ",")
    board_ms: LineField | None = _key("the field with the board's milliseconds since its start", "2", None)
    usb: Text | None = _key("the USB serial number of the board", '"A50285BI"', None)
    port: Text | None = _key("the port of the board, which may hold * and ?", '"/dev/ttyUSB0"', None)

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

    identity: Identity = _key("what the board calls itself in its lines", '"pico-rock-1"')
    label: Text = _key("the board in the keeper's words", '"Pico behind the slate"')
    mapping: MappingConfig | None = _key(
        "how to read a board that prints plain lines",
        '{ format = "csv", channels = { uva_counts = 0 }, port = "/dev/ttyUSB0" }',
        None,
    )


class EnclosureConfig(Table):
    """`[enclosure.<key>]`: where animals live."""

    label: Text = _key("the enclosure in the keeper's words", '"Rock garden"')
    species: Text | None = _key("the scientific name of who lives there", '"Pogona vitticeps"', None)
    notes: Text | None = _key("anything worth keeping", '"two adults"', None)


class LampConfig(Table):
    """`[lamp.<key>]`: a lamp as it hangs."""

    kind: LampKindKey = _key("the kind of lamp", '"t5"')
    installed: Date = _key("the day on which the lamp was put in", "2025-01-18")
    distance_cm: Positive = _key("the distance from the lamp to the animal's back", "30.0")
    between: TextList = _key("what the light passes through", '["mesh"]', ())
    package_claim_uvi: Positive | None = _key("the UVI that the package promises", "3.0", None)
    package_claim_at_cm: Positive | None = _key("the distance at which the package promises it", "30.0", None)


class BandConfig(Table):
    """`[spot.<key>.band]`: a band typed in, in place of a zone."""

    low_uvi: Finite = _key("the level below which there is too little", "1.0")
    high_uvi: Finite = _key("the level above which there is more than wanted", "2.6")
    ceiling_uvi: Finite = _key("the level that must never be passed", "4.0")

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


class SpotConfig(Table):
    """`[spot.<key>]`: a place watched by one sensor."""

    label: Text = _key("the spot in the keeper's words", '"Slate ledge"')
    enclosure: Key = _key("the key of the enclosure that the spot is in", '"rock_garden"')
    lamp: Key = _key("the key of the lamp that lights the spot", '"rock_lamp"')
    board: Key = _key("the key of the board that watches the spot", '"rock"')
    sensor: SensorPrefix | None = _key("which sensor of a board that has several", '"a"', None)
    calibration: PathFromFile | None = _key(
        "the calibration file of the sensor at this spot", '"calibrations/ledge.toml"', None
    )
    zone: Annotated[int, Field(ge=1, le=4)] | None = _key("the published exposure zone", "3", None)
    own_band: BandConfig | None = _key(
        "a band in place of a zone",
        "{ low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 4.0 }",
        None,
        alias="band",
    )
    kind: Literal["basking", "retreat"] = _key(
        "whether the animal basks here or gets away from the light", '"retreat"', "basking"
    )
    lit_from: LocalTime | None = _key("the local time at which the lamp comes on", '"08:30"', None)
    lit_until: LocalTime | None = _key("the local time at which the lamp goes off", '"20:30"', None)

    def band(self) -> Band:
        """Return the band typed in, else the zone's."""
        if self.own_band is not None:
            return self.own_band.band()
        assert self.zone is not None, "a spot has a zone or a band"
        return zone_band(self.zone)


class Config(Table):
    """A whole configuration.  Tables with many entries are read-only mappings by key."""

    bridge: BridgeConfig
    serial: SerialConfig = SerialConfig()
    mqtt: MqttConfig | None = None
    mirror: MirrorConfig | None = None
    boards: ByKey[BoardConfig] = Field(default_factory=_no_entries, alias="board")
    enclosures: ByKey[EnclosureConfig] = Field(default_factory=_no_entries, alias="enclosure")
    lamps: ByKey[LampConfig] = Field(default_factory=_no_entries, alias="lamp")
    spots: ByKey[SpotConfig] = Field(default_factory=_no_entries, alias="spot")
