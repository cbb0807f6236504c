"""What is made of a day's readings a little at a time, while readings may still come."""

from collections.abc import Callable, Generator
from datetime import date
from functools import partial
from typing import Generic, TypeAlias, TypeVar

from ingest.day_records import DayRecord, DayRecords
from ingest.store.day_rows import LampRow

Made = TypeVar("Made")


class Making(Generic[Made]):
    """Makes something of a spot's day; begins anew if what it is made of has changed meanwhile."""

    def __init__(
        self,
        spot: str,
        day: date,
        begin: Callable[[], Generator[int, None, Made | None]],
        made_of: Callable[[], tuple[object, ...]],
    ) -> None:
        """`begin` gives the steps, and `made_of` something that differs after a change."""
        self.spot = spot
        self.day = day
        self._begin = begin
        self._look = made_of
        self._made_of = made_of()
        self._steps = begin()
        self.is_done = False
        self.record: Made | None = None
        """What was made, once it is done; None also if nothing of the day was seen."""

    def step(self, n_most: int) -> int:
        """Go on until it is done or has looked at about so many samples; return at how many it has looked.

        In the transaction that uses the record, if another may write.
        """
        n = 0
        while n < n_most:
            try:
                n += next(self._steps)
            except StopIteration as stopped:
                made_of = self._look()
                if made_of == self._made_of:
                    self.record, self.is_done = stopped.value, True
                    return n
                self._made_of, self._steps = made_of, self._begin()
        return n


class DayMaking(Making[DayRecord]):
    """Makes a day's record."""

    def __init__(self, records: DayRecords, spot: str, day: date) -> None:
        super().__init__(spot, day, partial(records.making, spot, day), partial(records.made_of, spot, day))


class LampMaking(Making[LampRow]):
    """Makes what a day says of the lamp by the calibration that applies at the end of `last`."""

    def __init__(self, records: DayRecords, spot: str, day: date, last: date) -> None:
        super().__init__(
            spot,
            day,
            partial(records.making_lamp, spot, day, last),
            partial(records.lamp_made_of, spot, day, last),
        )


AnyMaking: TypeAlias = DayMaking | LampMaking


def keep(records: DayRecords, making: AnyMaking) -> None:
    """Put on record what was made, if anything was; in the transaction that made it."""
    match making.record:
        case DayRecord() as record:
            records.keep(record)
        case LampRow() as row:
            records.keep_lamp(row)
