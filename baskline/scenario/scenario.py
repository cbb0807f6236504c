"""The invented room put together: files for a folder, boards that answer for any moment, a day's mishaps."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np

from baskline.scenario.light import Watched, watched_spots
from baskline.scenario.setting import USUAL, Setting, Span
from calibrate.arrays import FloatArray, IntArray
from calibrate.errors import KeeperError
from exposure.days import HOUR_MS, DayBounds, day_bounds
from exposure.room import SpotLight
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard

CONFIG_NAME = "baskline.toml"
_TEMPERATURE = "temperature_c"
_READINGS_AHEAD = 256
_CADENCE_MS = 10_000


class ScenarioError(KeeperError):
    """The demo's files cannot be written."""


class Doing(StrEnum):
    """What somebody or something does to the room."""

    UNPLUG = "unplug"
    PLUG = "plug"
    LIGHT = "light"  # it is in the light already: nothing is to be done


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happens to the room: `subject` is a board's identity, or a spot's key for light."""

    at_ms: int
    doing: Doing
    subject: str
    sentence: str

    def happen_to(self, bench: PtyBench, now_ms: int) -> None:
        """Do it to the boards, at a time on their axis."""
        if self.doing is Doing.UNPLUG:
            bench.unplug(self.subject)
        elif self.doing is Doing.PLUG:
            bench.plug(self.subject, now_ms)


@dataclass(frozen=True, slots=True)
class RoomBoard:
    """A board of the room: what it says of itself, and its channels at any moment."""

    model: BoardModel
    watched: tuple[Watched, ...]
    _ahead: dict[int, list[float]] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of its channels; a board with several sensors says whose each is."""
        return tuple(self.model.units)

    def values_at(self, t_ms: IntArray) -> FloatArray:
        """Return all channels at each time [UTC ms], (n, channels): a function of time and seed alone.

        The board's one thermometer sits beside its first sensor.
        """
        temperature_c = self.watched[0].light.temperature_at(t_ms)
        columns = [
            counts
            for watched in self.watched
            for counts in watched.sensor.counts(t_ms, watched.light.uvi_at(t_ms), temperature_c).values()
        ]
        return np.column_stack([*columns, np.round(temperature_c, 1)])

    def channels_at(self, at_ms: float) -> dict[str, float]:
        """Return each channel by name at one moment [UTC ms]."""
        utc_ms = int(at_ms)
        if utc_ms not in self._ahead:
            # Whoever asks once mostly asks again a cadence later: many moments cost little more than one.
            t_ms = utc_ms + self.model.cadence_ms * np.arange(_READINGS_AHEAD)
            self._ahead.clear()
            self._ahead.update(zip(t_ms.tolist(), self.values_at(t_ms).tolist(), strict=True))
        return dict(zip(self.channels, self._ahead[utc_ms], strict=True))

    def simulated(self, *, utc_offset_ms: int, seed: int) -> SimulatedBoard:
        """Return a board to be driven on an axis to which `utc_offset_ms` is added to give UTC."""
        return SimulatedBoard(self.model, lambda at_ms: self.channels_at(at_ms + utc_offset_ms), seed=seed)


@dataclass(frozen=True, slots=True)
class Scenario:
    """A room written to a folder, ready to be watched for one local day.

    `happenings` in order of time; `lights` by spot are the truth that no sensor knows.
    """

    folder: Path
    config_file: Path
    setting: Setting
    day: DayBounds
    boards: tuple[RoomBoard, ...]
    happenings: tuple[Happening, ...]
    lights: Mapping[str, SpotLight]


def build(folder: Path, seed: int = 1, setting: Setting = USUAL, *, more: str = "") -> Scenario:
    """Write the room's configuration and calibrations into `folder` and return the room.

    A file that is there already stays, and must be the same; else `ScenarioError`.  Another `seed` gives
    other noise on the same day.  `more` is added to the configuration.
    """
    for name, text in _room_files(files("baskline.scenario") / "room"):
        _write(folder / name, setting.adapted(text) + (more if name == CONFIG_NAME else ""))
    boards = tuple(
        RoomBoard(_model(identity, watched), watched)
        for identity, watched in watched_spots(seed, setting).items()
    )
    return Scenario(
        folder=folder,
        config_file=folder / CONFIG_NAME,
        setting=setting,
        day=day_bounds(setting.day, setting.time_zone),
        boards=boards,
        happenings=_happenings(setting),
        lights={watched.spot: watched.light for board in boards for watched in board.watched},
    )


_SENSORS = {"stone-1": "guva-s12sd", "meadow-1": "ltr390", "meadow-2": "guva-s12sd", "wall-1": "guva-s12sd"}


def _happenings(setting: Setting) -> tuple[Happening, ...]:
    """Return what happens, in order of time."""
    found: list[Happening] = []

    def add(spans: Iterable[Span], subject: str, begin: tuple[Doing, str], end: tuple[Doing, str]) -> None:
        for span in spans:
            found.append(Happening(span.start_ms, begin[0], subject, begin[1]))
            found.append(Happening(span.end_ms, end[0], subject, end[1]))

    add(
        setting.sage,
        "thyme",
        (Doing.LIGHT, "a sage stalk leans into the light of the thyme bank"),
        (Doing.LIGHT, "the sage is cut back"),
    )
    add(
        setting.too_much,
        "fern",
        (Doing.LIGHT, "the green wall's tube begins to give too much"),
        (Doing.LIGHT, "the green wall's tube gives its usual light again"),
    )
    add(
        setting.unplugged,
        "stone-1",
        (Doing.UNPLUG, "the board behind the slate is unplugged"),
        (Doing.PLUG, "the board behind the slate is plugged in again"),
    )
    return tuple(sorted(found, key=lambda happening: happening.at_ms))


def _model(identity: str, watched: tuple[Watched, ...]) -> BoardModel:
    names = (f"{w.prefix}.{channel.name}".lstrip(".") for w in watched for channel in w.sensor.channels)
    return BoardModel(
        board=identity,
        units={**dict.fromkeys(names, "counts"), _TEMPERATURE: "C"},
        cadence_ms=_CADENCE_MS,
        ring=HOUR_MS // _CADENCE_MS,
        sensor=_SENSORS[identity],
        firmware="demo-1",
    )


def _room_files(folder: Traversable, path: str = "") -> Iterator[tuple[str, str]]:
    for entry in folder.iterdir():
        name = f"{path}{entry.name}"
        if entry.is_dir():
            yield from _room_files(entry, f"{name}/")
        elif name.endswith(".toml"):
            yield name, entry.read_text("utf-8")


def _write(path: Path, text: str) -> None:
    try:
        if path.exists() and path.read_bytes() != text.encode():
            raise ScenarioError(
                "is another file than the demo's", where=str(path), remedy="Give the demo a folder of its own"
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode())
    except OSError as error:
        raise ScenarioError(
            f"cannot be written: {error.strerror}", where=str(path), remedy="Give the demo another folder"
        ) from None
