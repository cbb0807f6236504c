import json
import logging

from ingest.logs import JsonLines, Words


def record(level: int = logging.INFO, **extra: object) -> logging.LogRecord:
    made = logging.makeLogRecord(
        {"name": "baskline.bridge", "levelno": level, "levelname": logging.getLevelName(level)}
    )
    made.msg = "board identified"
    vars(made).update(extra)
    return made


def test_a_piped_line_is_one_json_object_with_the_extras_as_fields() -> None:
    line = json.loads(JsonLines().format(record(board="a1", port="/dev/ttyACM0")))
    assert line["what"] == "board identified"
    assert (line["board"], line["port"], line["part"], line["level"]) == (
        "a1",
        "/dev/ttyACM0",
        "bridge",
        "info",
    )


def test_a_fault_keeps_its_traceback() -> None:
    try:
        raise ZeroDivisionError("no")
    except ZeroDivisionError as error:
        made = record(exc_info=(type(error), error, error.__traceback__))
    assert "ZeroDivisionError: no" in json.loads(JsonLines().format(made))["traceback"]
    assert "ZeroDivisionError: no" in Words().format(made)


def test_on_a_terminal_a_warning_says_that_it_is_one() -> None:
    line = Words().format(record(logging.WARNING, board="a1"))
    assert line.endswith("WARNING: board identified  board=a1")
