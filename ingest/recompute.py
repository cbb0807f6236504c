"""Another calibration put over the past, what that changes, and taking it back.

Readings are never touched: only the record of which calibration applied when grows, and the summaries of the
minutes are made anew.  So it can be undone, and an earlier answer can still be explained.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from calibrate.calibration import Calibration
from calibrate.calibration_file import format_calibration
from calibrate.errors import KeeperError
from exposure.days import day_bounds, local_date
from ingest.config import Config
from ingest.day import spot_day
from ingest.spot_levels import joined_levels
from ingest.store.assignments import AssignmentRecord
from ingest.store.store import Store
from ingest.summaries import Summariser

_HOUR_MS: Final = 3_600_000
_SETTLED_MS: Final = 5 * 60_000
"""The newest minutes are left to the daemon, as it leaves them to itself: their neighbours are to come."""

Progress = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and how much there is."""


class RecomputeError(KeeperError):
    """A recomputation that cannot be done as asked; nothing was changed."""


@dataclass(frozen=True, slots=True)
class DayFigures:
    """What a day gave; None where nothing of it was seen with a value."""

    mean_uvi_lit: float | None
    dose_uvi_h: float | None
    peak_uvi: float | None


@dataclass(frozen=True, slots=True)
class DayChange:
    """A day before and after."""

    day: date
    before: DayFigures
    after: DayFigures


@dataclass(frozen=True, slots=True)
class SpotChange:
    """What became of a spot; `generation` None: its calibration was this one already."""

    spot: str
    generation: int | None
    calibration: str
    days: tuple[DayChange, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """The days of a recomputation, both inside; `last` None: for ever on."""

    first: date
    last: date | None


def recompute(
    store: Store,
    config: Config,
    calibrations: Mapping[str, Calibration],
    span: Span,
    *,
    reason: str,
    progress: Progress,
) -> list[SpotChange]:
    """Let `calibrations` apply to their spots in the span, and bring all that follows up to date."""
    zone = config.bridge.time_zone
    from_ms = day_bounds(span.first, zone).start_ms
    to_ms = None if span.last is None else day_bounds(span.last, zone).end_ms
    for spot, calibration in calibrations.items():
        _refuse_unfit(store, config, spot, calibration, from_ms, to_ms)
    days = {spot: _days(store, config, spot, span) for spot in calibrations}
    before = _figures(store, config, days, "before", progress)
    generations: dict[str, int | None] = {}
    with store.transaction():
        for spot, calibration in calibrations.items():
            if store.calibrations.get(calibration.identity) is None:
                store.calibrations.put(calibration.identity, format_calibration(calibration))
            generations[spot] = store.assignments.recalibrate(
                spot, calibration.identity, from_ms, to_ms=to_ms, reason=reason
            )
        if any(generation is not None for generation in generations.values()):
            store.cursors.set_back(store.readings.position_before(from_ms))  # mirrors get it again
    _summarise(store, progress)
    after = _figures(store, config, days, "after", progress)
    return [
        SpotChange(
            spot, generations[spot], calibration.identity, _changes(days[spot], before[spot], after[spot])
        )
        for spot, calibration in calibrations.items()
    ]


def undo(store: Store, config: Config, generation: int, *, progress: Progress) -> list[SpotChange]:
    """Let a generation of `recompute` count no longer; what it covered comes back."""
    made = [
        record
        for spot in store.assignments.spots()
        for record in store.assignments.history(spot)
        if record.generation == generation and not record.withdrawn
    ]
    _refuse_not_recomputed(store, made, generation)
    spot = made[0].assignment.spot
    if spot not in config.spots:
        raise RecomputeError(
            f"generation {generation} is of the spot {spot!r}, which the configuration no longer has",
            remedy="Put the spot back into the configuration for the time being",
        )
    zone = config.bridge.time_zone
    from_ms = min(record.from_ms for record in made)
    ends = [record.to_ms for record in made]
    last = None if None in ends else local_date(max(end or 0 for end in ends) - 1, zone)
    span = Span(local_date(from_ms, zone), last)
    days = {spot: _days(store, config, spot, span)}
    before = _figures(store, config, days, "before", progress)
    with store.transaction():
        store.assignments.withdraw(generation)
        store.cursors.set_back(store.readings.position_before(from_ms))
    _summarise(store, progress)
    after = _figures(store, config, days, "after", progress)
    held = store.assignments.timeline(spot, from_ms, 2**53)
    calibration = held[-1].assignment.calibration if held else ""
    return [SpotChange(spot, generation, calibration, _changes(days[spot], before[spot], after[spot]))]


RECOMPUTED: Final = "recompute"
"""How the reason of each of its records begins."""


def _refuse_not_recomputed(store: Store, made: Sequence[AssignmentRecord], generation: int) -> None:
    # What the configuration said is no recomputation: without it a time would have no board at all.
    if not made or not all(record.reason.startswith(RECOMPUTED) for record in made):
        known = sorted(
            {
                record.generation
                for spot in store.assignments.spots()
                for record in store.assignments.history(spot)
                if record.reason.startswith(RECOMPUTED) and not record.withdrawn
            }
        )
        raise RecomputeError(
            f"generation {generation} is no recomputation that could be undone",
            remedy=f"Name one of {', '.join(map(str, known))}" if known else "There is none to undo",
        )


def _refuse_unfit(
    store: Store, config: Config, spot: str, calibration: Calibration, from_ms: int, to_ms: int | None
) -> None:
    """Refuse a calibration of channels that the spot's sensor did not report in that time."""
    configured = config.spots[spot]
    board = config.boards[configured.board].identity
    extent = store.readings.extent(board)
    if extent is None or extent[1] < from_ms or (to_ms is not None and extent[0] >= to_ms):
        raise RecomputeError(
            f"nothing of {spot} is stored of that time", remedy="See `baskline day` for what there is"
        )
    last_ms = extent[1] + 1 if to_ms is None else min(to_ms, extent[1] + 1)
    shown = joined_levels(store.readings.between(board, last_ms - _HOUR_MS, last_ms), configured.sensor)
    missing = [channel.name for channel in calibration.channels if channel.name not in shown.channels]
    if shown.channels and missing:
        raise RecomputeError(
            f"calibration {calibration.identity} reads {', '.join(missing)}, which the sensor of {spot} does"
            " not report",
            remedy=f"It reports {', '.join(shown.channels)}: name a calibration of this sensor",
        )


def _days(store: Store, config: Config, spot: str, span: Span) -> list[date]:
    """Return the days of the span of which there are readings, or at least between some."""
    zone = config.bridge.time_zone
    extent = store.readings.extent(config.boards[config.spots[spot].board].identity)
    if extent is None:
        return []
    first = max(span.first, local_date(extent[0], zone))
    last = local_date(extent[1], zone)
    if span.last is not None:
        last = min(last, span.last)
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def _figures(
    store: Store, config: Config, days: Mapping[str, Sequence[date]], when: str, progress: Progress
) -> dict[str, list[DayFigures]]:
    total = sum(map(len, days.values()))
    figures: dict[str, list[DayFigures]] = {spot: [] for spot in days}
    done = 0
    for spot, listed in days.items():
        configured = config.spots[spot]
        for day in listed:
            profile = spot_day(
                store,
                spot,
                day,
                board=config.boards[configured.board].identity,
                time_zone=config.bridge.time_zone,
                band_now=configured.band(),
            ).profile
            figures[spot].append(DayFigures(profile.mean_uvi_lit, profile.dose_uvi_h, profile.peak_uvi))
            done += 1
            progress(f"days {when}", done, total)
    return figures


def _changes(
    days: Sequence[date], before: Sequence[DayFigures], after: Sequence[DayFigures]
) -> tuple[DayChange, ...]:
    return tuple(map(DayChange, days, before, after))


def _summarise(store: Store, progress: Progress) -> None:
    """Bring the minutes up to date; beside a daemon both take their part."""
    newest_ms = store.readings.last_utc_ms_any()
    if newest_ms is None:
        return
    before_ms = newest_ms - _SETTLED_MS
    left = total = _dirty_minutes(store, before_ms)
    summariser = Summariser(store)
    while summariser.step(before_ms=before_ms):
        left = _dirty_minutes(store, before_ms)
        progress("minutes", max(0, total - left), total)


def _dirty_minutes(store: Store, before_ms: int) -> int:
    return sum(max(0, min(span.to_ms, before_ms) - span.from_ms) for span in store.minutes.dirty()) // 60_000
