"""One day's record made a little at a time, while readings may still come."""

from collections.abc import Generator
from datetime import date
from typing import TypeAlias

from ingest.day_records import DayRecord, DayRecords

Steps: TypeAlias = Generator[int, None, DayRecord | None]


class DayMaking:
    """Makes a day's record; begins anew if what it is made of has changed meanwhile."""

    def __init__(self, records: DayRecords, spot: str, day: date) -> None:
        self.spot = spot
        self.day = day
        self._records = records
        self._made_of = records.made_of(spot, day)
        self._steps: Steps = records.making(spot, day)
        self.is_done = False
        self.record: DayRecord | None = None
        """What was made; None also if nothing of the day was seen."""

    def step(self, n_most: int) -> int:
        """Go on until it is done or has looked at about so many samples; return at how many it has looked.

        In the transaction that uses the record, if another may write.
        """
        n = 0
        while n < n_most:
            try:
                n += next(self._steps)
            except StopIteration as stopped:
                made_of = self._records.made_of(self.spot, self.day)
                if made_of == self._made_of:
                    self.record, self.is_done = stopped.value, True
                    return n
                self._made_of, self._steps = made_of, self._records.making(self.spot, self.day)
        return n
