"""A recorded capture pushed through the whole bridge at full speed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import BinaryIO, Final

from calibrate.calibration import Calibration
from firmware_host.capture import CaptureError, read_capture
from ingest.bridge import Audience, Bridge
from ingest.config import Config
from ingest.store.store import Store

# A replay may be interrupted and begun anew, so it commits seldom: by the capture's own time.
_COMMIT_INTERVAL_S: Final = 600.0
_LONG_AFTER_MS: Final = 86_400_000


@dataclass(frozen=True, slots=True)
class Replayed:
    """Readings that the store did not have, and bytes of a cut-off last record left out."""

    n_stored: int
    cut_bytes: int


def replay(
    config: Config,
    calibrations: Mapping[str, Calibration],
    store: Store,
    capture: BinaryIO,
    *,
    audience: tuple[Audience, ...] = (),
    progress: Callable[[], None] = lambda: None,
) -> Replayed:
    """Push a capture into `store`.

    Time is the capture's own, and nobody is told over MQTT.  `progress` is called now and then.
    """
    reader = read_capture(capture)
    first = next(reader, None)
    if first is None:
        raise CaptureError(
            "this capture holds nothing", remedy="Record one with `baskline run --capture FILE`"
        )
    bridge = Bridge(
        config, store, calibrations, first.at, audience=audience, commit_interval_s=_COMMIT_INTERVAL_S
    )
    bridge.take([first])
    last = first
    for number, item in enumerate(reader):
        bridge.take([item])
        for _ in bridge.outgoing():
            pass  # what a board would have been asked, it was asked when the capture was taken
        bridge.tick(item.at)
        last = item
        if number % 1000 == 0:
            progress()
    bridge.finish(last.at)
    while bridge.summarise_step(bridge.now_utc_ms(last.at) + _LONG_AFTER_MS):
        progress()
    return Replayed(bridge.n_stored, reader.cut_bytes)
