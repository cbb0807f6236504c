"""Looking at pictures: what is drawn where in a PNG, which words an SVG has."""

import html
import re
import struct
import zlib

import numpy as np


def pixels(png: bytes) -> np.ndarray:
    """Return the picture's lightness, 0 to 1, (height, width).  Eight bits a channel, not interlaced."""
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    at, data = 8, b""
    width = height = channels = 0
    while at < len(png):
        (length,), kind = struct.unpack(">I", png[at : at + 4]), png[at + 4 : at + 8]
        body = png[at + 8 : at + 8 + length]
        if kind == b"IHDR":
            width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", body)
            assert (depth, interlaced) == (8, 0)
            channels = {2: 3, 6: 4}[colour]
        elif kind == b"IDAT":
            data += body
        at += 12 + length
    rows = np.frombuffer(zlib.decompress(data), np.uint8).reshape(height, 1 + width * channels)
    picture = _unfiltered(rows, channels).reshape(height, width, channels)
    return picture[:, :, :3] @ np.array([0.2126, 0.7152, 0.0722]) / 255


def _unfiltered(rows: np.ndarray, step: int) -> np.ndarray:
    """Undo the filters of the PNG standard (W3C), line by line."""
    height, width = rows.shape[0], rows.shape[1] - 1
    out = np.zeros((height + 1, width + step), np.int64)  # a line above and a pixel to the left, all zero
    for y in range(height):
        kind, line = rows[y, 0], rows[y, 1:].astype(np.int64)
        above, this = out[y], out[y + 1]
        if kind == 0:
            this[step:] = line
        elif kind == 1:
            this[step:] = np.cumsum(line.reshape(-1, step), axis=0).reshape(-1) % 256
        elif kind == 2:
            this[step:] = (line + above[step:]) % 256
        else:
            for x in range(width):
                left, up, corner = this[x], above[x + step], above[x]
                guess = (left + up) // 2 if kind == 3 else _paeth(left, up, corner)
                this[x + step] = (line[x] + guess) % 256
    return out[1:, step:].astype(np.uint8)


def _paeth(left: int, up: int, corner: int) -> int:
    first = left + up - corner
    return min((left, up, corner), key=lambda each: abs(first - each))


def ink(picture: np.ndarray) -> tuple[int, int, int, int]:
    """Return the box around all that is not white: left, right, top, bottom; right and bottom just beyond."""
    rows, columns = np.flatnonzero((picture < 0.9).any(axis=1)), np.flatnonzero((picture < 0.9).any(axis=0))
    return int(columns[0]), int(columns[-1]) + 1, int(rows[0]), int(rows[-1]) + 1


def words_of(svg: str) -> list[str]:
    """Return the texts of an SVG in the order in which they are drawn, the lines of one text joined."""
    texts = re.findall(r"<text[^>]*>(.*?)</text>", svg, flags=re.S)
    return [html.unescape(re.sub(r"<[^>]*>", " ", text)).strip() for text in texts]
