"""What lasted from when to when, as bars with words in as few lanes as keep the words apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from baskline.charts.text import shortened, width_px

_APART_PX: Final = 10
_LEAST_BAR_PX: Final = 3


@dataclass(frozen=True, slots=True)
class Span:
    """Something that lasted, UTC milliseconds; `look` says how it is drawn: now, today, note or doubtful."""

    start_ms: int
    end_ms: int
    words: str
    look: str


@dataclass(frozen=True, slots=True)
class Placed:
    """A span on the chart: its bar from `left_px` to `right_px` in `lane`, its words from `words_px` on."""

    span: Span
    lane: int
    left_px: float
    right_px: float
    words_px: float
    words: str

    @property
    def is_long(self) -> bool:
        """Whether its two ends can be told apart."""
        return self.right_px - self.left_px > _LEAST_BAR_PX


@dataclass(frozen=True, slots=True)
class Lanes:
    """The spans that found room, how many lanes they take, and how many did not fit."""

    placed: Sequence[Placed]
    n_lanes: int
    n_left_out: int


_IMPORTANCE: Final = ("now", "today", "note", "doubtful")


def in_lanes(
    spans: Sequence[Span], start_ms: int, end_ms: int, *, room_px: float, size_px: float, most: int
) -> Lanes:
    """Place spans in at most `most` lanes of `room_px`; when there are too many, the lesser are left out.

    Bar and words of a span share a lane with no other's; no words leave the room.
    """
    placed: list[Placed] = []
    taken: list[list[tuple[float, float]]] = []
    left_out = 0
    for span in sorted(spans, key=lambda span: (_IMPORTANCE.index(span.look), span.start_ms)):
        left = room_px * (max(span.start_ms, start_ms) - start_ms) / (end_ms - start_ms)
        right = room_px * (min(span.end_ms, end_ms) - start_ms) / (end_ms - start_ms)
        left = min(left, room_px - _LEAST_BAR_PX)
        right = max(right, left + _LEAST_BAR_PX)
        words = shortened(span.words, size_px, room_px)
        words_px = max(0.0, min(left, room_px - width_px(words, size_px)))
        wanted = (words_px - _APART_PX, max(right, words_px + width_px(words, size_px)))
        lane = next((n for n, lane in enumerate(taken) if all(_apart(wanted, each) for each in lane)), None)
        if lane is None:
            if len(taken) == most:
                left_out += 1
                continue
            lane = len(taken)
            taken.append([])
        taken[lane].append(wanted)
        placed.append(Placed(span, lane, left, right, words_px, words))
    return Lanes(placed, len(taken), left_out)


def _apart(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[1] <= other[0] or other[1] <= one[0]
