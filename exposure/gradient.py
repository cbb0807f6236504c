"""An enclosure's spots beside each other: whether an animal can get out of the light."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from exposure.profile import DayProfile
from exposure.zones import zone

# A day of which less was seen does not say how a spot is.
_LEAST_COVERAGE: Final = 0.5


@dataclass(frozen=True, slots=True)
class Gradient:
    """The spots of an enclosure that were seen, from the strongest to the weakest, on one day.

    `mean_uvi` is each one's mean UVI while it was lit, 0 for one that stayed dark.  `retreat` is the weakest
    spot if its mean was beyond doubt (k = 2) no more than the highest mean of zone 1, which is what animals
    of the shade choose; `has_retreat` is None if that cannot be told, as from a single spot that is none.
    """

    spots: tuple[str, ...]
    mean_uvi: Mapping[str, float]
    retreat: str | None
    has_retreat: bool | None
    sentence: str


def gradient(profiles: Mapping[str, DayProfile], names: Mapping[str, str] | None = None) -> Gradient:
    """Return how an enclosure's spots differ, from their profiles of the same day.

    `names` says how the sentence calls the spots: by their keys where it says nothing.
    """
    called = {spot: spot for spot in profiles} | dict(names or {})
    seen = {
        spot: profile
        for spot, profile in profiles.items()
        if profile.coverage >= _LEAST_COVERAGE and profile.lit_hours is not None
    }
    mean_uvi = {spot: profile.mean_uvi_lit or 0.0 for spot, profile in seen.items()}
    spots = tuple(sorted(seen, key=lambda spot: (-mean_uvi[spot], spot)))
    if not spots:
        return Gradient((), {}, None, None, "no spot was seen for long enough to tell")
    strongest, weakest = spots[0], spots[-1]
    upper_uvi = mean_uvi[weakest] + 2 * (seen[weakest].u_mean_uvi_lit or 0.0)
    limit_uvi = zone(1).mean_high_uvi
    most, least = (f"{mean_uvi[spot]:.1f} at {called[spot]}" for spot in (strongest, weakest))
    range_text = f"from {most} to {least}"
    if upper_uvi <= limit_uvi:
        sentence = f"mean UVI {range_text}: {called[weakest]} is a retreat"
        return Gradient(spots, mean_uvi, weakest, True, sentence)
    if len(spots) == 1:
        sentence = f"only {called[strongest]} was seen, so whether there is a retreat is not known"
        return Gradient(spots, mean_uvi, None, None, sentence)
    sentence = (
        f"mean UVI {range_text}: no spot that was seen is a retreat with at most {limit_uvi:g}; "
        "see that there is shade elsewhere"
    )
    return Gradient(spots, mean_uvi, None, False, sentence)
