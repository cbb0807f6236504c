"""The name that was probably meant."""

from collections.abc import Iterable
from difflib import get_close_matches


def did_you_mean(given: str, valid: Iterable[str]) -> str:
    """Return an instruction: the valid name nearest to `given`, or all of them if none is near."""
    names = sorted(valid)
    near = get_close_matches(given, names, n=1, cutoff=0.6)
    if near:
        return f"Did you mean {near[0]!r}?"
    return f"Valid here: {', '.join(names)}" if names else "There is none yet"


def misspelt(wanted: str, given: Iterable[str]) -> str:
    """Return an instruction if a name of `given` looks like a misspelling of `wanted`, else nothing."""
    near = get_close_matches(wanted, list(given), n=1, cutoff=0.75)
    return f"Rename {near[0]!r} to {wanted!r}" if near else ""
