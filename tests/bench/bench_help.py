"""How long `baskline --help` takes, and what it spends it on.  Target: 0.25 s."""

# ruff: noqa: T201 - a benchmark prints what it measured

import re
import subprocess
import sys
import time
from pathlib import Path

ROUNDS = 15
TARGET_S = 0.25
PROGRAM = [sys.executable, "-c", "from baskline.app import main; main()", "--help"]
REPOSITORY = Path(__file__).parents[2]


def seconds(command: list[str]) -> float:
    """Wall time of one run."""
    start_s = time.perf_counter()
    subprocess.run(command, cwd=REPOSITORY, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start_s


def slowest_imports(n: int) -> list[tuple[str, float]]:
    """Modules with the time that each took itself, without what it imported [ms], slowest first."""
    shown = subprocess.run(
        [sys.executable, "-X", "importtime", *PROGRAM[1:]],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        check=True,
    )
    rows = re.findall(r"import time:\s+(\d+) \|\s+\d+ \|\s+(\S+)", shown.stderr)
    return sorted(((name, int(own_us) / 1000) for own_us, name in rows), key=lambda row: -row[1])[:n]


def main() -> None:
    """Print the time of the help, beside that of an interpreter that does nothing."""
    nothing_s = sorted(seconds([sys.executable, "-c", ""]) for _ in range(ROUNDS))
    help_s = sorted(seconds(PROGRAM) for _ in range(ROUNDS))
    print(f"python that does nothing  {nothing_s[ROUNDS // 2] * 1000:6.0f} ms, median of {ROUNDS}")
    print(f"baskline --help           {help_s[ROUNDS // 2] * 1000:6.0f} ms, median of {ROUNDS}")
    print(f"                          {help_s[0] * 1000:6.0f} ms, quickest; target {TARGET_S * 1000:.0f} ms")
    for name, own_ms in slowest_imports(8):
        print(f"  {own_ms:6.1f} ms  {name}")


if __name__ == "__main__":
    main()
