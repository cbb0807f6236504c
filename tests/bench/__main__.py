"""Run every benchmark beside this file, one after the other, each in a process of its own."""

# ruff: noqa: T201 - a benchmark prints what it measured

import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Return how many failed."""
    failed = 0
    for script in sorted(Path(__file__).parent.glob("bench_*.py")):
        print(f"\n== {script.stem}", flush=True)
        failed += (
            subprocess.run([sys.executable, "-m", f"tests.bench.{script.stem}"], check=False).returncode != 0
        )
    return failed


if __name__ == "__main__":
    sys.exit(main())
