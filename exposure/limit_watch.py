"""The limits of a spot's band under watch: what each sample says of them."""

from collections.abc import Mapping, Sequence

import numpy as np

from calibrate.conversion import without_extrapolation
from calibrate.samples import AT_LEAST, Samples
from exposure.bands import Band
from exposure.events import Event, EventKind
from exposure.limit_events import LimitEvents, Side
from exposure.rules import RuleSettings
from exposure.segments import BoolArray
from exposure.signal_watch import Signals, SignalWatch

# Nobody knows whether a spot that was not seen for so long was under its ceiling meanwhile.
_UNSEEN_S = 3600.0


def limit_watch(
    side: Side,
    spot: str,
    limit_uvi: float,
    band: Band,
    settings: RuleSettings,
    by_kind: Mapping[EventKind, Event],
    *,
    holds_s: Sequence[float],
    end_words: Sequence[str] = (),
    lamp_cm: float | None = None,
) -> SignalWatch:
    """Return the watch of one limit of a spot's band; `holds_s` are those of its grades.

    An event that was closed by hand was of the limit of then: of another one nobody has been told yet.
    """
    event = by_kind.get(side.kind)
    if event is not None and not event.is_open and event.evidence.get("limit_uvi") != limit_uvi:
        event = None
    return SignalWatch(
        LimitEvents(side, spot, limit_uvi, band, settings.k, lamp_cm),
        grade_holds_s=holds_s,
        back_hold_s=settings.back_hold_s,
        max_gap_s=settings.max_gap_s,
        end_words=end_words,
        unseen_s=_UNSEEN_S if side.kind is EventKind.OVER_CEILING else None,
        event=event,
    )


def over_ceiling(samples: Samples, ceiling_uvi: float, settings: RuleSettings, reach_uvi: float) -> Signals:
    """Return the signals of the ceiling: far over it, really, but for extrapolation, probably."""
    beyond = too_high(samples, ceiling_uvi, settings, reach_uvi)
    far = samples.uvi - settings.k * samples.u_uvi > settings.far_times * ceiling_uvi
    return Signals((far & beyond.grades[0], *beyond.grades, samples.uvi > ceiling_uvi), beyond.back)


def too_high(samples: Samples, limit_uvi: float, settings: RuleSettings, reach_uvi: float) -> Signals:
    """Return the signals of a limit not to be passed upwards: really over it, and but for extrapolation.

    Beyond `reach_uvi`, the highest UVI that was calibrated, the doubt grows with the excess: were all of it
    taken off, the sensor that knows least would be the last to speak.
    """
    at_least = (samples.flags & np.uint32(AT_LEAST)) != 0
    uvi, u_uvi, k = samples.uvi, samples.u_uvi, settings.k
    really = but_for_reach = uvi - k * u_uvi > limit_uvi
    if (uvi > reach_uvi).any():
        but_for_reach = uvi - k * without_extrapolation(uvi, u_uvi, reach_uvi) > limit_uvi
    return Signals((really, but_for_reach), (uvi + settings.k_back * u_uvi < limit_uvi) & ~at_least)


def too_low(samples: Samples, low_uvi: float, settings: RuleSettings, settled: BoolArray) -> Signals:
    """Return the signals of a limit not to be passed downwards while the lamp is up to its strength."""
    at_least = (samples.flags & np.uint32(AT_LEAST)) != 0
    return Signals(
        ((samples.uvi + settings.k * samples.u_uvi < low_uvi) & settled & ~at_least,),
        (samples.uvi - settings.k_back * samples.u_uvi > low_uvi) & settled,
    )
