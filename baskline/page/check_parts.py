"""What the pages of checks show: each spot's calibration, its budget, its checks.  Out of the store."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from typing import Any, Final
from zoneinfo import ZoneInfo

from baskline.calibration_words import calibration_lines, flag_words, number
from baskline.check_words import due_line, series_words
from baskline.measured_words import measured, plain_day
from baskline.page.check_view import CheckRow, check_rows
from baskline.page.desk import Desk
from calibrate.budget import Budget, budget
from calibrate.calibration import Calibration
from calibrate.curve import middle_levels
from calibrate.errors import KeeperError
from exposure.days import local_date
from ingest.calibration_history import CalibrationRecord, calibration_history
from ingest.check_acts import calibration_of
from ingest.checking import calibrated_ms, check_state, series_of
from ingest.config import Config
from ingest.store.checks import CheckRecord
from ingest.store.store import Store
from ingest.twins import twins

_CHECKS_SHOWN: Final = 60


@dataclass(frozen=True, slots=True)
class SpotChecks:
    """What the list says of a spot's calibration; `why_none` is '' if it has one."""

    key: str
    label: str
    why_none: str
    calibration: str = ""
    ends: str = ""
    ended: bool = False
    last: CheckRow | None = None
    due: str = ""
    overdue: bool = False


@dataclass(frozen=True, slots=True)
class CalibrationPart:
    """A calibration as a spot's page shows it."""

    lines: tuple[str, ...]
    ends: str
    ended: bool
    elsewhere: str
    at: str
    rows: tuple[tuple[str, str, str, str], ...]
    together: str
    doubts: str


def listed(store: Store, desk: Desk, spot: str) -> SpotChecks:
    """Return what the list of all spots says of one."""
    config, now_ms = desk.config, desk.now_ms
    label, time_zone = config.spots[spot].label, config.bridge.time_zone
    try:
        calibration = calibration_of(config, spot)
    except KeeperError as error:
        return SpotChecks(spot, label, f"{error.what[:1].upper()}{error.what[1:]}. {error.remedy}.")
    records = store.checks.of(spot)
    every_days = config.rule_settings(spot).check_every_days
    made_ms = calibrated_ms(calibration, time_zone)
    state = check_state(records, calibration, made_ms, now_ms, every_days)
    ends = _ends(calibration)
    return SpotChecks(
        key=spot,
        label=label,
        why_none="",
        calibration=calibration.name or calibration.identity,
        ends=plain_day(ends),
        ended=ends < local_date(now_ms, time_zone),
        last=None if state.last is None else check_rows([state.last], config)[0],
        due=due_line(state, time_zone),
        overdue=state.overdue,
    )


def spot_parts(store: Store, desk: Desk, spot: str, in_force: str) -> dict[str, Any]:
    """Return what the template needs of a spot; `in_force` is the calibration that the bridge works with."""
    config, now_ms = desk.config, desk.now_ms
    zone = ZoneInfo(config.bridge.time_zone)
    records = store.checks.of(spot)
    values: dict[str, Any] = {
        "checks": check_rows(records[::-1][:_CHECKS_SHOWN], config),
        "history": [_history_row(record, zone) for record in calibration_history(store, spot)[::-1]],
        "calibration": None,
        "why_none": "",
        "has_chart": False,
        "series": (),
        "due": "",
        "accuracy": "",
        "step": "",
    }
    try:
        calibration = calibration_of(config, spot)
    except KeeperError as error:
        return {**values, "why_none": f"{error.what[:1].upper()}{error.what[1:]}. {error.remedy}."}
    series = series_of(records, calibration.identity)
    made_ms = calibrated_ms(calibration, zone.key)
    state = check_state(records, calibration, made_ms, now_ms, config.rule_settings(spot).check_every_days)
    beside = list(twins(store, config, spot, series.checks[0].at_ms, now_ms)) if series.checks else []
    step = calibration.uncertainty.reference_resolution_uvi
    return {
        **values,
        "calibration": _calibration_part(calibration, config, spot, now_ms, in_force),
        "has_chart": bool(series.checks),
        "series": tuple(sentence(words) for words in series_words(series, beside, zone)),
        "due": due_line(state, zone.key),
        "accuracy": _last_accuracy(records or _all(store, config)),
        "step": f"{step:g}" if step else "",
    }


def _calibration_part(
    calibration: Calibration, config: Config, spot: str, now_ms: int, in_force: str
) -> CalibrationPart:
    today = local_date(now_ms, config.bridge.time_zone)
    ends = _ends(calibration)
    levels = middle_levels(calibration)
    made = budget(
        calibration,
        levels,
        lamp_kind=config.lamps[config.spots[spot].lamp].kind,
        age_days=max(0, (today - calibration.made_on).days),
    )
    elsewhere = ""
    if in_force != calibration.identity:
        before = in_force or "none"
        elsewhere = (
            f"The bridge still works with {before}. Start it again, and this one applies from then on."
        )
    return CalibrationPart(
        lines=tuple(calibration_lines(calibration)),
        ends=plain_day(ends),
        ended=ends < today,
        elsewhere=elsewhere,
        at=", ".join(f"{name} {number(level)}" for name, level in levels.items()),
        rows=_budget_rows(made),
        together=f"UVI {measured(made.uvi, made.u_uvi)} (k = 2)",
        doubts=flag_words(made.flags),
    )


def _budget_rows(made: Budget) -> tuple[tuple[str, str, str, str], ...]:
    rows = [
        (
            row.source,
            f"{row.u_uvi:.3f}",
            f"{row.share:.0%}",
            f"{row.basis}{'' if row.common else '; shrinks in a mean'}",
        )
        for row in made.rows
    ]
    return (*rows, ("together", f"{made.u_uvi:.3f}", "", ""))


def _history_row(record: CalibrationRecord, zone: ZoneInfo) -> tuple[str, ...]:
    def day(at_ms: int | None) -> str:
        return "" if at_ms is None else plain_day(local_date(at_ms, zone.key))

    remarks = (("withdrawn",) if record.withdrawn else ()) + ((record.reason,) if record.reason else ())
    made_on = "" if record.made_on is None else plain_day(record.made_on)
    return (
        day(record.from_ms),
        day(record.to_ms) or "now",
        record.calibration or "none",
        made_on,
        "; ".join(remarks),
    )


def _ends(calibration: Calibration) -> date:
    return calibration.made_on + timedelta(days=calibration.valid_for_days)


def _all(store: Store, config: Config) -> list[CheckRecord]:
    found = [check for spot in config.spots for check in store.checks.of(spot)]
    return sorted(found, key=lambda check: check.at_ms)


def _last_accuracy(records: Sequence[CheckRecord]) -> str:
    """Return the accuracy in per cent of the meter that was used last, '' for the one calibrated with."""
    counted = [check for check in records if not check.withdrawn]
    if not counted or counted[-1].same_meter:
        return ""
    last = counted[-1]
    return f"{100 * sqrt(3) * last.u_meter_uvi / last.reference_uvi:.3g}"


def sentence(words: str) -> str:
    """Return words with a capital in front."""
    return f"{words[:1].upper()}{words[1:]}"
