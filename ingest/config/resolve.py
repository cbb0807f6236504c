"""From the configuration's plain values to the settings that the parts of the bridge take."""

from firmware_host.pi_bus import PiBusSettings
from firmware_host.ports import AUTO, PortWish
from ingest.config.model import Config
from ingest.mirror.settings import MirrorSettings
from ingest.mqtt.settings import MqttSettings


def mqtt_settings(config: Config) -> MqttSettings | None:
    """Return how to reach the broker, its password read; None without one.

    Raises `SecretError` if the password is not where the file says.
    """
    mqtt = config.mqtt
    if mqtt is None:
        return None
    return MqttSettings(
        host=mqtt.host,
        site=config.bridge.site,
        bridge=config.bridge.name,
        port=mqtt.port_or_usual,
        tls=mqtt.tls,
        ca_file=mqtt.ca_file,
        certificate_file=mqtt.certificate_file,
        key_file=mqtt.key_file,
        username=mqtt.username,
        password=mqtt.password(),
        root_topic=mqtt.root_topic,
        discovery=mqtt.discovery,
        discovery_prefix=mqtt.discovery_prefix,
    )


def mirror_settings(config: Config) -> MirrorSettings | None:
    """Return how to reach the server that mirrors the store, its token read; None without one.

    Raises `SecretError` if the token is not where the file says.
    """
    mirror = config.mirror
    if mirror is None:
        return None
    return MirrorSettings(
        url=mirror.url,
        org=mirror.org,
        bucket=mirror.bucket,
        token=mirror.token(),
        site=config.bridge.site,
        bridge=config.bridge.name,
    )


def pi_bus_settings(config: Config) -> PiBusSettings | None:
    """Return how to read this computer's own bus; None where nothing hangs on it."""
    return None if config.pi_bus is None else PiBusSettings(**config.pi_bus.model_dump())


def port_wishes(config: Config) -> tuple[PortWish, ...]:
    """Return which ports to open: those of plain boards first, because their speed may differ."""
    serial = config.serial
    mappings = [board.mapping for board in config.boards.values() if board.mapping is not None]
    plain = [PortWish(m.port, m.baud or serial.baud) for m in mappings if m.port is not None]
    patterns = (AUTO,) if serial.ports == "auto" else serial.ports
    return (*plain, *(PortWish(pattern, serial.baud) for pattern in patterns))
