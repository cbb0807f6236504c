"""What the tables of a configuration file have in common.

Each key carries its meaning (a noun phrase) and an example in TOML: a keeper is told both when it is wrong.
"""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


def key(
    meaning: str, example: str, default: Any = ..., *, check_default: bool = False, alias: str | None = None
) -> Any:
    """Describe a key; without a default it must be given.  `alias`: its spelling in the file, if another."""
    return Field(
        default, description=meaning, examples=[example], validate_default=check_default, alias=alias
    )


class Table(BaseModel):
    """What all tables have in common: no unknown keys, no guessing of types, no change later."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
