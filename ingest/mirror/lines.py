"""Samples of spots as lines for a time-series server, one line a sample."""

import math
from collections.abc import Iterable, Iterator

from calibrate.samples import Samples
from ingest.history import History
from ingest.mirror.library import influxdb_client
from ingest.store.batch import StampedBatch

MEASUREMENT = "spot"


class LineWriter:
    """Writes the lines of one bridge.

    Tags: site, bridge, spot, board.  Fields: `uvi` and `u_uvi` where they have a value, `flags` (bits of
    `calibrate.samples.Flag`, 0 when nothing is wrong), and each raw channel under the board's name for it.
    Times in milliseconds.  A reading sent again has the same tags and time, and so changes nothing.
    """

    def __init__(self, site: str, bridge: str, spots: Iterable[str], history: History) -> None:
        self._site = site
        self._bridge = bridge
        self._spots = tuple(spots)
        self._history = history
        self._library = influxdb_client()

    def lines(self, batch: StampedBatch) -> Iterator[str]:
        """Yield a line for each reading of `batch` at each spot that the board watched then."""
        for spot in self._spots:
            for part, samples in self._history.of_batch(spot, batch):
                yield from self._spot_lines(spot, part, samples)

    def _spot_lines(self, spot: str, part: StampedBatch, samples: Samples) -> Iterator[str]:
        names = ("uvi", "u_uvi", *part.channels)
        rows = zip(
            samples.utc_ms.tolist(),
            samples.flags.tolist(),
            samples.uvi.tolist(),
            samples.u_uvi.tolist(),
            part.values.tolist(),
            strict=True,
        )
        for utc_ms, flags, uvi, u_uvi, values in rows:
            point = self._library.Point(MEASUREMENT)
            point.tag("site", self._site).tag("bridge", self._bridge).tag("spot", spot)
            point.tag("board", part.board).field("flags", flags)
            for name, value in zip(names, (uvi, u_uvi, *values), strict=True):
                if math.isfinite(value):  # missing is missing: no field
                    point.field(name, value)
            line: str = point.time(utc_ms, self._library.WritePrecision.MS).to_line_protocol()
            yield line
