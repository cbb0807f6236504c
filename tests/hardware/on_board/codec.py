"""Runs on the board's interpreter: answers JSON questions, one a line, by the firmware's codec."""

import json
import sys

import wire


def encode(question):
    what = question.pop("what")
    if what == "reading":
        return wire.reading(**question).decode()
    if what == "hello":
        return wire.hello(**question).decode()
    if what == "time":
        return wire.time(**question).decode()
    if what == "end":
        return wire.end(**question).decode()
    if what == "request":
        return wire.parse_request(bytes.fromhex(question["line"]))
    if what == "crc":
        return wire.crc16(question["data"].encode())
    raise ValueError(what)


while True:
    line = sys.stdin.readline()
    if not line:
        break
    print(json.dumps(encode(json.loads(line))))
