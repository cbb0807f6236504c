"""Calibrations with their checks, and the form to enter one."""

from typing import Final

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from baskline.check_words import check_lines
from baskline.page.charts import chart_code, chart_trouble
from baskline.page.check_jobs import MEAN_S, CheckJob, check_jobs_of
from baskline.page.check_parts import listed, sentence, spot_parts
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.forms import acting, asked_entry, asked_number, done, fields, known
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import render
from calibrate.errors import KeeperError
from calibrate.spot_check import verdict_of
from ingest.check_acts import MeterReading, calibration_of
from ingest.store.lock import is_held

_LEAST_UVI, _MOST_UVI = 0.1, 100.0
_MOST_ACCURACY_PERCENT: Final = 50.0
_BUDGET_HEAD: Final = ("Source", "± UVI (k = 1)", "Share", "From")
_HISTORY_HEAD: Final = ("From", "To", "Calibration", "Made on", "Remarks")


async def overview(request: Request) -> Response:
    """Show each spot's calibration, its last check, and when the next is due."""
    desk: Desk = request.app.state.desk
    spots = await desk.read(lambda store: [listed(store, desk, spot) for spot in desk.config.spots])
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
    desk = acting(request)
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
    desk = acting(request)
    spot = known("spot", request.path_params["spot"], desk.config.spots)
    number = asked_entry(await fields(request), "check")
    try:
        await desk.write(lambda store: store.checks.withdraw(spot, number))
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
    values = await desk.read(lambda store: spot_parts(store, desk, spot, in_force))
    if job is not None and job.trouble:
        trouble = f"Nothing was kept: {job.trouble}."
    result: list[str] = []
    if job is not None and job.check is not None:
        result = [*check_lines(job.check), *(sentence(words) for words in job.words)]
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
