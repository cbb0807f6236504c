"""Runs on the board's interpreter: steps the firmware by hand as the JSON on standard input says."""

import json
import sys

import wire

from rig import Rig

plan = json.loads(sys.stdin.read())
rig = Rig(cadence_ms=plan["cadence_ms"], start=plan.get("start", 0), line_ms=plan.get("line_ms", 0))
for step in plan["steps"]:
    rig.link.quiet = step.get("quiet", False)
    if "read_until" in step:
        rig.read_until(step["read_until"])
    if "ask" in step:
        body = step["ask"].replace("<boot>", rig.firmware._boot).encode()
        rig.ask(body + b" ~%04X" % wire.crc16(body))
    if "pass_ms" in step:
        rig.ticks.pass_ms(step["pass_ms"])
