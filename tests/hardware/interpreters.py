"""The two ports of MicroPython that the firmware's modules run on in tests: they agree, or one is wrong."""

import os
import shutil
import sys
from pathlib import Path

import pytest

from tests.hardware.firmware_bench import micropython

PORTS = ("unix", "webassembly")

_HEAP_BYTES = 1 << 20
_RUNNER = Path(__file__).parent / "webassembly" / "run.mjs"
_PACKAGE = "@micropython/micropython-webassembly-pyscript"
_VERSION = "1.27.0"


def script_command(port: str) -> list[str]:
    """Return the command before the path of a script; skips the test where the port is not installed."""
    if port == "unix":
        return [micropython(), "-X", f"heapsize={_HEAP_BYTES}"]
    node = shutil.which("node")
    module = Path(sys.prefix) / "node_modules" / _PACKAGE / "micropython.mjs"
    if node is None:
        pytest.skip("the second port of MicroPython needs Node, which is not installed")
    if not module.is_file():
        line = f"npm install --no-save --prefix {sys.prefix} {_PACKAGE}@{_VERSION}"
        if "CI" in os.environ:
            pytest.fail(f"MicroPython's WebAssembly port is not installed. Type: {line}")
        pytest.skip(f"MicroPython's WebAssembly port is not installed. Type: {line}")
    return [node, str(_RUNNER), str(module), str(_HEAP_BYTES)]
