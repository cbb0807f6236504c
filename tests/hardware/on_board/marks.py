"""Runs on the board's interpreter: prints the marks that the firmware knows."""

import json

import wire

print(json.dumps({name: bit for bit, name in wire.MARKS}))
