"""Identity by content: the same content has the same identity, on any machine, for ever."""

import hashlib
import json
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

NOT_CONTENT = {"content": False}
"""Metadata of a dataclass field that changes no answer, so is left out of the identity."""

_FORM = 1
"""Part of what is hashed.  Raise it only if the meaning of the same content changes."""

_N_HEX = 16
"""64 bits: a million calibrations collide with a chance of 3 in 10⁸."""


def content_hash(value: Any) -> str:
    """Return 16 hex digits that depend on all content of the dataclass `value`.

    Fields at their default are left out of the hash, so a field added later leaves old identities alone.
    """
    canonical = [_FORM, _canonical(value)]
    text = json.dumps(canonical, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:_N_HEX]


def _canonical(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        named = {
            f.name: _canonical(getattr(value, f.name))
            for f in fields(value)
            if f.init and f.metadata.get("content", True) and getattr(value, f.name) != f.default
        }
        # The name of the class is not content, but a model's kind is.
        return {"kind": value.kind, **named} if hasattr(value, "kind") else named
    if isinstance(value, tuple):
        return [_canonical(item) for item in value]
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, int | float):
        return repr(float(value) + 0.0)  # 1 and 1.0 are one number, and so are 0.0 and -0.0
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"no canonical form for {type(value).__name__}")
