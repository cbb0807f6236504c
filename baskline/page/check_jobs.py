"""Spot checks under way: each waits in a thread of its own for the readings that it compares with."""

import asyncio
import logging
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from baskline.page.desk import Desk
from calibrate.errors import KeeperError
from ingest.check_acts import MeterReading, check_now
from ingest.checks_now import Settle
from ingest.store.checks import CheckRecord

log = logging.getLogger("baskline.page")

MEAN_S: Final = 30.0
PATIENCE_S: Final = 30.0
# Most need not wait: the readings of the last half minute are there already.
_QUICK_S: Final = 1.5
_REMEMBERED: Final = 30
# The same reading again within this is the same tap of a wet finger.
_SAME_MS: Final = 20_000


@dataclass(slots=True, kw_only=True)
class CheckJob:
    """One check: under way until there is a `check`, or a `trouble` in words.

    `words` says what takes a while and what is doubtful.
    """

    number: str
    spot: str
    reading: MeterReading
    began_ms: int
    words: list[str] = field(default_factory=list)
    check: CheckRecord | None = None
    trouble: str = ""

    @property
    def is_done(self) -> bool:
        """Whether there is a result, good or bad."""
        return self.check is not None or bool(self.trouble)


class CheckJobs:
    """The checks of this process by their random numbers; the oldest are forgotten."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[str, CheckJob] = OrderedDict()
        self._tasks: set[asyncio.Task[None]] = set()

    def get(self, spot: str, number: str) -> CheckJob | None:
        """Return a check of a spot, None if it is not known any more."""
        job = self._jobs.get(number)
        return job if job is not None and job.spot == spot else None

    async def start(self, desk: Desk, spot: str, reading: MeterReading) -> CheckJob:
        """Begin a check, and give it a moment; return it, or the one that is under way at that spot."""
        now_ms = desk.clock.moment().mono_ms
        for known in reversed(self._jobs.values()):
            again = known.reading == reading and now_ms - known.began_ms < _SAME_MS and not known.trouble
            if known.spot == spot and (again or not known.is_done):
                return known
        job = CheckJob(number=secrets.token_hex(8), spot=spot, reading=reading, began_ms=now_ms)
        self._jobs[job.number] = job
        while len(self._jobs) > _REMEMBERED:
            self._jobs.popitem(last=False)
        task = asyncio.create_task(_made(desk, job))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        await asyncio.wait({task}, timeout=_QUICK_S)
        return job


async def _made(desk: Desk, job: CheckJob) -> None:
    settle = Settle(MEAN_S, PATIENCE_S)
    try:
        job.check = await run_in_threadpool(
            check_now, desk.config, job.spot, job.reading, desk.clock, settle, job.words.append
        )
    except KeeperError as error:
        job.trouble = f"{error.what}. {error.remedy}"
    except Exception:
        log.exception("a spot check failed")
        job.trouble = "this is a fault in baskline. Please report it, with the log"


def check_jobs_of(request: Request) -> CheckJobs:
    """Return the checks of the application."""
    state = request.app.state
    if not hasattr(state, "check_jobs"):
        state.check_jobs = CheckJobs()
    jobs: CheckJobs = state.check_jobs
    return jobs
