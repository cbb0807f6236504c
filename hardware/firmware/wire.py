"""The wire format, the board's side: lines out, requests in.  The grammar stands in firmware_host/WIRE.md.

Numbers travel as whole numbers with a fixed count of decimals (1234 with 2 decimals is 12.34): a board's
own floats have only 24 bits, and whole numbers up to 2**30 need no memory of their own.
"""

from array import array

VERSION = "bk1"

SATURATED = 1
RANGED = 2
FAULT = 4
MARKS = ((SATURATED, "saturated"), (RANGED, "ranged"), (FAULT, "fault"))

# Stands for "this channel has no value"; the lowest number that needs no memory of its own on a 32-bit board.
MISSING = -(2**30)

# The longest request is `bk1 replay? 01234567 999999999999 999999999999 ~ABCD` and its line end: 55 bytes.
# Twice that leaves room for a cut request in front of a whole one.
MAX_REQUEST_BYTES = 110


def _crc_table():
    table = array("H", bytes(512))
    for first in range(256):
        crc = first << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
        table[first] = crc & 0xFFFF
    return table


_CRC_TABLE = _crc_table()


def crc16(data):
    """CRC-16/CCITT-FALSE of bytes."""
    table = _CRC_TABLE
    crc = 0xFFFF
    for byte in data:
        crc = ((crc & 0xFF) << 8) ^ table[(crc >> 8) ^ byte]
    return crc


def number(value, decimals):
    """The shortest text of a whole number with `decimals` decimals: (12340, 2) is 123.4."""
    while decimals and value % 10 == 0:
        value //= 10
        decimals -= 1
    if not decimals:
        return str(value)
    scale = 10**decimals
    size = abs(value)
    return "%s%d.%0*d" % ("-" if value < 0 else "", size // scale, decimals, size % scale)


def milliseconds(whole_s, ms):
    """The text of a board time kept as whole seconds and milliseconds."""
    return "%d%03d" % (whole_s, ms) if whole_s else str(ms)


def _line(body):
    data = body.encode()
    return b"%s ~%04X\n" % (data, crc16(data))


def reading(verb, board, boot, seq, board_ms, channels, values, marks):
    """The line of a reading: `verb` is "r", or "p" when replayed; `channels` holds (name, unit, decimals)."""
    fields = [VERSION, verb, board, boot, str(seq), board_ms]
    for index, (name, _, decimals) in enumerate(channels):
        if values[index] != MISSING:
            fields.append(name + "=" + number(values[index], decimals))
    if len(fields) == 6:
        marks |= FAULT  # a reading with no value says why
    if marks:
        fields.append("!" + ",".join([name for bit, name in MARKS if marks & bit]))
    return _line(" ".join(fields))


def hello(board, boot, firmware, sensor, cadence_ms, ring, channels):
    """The line with which the board introduces itself."""
    fields = [VERSION, "hello", board, boot, "fw=" + firmware, "sensor=" + sensor]
    fields += ["cadence_ms=%d" % cadence_ms, "ring=%d" % ring]
    fields += [name + ":" + unit for name, unit, _ in channels]
    return _line(" ".join(fields))


def time(board, boot, token, board_ms):
    """The answer to a request for the time."""
    return _line(" ".join((VERSION, "time", board, boot, str(token), board_ms)))


def end(board, boot, first_seq, last_seq):
    """The line after a replay of `first_seq` to `last_seq`; (n, n - 1) says that nothing of it was left."""
    return _line("%s end %s %s %d %d" % (VERSION, board, boot, first_seq, last_seq))


def parse_request(line):
    """What the host asks: ("hello?",), ("time?", token) or ("replay?", boot, first, last); else None."""
    try:
        return _parse_request(line)
    except (ValueError, IndexError):
        return None  # noise is part of life on a cable: the host asks again


def _parse_request(line):
    start = line.rfind(b"bk1 ")
    if start < 0:
        return None
    line = line[start:].rstrip(b"\r\n")
    body, crc = line[:-6], line[-6:]
    if crc != b" ~%04X" % crc16(body):
        return None
    fields = body.decode().split(" ")
    verb = fields[1]
    if verb == "hello?" and len(fields) == 2:
        return (verb,)
    if verb == "time?" and len(fields) == 3:
        return (verb, _whole(fields[2]))
    if verb == "replay?" and len(fields) == 5:
        boot, first, last = fields[2], _whole(fields[3]), _whole(fields[4])
        if len(boot) == 8 and all(c in "0123456789abcdef" for c in boot) and first <= last:
            return (verb, boot, first, last)
    return None


def _whole(text):
    if not 1 <= len(text) <= 12 or not all("0" <= c <= "9" for c in text):
        raise ValueError(text)
    return int(text)
