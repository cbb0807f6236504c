"""What the commands around calibrations print as JSON is what baskline/OUTPUT.md says."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from baskline.app import app
from calibrate.calibration_file import write_calibration
from firmware_host.clock import SystemClock
from tests.baskline.documented import departures, sections, table
from tests.baskline.guided_room import Room, calibration_of
from tests.baskline.test_calibrate_offline import POINTS

FIT, PREDICT, SHOW, VERIFY, RECOMPUTE = (
    f"`baskline {words}`"
    for words in (
        "calibrate fit POINTS.csv --json",
        "calibrate predict FILE --at NAME=VALUE --json",
        "calibrate show FILE|SPOT --json",
        "calibrate verify SPOT --json",
        "recompute --json",
    )
)


def said(*words: object) -> dict[str, object]:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def as_documented(document: dict[str, object], heading: str) -> None:
    assert departures(document, table(sections()[heading])) == []


@pytest.mark.parametrize("model", [None, "line", "power", "curve"])
def test_fits_and_predictions_have_the_documented_keys(tmp_path: Path, model: str | None) -> None:
    points, file = tmp_path / "slate.csv", tmp_path / "slate.toml"
    points.write_text(POINTS, "utf-8")
    asked = [] if model is None else ["--model", model]
    as_documented(said("calibrate", "fit", points, "--json", "-o", file, *asked), FIT)
    as_documented(said("calibrate", "predict", file, "--json", "--at", "uva_counts=5000"), PREDICT)
    as_documented(said("calibrate", "show", file, "--json"), SHOW)
    as_documented(said("calibrate", "show", file, "--under", "metal-halide", "--json"), SHOW)


def test_what_is_said_of_a_spot_has_the_documented_keys(tmp_path: Path) -> None:
    room, clock = Room(tmp_path, calibration="slate.toml", cadence_ms=50), SystemClock()
    write_calibration(tmp_path / "slate.toml", calibration_of(room))
    spot = ("slate", "--json", "-c", room.config_file)
    with room.live(clock):
        first = said("calibrate", "verify", *spot, "--reference", "3.0", "--seconds", "1")
    as_documented({**first, "check": None}, VERIFY)  # its own keys come next
    keys = {
        key.removeprefix("checks[]."): kind
        for key, kind in table(sections()[VERIFY]).items()
        if key.startswith("checks[].")
    }
    assert departures(first["check"], keys) == []
    as_documented(said("calibrate", "show", *spot), SHOW)
    as_documented(said("recompute", "--from", "2020-01-01", "--json", "-c", room.config_file), RECOMPUTE)
