"""What a keeper does about a lamp: noting a change of it, and taking back what was noted by mistake."""

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import Final

from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean
from exposure.days import local_date
from ingest.config import Config
from ingest.store.lamp_changes import LampChange, LampChangeKind
from ingest.store.store import Store

MOST_NOTE_CHARACTERS: Final = 500


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
    store: Store, config: Config, lamp: str, what: LampChangeKind, day: date, note: str, now_ms: int
) -> LampChange:
    """Note that a lamp was changed on a local day: from there on a new baseline counts.

    `LampActError` for a lamp that is not configured, a day to come or before the lamp was put in, a note
    that is no line of text, and for a change that is noted already.
    """
    _refuse_unknown(config, lamp)
    today = local_date(now_ms, config.bridge.time_zone)
    if day > today:
        raise LampActError(
            f"{day.isoformat()} is still to come",
            where=f"lamp {lamp}",
            remedy="Note a change on the day on which it is made, or later",
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
    with store.transaction():
        for known in store.lamp_changes.of(lamp):
            if (known.day, known.what) == (day, what) and not known.withdrawn:
                raise LampActError(
                    f"that is noted already, as change {known.change_id}",
                    where=f"lamp {lamp}",
                    remedy="Withdraw that one first if its note is wrong",
                )
        return store.lamp_changes.add(lamp, day, what, note, now_ms)


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
