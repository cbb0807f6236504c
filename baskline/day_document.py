"""A spot's day as one document, for the command line and for programs."""

from typing import TYPE_CHECKING, Any

from exposure.day_json import compared_fields, rounded, to_json_dict, verdict_fields
from ingest.mqtt.payloads import event_fields

if TYPE_CHECKING:
    from ingest.day import SpotDay
    from ingest.day_beside import DayBeside


def day_fields(shown: "SpotDay", beside: "DayBeside") -> dict[str, Any]:
    """Return a day as JSON values; baskline/OUTPUT.md describes them."""
    return {
        **to_json_dict(shown.profile, spot=shown.spot),
        "ramp_minutes": None if beside.lamp is None else rounded(beside.lamp.ramp_minutes),
        "compared": compared_fields(beside.compared),
        "dose_verdict": None if beside.verdict is None else verdict_fields(beside.verdict),
        "events": [event_fields(event) for event in shown.events],
    }
