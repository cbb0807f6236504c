"""A whole configuration file.  What must hold between its keys stands in `cross.py`."""

from collections.abc import Mapping
from contextlib import suppress
from types import MappingProxyType
from typing import Annotated, Any, Self, TypeAlias, TypeVar

from pydantic import AfterValidator, Field, model_validator

from exposure.attention_settings import AttentionSettings
from exposure.rules import RuleSettings
from exposure.species import Species, SpeciesError
from ingest.config.animals import SpeciesConfig, species_for_spot
from ingest.config.attention import AttentionConfig
from ingest.config.fields import Key
from ingest.config.page import PageConfig
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
    page: PageConfig | None = None
    attention: AttentionConfig = AttentionConfig()
    boards: ByKey[BoardConfig] = Field(default_factory=_no_entries, alias="board")
    enclosures: ByKey[EnclosureConfig] = Field(default_factory=_no_entries, alias="enclosure")
    lamps: ByKey[LampConfig] = Field(default_factory=_no_entries, alias="lamp")
    spots: ByKey[SpotConfig] = Field(default_factory=_no_entries, alias="spot")
    species: ByKey[SpeciesConfig] = Field(default_factory=_no_entries)

    @model_validator(mode="after")
    def _bands_by_species(self) -> Self:
        for spot in self.spots.values():
            enclosure = self.enclosures.get(spot.enclosure)
            if spot.zone is None and spot.own_band is None and enclosure is not None:
                with suppress(SpeciesError):  # said where the keys are held against each other
                    spot.take_band_of(species_for_spot(spot.kind, enclosure.species, self.species))
        return self

    def own_species(self) -> tuple[Species, ...]:
        """Return the keeper's own rows of the table of species."""
        return tuple(row.species() for row in self.species.values())

    def lamp_name(self, lamp: str) -> str:
        """Return what the keeper calls the lamp of that key."""
        return self.lamps[lamp].label or lamp

    def rule_settings(self, spot: str) -> RuleSettings:
        """Return how the spot of that key is judged."""
        return self.spots[spot].rule_settings(self.bridge.time_zone)

    def attention_settings(self) -> AttentionSettings:
        """Return when the keeper may be told what."""
        return self.attention.settings(self.bridge.time_zone)
