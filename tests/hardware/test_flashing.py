"""The way to a board that hardware/README.md tells: mpremote, while the firmware is at work."""

import importlib.util
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.messages import Hello
from firmware_host.wire import encode_hello_request
from tests.hardware.firmware_bench import FIRMWARE, FirmwareBench
from tests.hardware.listening import Host

MakeBench = Callable[..., FirmwareBench]
Connect = Callable[[FirmwareBench], Host]


@pytest.fixture
def mpremote() -> Callable[..., str]:
    if importlib.util.find_spec("mpremote") is None:
        if "CI" in os.environ:
            pytest.fail("mpremote is not installed; it is one of the test dependencies")
        pytest.skip("mpremote is not installed")

    def run(bench: FirmwareBench, *command: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "mpremote", "connect", bench.port, "resume", *command],
            cwd=FIRMWARE,
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    return run


def test_settings_are_changed_over_the_port_while_the_firmware_works(
    make_bench: MakeBench, connect: Connect, mpremote: Callable[..., str]
) -> None:
    bench = make_bench(prompt=True, settings={"cadence_ms": 200})
    said = mpremote(bench, "exec", "import settings; print(settings.change(cadence_ms=500, sensor='ml8511'))")
    assert "500" in said
    bench.power_cycle()
    host = connect(bench)
    host.say(encode_hello_request())
    hello = host.hear(Hello)[0]
    assert (hello.cadence_ms, hello.sensor) == (500, "ml8511")


def test_the_firmware_is_copied_over_an_older_one(
    make_bench: MakeBench, connect: Connect, mpremote: Callable[..., str]
) -> None:
    bench = make_bench(prompt=True, settings={"cadence_ms": 200})
    files = [path.relative_to(FIRMWARE) for path in FIRMWARE.rglob("*.py")]
    for file in files:
        if file.parent == Path("chips"):
            (bench.folder / file).write_text("an older firmware has none of this\n")
    for file in files:
        mpremote(bench, "fs", "cp", "--force", str(file), f":{file}")
    for file in files:
        assert (bench.folder / file).read_bytes() == (FIRMWARE / file).read_bytes()
    bench.power_cycle()
    host = connect(bench)
    host.say(encode_hello_request())
    assert host.hear(Hello)[0].board == bench.identity


def test_a_bare_board_becomes_one_of_ours_by_the_commands_of_the_readme(
    make_bench: MakeBench, connect: Connect, mpremote: Callable[..., str]
) -> None:
    readme = (FIRMWARE.parent / "README.md").read_text(encoding="utf-8")
    assert "mpremote resume fs cp -r *.py chips :" in " ".join(readme.split())
    top = {path.name for path in FIRMWARE.iterdir()} - {"__pycache__"}
    assert top == {path.name for path in FIRMWARE.glob("*.py")} | {"chips"}

    bench = make_bench(bare=True)
    # A board's own folder is ":"; where MicroPython runs on a computer, as here, it is the working folder.
    mpremote(bench, "fs", "cp", "-r", *sorted(path.name for path in FIRMWARE.glob("*.py")), "chips", ":.")
    mpremote(bench, "reset")
    host = connect(bench)
    host.say(encode_hello_request())
    assert host.hear(Hello)[0].board == bench.identity
