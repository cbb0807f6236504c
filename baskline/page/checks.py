"""Calibrations: their uncertainty, their checks with a meter, and the form to enter one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from typing import Any, Final
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from baskline.calibration_words import calibration_lines, flag_words, number
from baskline.check_words import check_lines, due_line, series_words
from baskline.measured_words import measured, plain_day
from baskline.page.check_jobs import MEAN_S, CheckJob, check_jobs_of
from baskline.page.check_view import CheckRow, check_rows
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.forms import asked_number, done, fields, known, looking_only
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import render
from baskline.page.spot import chart_code, chart_trouble
from calibrate.budget import Budget, budget
from calibrate.calibration import Calibration
from calibrate.curve import middle_levels
from calibrate.errors import KeeperError
from calibrate.spot_check import verdict_of
from exposure.days import local_date
from ingest.calibration_history import CalibrationRecord, calibration_history
from ingest.check_acts import MeterReading, calibration_of
from ingest.checking import calibrated_ms, check_state, series_of
from ingest.config import Config
from ingest.store.checks import CheckRecord
from ingest.store.lock import is_held
from ingest.store.store import Store
from ingest.twins import twins

_LEAST_UVI, _MOST_UVI = 0.1, 100.0
_MOST_ACCURACY_PERCENT: Final = 50.0
_CHECKS_SHOWN: Final = 60
_BUDGET_HEAD: Final = ("Source", "± UVI (k = 1)", "Share", "From")
_HISTORY_HEAD: Final = ("From", "To", "Calibration", "Made on", "Remarks")


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


async def overview(request: Request) -> Response:
    """Show each spot's calibration, its last check, and when the next is due."""
    desk: Desk = request.app.state.desk
    spots = await desk.read(lambda store: [_listed(store, desk, spot) for spot in desk.config.spots])
    return render(request, "checks.html", spots=spots)


async def spot_checks(request: Request) -> Response:
    """Show a spot's calibration and checks, with the form for another."""
    desk: Desk = request.app.state.desk
    spot = known("spot", request.path_params["spot"], desk.config.spots)
    job = check_jobs_of(request).get(spot, request.query_params.get("job", ""))
    told: tuple[str, ...] = ()
    if request.query_params.get("told") == "withdrawn":
        told = ("Withdrawn: that check counts no longer.",)
    return await _page(request, spot, job=job, told=told)


async def begin(request: Request) -> Response:
    """Compare the spot with what a meter shows now."""
    refused = looking_only(request)
    if refused is not None:
        return refused
    desk: Desk = request.app.state.desk
    spot = known("spot", request.path_params["spot"], desk.config.spots)
    form = await fields(request)
    try:
        reading = _reading(form)
        if not is_held(desk.store_file):
            raise AskedError("nothing is measured now", remedy="Start it again with: baskline run")
        calibration_of(desk.config, spot)
    except KeeperError as error:
        trouble = f"Nothing was compared: {error.what}. {error.remedy}."
        return await _page(request, spot, 422, trouble=trouble, form=form)
    job = await check_jobs_of(request).start(desk, spot, reading)
    return done(f"/checks/{spot}?job={job.number}" + ("#result" if job.is_done else "#waiting"))


async def progress(request: Request) -> Response:
    """Say to a script whether a check is done."""
    desk: Desk = request.app.state.desk
    spot = known("spot", request.path_params["spot"], desk.config.spots)
    job = check_jobs_of(request).get(spot, request.path_params["job"])
    return JSONResponse({"done": job is None or job.is_done, "words": [] if job is None else job.words})


async def withdraw(request: Request) -> Response:
    """Let a check count no longer."""
    refused = looking_only(request)
    if refused is not None:
        return refused
    desk: Desk = request.app.state.desk
    spot = known("spot", request.path_params["spot"], desk.config.spots)
    asked = (await fields(request)).get("check", "")
    if not asked.isdecimal() or len(asked) > 9:
        raise AskedError("that is no number of a check", remedy="Go back and load the page anew")
    try:
        await desk.write(lambda store: store.checks.withdraw(spot, int(asked)))
    except KeeperError as error:
        raise AskedError(error.what, remedy="Go back and load the page anew", status=409) from error
    return done(f"/checks/{spot}?told=withdrawn")


def _reading(form: dict[str, str]) -> MeterReading:
    reference = asked_number(form.get("reference", ""), "what the meter shows", _LEAST_UVI, _MOST_UVI)
    if reference is None:
        raise AskedError("it was not said what the meter shows", remedy="Type its UV Index")
    percent = asked_number(form.get("accuracy", ""), "the meter's accuracy", 0.0, _MOST_ACCURACY_PERCENT)
    step = asked_number(form.get("resolution", ""), "the step of its last digit", 0.0, 1.0)
    return MeterReading(reference, None if percent is None else percent / 100, step)


async def _page(
    request: Request,
    spot: str,
    status: int = 200,
    *,
    job: CheckJob | None = None,
    told: tuple[str, ...] = (),
    trouble: str = "",
    form: dict[str, str] | None = None,
) -> Response:
    desk: Desk = request.app.state.desk
    in_force = (await desk.room()).spot(spot).calibration
    values = await desk.read(lambda store: _found(store, desk, spot, in_force))
    if job is not None and job.trouble:
        trouble = f"Nothing was kept: {job.trouble}."
    result: list[str] = []
    if job is not None and job.check is not None:
        result = [*check_lines(job.check), *(_sentence(words) for words in job.words)]
    return render(
        request,
        "spot_checks.html",
        status,
        spot=spot,
        label=desk.config.spots[spot].label,
        job=None if job is None or job.is_done else job,
        result=result,
        verdict="" if job is None or job.check is None else verdict_of(job.check.e_n).value,
        standing=[row for row in values["checks"] if not row.withdrawn],
        result_number=None if job is None or job.check is None else job.check.check_id,
        told=told,
        trouble=trouble,
        typed={"reference": "", "accuracy": values["accuracy"], "resolution": "", **(form or {})},
        mean_s=round(MEAN_S),
        code=chart_code(desk),
        chart_trouble=chart_trouble(desk),
        budget_head=_BUDGET_HEAD,
        history_head=_HISTORY_HEAD,
        **values,
    )


def _found(store: Store, desk: Desk, spot: str, in_force: str) -> dict[str, Any]:
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
        "series": tuple(_sentence(words) for words in series_words(series, beside, zone)),
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


def _listed(store: Store, desk: Desk, spot: str) -> SpotChecks:
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


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


PAGE = Page(
    routes=(
        Route("/checks", overview, methods=["GET"]),
        Route("/checks/{spot}", spot_checks, methods=["GET"]),
        Route("/checks/{spot}", begin, methods=["POST"]),
        Route("/checks/{spot}/under-way/{job}", progress, methods=["GET"]),
        Route("/checks/{spot}/withdrawn", withdraw, methods=["POST"]),
    ),
    nav=NavEntry("Checks", "/checks"),
)
