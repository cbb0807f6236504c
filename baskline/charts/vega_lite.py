"""Vega-Lite in plain dictionaries: its layers and their channels.

Written out and not by a library, so that the page's process stays small and a chart is made at once; tests
hold every kind of chart to the published schema.
"""

from typing import Any

Part = dict[str, Any]
"""A piece of a Vega-Lite specification."""


def layer(data: str, mark: str, style: Part, **channels: Part) -> Part:
    """Return a layer that draws the rows of the dataset `data`."""
    return {"data": {"name": data}, "mark": {"type": mark, **style}, "encoding": channels}


def quantity(field: str, **how: Any) -> Part:
    """Return a channel for numbers."""
    return {"field": field, "type": "quantitative", **how}


def word(field: str, **how: Any) -> Part:
    """Return a channel for words."""
    return {"field": field, "type": "nominal", **how}


def end(field: str) -> Part:
    """Return the channel for where something ends that begins at x or y."""
    return {"field": field}


def ink() -> Part:
    """Return the channel for each row's own colour."""
    return word("ink", scale=None)
