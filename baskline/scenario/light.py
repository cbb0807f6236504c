"""The invented room's lamps, spots and sensors, as the models of `exposure.room` take them.

No number here was measured.  The sensors agree with the calibrations in `room/calibrations/` within what
those state, and not better: no calibration is perfect.
"""

from dataclasses import dataclass

from baskline.scenario.ageing import DAY_MS, Ageing, Renewal
from baskline.scenario.setting import USUAL, Setting, Span
from exposure.room import ChannelResponse, Episode, LampLight, Photoperiod, SensorResponse, SpotLight

# In the weeks before, in days before the day.
NEW_TUBE_DAYS = 42
_STONE_SLIPS_DAYS = 25


def minute(hour: int, minutes: int = 0) -> int:
    """Return the minute of the day."""
    return hour * 60 + minutes


def power_cut(setting: Setting) -> Span:
    """Return when the whole room was without power."""
    return Span(setting.moment_ms(13, 40, days_before=11), setting.moment_ms(15, 5, days_before=11))


def board_away(setting: Setting) -> Span:
    """Return when the rock garden's board was away."""
    return Span(setting.moment_ms(19, 20, days_before=34), setting.moment_ms(8, 10, days_before=32))


@dataclass(frozen=True, slots=True)
class Watched:
    """A spot and the sensor that watches it; `prefix` is the sensor's part of the channel names."""

    spot: str
    prefix: str
    light: SpotLight
    sensor: SensorResponse


def watched_spots(seed: int, setting: Setting = USUAL) -> dict[str, tuple[Watched, ...]]:
    """Return what each board watches, by the board's identity."""
    zone, midnight_ms = setting.time_zone, setting.moment_ms(0)
    # After a power cut the lamps need a while until they hold.
    cut = power_cut(setting)
    dark = Episode("power cut", cut.start_ms - 60_000, cut.end_ms + 600_000, factor=0, ramp_s=300)
    tube_changed_ms = setting.moment_ms(10, 15, days_before=NEW_TUBE_DAYS)
    new_tube = Renewal(tube_changed_ms, 0.82, 0.25, round(2.5 * DAY_MS), midnight_ms)
    rock_lamp = LampLight(
        "metal-halide",
        Photoperiod(minute(9), minute(18), zone),
        seed + 1,
        midnight_ms,
        change_per_1000_h=-0.08,
        wander=0.010,  # the arc moves
        faults=(dark, Ageing(midnight_ms, -0.010)),
    )
    meadow_tube = LampLight(
        "t5",
        Photoperiod(minute(8), minute(20), zone),
        seed + 2,
        midnight_ms,
        change_per_1000_h=-0.05,
        faults=(dark, Ageing(midnight_ms, +0.004), new_tube),
    )
    wall_tube = LampLight(
        "t5",
        Photoperiod(minute(8, 30), minute(19, 30), zone),
        seed + 3,
        midnight_ms,
        change_per_1000_h=-0.05,
        faults=(
            dark,
            Ageing(midnight_ms, +0.014),
            *(
                Episode("ballast", span.start_ms, span.end_ms, factor=2.0, ramp_s=setting.lamp_ramp_s)
                for span in setting.too_much
            ),
        ),
    )
    # A stone slid in front of the crevice; before, more light came in.
    slips_ms = setting.moment_ms(11, 40, days_before=_STONE_SLIPS_DAYS)
    stone = Episode("stone", 0, slips_ms, factor=1.28, ramp_s=60)
    sage = tuple(
        Episode("sage", span.start_ms, span.end_ms, factor=0.36, ramp_s=setting.sage_ramp_s, flutter=0.03)
        for span in setting.sage
    )

    slate = SpotLight(rock_lamp, bare_uvi=5.0, bare_cm=30, distance_cm=38, ambient_c=23, warming_c=14)
    crevice = SpotLight(
        rock_lamp,
        bare_uvi=5.0,
        bare_cm=30,
        distance_cm=62,
        transmission=0.25,
        shades=(stone,),
        ambient_c=22,
        warming_c=5,
    )
    thyme = SpotLight(
        meadow_tube, bare_uvi=2.3, bare_cm=30, distance_cm=34, lamp_length_cm=85, shades=sage, warming_c=6
    )
    hay_rick = SpotLight(
        meadow_tube,
        bare_uvi=2.3,
        bare_cm=30,
        distance_cm=52,
        lamp_length_cm=85,
        transmission=0.2,
        warming_c=2,
    )
    fern = SpotLight(
        wall_tube,
        bare_uvi=3.6,
        bare_cm=25,
        distance_cm=28,
        lamp_length_cm=55,
        transmission=0.62,  # common practice, no source: wire mesh takes 30 to 50 %
        warming_c=4,
    )
    return {
        "stone-1": (
            Watched("slate", "a", slate, _photodiode(21.4, 96.0, seed + 11)),
            Watched("crevice", "b", crevice, _photodiode(16.6, 103.0, seed + 12)),
        ),
        "meadow-1": (Watched("thyme", "", thyme, _digital(3.2, 71.0, seed + 13)),),
        "meadow-2": (Watched("hay_rick", "", hay_rick, _photodiode(19.1, 90.0, seed + 14)),),
        "wall-1": (Watched("fern", "", fern, _photodiode(23.7, 88.0, seed + 15)),),
    }


def _photodiode(dark_counts: float, counts_per_uvi: float, seed: int) -> SensorResponse:
    """Return an analog photodiode behind a 12-bit converter that averages many conversions."""
    channel = ChannelResponse(
        "uva_counts",
        dark_counts,
        counts_per_uvi,
        full_scale_counts=4095,
        per_c=0.0008,  # as published for the GUVA-S12SD
        noise_counts=1.2,
        noise_relative=0.002,
    )
    return SensorResponse((channel,), seed)


def _digital(dark_counts: float, counts_per_uvi: float, seed: int) -> SensorResponse:
    """Return a digital sensor of 18 bits."""
    channel = ChannelResponse(
        "uvs_counts",
        dark_counts,
        counts_per_uvi,
        full_scale_counts=2**18 - 1,
        per_c=0.0006,
        noise_counts=0.8,
        noise_relative=0.002,
    )
    return SensorResponse((channel,), seed)
