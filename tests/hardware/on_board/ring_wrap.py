"""Runs on the board's interpreter: what a ring holds after it has wrapped."""

import json
from array import array

import wire
from ring import Ring

ring = Ring(2, piece=5)
ring.grow()
ring.grow()
out = array("i", [0, 0])
report = {"empty": [ring.first_seq, ring.next_seq]}
for seq in range(25):
    marks = wire.SATURATED if seq % 2 else 0
    assert ring.add(2_000_000_000 + seq, seq, array("i", [seq * 10, wire.MISSING]), marks) == seq
report["ends"] = [ring.first_seq, ring.next_seq]
report["held"] = [(seq, ring.load(seq, out), list(out)) for seq in range(ring.first_seq, ring.next_seq)]
print(json.dumps(report))
