"""Spot checks in words, as the page lists them.  Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from baskline.check_words import verdict_words
from baskline.measured_words import local_moment, measured, signed
from calibrate.spot_check import verdict_of
from ingest.config import Config
from ingest.store.checks import CheckRecord


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check: the meter beside the spot, and what that says."""

    number: int
    at: str
    meter: str
    spot: str
    e_n: str
    verdict: str
    means: str
    withdrawn: bool


def check_rows(checks: Iterable[CheckRecord], config: Config) -> list[CheckRow]:
    """Return checks as they are listed, in the order given."""
    zone = ZoneInfo(config.bridge.time_zone)
    return [
        CheckRow(
            number=check.check_id,
            at=local_moment(check.at_ms, zone),
            meter=f"{check.reference_uvi:g}",
            spot=measured(check.uvi, check.u_uvi),
            e_n=signed(check.e_n, "+.2f"),
            verdict=verdict_of(check.e_n).value,
            means=verdict_words(check.e_n),
            withdrawn=check.withdrawn,
        )
        for check in checks
    ]
