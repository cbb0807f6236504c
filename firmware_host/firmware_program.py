"""The boards' own program, loaded under the host's Python, apart from everything else in the process.

Its modules have names such as `time` and `board` of their own, and import one another by them.  They live in
a room of their own here instead of among the modules of the host.
"""

import builtins
import importlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

from firmware_host.firmware_files import firmware_folder


class Program:
    """The modules of the boards' program, loaded as they are asked for."""

    def __init__(self, surroundings: Mapping[str, object], folder: Path | None = None) -> None:
        """`surroundings`: what stands in for MicroPython's own modules, by name."""
        self._folder = firmware_folder() if folder is None else folder
        self._modules: dict[str, Any] = dict(surroundings)

    def module(self, name: str) -> Any:
        """Return a module of the program, such as "sensors" or "chips.ltr390"."""
        if name not in self._modules:
            self._modules[name] = self._load(name)
        return self._modules[name]

    def _load(self, name: str) -> Any:
        path = self._folder.joinpath(*name.split("."))
        if path.is_dir():
            return ModuleType(name)
        source = path.with_suffix(".py")
        if not source.is_file():
            return importlib.import_module(name)
        module = ModuleType(name)
        module.__file__ = str(source)
        module.__dict__["__builtins__"] = {**vars(builtins), "__import__": self._import}
        self._modules[name] = module
        code = compile(source.read_text(encoding="utf-8"), str(source), "exec")
        exec(code, module.__dict__)  # noqa: S102 - the project's own files, which are not on the import path
        return module

    def _import(
        self,
        name: str,
        _globals: Mapping[str, object] | None = None,
        _locals: Mapping[str, object] | None = None,
        fromlist: Sequence[str] | None = (),
        _level: int = 0,
    ) -> Any:
        """Serve an `import` statement of the program."""
        module = self.module(name)
        for wanted in fromlist or ():
            if not hasattr(module, wanted):
                setattr(module, wanted, self.module(f"{name}.{wanted}"))
        return module if fromlist else self.module(name.partition(".")[0])


def chip_tables(folder: Path | None = None) -> dict[str, dict[str, Any]]:
    """Return the table of each chip that the program knows, by the chip's name."""
    folder = firmware_folder() if folder is None else folder
    program = Program({}, folder)
    names = sorted(path.stem for path in (folder / "chips").glob("*.py"))
    return {name: program.module(f"chips.{name}").TABLE for name in names}


def known_sensors(folder: Path | None = None) -> tuple[str, ...]:
    """Return what the setting `sensor` may be: a kind of analog breakout, a chip, or "auto"."""
    nothing = SimpleNamespace(ADC=None, Pin=None, I2C=None)  # the program is looked at, not run
    program = Program({"machine": nothing}, folder)
    chips = [table["name"] for table, _ in program.module("sensors").UV_CHIPS]
    return ("auto", *program.module("analog").LEAST_MV, *chips)
