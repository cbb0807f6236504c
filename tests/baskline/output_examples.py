"""The examples of baskline/OUTPUT.md, from the demo.

`python -m tests.baskline.output_examples` writes them into the page anew.
"""

import json
import re
import tempfile
from pathlib import Path
from typing import Any

from tests.baskline.documented import OUTPUT
from tests.baskline.making import baskline
from tests.baskline.plugged import demo_boards, plugged


def json_of(*words: str, folder: Path) -> dict[str, object]:
    """Return what a command prints as JSON."""
    said = baskline(*words, "--json", folder=folder)
    assert said.err == ""
    document: dict[str, object] = json.loads(said.out)
    return document


def of_ports(folder: Path) -> dict[str, dict[str, object]]:
    """Return what `boards` and `check` print with the demo's boards on ports, one of them not plugged in."""
    boards = demo_boards(folder)
    config = folder / "baskline.toml"
    config.write_text(config.read_text() + f'\n[serial]\nports = ["{folder}/ports/board-*"]\n')
    with plugged(folder / "ports", boards[:2]):
        return {
            "boards": json_of("boards", "--seconds", "4", folder=folder),
            "check": json_of("check", "--seconds", "4", folder=folder),
        }


def _rewrite() -> None:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "demo"
        folder.mkdir()
        assert baskline("demo", "--folder", ".", folder=folder).code == 0
        events = json_of("events", folder=folder)
        assert isinstance(events["events"], list)
        events["events"] = [event for event in events["events"] if event["kind"] == "over_ceiling"]
        csv = baskline("day", "slate", "--csv", folder=folder).out.splitlines()
        room = Path(made) / "room"
        ports = of_ports(room)
        findings = ports["check"]["findings"]
        assert isinstance(findings, list)
        findings[:] = [*findings[:2], *findings[-6:]]  # some show what they all have
        week = _shortened(json_of("week", "green_wall", folder=folder))
        texts = {
            ("day SPOT --json", "json"): _json(json_of("day", "slate", folder=folder)),
            ("day SPOT --csv", "csv"): "\n".join([csv[0], *csv[5000:5003]]),
            ("week [ENCLOSURE] --json", "json"): _json(week),
            ("lamps [LAMP] --json", "json"): _json(json_of("lamps", "rock_lamp", folder=folder)),
            ("events --json", "json"): _json(events),
            ("boards --json", "json"): _json(ports["boards"]).replace(f"{room}/ports", "/dev"),
            ("check --json", "json"): _json(ports["check"]).replace(f"{room}/ports", "/dev"),
        }
    page = OUTPUT.read_text("utf-8")
    for (heading, language), text in texts.items():
        pattern = rf"(^## `baskline {re.escape(heading)}`$.*?^```{language}\n).*?(^```$)"
        page = re.sub(
            pattern,
            lambda found, text=text: f"{found[1]}{text}\n{found[2]}",
            page,
            count=1,
            flags=re.M | re.S,
        )
    OUTPUT.write_text(page, "utf-8")


def _shortened(week: dict[str, Any]) -> dict[str, Any]:
    """Return a week with one day and one figure of it: the others are like them."""
    for enclosure in week["enclosures"]:
        enclosure["gradients"] = enclosure["gradients"][-1:]
        for spot in enclosure["spots"]:
            spot["days"] = spot["days"][-1:]
            for shown in (spot, *spot["days"]):
                shown["compared"] = {"dose_uvi_h": shown["compared"]["dose_uvi_h"]}
    return week


def _json(document: object) -> str:
    return json.dumps(document, ensure_ascii=False, indent=2)


if __name__ == "__main__":
    _rewrite()
