"""The table that says when the keeper may be told what."""

from datetime import time
from typing import Annotated, Final, Self, TypeAlias

from pydantic import Field, PlainValidator, model_validator

from exposure.attention_settings import AttentionError, AttentionSettings
from ingest.config.fields import HoldS, Positive, SpanS, local_time, refused_by
from ingest.config.table import Table, key

_NONE: Final = "none"
_USUAL: Final = AttentionSettings()


def _quiet(value: object) -> str:
    return _NONE if value == _NONE else f"{local_time(value):%H:%M}"


QuietTime: TypeAlias = Annotated[str, PlainValidator(_quiet)]


class AttentionConfig(Table):
    """`[attention]`: when the keeper may be told what."""

    quiet_from: QuietTime = key(
        'the local time from which only what is urgent is told, or "none"', '"21:30"', "22:00"
    )
    quiet_until: QuietTime = key('the local time at which quiet hours end, or "none"', '"08:00"', "07:00")
    gather_s: HoldS = key(
        "the seconds for which what is not urgent is gathered, to be told together", "600", _USUAL.gather_s
    )
    again_now_s: SpanS = key(
        "the seconds after which what is urgent is told again, unless it was acknowledged",
        "600",
        _USUAL.again_now_s,
    )
    again_now_most_s: SpanS = key(
        "the longest time in seconds between two such reminders, each twice as long as the one before",
        "3600",
        _USUAL.again_now_most_s,
    )
    again_today_s: Positive = key(
        "the seconds after which what is for today is told again, unless it was acknowledged",
        "43200",
        _USUAL.again_today_s,
    )
    escalate_after: Annotated[int, Field(ge=1)] = key(
        "the number of reminders after which a notice is marked as escalated", "2", _USUAL.escalate_after
    )

    @model_validator(mode="after")
    def _usable(self) -> Self:
        try:
            self.settings("UTC")
        except AttentionError as error:
            refused_by(error)
        return self

    def settings(self, time_zone: str) -> AttentionSettings:
        """Return it as `exposure.attention` takes it, where the local clock is that of `time_zone`."""
        return AttentionSettings(
            quiet_from_minute=_minute(self.quiet_from),
            quiet_until_minute=_minute(self.quiet_until),
            time_zone=time_zone,
            **self.model_dump(exclude={"quiet_from", "quiet_until"}),
        )


def _minute(text: str) -> int | None:
    if text == _NONE:
        return None
    clock = time.fromisoformat(text)
    return clock.hour * 60 + clock.minute
