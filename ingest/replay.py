"""A recorded capture pushed through the whole bridge at full speed."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import BinaryIO, Final

from calibrate.calibration import Calibration
from firmware_host.capture import CaptureError, read_capture
from firmware_host.traffic import Received, Traffic
from ingest.audience import Audience
from ingest.bridge import Bridge
from ingest.config import Config
from ingest.store.store import Store

# What is judged in one go: more costs less a reading, until it no longer fits into the processor's cache.
_AT_ONCE_BYTES: Final = 1 << 18
_AT_ONCE_MS: Final = 600_000
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
    bridge = Bridge(config, store, calibrations, first.at, audience=audience, bulk=True)
    last = first.at
    for items in _portions(chain([first], reader)):
        bridge.take(items)
        for _ in bridge.outgoing():
            pass  # what a board would have been asked, it was asked when the capture was taken
        last = items[-1].at
        bridge.tick(last)
        progress()
    bridge.finish(last)
    while bridge.summarise_step(bridge.now_utc_ms(last) + _LONG_AFTER_MS):
        progress()
    return Replayed(bridge.n_stored, reader.cut_bytes)


def _portions(traffic: Iterable[Traffic]) -> Iterator[list[Traffic]]:
    portion: list[Traffic] = []
    n_bytes = 0
    for item in traffic:
        portion.append(item)
        n_bytes += len(item.data) if isinstance(item, Received) else 0
        if n_bytes >= _AT_ONCE_BYTES or item.at.mono_ms - portion[0].at.mono_ms >= _AT_ONCE_MS:
            yield portion
            portion = []
            n_bytes = 0
    if portion:
        yield portion
