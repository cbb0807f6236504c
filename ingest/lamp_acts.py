"""What a keeper does about a lamp: noting a change of it, and taking back what was noted by mistake."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from types import MappingProxyType
from typing import Final

from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean
from exposure.days import day_bounds, iso_local, local_date, local_time_ms
from exposure.lamp_days import lamp_day
from ingest.config import Config
from ingest.history import History
from ingest.store.day_rows import AROUND_MS
from ingest.store.lamp_changes import ChangeMoment, LampChange, LampChangeKind, SeenBefore
from ingest.store.store import Store

MOST_NOTE_CHARACTERS: Final = 500
# Nobody puts a lamp in twice within five minutes; but a button is pressed twice.
_SAME_MS: Final = 300_000


class LampActError(KeeperError):
    """A change of a lamp that cannot be noted or taken back."""


_WANT_CHANGING: Final[Mapping[LampChangeKind, tuple[str, ...]]] = MappingProxyType(
    {
        LampChangeKind.LAMP: ("installed", "kind", "package_claim_uvi", "package_claim_at_cm"),
        LampChangeKind.DISTANCE: ("distance_cm",),
        LampChangeKind.MESH: ("between",),
        LampChangeKind.PLACE: ("distance_cm", "between"),
        LampChangeKind.OTHER: (),
    }
)


def note_lamp_change(
    store: Store,
    config: Config,
    lamp: str,
    what: LampChangeKind,
    day: date,
    note: str,
    now_ms: int,
    *,
    clock: time | None = None,
) -> LampChange:
    """Note that a lamp was changed: from there on a new baseline counts.

    It was changed on the local day `day` when the clock showed `clock`; without that today means now, and of
    an earlier day only the day is known.

    `LampActError` for a lamp that is not configured, a time to come or before the lamp was put in, a note
    that is no line of text, and for a change that is noted already.
    """
    _refuse_unknown(config, lamp)
    zone = config.bridge.time_zone
    today = local_date(now_ms, zone)
    at_ms = now_ms if day == today else None
    if clock is not None and day <= today:
        at_ms = local_time_ms(day, 60 * clock.hour + clock.minute, zone)
    if day > today or (at_ms is not None and at_ms > now_ms):
        raise LampActError(
            f"{day.isoformat()}{'' if clock is None else f' {clock:%H:%M}'} is still to come",
            where=f"lamp {lamp}",
            remedy="Note a change when it is made, or later",
        )
    installed = config.lamps[lamp].installed
    if day < installed:
        raise LampActError(
            f"it was put in on {installed.isoformat()}, after {day.isoformat()}",
            where=f"lamp {lamp}",
            remedy="Give a later day, or correct `installed` in the configuration",
        )
    note = note.strip()
    if len(note) > MOST_NOTE_CHARACTERS or not note.isprintable():
        raise LampActError(
            "the note is no line of text",
            where=f"lamp {lamp}",
            remedy=f"Write one line of at most {MOST_NOTE_CHARACTERS} characters",
        )
    # Read before, so that a daemon need not wait for it with what it has to write.
    moment = None if at_ms is None else _moment(store, config, lamp, day, at_ms)
    with store.transaction():
        for known in store.lamp_changes.of(lamp):
            if (known.day, known.what) == (day, what) and not known.withdrawn and _is_same(known, at_ms):
                raise LampActError(
                    f"that is noted already, as change {known.change_id}",
                    where=f"lamp {lamp}",
                    remedy="Withdraw that one first if its note is wrong",
                )
        return store.lamp_changes.add(lamp, day, what, note, now_ms, moment)


def _is_same(known: LampChange, at_ms: int | None) -> bool:
    """Return whether a change of that day and kind is most likely the one that is noted now."""
    if known.moment is None or at_ms is None:
        return True
    return abs(known.moment.at_ms - at_ms) < _SAME_MS


def _moment(store: Store, config: Config, lamp: str, day: date, at_ms: int) -> ChangeMoment:
    """Return a moment, with what each spot saw of the lamp on that day by then: later it may be forgotten."""
    zone = config.bridge.time_zone
    history = History(store)
    whole = day_bounds(day, zone)
    before = {}
    for spot in (key for key, configured in config.spots.items() if configured.lamp == lamp):
        before[spot] = SeenBefore(hours_on=0.0, coverage=1.0)
        if at_ms > whole.start_ms:
            samples = history.samples(spot, whole.start_ms - AROUND_MS, at_ms + AROUND_MS)
            seen = lamp_day(samples, replace(whole, end_ms=at_ms))
            before[spot] = SeenBefore(seen.hours_on, seen.coverage)
    return ChangeMoment(at_ms, iso_local(at_ms, zone)[11:16], before)


def withdraw_lamp_change(store: Store, config: Config, lamp: str, change_id: int) -> LampChange:
    """Let a change of this lamp count no longer: it was a mistake."""
    _refuse_unknown(config, lamp)
    with store.transaction():
        if all(known.change_id != change_id for known in store.lamp_changes.of(lamp)):
            raise LampActError(
                f"it has no change {change_id}",
                where=f"lamp {lamp}",
                remedy=f"See its changes with `baskline lamps {lamp}`",
            )
        return store.lamp_changes.withdraw(change_id)


def _refuse_unknown(config: Config, lamp: str) -> None:
    if lamp not in config.lamps:
        raise LampActError(
            f"there is no lamp {lamp!r}", where="LAMP", remedy=did_you_mean(lamp, config.lamps)
        )


def keys_to_change(config: Config, change: LampChange) -> tuple[str, ...]:
    """Return which keys of `[lamp.<key>]` may no longer be right after a change."""
    lamp = config.lamps[change.lamp]
    done = {"installed"} if lamp.installed == change.day else set()
    if lamp.package_claim_uvi is None:
        done |= {"package_claim_uvi", "package_claim_at_cm"}
    return tuple(key for key in _WANT_CHANGING[change.what] if key not in done)
