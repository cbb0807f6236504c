"""Runs on the board's interpreter: the memory in use as tens of thousands of readings pass, replays included.

Arguments: how many readings, how often to look.  `largest` is the largest piece that could be had.
"""

import gc
import json
import sys

import wire

from rig import Rig


def largest_piece():
    """To the last 64 bytes; what is in use is as it was."""
    fits, too_much = 0, gc.mem_free() + 64
    while too_much - fits > 64:
        size = (fits + too_much) // 2
        try:
            bytearray(size)
            fits = size
        except MemoryError:
            too_much = size
        gc.collect()
    return fits


readings, every = int(sys.argv[1]), int(sys.argv[2])
gc.collect()
before = gc.mem_alloc()
rig = Rig(quiet=True)
gc.collect()
report = {
    "ring": rig.firmware._ring.capacity,
    "ring_bytes": gc.mem_alloc() - before,
    "in_use": [],
    "largest": [],
}
boot = rig.firmware._boot
for n in range(every, readings + 1, every):
    rig.read_until(n)
    for body in (
        b"bk1 hello?",
        b"bk1 time? %d" % n,
        b"bk1 replay? %s %d %d" % (boot.encode(), n - 50, n + 50),
    ):
        rig.ask(body + b" ~%04X" % wire.crc16(body))
    rig.ask(b"half a line of noise")
    gc.collect()
    report["in_use"].append(gc.mem_alloc())
    report["largest"].append(largest_piece())
report["written"] = rig.link.written
print(json.dumps(report))
