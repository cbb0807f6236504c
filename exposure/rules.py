"""The numbers by which a spot is judged; each may be set for each spot."""

import math
from dataclasses import dataclass, fields

from calibrate.errors import KeeperError
from exposure.days import check_time_zone


class RuleError(KeeperError):
    """A setting of the rules that cannot be meant."""


@dataclass(frozen=True, slots=True)
class RuleSettings:
    """When a spot's UVI becomes an event, and when it stops being one.

    Attributes
    ----------
    k
        Coverage factor of "really": a UVI is over a limit when UVI - k·u is.  2 is the k that the keeper
        reads beside each ±, so that what the sentence shows is what was asked; P is then about 0.98.
    over_hold_s
        How long it must really be over the ceiling [s].  A hand with a torch is gone in a minute; a minute
        at twice the ceiling is about a hundredth of a day's dose.
    far_times, far_hold_s
        At `far_times` the ceiling a shorter hold is enough [s]: twice the ceiling gives twice the dose in the
        same time.  Twenty seconds are two readings of a slow board, and more than a reflection lasts.
    probably_over_hold_s
        How long it must be over the ceiling by its best estimate alone [s].  A ceiling must never be passed,
        and a lamp that stays a little over it is never *really* over by a hobby sensor: what is more likely
        than not for a quarter of an hour is worth a look today.
    above_hold_s
        How long it must really be between the band and the ceiling [s].  Nothing is hurt by it soon, and many
        lamps give most while they warm up; half an hour is as long as those take.
    under_hold_s
        How long it must really be under the band [s].  Nothing is urgent about too little UV; an animal's
        shadow or a cleaning hand passes.
    k_back
        Coverage factor of "back": an event ends when the limit lies outside UVI ± k_back·u.  Between that
        and the opening is the hysteresis; it grows with the uncertainty, as doubt does.
    back_hold_s
        How long it must be back [s]: longer than a lamp's flicker and a cloud of steam.
    warm_up_s
        How long after it comes on a lamp may be under the band [s].  Linear and compact lamps take 10 to
        30 minutes to settle, a mercury vapour lamp re-struck hot 5 to 20 (common practice, no source).
    dark_uvi
        Up to this UVI the lamp counts as off.  Over the dark noise of a hobby sensor (about 0.03), under
        the foot of every band that has one.
    lit_hold_s, dark_hold_s
        How long it must be over that for the lamp to count as on [s], and under it to count as off.
    lamp_late_s
        How long the lamp may be dark in its photoperiod, or lit outside it [s]: mechanical timers go in
        quarters of an hour (common practice, no source).
    flicker_times, flicker_window_s
        So many returns from dark within this time [s] are flicker.  A keeper who looks after an animal may
        switch the lamp twice an hour, not four times.
    sensor_hold_s
        How long a sensor must say that something is wrong with it [s], or that all is well again.
    stuck_hold_s
        How long a lit spot's UVI may be the same to the last digit [s].  A coarse sensor under a steady lamp
        may well repeat itself for an hour; over six hours lamp and room drift by more than its last digit.
    dose_low_uvi_h, dose_high_uvi_h
        The least and the greatest dose of a day that the keeper wants [UVI·h]; without them a day is compared
        with what the spot usually gives.
    dose_low_part, dose_high_part
        Under and over these parts of its usual dose a day is out of the ordinary.  A lamp that was off for
        half the day gives half; days differ by a few per cent by themselves.
    dose_coverage
        Of a day's light at least this part must have been seen before anything is said of its dose.
    lamp_notice_days
        A lamp's change is told once it may carry the spot out of its band within so many days: time to order
        another lamp and to burn it in.
    step_part
        A sudden change of the level by this part is told.  Much less nobody finds the cause of.
    slow_times
        A lamp is slow when it takes so many times its usual time to warm up, and ten minutes longer.
    calibration_notice_days
        So long before its end a calibration is due: a check needs a meter, which may have to be borrowed.
    check_every_days
        So often a spot is to be compared with a meter [days]; 0 is never.  The careful measure weekly
        (common practice, no source).
    max_gap_s
        Longest silence over which a hold runs on [s]; `segments.default_max_gap_s` fits it to a cadence.
    lit_from_minute, lit_until_minute
        Photoperiod in minutes of the local clock, 480 for 08:00; both or neither.  With it a lamp that is
        dark when it should be lit is an event, and so is the reverse; without it a dark spot is taken for a
        lamp turned off.
        An end before the start is on the next day.
    time_zone
        IANA name of the zone of those minutes.
    """

    k: float = 2.0
    over_hold_s: float = 60.0
    far_times: float = 2.0
    far_hold_s: float = 20.0
    probably_over_hold_s: float = 900.0
    above_hold_s: float = 1800.0
    under_hold_s: float = 900.0
    k_back: float = 1.0
    back_hold_s: float = 300.0
    warm_up_s: float = 1800.0
    dark_uvi: float = 0.1
    lit_hold_s: float = 60.0
    dark_hold_s: float = 300.0
    lamp_late_s: float = 1200.0
    flicker_times: int = 4
    flicker_window_s: float = 3600.0
    sensor_hold_s: float = 900.0
    stuck_hold_s: float = 21_600.0
    dose_low_uvi_h: float | None = None
    dose_high_uvi_h: float | None = None
    dose_low_part: float = 0.6
    dose_high_part: float = 1.5
    dose_coverage: float = 0.9
    lamp_notice_days: float = 42.0
    step_part: float = 0.1
    slow_times: float = 2.0
    calibration_notice_days: float = 30.0
    check_every_days: float = 7.0
    max_gap_s: float = 60.0
    lit_from_minute: int | None = None
    lit_until_minute: int | None = None
    time_zone: str = "UTC"

    def __post_init__(self) -> None:
        for name in (field.name for field in fields(self) if field.type in (float, float | None)):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise RuleError(f"{name} is {value:g}", where="rules", remedy="Give 0 or more")
        if self.max_gap_s <= 0:
            raise RuleError(
                "max_gap_s is 0", where="rules", remedy="Give more than the time between two readings"
            )
        if self.flicker_times < 2:
            raise RuleError(
                f"flicker_times is {self.flicker_times}",
                where="rules",
                remedy="Give 2 or more: once is no flicker",
            )
        low, high = self.dose_low_uvi_h, self.dose_high_uvi_h
        if low is not None and high is not None and low >= high:
            raise RuleError(
                "dose_low_uvi_h is not below dose_high_uvi_h",
                where="rules",
                remedy="Give the smaller dose as dose_low_uvi_h",
            )
        if (self.lit_from_minute is None) != (self.lit_until_minute is None):
            raise RuleError(
                "half a photoperiod is given", where="rules", remedy="Give both its start and its end"
            )
        for name in ("lit_from_minute", "lit_until_minute"):
            minute = getattr(self, name)
            if minute is not None and not 0 <= minute < 1440:
                raise RuleError(f"{name} is {minute}", where="rules", remedy="Give 0 (00:00) to 1439 (23:59)")
        if self.lit_from_minute is not None and self.lit_from_minute == self.lit_until_minute:
            raise RuleError(
                "the photoperiod begins and ends at the same minute",
                where="rules",
                remedy="Leave both out for a lamp that burns day and night",
            )
        check_time_zone(self.time_zone)  # refused here, not in the night when it is first needed
