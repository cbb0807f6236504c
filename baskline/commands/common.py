"""What commands share: the configuration and store options, the caution, JSON on standard output."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from ingest.config import Config

ConfigOption = Annotated[
    Path,
    typer.Option("--config", "-c", envvar="BASKLINE_CONFIG", readable=False, help="The configuration file."),
]
DEFAULT_CONFIG = Path("baskline.toml")
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print JSON instead, as baskline/OUTPUT.md describes it.")
]

StoreOption = Annotated[
    Path | None,
    typer.Option(
        "--store", metavar="FILE", readable=False, help="Read this store instead of the configured one."
    ),
]

ChartsOption = Annotated[
    Path | None,
    typer.Option(
        "--chart",
        metavar="FILE",
        readable=False,
        help="Draw it into a .png, .svg or .pdf file; one for each spot, named after it.",
    ),
]


def read_config(path: Path) -> "Config":
    """Read the configuration, or raise what is wrong with it."""
    from ingest.config import load_config

    return load_config(path)


def print_json(content: object) -> None:
    """Print one JSON document."""
    print(json.dumps(content, ensure_ascii=False, allow_nan=False, indent=2))


def store_of(config: "Config", given: Path | None) -> Path:
    """Return the store to read: the one given, else the configured one."""
    return given if given is not None else config.bridge.store
