"""When a keeper may be told what."""

from dataclasses import dataclass

from calibrate.errors import KeeperError
from exposure.days import check_time_zone


class AttentionError(KeeperError):
    """Quiet hours or times that cannot be meant."""


@dataclass(frozen=True, slots=True)
class AttentionSettings:
    """When a keeper may be told what.

    Attributes
    ----------
    quiet_from_minute, quiet_until_minute
        Quiet hours in minutes of the local clock; None for none.  In them only what is for now is told.  By
        default from 22:00 to 07:00: what is for today can wait for the morning, when the lamps come on.
    time_zone
        IANA name of the zone of those minutes.
    gather_s
        What is not for now, and that something is over, is gathered for so long and told together [s].  A
        timer that fails takes ten lamps with it, within minutes of each other, and so does a hub with boards.
    again_now_s
        An event for now that nobody has acknowledged is told again after this [s], then after twice as long
        and so on up to `again_now_most_s`: an animal is burned within an hour or two.
    again_now_most_s
        Longest time between two such reminders [s].
    again_today_s
        The same for an event for today, without doubling [s]: once a day is enough.
    escalate_after
        After so many reminders a notice is escalated: perhaps somebody else must be told.  With the times
        above that is an hour and three quarters after an event for now, three days after one for today.
    """

    quiet_from_minute: int | None = 22 * 60
    quiet_until_minute: int | None = 7 * 60
    time_zone: str = "UTC"
    gather_s: float = 300.0
    again_now_s: float = 900.0
    again_now_most_s: float = 7200.0
    again_today_s: float = 86_400.0
    escalate_after: int = 3

    def __post_init__(self) -> None:
        quiet = (self.quiet_from_minute, self.quiet_until_minute)
        if (quiet[0] is None) != (quiet[1] is None):
            raise AttentionError(
                "half the quiet hours are given", remedy="Give both their start and their end"
            )
        if any(minute is not None and not 0 <= minute < 1440 for minute in quiet):
            raise AttentionError(f"quiet hours are {quiet}", remedy="Give 0 (00:00) to 1439 (23:59)")
        if quiet[0] is not None and quiet[0] == quiet[1]:
            raise AttentionError("quiet hours begin and end at the same minute", remedy="Leave both out")
        for name in ("again_now_s", "again_now_most_s", "again_today_s", "escalate_after"):
            if not getattr(self, name) > 0:
                raise AttentionError(f"{name} is {getattr(self, name):g}", remedy="Give more than 0")
        if not self.gather_s >= 0:
            raise AttentionError(f"gather_s is {self.gather_s:g}", remedy="Give 0 or more")
        if self.again_now_most_s < self.again_now_s:
            raise AttentionError(
                f"again_now_most_s is {self.again_now_most_s:g}, and again_now_s {self.again_now_s:g}",
                remedy="Let the longest time be no shorter than the first",
            )
        check_time_zone(self.time_zone)
