"""A condition of a spot under watch: opens an event once it has held, closes it once it is over for good."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import IntArray
from calibrate.samples import Samples
from exposure.events import Event, Severity
from exposure.hold import Hold, runs
from exposure.one_event import OneEvent
from exposure.segments import BoolArray


@dataclass(frozen=True, slots=True)
class Signals:
    """What each sample says of one condition; columns of one length.

    `grades`: it holds, by one standard of proof or another, the gravest first.  `back`: it is over beyond
    doubt; never together with a grade.  `ends`: it does not count now, for one reason or another.
    """

    grades: tuple[BoolArray, ...]
    back: BoolArray
    ends: tuple[BoolArray, ...] = ()

    def code_of_one(self) -> int:
        """Return the code of a single sample."""
        code = 0
        for bit, column in enumerate((*self.grades, self.back, *self.ends)):
            if column[0]:
                code |= 1 << bit
        return code

    def code(self) -> NDArray[np.integer[Any]]:
        """Return all columns in one, a bit each: the grades from bit 0 on, back, the ends."""
        code: NDArray[np.integer[Any]] = self.grades[0].view(np.uint8)
        for bit, column in enumerate((*self.grades[1:], self.back, *self.ends), 1):
            code = code | (column.view(np.uint8) << bit)
        return code


@dataclass(frozen=True, slots=True)
class Worst:
    """The sample that passed a limit furthest."""

    uvi: float
    u_uvi: float
    at_ms: int


class Story(Protocol):
    """Writes the events of one condition; `severities` are those of its grades, the gravest first.

    `sign`: +1 where the highest UVI is the worst, -1 the lowest, 0 where none is.
    """

    @property
    def severities(self) -> tuple[Severity, ...]:
        """See the class."""

    @property
    def sign(self) -> int:
        """See the class."""

    def opened(self, samples: Samples, at: int, since_ms: int, worst: Worst | None, grade: int) -> Event:
        """Return the event that opens at the sample `at`; the grade has held since `since_ms`."""

    def closed(
        self, event: Event, samples: Samples, at: int, back_ms: int, worst: Worst | None, *, off: str | None
    ) -> list[Event]:
        """Return the event closed at the sample `at`, over since `back_ms`, and what else there is to say.

        `off` says why the condition no longer counts, None if it is over by itself.
        """

    def worst_of(self, event: Event) -> Worst | None:
        """Return what an event taken up from the store says of its worst sample."""

    def grade_of(self, event: Event) -> int:
        """Return the grade that an event taken up from the store was told as."""


class SignalWatch(OneEvent):
    """Follows a spot's samples, in order, for one condition.  Same samples, same events, however batched."""

    def __init__(
        self,
        story: Story,
        *,
        grade_holds_s: Sequence[float],
        back_hold_s: float,
        max_gap_s: float,
        end_words: Sequence[str] = (),
        unseen_s: float | None = None,
        event: Event | None = None,
    ) -> None:
        """Take up `event` where an earlier watch left off.

        What was closed by hand and then not seen for over `unseen_s` may have gone and come again: it counts
        as gone.
        """
        super().__init__(event)
        self.turns: list[tuple[int, bool]] = []
        """At which of the samples followed last its event began or ended, also one closed by hand."""
        self._story = story
        self._unseen_ms = None if unseen_s is None else round(unseen_s * 1000)
        self._end_words = tuple(end_words)
        self._max_gap_ms = round(max_gap_s * 1000)
        self._grades = tuple(Hold(hold_s) for hold_s in grade_holds_s)
        self._back = Hold(back_hold_s)
        self._worst = None if event is None else story.worst_of(event)
        self._grade = 0 if event is None else story.grade_of(event)

    @property
    def quiet(self) -> bool:
        """Whether nothing is under way: samples for which no grade holds need not be followed."""
        if self.event is not None:
            return False
        return all(hold.since_ms is None for hold in self._grades)

    def follow(self, samples: Samples, silence_ms: IntArray, signals: Signals) -> list[tuple[int, Event]]:
        """Return the events that change, each with the index of the sample at which it does.

        `silence_ms` is the time since the sample before; over a long one no hold runs on.
        """
        changes: list[tuple[int, Event]] = []
        self.turns = []
        if len(samples) == 1:  # live samples come one by one
            if silence_ms[0] > self._max_gap_ms:
                self._after_silence(0, int(silence_ms[0]))
            self._run(samples, 0, 1, signals.code_of_one(), changes)
            return changes
        code = signals.code()
        broken = silence_ms > self._max_gap_ms
        for begin, end in runs(code, broken):
            if broken[begin]:
                self._after_silence(begin, int(silence_ms[begin]))
            self._run(samples, begin, end, int(code[begin]), changes)
        return changes

    def expect(self, max_gap_s: float) -> None:
        """Let holds run on over silences up to this long from now on."""
        self._max_gap_ms = round(max_gap_s * 1000)

    def restamp(self, step_ms: int) -> None:
        """See `OneEvent`."""
        for hold in (*self._grades, self._back):
            hold.restamp(step_ms)
        if self._worst is not None:
            self._worst = replace(self._worst, at_ms=self._worst.at_ms + step_ms)

    def _after_silence(self, at: int, silence_ms: int) -> None:
        closed = self.event is not None and not self.event.is_open
        if closed and self._unseen_ms is not None and silence_ms > self._unseen_ms:
            self.event = None
            self.turns.append((at, False))
        self._forget_holds()

    def _forget_holds(self) -> None:
        for hold in (*self._grades, self._back):
            hold.forget()
        if self.event is None:
            self._worst = None

    def _run(
        self, samples: Samples, begin: int, end: int, code: int, changes: list[tuple[int, Event]]
    ) -> None:
        """Follow samples that all say the same, with no silence between them."""
        first_ms = int(samples.utc_ms[begin])
        n = len(self._grades)
        ended = code >> (n + 1)
        for bit, hold in enumerate(self._grades):
            hold.note(not ended and bool(code >> bit & 1), first_ms)
        self._back.note(bool(code >> n & 1), first_ms)

        if self.event is None:
            begin = self._until_opened(samples, begin, end, changes)
        if self.event is not None and begin < end:
            off = self._end_words[(ended & -ended).bit_length() - 1] if ended else None
            self._while_open(self.event, samples, begin, end, off, changes)

    def _until_opened(self, samples: Samples, begin: int, end: int, changes: list[tuple[int, Event]]) -> int:
        """Open an event if it is due, and return the index from which to go on."""
        if self.quiet:
            self._worst = None
            return end
        at, grade = self._first_due(samples, begin, end, len(self._grades))
        worst = self._note_worst(samples, begin, min(at + 1, end))
        if at == end:
            return end
        since_ms = self._grades[grade].since_ms
        assert since_ms is not None
        self.event = self._story.opened(samples, at, since_ms, worst, grade)
        self._grade = grade
        self.turns.append((at, True))
        changes.append((at, self.event))
        return at + 1

    def _first_due(self, samples: Samples, begin: int, end: int, n_grades: int) -> tuple[int, int]:
        """Return where the first of the gravest grades has held long enough, and which; the gravest first."""
        first, first_grade = end, 0
        for grade in range(n_grades):
            due = self._grades[grade].due(samples.utc_ms, begin, end)
            if due < first:
                first, first_grade = due, grade
        return first, first_grade

    def _while_open(
        self,
        event: Event,
        samples: Samples,
        begin: int,
        end: int,
        off: str | None,
        changes: list[tuple[int, Event]],
    ) -> None:
        """Close the open event if that is due, or make it graver, which then is to be looked at anew."""
        at = begin if off else self._back.due(samples.utc_ms, begin, end)
        if at < end:
            worst = self._note_worst(samples, begin, at + 1)
            back_ms = self._back.since_ms
            closing = self._story.closed(
                event,
                samples,
                at,
                back_ms=int(samples.utc_ms[at]) if back_ms is None else back_ms,
                worst=worst,
                off=off,
            )
            if event.is_open:
                changes += [(at, changed) for changed in closing]
            self.event = None
            self.turns.append((at, False))
            self._forget_holds()
            return
        n_graver = self._story.severities.index(event.severity) if event.is_open else self._grade
        at, grade = self._first_due(samples, begin, end, n_graver)
        if at < end:
            worst = self._note_worst(samples, begin, at + 1)
            since_ms = self._grades[grade].since_ms
            assert since_ms is not None
            graver = self._story.opened(samples, at, since_ms, worst, grade)
            if event.is_open:
                graver = replace(graver, identity=event.identity, opened_ms=event.opened_ms)
            self.event = graver  # one closed by hand is over: what is graver is a new event
            self._grade = grade
            changes.append((at, self.event))
        self._note_worst(samples, begin, end)

    def _note_worst(self, samples: Samples, begin: int, end: int) -> Worst | None:
        """Return the worst sample yet, those of `begin` to `end` (at least one) now among them."""
        sign = self._story.sign
        if sign:
            at = begin
            if end - begin > 1:
                part = samples.uvi[begin:end]
                at += int(part.argmax() if sign > 0 else part.argmin())
            uvi = float(samples.uvi[at])
            if self._worst is None or (uvi - self._worst.uvi) * sign > 0:
                self._worst = Worst(uvi, float(samples.u_uvi[at]), int(samples.utc_ms[at]))
        return self._worst
