"""The tables that say who this bridge is and whom it talks to."""

from typing import Annotated

from pydantic import Field

from ingest.config.fields import (
    Baud,
    EnvironmentName,
    Host,
    Identity,
    Name,
    PathFromFile,
    PortNumber,
    Ports,
    SensorKind,
    Text,
    TimeZoneName,
    Topic,
    Url,
)
from ingest.config.secrets import read_secret
from ingest.config.table import Table, key


class BridgeConfig(Table):
    """`[bridge]`: this computer, and how it keeps what it hears."""

    site: Name = key("the house or institution", '"home"')
    name: Name = key("this bridge, named differently from each other bridge of the site", '"reptile-room"')
    time_zone: TimeZoneName = key("the time zone that says when a day begins", '"Europe/Vienna"')
    store: PathFromFile = key(
        "the file that keeps all readings", '"baskline.db"', "baskline.db", check_default=True
    )
    # Two seconds: soon enough for a keeper who looks, and a memory card is spared most of the page writes
    # that each commit costs.
    commit_interval_s: Annotated[float, Field(gt=0, le=60)] = key(
        "the seconds for which readings gather before they are written", "2.0", 2.0
    )
    raw_keep_days: Annotated[int, Field(ge=1, le=36_500)] | None = key(
        "the number of days after which raw readings are dropped", "400", None
    )


class SerialConfig(Table):
    """`[serial]`: where boards are looked for."""

    ports: Ports = key('"auto", or a list of paths that may hold * and ?', '["/dev/ttyACM*"]', "auto")
    baud: Baud = key("the speed of the serial ports", "115200", 115200)


class PiBusConfig(Table):
    """`[pi_bus]`: a sensor on this computer's own I²C bus, read like a board."""

    bus: Annotated[int, Field(ge=0, le=99)] = key("the number of the bus, as in /dev/i2c-1", "1", 1)
    identity: Identity | None = key("what this board calls itself", '"pi-shelf"', None)
    sensor: SensorKind = key("which sensor is on the bus", '"as7331"', "auto")
    cadence_ms: Annotated[int, Field(ge=100, le=600_000)] = key(
        "the milliseconds from one reading to the next", "2000", 1000
    )


class MqttConfig(Table):
    """`[mqtt]`: the broker that is told."""

    host: Host = key("the name or address of the broker", '"broker.lan"')
    port: PortNumber | None = key("the broker's port", "1883", None)
    tls: bool = key("whether the connection is encrypted and the broker's certificate checked", "true", False)
    ca_file: PathFromFile | None = key(
        "the certificate of the authority that signed the broker's", '"ca.pem"', None
    )
    certificate_file: PathFromFile | None = key("the certificate of this bridge", '"bridge.pem"', None)
    key_file: PathFromFile | None = key("the key of this bridge's certificate", '"bridge.key"', None)
    username: Text | None = key("the name of this bridge at the broker", '"bridge"', None)
    password_file: PathFromFile | None = key(
        "the file whose first line is the password", '"mqtt-password"', None
    )
    password_env: EnvironmentName | None = key(
        "the environment variable that holds the password", '"MQTT_PASSWORD"', None
    )
    root_topic: Topic = key("the first words of each topic", '"baskline"', "baskline")
    discovery: bool = key("whether a home automation hub is told which entities there are", "false", True)
    discovery_prefix: Topic = key(
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

    url: Url = key("the address of the server", '"http://mirror.lan:8086"')
    org: Text = key("the organisation on the server", '"home"')
    bucket: Text = key("the bucket on the server", '"baskline"')
    token_file: PathFromFile | None = key(
        "the file whose first line is the access token", '"mirror-token"', None
    )
    token_env: EnvironmentName | None = key(
        "the environment variable that holds the access token", '"MIRROR_TOKEN"', None
    )

    def token(self) -> str | None:
        """Return the token from where the file says that it is, or raise `SecretError`."""
        return read_secret(key="mirror.token", file=self.token_file, variable=self.token_env)
