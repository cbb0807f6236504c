"""The last readings, kept for a host that was away.  All memory is taken at the start and never grows."""

import gc
from array import array

WANTED = 4096  # an hour at one reading a second is 3600
STEP = 256
LEAST = 256
RESERVE_BYTES = 24_000  # for everything else that the board does


class Ring:
    """Readings by sequence number, the oldest overwritten first: 7 bytes a reading and 4 for each channel."""

    def __init__(self, channels, capacity):
        self.capacity = capacity
        self.next_seq = 0
        self._channels = channels
        # Filled from a range, whose length is known: from bytes, each array would need its memory twice.
        self._values = array("i", range(channels * capacity))
        self._whole_s = array("I", range(capacity))
        self._ms = array("H", range(capacity))
        self._marks = bytearray(capacity)

    @property
    def first_seq(self):
        """The oldest reading that is still here (next_seq when there is none)."""
        return max(0, self.next_seq - self.capacity)

    def add(self, whole_s, ms, values, marks):
        """Keep a reading and return its sequence number."""
        seq = self.next_seq
        slot = seq % self.capacity
        self._whole_s[slot] = whole_s
        self._ms[slot] = ms
        self._marks[slot] = marks
        at = slot * self._channels
        for index in range(self._channels):
            self._values[at + index] = values[index]
        self.next_seq = seq + 1
        return seq

    def load(self, seq, values):
        """Fill `values` with those of a reading that is still here; return its whole_s, ms and marks."""
        slot = seq % self.capacity
        at = slot * self._channels
        for index in range(self._channels):
            values[index] = self._values[at + index]
        return self._whole_s[slot], self._ms[slot], self._marks[slot]


def make(channels):
    """The largest ring that the memory allows."""
    capacity = WANTED
    while True:
        gc.collect()
        if capacity <= LEAST or gc.mem_free() - capacity * (7 + 4 * channels) > RESERVE_BYTES:
            try:
                return Ring(channels, capacity)
            except MemoryError:  # free, but not in one piece
                if capacity <= LEAST:
                    raise
        capacity -= STEP
