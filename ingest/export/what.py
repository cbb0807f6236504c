"""The names of what can be exported, for whoever only offers them: this module loads nothing."""

from enum import StrEnum


class What(StrEnum):
    """The names of the tables."""

    READINGS = "readings"
    SAMPLES = "samples"
    MINUTES = "minutes"
    DAYS = "days"
    EVENTS = "events"
    CHECKS = "checks"
    LAMP_CHANGES = "lamp-changes"
