"""Structured log lines on standard output: systemd keeps them, people and machines can read them.

One JSON object a line when piped, words and `key=value` on a terminal.  Anything passed as `extra=` becomes
a field.  A bug's traceback goes into the field `traceback`.
"""

import json
import logging
import sys
from datetime import UTC, datetime

_STANDARD = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


def _fields(record: logging.LogRecord) -> dict[str, object]:
    return {key: value for key, value in vars(record).items() if key not in _STANDARD}


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line for `record`."""
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "part": record.name.removeprefix("baskline."),
            "what": record.getMessage(),
            **_fields(record),
        }
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


class Words(logging.Formatter):
    """A line for a person at a terminal."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line for `record`."""
        at = datetime.fromtimestamp(record.created, UTC).astimezone().strftime("%H:%M:%S")
        level = "" if record.levelno <= logging.INFO else f"{record.levelname}: "
        pairs = "".join(f"  {key}={value}" for key, value in _fields(record).items())
        trace = f"\n{self.formatException(record.exc_info)}" if record.exc_info else ""
        return f"{at} {level}{record.getMessage()}{pairs}{trace}"


def log_to_stdout() -> None:
    """Send every log line of the process to standard output."""
    handler = logging.StreamHandler(sys.stdout)
    handler.setFormatter(Words() if sys.stdout.isatty() else JsonLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
