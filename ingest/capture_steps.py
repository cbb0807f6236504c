"""The steps of a guided calibration, what is seen at them, and what can be answered."""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from calibrate.arrays import FloatArray
from calibrate.errors import KeeperError
from ingest.captured import Setting
from ingest.steadiness import Steadiness


class AnswerError(KeeperError):
    """An answer that cannot be meant; the same question stands."""


class NoReadingsError(KeeperError):
    """Nothing comes from the board, so nothing can be taken."""


class Step(Enum):
    """Where the course stands: first the questions, then what is watched."""

    METER_ACCURACY = auto()
    METER_STEP = auto()
    COVER = auto()
    LAMP_MINUTES = auto()
    PLACE = auto()
    READING = auto()
    COVER_AGAIN = auto()
    TAKE_DARK = auto()
    WARM_UP = auto()
    TAKE_LEVEL = auto()
    TAKE_LAST_DARK = auto()
    FINISHED = auto()


WATCHED: Final = frozenset({Step.TAKE_DARK, Step.WARM_UP, Step.TAKE_LEVEL, Step.TAKE_LAST_DARK})
"""Steps at which readings are watched; at the others a question stands."""


@dataclass(frozen=True, slots=True)
class Watching:
    """What is seen while readings are watched.

    `seen` is None until there are enough readings; `seconds_left` None where nothing is known of it.
    `n_readings` are those of this step.
    """

    n_readings: int
    latest: FloatArray | None
    seen: Steadiness | None
    seconds_left: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be calibrated.  `top_uvi` is the highest UVI that the spot is to be judged at."""

    setting: Setting
    top_uvi: float
    window_s: float = 20.0


def text_of(word: str) -> str:
    """Return an answer in quotes, not longer than a line can bear."""
    return repr(word if len(word) <= 20 else f"{word[:20]}…")


def number(word: str, wanted: str, *, low: float, high: float) -> float:
    """Return the number that was answered, from `low` to `high`; raise `AnswerError` if it is none."""
    try:
        value = float(word.removesuffix("%").strip().replace(",", "."))
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise AnswerError(f"{text_of(word)} is not {wanted}", remedy="Type a number and press Enter")
    return value
