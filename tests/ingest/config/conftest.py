from pathlib import Path

import pytest

DOCUMENT = Path(__file__).parents[3] / "ingest" / "CONFIG.md"


@pytest.fixture(scope="session")
def documentation() -> str:
    return DOCUMENT.read_text()


@pytest.fixture(scope="session")
def example(documentation: str) -> str:
    """The whole file that CONFIG.md shows."""
    return documentation.split("```toml\n", 1)[1].split("```", 1)[0]
