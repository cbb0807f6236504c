"""How to reach the broker, and under which name."""

from dataclasses import dataclass, field
from pathlib import Path

from calibrate.errors import KeeperError


class BrokerError(KeeperError):
    """The broker cannot be reached, refuses, or is described wrongly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttSettings:
    """One broker and this bridge's place on it.

    `password` is the secret itself, already read from its file or variable; it never shows in `repr`.
    Without `ca_file` the system's own authorities judge the broker's certificate.
    """

    host: str
    site: str
    bridge: str
    port: int = 1883
    tls: bool = False
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    root_topic: str = "baskline"
    discovery: bool = True
    discovery_prefix: str = "homeassistant"

    def __post_init__(self) -> None:
        try:
            usable = bool(self.host) and bool(self.host.encode("idna"))
        except UnicodeError:
            usable = False
        if not usable:
            raise BrokerError(
                f"{self.host!r} is no host", where="mqtt.host", remedy="Write a name or an address alone"
            )
        if not 1 <= self.port <= 65535:
            raise BrokerError(
                f"{self.port} is no port", where="mqtt.port", remedy="Usual are 1883, and 8883 with TLS"
            )
        if self.password is not None and self.username is None:
            raise BrokerError(
                "a password is given without a user name", where="mqtt", remedy="Set mqtt.username too"
            )
        if (self.certificate_file is None) != (self.key_file is None):
            raise BrokerError(
                "a client certificate needs its key, and the other way round",
                where="mqtt",
                remedy="Set both mqtt.certificate_file and mqtt.key_file, or neither",
            )
        if not self.tls and (self.ca_file or self.certificate_file):
            raise BrokerError(
                "certificates are given, but TLS is off", where="mqtt", remedy="Set mqtt.tls = true"
            )

    @property
    def address(self) -> str:
        """Host and port, as messages name the broker."""
        return f"{self.host}:{self.port}"
