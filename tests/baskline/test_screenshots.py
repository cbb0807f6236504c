"""The pictures of the page in docs/: made by one command, and all that the README shows."""

import re
import runpy
from pathlib import Path

import httpx
import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def tool() -> dict:
    return runpy.run_path(str(ROOT / "tools" / "screenshots"))


def test_the_command_draws_each_picture_that_is_there_and_no_other(tool: dict) -> None:
    drawn = {f"page-{shot.name}.png" for shot in tool["SHOTS"]}
    assert drawn == {path.name for path in (ROOT / "docs").glob("page-*.png")}


def test_the_readme_shows_pictures_that_are_there(tool: dict) -> None:
    shown = set(re.findall(r"docs/(page-[\w-]+\.png)", (ROOT / "README.md").read_text("utf-8")))
    assert shown
    assert shown <= {f"page-{shot.name}.png" for shot in tool["SHOTS"]}


def test_no_picture_is_heavy(tool: dict) -> None:
    sizes = {path.name: path.stat().st_size for path in (ROOT / "docs").glob("page-*.png")}
    assert {name: size for name, size in sizes.items() if size > tool["MOST_BYTES"]} == {}


def test_the_page_that_is_drawn_is_the_demos_in_the_afternoon(tool: dict, tmp_path: Path) -> None:
    """What the pictures are of, without drawing them."""
    with tool["afternoon"](tmp_path) as url:
        page = httpx.get(url).text
        paths = {shot.path for shot in tool["SHOTS"]}
        answers = {path: httpx.get(url + path).status_code for path in paths}
    assert "1 spot needs you now: Fern crown" in page
    assert re.search(r"As of\s+<[^>]*>14:05|As of 14:05", page)
    assert answers == dict.fromkeys(paths, 200)
