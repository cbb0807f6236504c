"""`baskline recompute`: put a calibration over the past, and take that back."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from baskline import completing
from baskline.commands.common import (
    DEFAULT_CONFIG,
    ConfigOption,
    JsonOption,
    StoreOption,
    print_json,
    read_config,
    store_of,
)
from baskline.printing import console, say
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from calibrate.calibration import Calibration
    from ingest.config import Config
    from ingest.recompute import DayFigures, Progress, SpotChange
    from ingest.store.store import Store

SCHEMA = "baskline.recompute/1"


class RecomputeCommandError(KeeperError):
    """A recomputation that cannot be meant."""


def recompute(
    from_day: Annotated[
        str | None, typer.Option("--from", metavar="YYYY-MM-DD", help="The first day, your local one.")
    ] = None,
    to_day: Annotated[
        str | None,
        typer.Option("--to", metavar="YYYY-MM-DD", help="The last day; for ever on if left out."),
    ] = None,
    spot: Annotated[
        str | None,
        typer.Option(
            "--spot",
            metavar="SPOT",
            help="The spot; all with a calibration if left out.",
            autocompletion=completing.spots,
        ),
    ] = None,
    calibration: Annotated[
        str | None,
        typer.Option(
            "--calibration",
            metavar="FILE|ID",
            help="A calibration file, or the identity of a stored one; the configured one if left out.",
        ),
    ] = None,
    undo: Annotated[
        int | None, typer.Option("--undo", metavar="GENERATION", help="Take an earlier recomputation back.")
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put another calibration over the past.

    Says what that changes. Raw readings stay as they are; samples, minute summaries and doses follow from
    them anew, and --undo takes it back. It works beside a running daemon, whose present samples keep the
    calibration that it was started with; restart it to change that.

    \b
    Examples:
      baskline recompute --from 2025-05-01
      baskline recompute --from 2025-05-01 --spot slate --calibration new.toml
      baskline recompute --undo 7
    """
    from baskline.commands.dates import date_of
    from ingest.recompute import RECOMPUTED, Span
    from ingest.recompute import recompute as put_over
    from ingest.recompute import undo as take_back
    from ingest.store.lock import is_held
    from ingest.store.store import Store

    if undo is not None and any(given is not None for given in (from_day, to_day, spot, calibration)):
        raise typer.BadParameter("stands alone: it knows days and spot by itself", param_hint="--undo")
    if undo is None and from_day is None:
        raise typer.BadParameter("is missing: from which day on?", param_hint="--from")
    first = date_of(from_day, "--from")
    span = None if first is None else Span(first, date_of(to_day, "--to"))
    if span is not None and span.last is not None and span.last < span.first:
        raise typer.BadParameter(f"{span.last} is before {span.first}", param_hint="--to")
    configured = read_config(config)
    path = store_of(configured, store)
    if not path.exists():
        raise RecomputeCommandError(
            "there is no store yet",
            where=str(path),
            remedy="Start `baskline run` first, or name another file",
        )
    with Store.open(path) as kept:
        running = is_held(path)
        with _bar() as progress:
            if undo is not None:
                changes = take_back(kept, configured, undo, progress=progress)
            else:
                assert span is not None
                wanted = _wanted(kept, configured, config, spot, calibration)
                days = f"{span.first} to {span.last or 'now on'}"
                changes = put_over(
                    kept, configured, wanted, span, reason=f"{RECOMPUTED} {days}", progress=progress
                )
    if as_json:
        print_json({"schema": SCHEMA, "undone": undo, "spots": [_fields(change) for change in changes]})
    else:
        _tell(changes, undone=undo is not None, running=running)


def _wanted(
    store: "Store", config: "Config", file: Path, spot: str | None, calibration: str | None
) -> "dict[str, Calibration]":
    from calibrate.nearest import did_you_mean
    from ingest.assigning import read_calibrations

    if spot is not None and spot not in config.spots:
        raise RecomputeCommandError(
            f"there is no spot {spot!r}", where=str(file), remedy=did_you_mean(spot, config.spots)
        )
    if calibration is None:
        configured = read_calibrations(config)
        if spot is not None:
            configured = {key: found for key, found in configured.items() if key == spot}
        if not configured:
            raise RecomputeCommandError(
                "no calibration is configured", where=spot or str(file), remedy="Give one with --calibration"
            )
        return configured
    if spot is None:
        raise RecomputeCommandError(
            "a calibration is of one spot's sensor", where="--calibration", remedy="Say which with --spot"
        )
    return {spot: _calibration(store, calibration)}


def _calibration(store: "Store", given: str) -> "Calibration":
    from calibrate.calibration_file import parse_calibration, read_calibration

    text = store.calibrations.get(given)
    if text is not None:
        return parse_calibration(text, where=f"calibration {given} in the store")
    if not Path(given).exists():
        raise RecomputeCommandError(
            f"{given!r} is neither a file nor the identity of a stored calibration",
            where="--calibration",
            remedy="See the identities with `baskline calibrate show SPOT`",
        )
    return read_calibration(Path(given))


@contextmanager
def _bar() -> "Iterator[Progress]":
    from rich.progress import Progress as Bar

    words = console()
    with Bar(console=words, transient=True, disable=not words.is_terminal) as bar:
        task = bar.add_task("")

        def show(what: str, done: int, total: int) -> None:
            bar.update(task, description=what, completed=done, total=max(total, 1))

        yield show


def _tell(changes: "list[SpotChange]", *, undone: bool, running: bool) -> None:
    from baskline.calibration_words import aligned

    words = console()
    for change in changes:
        if change.generation is None:
            say(
                words,
                f"{change.spot}: calibration {change.calibration} applied already; nothing has changed.",
            )
            continue
        if undone:
            say(words, f"{change.spot}: generation {change.generation} is taken back.")
        else:
            say(words, f"{change.spot}: calibration {change.calibration}, generation {change.generation}")
        rows = [("day", "mean lit UVI", "", "dose UVI·h", "", "")]
        rows += [
            (
                each.day.isoformat(),
                _figure(each.before.mean_uvi_lit),
                _figure(each.after.mean_uvi_lit),
                _figure(each.before.dose_uvi_h),
                _figure(each.after.dose_uvi_h),
                _share(each.before, each.after),
            )
            for each in change.days
        ]
        for line in aligned(rows):
            words.print(f"  {line}", soft_wrap=True)
        if not undone:
            say(words, f"  To take it back: baskline recompute --undo {change.generation}")
    if any(change.generation is not None for change in changes):
        say(words, "Events stay as they were told. Of each pair of numbers, the first is before.")
        if running:
            say(
                words,
                "The daemon goes on with the calibration that it was started with: restart it for this one.",
            )


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _share(before: "DayFigures", after: "DayFigures") -> str:
    if not before.dose_uvi_h or after.dose_uvi_h is None:
        return ""
    return f"{after.dose_uvi_h / before.dose_uvi_h - 1:+.1%}"


def _fields(change: "SpotChange") -> dict[str, Any]:
    def figures(of: "DayFigures") -> dict[str, float | None]:
        return {
            "mean_uvi_lit": of.mean_uvi_lit,
            "dose_uvi_h": of.dose_uvi_h,
            "peak_uvi": of.peak_uvi,
        }

    return {
        "spot": change.spot,
        "generation": change.generation,
        "calibration": change.calibration or None,
        "days": [
            {"date": each.day.isoformat(), "before": figures(each.before), "after": figures(each.after)}
            for each in change.days
        ],
    }
