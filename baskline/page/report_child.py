"""A month's report made by a short-lived child: what has drawn once holds some hundred MB."""

import io
import pickle
import subprocess
import sys
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from baskline.children import Children
from baskline.report.errors import NothingReadError, ReportError
from calibrate.errors import KeeperError
from ingest.config import Config

_PATIENCE_S: Final = 300.0
# What a keeper can mend is told in words by these exit codes.
_MENDABLE: Final = 3
_NOTHING_READ: Final = 4


class _Pickler(pickle.Pickler):
    def reducer_override(self, obj: object) -> Any:
        """Let the read-only mappings of a configuration through."""
        return (_read_only, (dict(obj),)) if isinstance(obj, MappingProxyType) else NotImplemented


def _read_only(entries: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(entries)


def report_by_child(
    children: Children,
    config: Config,
    store_file: Path,
    first: date,
    enclosures: list[str],
    ending: str,
    now_ms: int,
) -> bytes:
    """Return the report of the month that begins with `first`, as `.html` or `.pdf`."""
    asked = io.BytesIO()
    _Pickler(asked).dump((config, store_file, first, enclosures, ending, now_ms))
    try:
        done = children.run("baskline.page.report_child", given=asked.getvalue(), patience_s=_PATIENCE_S)
    except subprocess.TimeoutExpired:
        raise ReportError(
            f"it was not made within {_PATIENCE_S:.0f} s",
            where="report",
            remedy="Make it with `baskline report`, which takes the time that it needs",
        ) from None
    said = done.stderr.decode(errors="replace").strip().splitlines()
    if done.returncode in (_MENDABLE, _NOTHING_READ):
        what, _, remedy = (said or [""])[-1].partition("\t")
        kind = NothingReadError if done.returncode == _NOTHING_READ else ReportError
        raise kind(what, where="report", remedy=remedy)
    if done.returncode != 0:
        raise ReportError(
            f"the report cannot be made: {(said or ['no reason given'])[-1]}",
            where="report",
            remedy="Try `baskline report`",
        )
    return done.stdout


def report_of(
    config: Config, store_file: Path, first: date, enclosures: list[str], ending: str, now_ms: int
) -> bytes:
    """Return the report, made here."""
    from baskline.report.render import report_html, report_pdf
    from ingest.month import month_of
    from ingest.store.store import Store

    with Store.open(store_file, read_only=True) as store:
        month = month_of(store, config, first, enclosures, lambda _: None)
    if month is None or not any(spot.days.has_readings for each in month.enclosures for spot in each.spots):
        raise NothingReadError(
            f"there are no readings of {first:%B %Y}", where="report", remedy="Choose another month"
        )
    if ending == ".pdf":
        return report_pdf(month, config, now_ms)[0]
    return report_html(month, config, now_ms).encode()


def main() -> int:
    """Make what standard input asks for, and put it on standard output."""
    asked = pickle.loads(sys.stdin.buffer.read())  # noqa: S301 - from our own parent
    try:
        made = report_of(*asked)
    except KeeperError as error:
        print(f"{error.what}\t{error.remedy}", file=sys.stderr)
        return _NOTHING_READ if isinstance(error, NothingReadError) else _MENDABLE
    sys.stdout.buffer.write(made)
    return 0


if __name__ == "__main__":
    sys.exit(main())
