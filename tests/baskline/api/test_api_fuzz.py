"""Whatever is sent that the description allows is answered as it says; whatever it forbids is refused."""

import subprocess
import sys
from pathlib import Path

from tests.baskline.api.conftest import TOKEN
from tests.baskline.page.rooms import PageRoom, RunningPage

# Made-up names only ever lead to 404: with these the rest of a request matters too.
_KNOWN = """
[parameters]
"path.spot" = "ledge"
"path.lamp" = "tube"
"path.board" = "fern-1"
"path.date" = "2026-05-29"

[[operations]]
include-path = "/calibrations/{{identity}}"
parameters = {{ "path.identity" = "{calibration}" }}

[[operations]]
include-path-regex = "^/events/"
parameters = {{ "path.identity" = "{event}" }}
"""


def fuzzed(page: RunningPage, folder: Path, config: str, *options: str) -> "subprocess.CompletedProcess[str]":
    """Have all operations but the endless one tried; all checks are on."""
    (folder / "fuzz.toml").write_text(config)
    return subprocess.run(
        [
            str(Path(sys.executable).with_name("schemathesis")),
            "--config-file",
            "fuzz.toml",
            "run",
            f"{page.url}/api/v1/openapi.json",
            "--header",
            f"Authorization: Bearer {TOKEN}",
            "--exclude-path",
            "/live",
            "--checks",
            "all",
            "--no-color",
            *options,
        ],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=110,
    )


def test_no_request_surprises(served: RunningPage, tmp_path: Path) -> None:
    done = fuzzed(served, tmp_path, "", "--max-examples", "5", "--phases", "fuzzing")
    assert done.returncode == 0, done.stdout + done.stderr


def test_no_request_about_what_there_is_surprises(
    room: PageRoom, served: RunningPage, tmp_path: Path
) -> None:
    (event,) = room.store.events.open()
    config = _KNOWN.format(event=event.identity, calibration=room.store.calibrations.identities()[0])
    done = fuzzed(served, tmp_path, config, "--max-examples", "6")
    assert done.returncode == 0, done.stdout + done.stderr
