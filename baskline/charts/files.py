"""Charts as files."""

from pathlib import Path
from zoneinfo import ZoneInfo

from baskline.charts.errors import ChartError
from baskline.wording import clock_time, day_summary, day_title
from exposure.events import Event, EventKind
from exposure.trace import trace
from ingest.config import Config
from ingest.day import SpotDay

_BIN_MS = 60_000

_SHORT = {
    EventKind.OVER_CEILING: "over the ceiling",
    EventKind.UNDER_BAND: "under the band",
    EventKind.BACK_IN_BAND: "back in band",
    EventKind.BOARD_SILENT: "board silent",
}


def save_day_chart(shown: SpotDay, config: Config, path: Path) -> None:
    """Draw a day into a .png, .svg or .pdf file."""
    try:
        from baskline.charts.day import DayDrawing, Marker, day_chart
    except ModuleNotFoundError as missing:
        raise ChartError(
            f"drawing needs the package {missing.name}",
            where=str(path),
            remedy="Install it with `pip install 'baskline[charts]'`",
        ) from None
    zone = ZoneInfo(shown.bounds.time_zone)
    profile = shown.profile
    drawing = DayDrawing(
        title=day_title(shown, config),
        subtitle=[" · ".join(day_summary(shown))],
        starts_ms=shown.bounds.start_ms,
        ends_ms=shown.bounds.end_ms,
        time_zone=zone,
        trace=trace(shown.samples, bin_ms=_BIN_MS, max_gap_ms=round(profile.max_gap_s * 1000)),
        band=profile.band,
        gaps_ms=[(gap.start_ms, gap.end_ms) for gap in profile.gaps],
        markers=[Marker(event.opened_ms, _marker_words(event, zone)) for event in shown.events],
    )
    try:
        day_chart(drawing).save(str(path), ppi=144)
    except OSError as error:
        raise ChartError(
            f"cannot be written ({error.strerror})", where=str(path), remedy="Name another place"
        ) from None


def _marker_words(event: Event, zone: ZoneInfo) -> str:
    opened = clock_time(event.opened_ms, zone)
    if event.closed_ms == event.opened_ms:
        return f"{_SHORT[event.kind]} {opened}"
    closed = clock_time(event.closed_ms, zone) if event.closed_ms is not None else "…"
    return f"{_SHORT[event.kind]} {opened}–{closed}"
