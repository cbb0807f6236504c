"""The configuration: which board watches which spot, under which lamp, within which band.

The keys are described in `ingest/CONFIG.md`.
"""

from ingest.config.animals import SpeciesConfig
from ingest.config.attention import AttentionConfig
from ingest.config.errors import ConfigError, Problem
from ingest.config.load import load_config, parse_config
from ingest.config.model import Config
from ingest.config.page import PageConfig
from ingest.config.places import (
    BandConfig,
    BoardConfig,
    EnclosureConfig,
    LampConfig,
    MappingConfig,
    RulesConfig,
    SpotConfig,
)
from ingest.config.reach import BridgeConfig, MirrorConfig, MqttConfig, PiBusConfig, SerialConfig

__all__ = [
    "AttentionConfig",
    "BandConfig",
    "BoardConfig",
    "BridgeConfig",
    "Config",
    "ConfigError",
    "EnclosureConfig",
    "LampConfig",
    "MappingConfig",
    "MirrorConfig",
    "MqttConfig",
    "PageConfig",
    "PiBusConfig",
    "Problem",
    "RulesConfig",
    "SerialConfig",
    "SpeciesConfig",
    "SpotConfig",
    "load_config",
    "parse_config",
]
