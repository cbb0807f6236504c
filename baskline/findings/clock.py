"""Whether this computer's clock can be right."""

from collections.abc import Iterator
from typing import Final

from baskline.findings.finding import Finding, utc

_WRITTEN_MS: Final = 1_767_225_600_000  # 2026 began, and this program was written later
_DOUBT_MS: Final = 60_000  # what a clock that is set now and then may differ by


def clock(now_ms: int, newest_ms: int | None) -> Iterator[Finding]:
    """Tell a clock that says a time which is over: a computer without a battery begins somewhere."""
    if newest_ms is not None and now_ms < newest_ms - _DOUBT_MS:
        over = "the newest reading"
    elif now_ms < _WRITTEN_MS:
        over = "this program was written"
    else:
        return
    yield Finding(
        "clock",
        "this computer's",
        False,
        f"it says {utc(now_ms)}, which is before {over}",
        "Let it fetch the time from the network, or set it",
    )
