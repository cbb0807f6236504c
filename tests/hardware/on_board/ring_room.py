"""Runs on the board's interpreter: how long a ring gets in the memory that there is.

Argument: how many channels.  Prints the ring's capacity and what is left free beside it.
"""

import gc
import json
import sys

import ring

gc.collect()
made = ring.make(int(sys.argv[1]))
gc.collect()
print(json.dumps({"capacity": made.capacity, "left": gc.mem_free()}))
