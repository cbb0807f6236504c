"""Months of a small room, gathered as the report takes them."""

from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path

from baskline.report.document import document_of
from baskline.report.parts import Document
from exposure.days import local_time_ms
from exposure.events import Event
from ingest.config import Config
from ingest.month import Month, month_of
from ingest.store.checks import CheckRecord
from ingest.store.store import Store
from tests.baskline.many_days import fill_days

FIRST, NEXT = date(2025, 3, 1), date(2025, 4, 1)


def at_ms(config: Config, day: date, hour: int = 12) -> int:
    return local_time_ms(day, hour * 60, config.bridge.time_zone)


def march(
    config: Config,
    uvi_of: Callable[[int], float] = lambda number: 2.0,
    *,
    days: int = 31,
    without: Iterable[int] = (),
    events: Iterable[Event] = (),
    checks: Iterable[CheckRecord] = (),
) -> Month:
    """Fill March 2025 and return it."""
    fill_days(config, FIRST, days, uvi_of, without=without)
    with Store.open(config.bridge.store) as store:
        for event in events:
            store.events.put(event)
        for check in checks:
            store.checks.add(check)
    return gathered(config)


def gathered(config: Config, first: date = FIRST) -> Month:
    with Store.open(config.bridge.store, read_only=True) as store:
        found = month_of(store, config, first, list(config.enclosures), lambda _: None)
    assert found is not None
    return found


def document(month: Month, config: Config, made: date = NEXT) -> Document:
    return document_of(month, config, at_ms(config, made), "1.2.3")


def check(config: Config, day: date, reference_uvi: float, e_n: float) -> CheckRecord:
    with Store.open(config.bridge.store, read_only=True) as store:
        (calibration,) = store.calibrations.identities()
    return CheckRecord(
        spot="ledge",
        from_ms=at_ms(config, day) - 30_000,
        at_ms=at_ms(config, day),
        reference_uvi=reference_uvi,
        u_reading_uvi=0.07,
        u_meter_uvi=0.1,
        same_meter=True,
        uvi=2.0,
        u_uvi=0.09,
        u_random_uvi=0.01,
        n=30,
        flags=0,
        calibration=calibration,
        ratio=reference_uvi / 2.0,
        u_ratio=0.05,
        e_n=e_n,
    )


def config_with(folder: Path, old: str, new: str) -> Config:
    """Rewrite the room's configuration."""
    from ingest.config import load_config

    file = folder / "baskline.toml"
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    return load_config(file)
