"""Charts as files: PNG, SVG and PDF, on a computer with fonts and on one without."""

import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from baskline.charts import files
from baskline.charts.errors import ChartError
from baskline.children import Children
from tests.baskline.making import baskline, environment, fill, half_sine, room, said_here
from tests.baskline.pictures import pixels

pytest.importorskip("vl_convert")

DAY = date(2025, 5, 17)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("room")
    fill(room(made), DAY, half_sine(2.5, 7, 11), every_s=60, gaps_h=[(13, 16)])
    return made


def test_each_kind_of_file_is_what_its_name_says(folder):
    for ending in ("png", "svg", "pdf", "PNG"):
        assert said_here("day", "ledge", "--chart", f"day.{ending}", folder=folder).code == 0
    assert (folder / "day.png").read_bytes().startswith(b"\x89PNG")
    assert (folder / "day.png").read_bytes() == (folder / "day.PNG").read_bytes()
    assert (folder / "day.svg").read_text().startswith("<svg")
    assert (folder / "day.pdf").read_bytes().startswith(b"%PDF-")


def test_a_png_has_two_dots_a_pixel(folder):
    said_here("day", "ledge", "--chart", "dots.png", folder=folder)
    assert pixels((folder / "dots.png").read_bytes()).shape[1] == 2 * 760


def test_a_file_says_which_font_it_wants_and_what_else_would_do(folder):
    said_here("day", "ledge", "--chart", "font.svg", folder=folder)
    assert "Liberation Sans, Arial, Helvetica, sans-serif" in (folder / "font.svg").read_text()


def test_a_chart_that_is_there_is_replaced(folder):
    (folder / "old.svg").write_text("old")
    said_here("day", "ledge", "--chart", "old.svg", folder=folder)
    assert (folder / "old.svg").read_text().startswith("<svg")


def test_a_child_draws_the_same_whatever_lies_in_the_folder_it_is_started_in(tmp_path, monkeypatch):
    (tmp_path / "vl_convert.py").write_text("raise SystemExit('not the library')")
    monkeypatch.chdir(tmp_path)
    spec = {"mark": "point", "data": {"values": [{}]}}
    assert files.rendered_by_child(spec, ".svg", Children()) == files.rendered(spec, ".svg")


def test_a_child_that_takes_too_long_is_said_in_words(monkeypatch):
    monkeypatch.setattr(files, "_PATIENCE_S", 0.01)
    with pytest.raises(ChartError, match="not drawn within"):
        files.rendered_by_child({"mark": "point"}, ".svg", Children())


# Raspberry Pi OS Lite has no fonts at all.  A mount of our own hides those of this computer.
WITHOUT_FONTS = """
set -e
for place in /usr/share/fonts /usr/local/share/fonts /etc/fonts; do
    if [ -d "$place" ]; then mount -t tmpfs none "$place"; fi
done
exec "$@"
"""


def test_without_any_fonts_on_the_computer_the_same_picture_is_drawn(folder, tmp_path):
    own_mounts = ["unshare", "--map-root-user", "--mount"]
    if (
        shutil.which("unshare") is None
        or subprocess.run([*own_mounts, "true"], capture_output=True).returncode
    ):
        pytest.skip("this computer lets nobody have mounts of their own")
    before = [*own_mounts, "sh", "-c", WITHOUT_FONTS, "sh"]
    bare = {"HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)}
    hidden = subprocess.run([*before, "ls", "/etc/fonts"], capture_output=True, text=True, check=True)
    assert hidden.stdout == ""
    said = baskline("day", "ledge", "--chart", "bare.png", folder=folder, before=before, env=bare)
    assert said.code == 0, said.err
    said_here("day", "ledge", "--chart", "usual.png", folder=folder)
    assert (folder / "bare.png").read_bytes() == (folder / "usual.png").read_bytes()


def test_only_a_command_that_draws_loads_what_draws(folder):
    probe = (
        "import sys\nfrom baskline.app import app\napp({words!r}, standalone_mode=False)\n"
        "print([name for name in ('vl_convert', 'scipy') if name in sys.modules], file=sys.stderr)"
    )
    loaded = {}
    for words in (["day", "ledge"], ["day", "ledge", "--chart", "x.svg"]):
        done = subprocess.run(
            [sys.executable, "-c", probe.format(words=words)],
            cwd=folder,
            env=environment(),
            capture_output=True,
            text=True,
            check=True,
        )
        loaded[len(words)] = done.stderr.strip()
    assert loaded == {2: "[]", 4: "['vl_convert']"}
