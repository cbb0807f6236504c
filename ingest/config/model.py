"""A whole configuration file.  What must hold between its keys stands in `cross.py`."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any, TypeAlias, TypeVar

from pydantic import AfterValidator, Field

from exposure.rules import RuleSettings
from ingest.config.fields import Key
from ingest.config.places import BoardConfig, EnclosureConfig, LampConfig, SpotConfig
from ingest.config.reach import BridgeConfig, MirrorConfig, MqttConfig, PiBusConfig, SerialConfig
from ingest.config.table import Table

T = TypeVar("T")

ByKey: TypeAlias = Annotated[Mapping[Key, T], AfterValidator(MappingProxyType)]


def _no_entries() -> Mapping[str, Any]:
    return MappingProxyType({})


class Config(Table):
    """A whole configuration.  Tables with many entries are read-only mappings by key."""

    bridge: BridgeConfig
    serial: SerialConfig = SerialConfig()
    pi_bus: PiBusConfig | None = None
    mqtt: MqttConfig | None = None
    mirror: MirrorConfig | None = None
    boards: ByKey[BoardConfig] = Field(default_factory=_no_entries, alias="board")
    enclosures: ByKey[EnclosureConfig] = Field(default_factory=_no_entries, alias="enclosure")
    lamps: ByKey[LampConfig] = Field(default_factory=_no_entries, alias="lamp")
    spots: ByKey[SpotConfig] = Field(default_factory=_no_entries, alias="spot")

    def rule_settings(self, spot: str) -> RuleSettings:
        """Return how the spot of that key is judged."""
        return self.spots[spot].rule_settings(self.bridge.time_zone)
