"""The course of a guided calibration: what is asked, what is waited for, what has been taken.

It prints nothing and reads no clock or port: answers and readings come in with their times, tasks go out.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.lamp_kinds import LAMP_KINDS
from firmware_host.messages import Mark
from ingest.capture_steps import AnswerError, NoReadingsError, Plan, Step, Watching, number, text_of
from ingest.captured import Setting, Taken
from ingest.level_window import judged, values_of
from ingest.spot_levels import NO_LEVELS, TEMPERATURE, Levels, joined_in_time
from ingest.steadiness import Steadiness

FEWEST_PAIRS: Final = 3
ENOUGH_PAIRS: Final = 5
_AIMS: Final = (0.2, 0.4, 0.6, 0.8, 1.0)
_NEAR_AIM: Final = 0.1
_LIT_NOISES: Final = 10.0
_PATIENCE_WINDOWS: Final = 6
_SILENT_S: Final = 60.0
_WARM_WINDOW_S: Final = 300.0
_MOST_UVI: Final = 100.0  # no lamp for animals comes near


@dataclass(slots=True)
class _Watch:
    began_ms: int
    levels: Levels = field(default=NO_LEVELS)


class CaptureGuide:
    """The course.  Ask `step`; then `answer`, or feed `observe` until the step has changed.

    `changed` is called whenever a point was added or taken back, with everything taken so far.
    """

    def __init__(
        self, plan: Plan, changed: Callable[[Setting, list[Taken]], None], taken: list[Taken] | None = None
    ) -> None:
        """Begin, or go on where `taken` of an earlier run stops."""
        self._plan = plan
        self._changed = changed
        self.setting = plan.setting
        self.taken: list[Taken] = list(taken or [])
        self.remarks: list[str] = []
        self._watch: _Watch | None = None
        self._level: Taken | None = None
        self._lit_since_ms: float | None = None
        self._noises: list[FloatArray] = []
        if not taken:
            self.step = Step.METER_ACCURACY
        else:
            self.step = Step.LAMP_MINUTES if self._darks() else Step.COVER

    @property
    def pairs(self) -> list[Taken]:
        """The levels that have a reading of the meter."""
        return [point for point in self.taken if not point.is_dark]

    @property
    def aim_uvi(self) -> float | None:
        """The UVI to look for next: the lowest of five heights that has no pair yet; None if all have."""
        top = self._plan.top_uvi
        for share in _AIMS:
            if not any(abs((pair.uvi or 0.0) - share * top) <= _NEAR_AIM * top for pair in self.pairs):
                return share * top
        return None

    @property
    def level(self) -> Taken | None:
        """The level that waits for the meter's reading."""
        return self._level

    def answer(self, text: str, now_ms: int) -> None:
        """Take an answer to the question that stands; raise `AnswerError` if it is none."""
        word = text.strip().lower()
        match self.step:
            case Step.METER_ACCURACY:
                percent = number(word or "10", "± per cent, such as 10", low=0.0, high=50.0)
                self.setting = replace(self.setting, meter_limits_percent=percent)
                self.step = Step.METER_STEP
            case Step.METER_STEP:
                step = number(word or "0.1", "the step of its last digit, such as 0.1", low=0.0, high=1.0)
                self.setting = replace(self.setting, meter_resolution_uvi=step)
                self.step = Step.COVER
            case Step.COVER:
                self._begin(Step.TAKE_DARK, now_ms)
            case Step.LAMP_MINUTES:
                minutes = number(word, "minutes, such as 45", low=0.0, high=100_000.0)
                self._lit_since_ms = now_ms - 60_000 * minutes
                self._warm_up_or_place(now_ms)
            case Step.PLACE:
                self._place(word, now_ms)
            case Step.READING:
                self._reading(word)
            case Step.COVER_AGAIN:
                if word in ("no", "n", "skip"):
                    self.step = Step.FINISHED
                else:
                    self._begin(Step.TAKE_LAST_DARK, now_ms)
            case _:
                raise AnswerError("nothing was asked")

    def observe(self, levels: Levels, now_ms: int) -> None:
        """Take in readings; a step that has what it waited for ends."""
        watch = self._watch
        if watch is None:
            return
        fresh = levels.faultless()
        watch.levels = joined_in_time(watch.levels, fresh.since(watch.began_ms))
        waited_s = (now_ms - watch.began_ms) / 1000
        if len(watch.levels) == 0 and waited_s > max(_SILENT_S, _PATIENCE_WINDOWS * self._plan.window_s):
            raise NoReadingsError(
                f"no reading for {waited_s:.0f} s",
                where="the spot's board",
                remedy="Check its plug and cable; what was taken is kept, go on with --resume",
            )
        if self.step is Step.WARM_UP:
            if now_ms >= self._warm_at_ms():
                self._end_watch(Step.PLACE)
            return
        seen = self._judged()
        if seen is not None and (seen.steady or waited_s > _PATIENCE_WINDOWS * self._plan.window_s):
            self._take(seen, now_ms)

    def skip(self, now_ms: int) -> None:
        """End what is waited for, at the keeper's wish: take the level as it is, or do without warm-up."""
        if self.step is Step.WARM_UP:
            left = (self._warm_at_ms() - now_ms) / 60_000
            self.remarks.append(f"the lamp was not left to warm up: {left:.0f} min were missing")
            self._end_watch(Step.PLACE)
        elif self._watch is not None and (seen := self._judged(whole=True)) is not None:
            self._take(seen, now_ms)

    def watching(self, now_ms: int) -> Watching:
        """Return what is seen at the step that waits for readings."""
        assert self._watch is not None, "no step that watches"
        levels = self._watch.levels
        seen = self._judged(whole=True)
        left: float | None
        if self.step is Step.WARM_UP:
            left = max(0.0, (self._warm_at_ms() - now_ms) / 1000)
        else:
            left = self._plan.window_s - (now_ms - self._watch.began_ms) / 1000
        latest = values_of(levels, self.setting.channels)[-1] if len(levels) else None
        return Watching(len(levels), latest, seen, left if left > 0 else None)

    # -- steps

    def _begin(self, step: Step, now_ms: int) -> None:
        self.step = step
        self._watch = _Watch(now_ms)

    def _end_watch(self, step: Step) -> None:
        self._watch = None
        self.step = step

    @property
    def _warm_up_s(self) -> int:
        return LAMP_KINDS[self.setting.lamp_kind].warm_up_s

    def _warm_at_ms(self) -> float:
        return (self._lit_since_ms or 0.0) + 1000 * self._warm_up_s

    def _warm_up_or_place(self, now_ms: int) -> None:
        if self._lit_since_ms is None and self._warm_up_s > 0:
            self.step = Step.LAMP_MINUTES
        elif now_ms < self._warm_at_ms():
            self._begin(Step.WARM_UP, now_ms)
        else:
            self.step = Step.PLACE

    def lamp_lit_since(self, utc_ms: float, now_ms: int) -> None:
        """Take note of when the lamp came on, where it is known, so that nobody has to be asked."""
        self._lit_since_ms = utc_ms
        if self.step is Step.LAMP_MINUTES:
            self._warm_up_or_place(now_ms)

    def _place(self, word: str, now_ms: int) -> None:
        if word == "done":
            if len(self.pairs) < FEWEST_PAIRS:
                raise AnswerError(
                    f"{len(self.pairs)} pairs are too few for a calibration",
                    remedy=f"Take {FEWEST_PAIRS} at least, better {ENOUGH_PAIRS}; Ctrl-C keeps what there is",
                )
            self.step = Step.COVER_AGAIN
        elif word == "undo":
            if not self.pairs:
                raise AnswerError("there is no pair to take back", remedy="Press Enter to take one")
            self.taken.remove(self.pairs[-1])
            self._changed(self.setting, self.taken)
        elif word:
            raise AnswerError(
                f"{text_of(word)} is not understood here",
                remedy="Press Enter when sensor and meter hold still, or type undo or done",
            )
        else:
            self._begin(Step.TAKE_LEVEL, now_ms)

    def _reading(self, word: str) -> None:
        assert self._level is not None
        if word != "again":
            uvi = number(word, "the meter's UVI, such as 2.4, or `again`", low=0.0, high=_MOST_UVI)
            label = f"pair {len(self.pairs) + 1}"
            self.taken.append(replace(self._level, uvi=uvi, label=label))
            self._changed(self.setting, self.taken)
        self._level = None
        self.step = Step.PLACE

    def _take(self, seen: Steadiness, now_ms: int) -> None:
        assert self._watch is not None
        levels = self._watch.levels
        step = self.step
        saturated = bool((levels.marks & np.uint32(Mark.SATURATED)).any())
        degrees = levels.of(TEMPERATURE)
        degrees = degrees[np.isfinite(degrees)]
        point = Taken(
            tuple(seen.mean.tolist()),
            tuple(seen.u_mean.tolist()),
            temperature_c=float(degrees.mean()) if len(degrees) else None,
        )
        if not seen.steady:
            self.remarks.append(
                f"a level wandered by {float(seen.wander.max()):.1%} as it was taken: its uncertainty says so"
            )
        if step is Step.TAKE_LEVEL:
            self._take_level(point, seen, saturated=saturated)
            return
        self._note_noise(seen)
        number = len(self._darks()) + 1
        self.taken.append(replace(point, label=f"dark {number}"))
        self._changed(self.setting, self.taken)
        self._watch = None
        if step is Step.TAKE_LAST_DARK:
            self.step = Step.FINISHED
        else:
            self._warm_up_or_place(now_ms)

    def _take_level(self, point: Taken, seen: Steadiness, *, saturated: bool) -> None:
        self._end_watch(Step.PLACE)
        if saturated:
            raise AnswerError(
                "the sensor is at its limit here: it cannot tell more light from less",
                remedy="Go further from the lamp",
            )
        above = (seen.mean - self._dark()) / np.maximum(seen.noise, 1e-9)
        if (above < -_LIT_NOISES).any():
            raise AnswerError(
                "the sensor sees less than in the dark reading: that was not dark",
                remedy="End with Ctrl-C and begin anew, with a cover that lets nothing through",
            )
        if not (above > _LIT_NOISES).any():
            raise AnswerError(
                "the sensor sees hardly more than in the dark",
                remedy="Take the cover off, point it at the lamp, or go nearer",
            )
        self._note_noise(seen)
        self._level = point
        self.step = Step.READING

    def _note_noise(self, seen: Steadiness) -> None:
        """Keep the noise of single readings: the middle of what was seen, in the dark and in light."""
        self._noises.append(seen.noise)
        middle = np.median(self._noises, axis=0)
        self.setting = replace(
            self.setting, noise=dict(zip(self.setting.channels, middle.tolist(), strict=True))
        )

    # -- levels

    def _darks(self) -> list[Taken]:
        return [point for point in self.taken if point.is_dark]

    def _dark(self) -> FloatArray:
        darks = self._darks()
        return np.mean([point.levels for point in darks], axis=0) if darks else np.zeros(self._n_channels)

    @property
    def _n_channels(self) -> int:
        return len(self.setting.channels)

    def _judged(self, *, whole: bool = False) -> Steadiness | None:
        """Judge the last window of what was watched; None until it is full (or, `whole`, holds enough)."""
        assert self._watch is not None
        window_s = _WARM_WINDOW_S if self.step is Step.WARM_UP else self._plan.window_s
        return judged(self._watch.levels, self.setting.channels, window_s, self._dark(), whole=whole)
