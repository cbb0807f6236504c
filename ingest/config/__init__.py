"""The configuration: which board watches which spot, under which lamp, within which band.

The keys are described in `ingest/CONFIG.md`.
"""

from ingest.config.errors import ConfigError, Problem
from ingest.config.load import load_config, parse_config
from ingest.config.model import (
    BandConfig,
    BoardConfig,
    BridgeConfig,
    Config,
    EnclosureConfig,
    LampConfig,
    MirrorConfig,
    MqttConfig,
    SerialConfig,
    SpotConfig,
)

__all__ = [
    "BandConfig",
    "BoardConfig",
    "BridgeConfig",
    "Config",
    "ConfigError",
    "EnclosureConfig",
    "LampConfig",
    "MirrorConfig",
    "MqttConfig",
    "Problem",
    "SerialConfig",
    "SpotConfig",
    "load_config",
    "parse_config",
]
