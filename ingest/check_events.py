"""What the spot checks of a spot are worth telling: nobody has checked it for too long, or a check failed."""

from collections.abc import Sequence
from datetime import date

from calibrate.calibration import Calibration
from calibrate.spot_check import Verdict, verdict_of
from exposure.days import local_date
from exposure.events import Event, EventKind
from exposure.findings import Finding, NotSo, settle
from ingest.checking import DAY_MS, OVERDUE_AFTER_DAYS, CheckState, calibrated_ms, check_state
from ingest.store.checks import CheckRecord


def check_events(
    spot: str,
    checks: Sequence[CheckRecord],
    calibration: Calibration | None,
    open_events: Sequence[Event],
    *,
    now_ms: int,
    every_days: float,
    time_zone: str,
) -> list[Event]:
    """Return the events of a spot that change by its checks.

    Each opens at the moment of its cause, the check or the day after it was due, so that it is the same
    whenever it is found; and what was closed by hand stays closed.
    """
    overdue = EventKind.CHECK_OVERDUE
    if calibration is None:
        why = NotSo("the spot has no calibration that could be checked")
        return settle(spot, now_ms, {overdue: why, EventKind.CHECK_OUT: why}, open_events)
    made_ms = calibrated_ms(calibration, time_zone)
    state = check_state(checks, calibration, made_ms, now_ms, every_days)
    counted = [each for each in checks if not each.withdrawn and each.calibration == calibration.identity]
    changes = _of_the_last(spot, state, counted, open_events, now_ms, time_zone)
    if not state.overdue or state.due_ms is None:
        return [*settle(spot, now_ms, {overdue: NotSo(_why_not_overdue(state))}, open_events), *changes]
    finding = _overdue(state, calibration.made_on, time_zone)
    opened_ms = state.due_ms + OVERDUE_AFTER_DAYS * DAY_MS
    return [*settle(spot, opened_ms, {overdue: finding}, open_events), *changes]


def _of_the_last(
    spot: str,
    state: CheckState,
    counted: Sequence[CheckRecord],
    open_events: Sequence[Event],
    now_ms: int,
    time_zone: str,
) -> list[Event]:
    """Return what the last check that counts changes: a doubtful one nothing, while the failed one counts."""
    kind, last = EventKind.CHECK_OUT, state.last
    if last is None:
        why = NotSo("the check no longer counts: it was withdrawn, or the sensor was calibrated anew")
        return settle(spot, now_ms, {kind: why}, open_events)
    if state.verdict is Verdict.OUT:
        finding = Finding(
            f"the check of {local_date(last.at_ms, time_zone)} failed: the meter showed "
            f"{last.reference_uvi:g} and the spot {last.uvi:.2f}, further apart than their uncertainties "
            f"allow (E_n {last.e_n:+.1f}, where up to 1 is well)",
            _evidence(state, time_zone),
        )
        return settle(spot, last.at_ms, {kind: finding}, open_events)
    if state.verdict is Verdict.WITHIN:
        return settle(spot, now_ms, {kind: NotSo("a check since was well")}, open_events)
    told = next((event for event in open_events if (event.kind, event.subject) == (kind, spot)), None)
    failed_ms = [check.at_ms for check in counted if verdict_of(check.e_n) is Verdict.OUT]
    if told is not None and all(at_ms < told.opened_ms for at_ms in failed_ms):
        return settle(
            spot, now_ms, {kind: NotSo("the check no longer counts: it was withdrawn")}, open_events
        )
    return []


def _overdue(state: CheckState, made_on: date, time_zone: str) -> Finding:
    due = local_date(state.due_ms or 0, time_zone)
    since = (
        f"not compared with a meter since it was calibrated on {made_on}"
        if state.last is None
        else f"last compared with a meter on {local_date(state.last.at_ms, time_zone)}"
    )
    return Finding(
        f"the spot was {since}, and a check was due on {due}",
        _evidence(state, time_zone),
        about=due.isoformat(),
    )


def _evidence(state: CheckState, time_zone: str) -> dict[str, str | float | int | None]:
    last = state.last
    return {
        "due": None if state.due_ms is None else local_date(state.due_ms, time_zone).isoformat(),
        "check_id": None if last is None else last.check_id,
        "reference_uvi": None if last is None else last.reference_uvi,
        "uvi": None if last is None else last.uvi,
        "u_uvi": None if last is None else last.u_uvi,
        "e_n": None if last is None else last.e_n,
    }


def _why_not_overdue(state: CheckState) -> str:
    if state.due_ms is None:
        return "no checks are asked for"
    return "calibrated anew" if state.last is None else "checked again"
