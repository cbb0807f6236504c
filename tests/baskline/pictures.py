"""Looking at pictures: what is drawn where in a PNG, which words an SVG has."""

import html
import io
import re

import numpy as np
from PIL import Image


def pixels(png: bytes) -> np.ndarray:
    """Return the picture's lightness, 0 to 1, (height, width)."""
    with Image.open(io.BytesIO(png), formats=["PNG"]) as picture:
        return np.asarray(picture.convert("RGB")) @ np.array([0.2126, 0.7152, 0.0722]) / 255


def ink(picture: np.ndarray) -> tuple[int, int, int, int]:
    """Return the box around all that is not white: left, right, top, bottom; right and bottom just beyond."""
    rows, columns = np.flatnonzero((picture < 0.9).any(axis=1)), np.flatnonzero((picture < 0.9).any(axis=0))
    return int(columns[0]), int(columns[-1]) + 1, int(rows[0]), int(rows[-1]) + 1


def words_of(svg: str) -> list[str]:
    """Return the texts of an SVG in the order in which they are drawn, the lines of one text joined."""
    texts = re.findall(r"<text[^>]*>(.*?)</text>", svg, flags=re.S)
    return [html.unescape(re.sub(r"<[^>]*>", " ", text)).strip() for text in texts]
