"""`baskline replay`: a capture through the whole bridge."""

from pathlib import Path
from typing import Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json, read_config
from baskline.printing import console, say

SCHEMA = "baskline.replay/1"


def replay(
    capture: Annotated[
        Path, typer.Argument(metavar="CAPTURE", readable=False, help="A file that `run --capture` wrote.")
    ],
    store: Annotated[
        Path,
        typer.Option(
            "--store", metavar="FILE", readable=False, help="The store to fill; made if it is not there."
        ),
    ],
    config: ConfigOption = DEFAULT_CONFIG,
    as_json: JsonOption = False,
) -> None:
    """Push a recorded capture through the whole bridge.

    Calibration, rules and store work as in `baskline run`, but at full speed and in the capture's own time.
    The configured store and broker are left alone. The same capture and configuration always give the same
    store. Look at it with `baskline day SPOT --store FILE`.

    \b
    Example:
      baskline replay demo.capture --store again.db
    """
    from contextlib import ExitStack

    from rich.progress import Progress

    from firmware_host.capture import CaptureError
    from ingest.assigning import read_calibrations
    from ingest.replay import replay as push
    from ingest.store.errors import StoreError
    from ingest.store.store import Store

    configured = read_config(config)
    if store.resolve() == configured.bridge.store.resolve():
        raise StoreError(
            "this is the configured store, which holds what was heard live",
            where=str(store),
            remedy="Name another file for --store",
        )
    calibrations = read_calibrations(configured)
    words = console(quiet=as_json)
    with ExitStack() as stack:
        try:
            stream = stack.enter_context(capture.open("rb"))
        except OSError as error:
            raise CaptureError(
                f"cannot be read ({error.strerror})", where=str(capture), remedy="Check the name"
            ) from None
        kept = stack.enter_context(Store.open(store))
        bar = stack.enter_context(Progress(console=words, transient=True, disable=not words.is_terminal))
        task = bar.add_task("replaying", total=capture.stat().st_size)
        try:
            replayed = push(
                configured,
                calibrations,
                kept,
                stream,
                progress=lambda: bar.update(task, completed=stream.tell()),
            )
        except CaptureError as error:
            raise CaptureError(
                error.what, where=f"{capture}, {error.where}".rstrip(", "), remedy=error.remedy
            ) from None
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "capture": str(capture),
                "store": str(store),
                "new_readings": replayed.n_stored,
                "cut_bytes": replayed.cut_bytes,
            }
        )
        return
    say(words, f"{capture}: {replayed.n_stored} readings that {store} did not have yet")
    if replayed.cut_bytes:
        say(words, f"Its last record is cut off, as by a power cut: {replayed.cut_bytes} bytes left out.")
