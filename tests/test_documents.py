import re
import subprocess
from pathlib import Path

import pytest

from ingest.config import parse_config

ROOT = Path(__file__).parents[1]


def documents() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "*.md"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return [ROOT / name for name in listed.stdout.splitlines() if (ROOT / name).exists()]


@pytest.mark.parametrize("document", documents(), ids=lambda path: str(path.relative_to(ROOT)))
def test_every_link_to_a_file_of_the_project_leads_somewhere(document: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", document.read_text("utf-8")):
        if "://" not in target:
            assert (document.parent / target).exists(), target


def test_the_readmes_example_configuration_is_one() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    block = readme.split("<!-- example-config -->")[1].split("<!-- /example-config -->")[0]
    lines = [line.removeprefix("   ") for line in block.splitlines() if "```" not in line]
    config = parse_config("\n".join(lines), file=ROOT / "baskline.toml")
    assert list(config.spots) == ["ledge"]
    assert config.spots["ledge"].band().ceiling_uvi > 0


def test_files_named_in_the_developers_table_exist() -> None:
    table = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Where things are written down")[1]
    for name in re.findall(r"`([^`]+)`", table):
        assert (ROOT / name).exists(), name
