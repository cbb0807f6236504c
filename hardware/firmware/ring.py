"""The last readings, kept for a host that was away.  All memory is taken at the start and never grows."""

import gc
from array import array

WANTED = 4096  # an hour at one reading a second is 3600
PIECE = 128
RESERVE_BYTES = 24_000  # for everything else that the board does
LARGE_PIECES_BYTES = 4096  # of them: a line at its longest, several times over
LEAST_PIECE_BYTES = 512


class Ring:
    """Readings by sequence number, the oldest overwritten first: 7 bytes a reading and 4 for each channel.

    It is made of pieces: compiling the firmware leaves a board's memory in holes, of which none is so large.
    """

    def __init__(self, channels, piece=PIECE):
        """Without room for a reading; `grow` makes it."""
        self.capacity = 0
        self.next_seq = 0
        self._channels = channels
        self._piece = piece
        self._pieces = []

    def grow(self):
        """Make room for one piece of readings more, before the first one; MemoryError if there is none."""
        n = self._piece
        # Filled from a range, whose length is known: from bytes, each array would need its memory twice.
        values = array("i", range(self._channels * n))
        self._pieces.append((values, array("I", range(n)), array("H", range(n)), bytearray(n)))
        self.capacity += n

    @property
    def first_seq(self):
        """The oldest reading that is still here (next_seq when there is none)."""
        return max(0, self.next_seq - self.capacity)

    def add(self, whole_s, ms, values, marks):
        """Keep a reading and return its sequence number."""
        seq = self.next_seq
        slot = seq % self.capacity
        kept_values, kept_whole_s, kept_ms, kept_marks = self._pieces[slot // self._piece]
        slot %= self._piece
        kept_whole_s[slot] = whole_s
        kept_ms[slot] = ms
        kept_marks[slot] = marks
        at = slot * self._channels
        for index in range(self._channels):
            kept_values[at + index] = values[index]
        self.next_seq = seq + 1
        return seq

    def load(self, seq, values):
        """Fill `values` with those of a reading that is still here; return its whole_s, ms and marks."""
        slot = seq % self.capacity
        kept_values, kept_whole_s, kept_ms, kept_marks = self._pieces[slot // self._piece]
        slot %= self._piece
        at = slot * self._channels
        for index in range(self._channels):
            values[index] = kept_values[at + index]
        return kept_whole_s[slot], kept_ms[slot], kept_marks[slot]


def make(channels):
    """The largest ring that the memory allows."""
    ring = Ring(channels)
    ring.grow()
    gc.collect()
    apart = _set_apart()
    apart_bytes = sum([len(piece) for piece in apart])
    while ring.capacity < WANTED:
        gc.collect()
        if gc.mem_free() + apart_bytes - PIECE * (7 + 4 * channels) <= RESERVE_BYTES:
            break
        try:
            ring.grow()
        except MemoryError:  # free, but not in one piece
            break
    del apart
    gc.collect()
    return ring


def _set_apart():
    """The memory that stays in large pieces: one, or as many smaller ones where the holes are smaller."""
    pieces = []
    size = left = LARGE_PIECES_BYTES
    while left > 0 and size >= LEAST_PIECE_BYTES:
        try:
            pieces.append(bytearray(size))
            left -= size
        except MemoryError:
            size //= 2
    return pieces
