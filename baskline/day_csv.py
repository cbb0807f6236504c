"""A spot's day as CSV, each sample a line."""

import csv
from datetime import UTC, datetime
from typing import TextIO
from zoneinfo import ZoneInfo

from calibrate.samples import Flag
from ingest.day import SpotDay
from ingest.mqtt.payloads import flag_names


def write_day_csv(shown: SpotDay, stream: TextIO) -> None:
    """Write the day's samples; nothing stands where there is no value."""
    zone = ZoneInfo(shown.bounds.time_zone)
    rows = csv.writer(stream, lineterminator="\n")
    rows.writerow(["time_utc", "time_local", "uvi", "u_uvi", "flags"])
    samples = shown.samples
    for utc_ms, uvi, u_uvi, flags in zip(
        samples.utc_ms.tolist(),
        samples.uvi.tolist(),
        samples.u_uvi.tolist(),
        samples.flags.tolist(),
        strict=True,
    ):
        at = datetime.fromtimestamp(utc_ms / 1000, UTC)
        rows.writerow(
            [
                at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
                at.astimezone(zone).isoformat(timespec="milliseconds"),
                "" if uvi != uvi else f"{uvi:.4f}",
                "" if u_uvi != u_uvi else f"{u_uvi:.4f}",
                " ".join(flag_names(Flag(flags))),
            ]
        )
