"""From the configuration's plain values to how to reach the broker and the mirror."""

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
