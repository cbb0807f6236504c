"""The wiring diagrams in the repository are those that the script draws."""

import runpy
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from tests.hardware.firmware_bench import ROOT

WIRING = ROOT / "hardware" / "wiring"


def test_drawing_again_gives_the_files_in_the_repository(tmp_path: Path) -> None:
    drawn = runpy.run_path(str(WIRING / "draw.py"))["write"](tmp_path)
    assert {path.name for path in drawn} == {path.name for path in WIRING.glob("*.svg")}
    for path in drawn:
        assert path.read_text(encoding="utf-8") == (WIRING / path.name).read_text(encoding="utf-8")


def test_each_diagram_is_a_picture_with_a_title_that_says_that_it_stays_off_the_mains() -> None:
    for path in WIRING.glob("*.svg"):
        root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert root.findtext("{http://www.w3.org/2000/svg}title")
        texts = [text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text")]
        assert any("extra-low voltage" in text for text in texts)


def test_each_diagram_is_shown_in_the_readme() -> None:
    readme = (ROOT / "hardware" / "README.md").read_text(encoding="utf-8")
    for path in WIRING.glob("*.svg"):
        assert f"(wiring/{path.name})" in readme
