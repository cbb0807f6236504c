"""A model of a room: what light reaches a spot, and what a sensor there makes of it.

Everything here is a model for demonstrations and tests, not a measurement of any lamp or sensor.  It is a
function of time alone: its noise is `exposure.counted_noise`, so that a moment has the same light whether it
is asked for alone, in a batch, or twice.
"""

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

import numpy as np

from calibrate.arrays import FloatArray, IntArray
from exposure.counted_noise import normal_at, wander_at
from exposure.days import HOUR_MS, local_date, local_time_ms

_MINUTES_PER_DAY = 1440
_FLUTTER_MS = 4_000  # a leaf in the air of a fan
_WANDER_MS = 45_000  # an arc moves, a tube feels a draught
_REFERENCE_C = 25.0


@dataclass(frozen=True, slots=True)
class Photoperiod:
    """When a lamp is lit: local minutes of the day (510 is 08:30); off before on means past midnight."""

    on_minute: int
    off_minute: int
    time_zone: str

    @property
    def lit_share(self) -> float:
        """The part of a day of 24 hours for which it is lit."""
        return ((self.off_minute - self.on_minute) % _MINUTES_PER_DAY) / _MINUTES_PER_DAY

    def since_switching_s(self, t_ms: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the seconds since the lamp last came on and since it last went off, each (n,)."""
        if len(t_ms) == 0:
            return np.empty(0), np.empty(0)
        first = local_date(int(t_ms.min()), self.time_zone) - timedelta(days=2)
        n_days = (local_date(int(t_ms.max()), self.time_zone) - first).days + 1
        days = [first + timedelta(days=n) for n in range(n_days)]

        def since(minute: int) -> FloatArray:
            at_ms = np.array([local_time_ms(day, minute, self.time_zone) for day in days])
            last_ms = at_ms[np.searchsorted(at_ms, t_ms, side="right") - 1]
            return np.asarray((t_ms - last_ms) / 1000)

        return since(self.on_minute), since(self.off_minute)


@dataclass(frozen=True, slots=True)
class WarmUp:
    """Output after switching on, relative to the steady one.

    It starts at `start` and approaches 1 with the time constant `rise_s`, at once (`bend` 1) or with a slow
    beginning (`bend` 2); on top an excess of `overshoot` that is greatest at `overshoot_at_s`.
    """

    start: float
    rise_s: float
    bend: float
    overshoot: float = 0.0
    overshoot_at_s: float = 1.0

    def relative(self, since_on_s: FloatArray) -> FloatArray:
        """Return the relative output at each time since switching on."""
        rise = 1 - (1 - self.start) * np.exp(-((since_on_s / self.rise_s) ** self.bend))
        ripe = since_on_s / self.overshoot_at_s
        return np.asarray(rise + self.overshoot * ripe * np.exp(1 - ripe))


# Common practice, no source, for how long each takes to hold within 2 %: fluorescent 10 to 30 min with an
# overshoot before; mercury vapour and metal halide 5 to 15 min of run-up; LED light at once, then less as it
# warms.  The shapes are our own.  The sun is not modelled.
WARM_UPS: dict[str, WarmUp] = {
    "t5": WarmUp(start=0.70, rise_s=90, bend=1, overshoot=0.06, overshoot_at_s=240),
    "t8": WarmUp(start=0.75, rise_s=90, bend=1, overshoot=0.04, overshoot_at_s=300),
    "compact": WarmUp(start=0.55, rise_s=180, bend=1, overshoot=0.05, overshoot_at_s=420),
    "mercury-vapour": WarmUp(start=0.10, rise_s=240, bend=2),
    "metal-halide": WarmUp(start=0.08, rise_s=220, bend=2),
    "uv-led": WarmUp(start=1.06, rise_s=600, bend=1),
}


class Influence(Protocol):
    """Whatever changes the light: of a lamp, or on its way to a spot."""

    def multiplier(self, t_ms: IntArray, seed: int) -> FloatArray:
        """Return what the light is multiplied by at each time, never below zero."""
        ...


@dataclass(frozen=True, slots=True)
class Episode:
    """A while in which the light is `factor` times what it would be: a leaf in the way, or a faulty lamp.

    It comes and goes over `ramp_s`.  `flutter` is the standard deviation of the factor, as leaves move.
    """

    name: str
    start_ms: int
    end_ms: int
    factor: float
    ramp_s: float
    flutter: float = 0.0

    def multiplier(self, t_ms: IntArray, seed: int) -> FloatArray:
        """Return what the light is multiplied by at each time, never below zero."""
        edge_ms = np.minimum(t_ms - self.start_ms, self.end_ms - t_ms)
        share = np.clip(edge_ms / (1000 * self.ramp_s), 0, 1)
        factor = self.factor + self.flutter * wander_at(seed, f"flutter {self.name}", t_ms, _FLUTTER_MS)
        return np.asarray(np.maximum(1 + (factor - 1) * share, 0))


@dataclass(frozen=True, slots=True)
class LampLight:
    """A lamp's output over time, relative to its steady output at `origin_ms`.

    `change_per_1000_h`: relative change of output in 1000 hours lit, negative for fading.  Hours lit are
    counted by the photoperiod's share of the day.  `flicker` and `wander`: standard deviations of fast and
    slow noise.  `ripple_depth` at `ripple_hz`: the sine that mains leaves on the light.  Its frequency is
    not quite a multiple of a second's: mains never is, and else each reading would meet the same phase.
    """

    kind: str
    photoperiod: Photoperiod
    seed: int
    origin_ms: int
    change_per_1000_h: float = 0.0
    flicker: float = 0.003
    wander: float = 0.006
    ripple_depth: float = 0.3
    ripple_hz: float = 100.013
    faults: tuple[Influence, ...] = ()

    def relative(self, t_ms: IntArray, integration_ms: float) -> FloatArray:
        """Return the output at each time, averaged over the `integration_ms` that follow."""
        since_on_s, since_off_s = self.photoperiod.since_switching_s(t_ms)
        output = np.where(since_on_s < since_off_s, WARM_UPS[self.kind].relative(since_on_s), 0.0)
        hours_lit = (t_ms - self.origin_ms) / HOUR_MS * self.photoperiod.lit_share
        output *= np.exp(math.log1p(self.change_per_1000_h) / 1000 * hours_lit)
        output *= 1 + self.flicker * normal_at(self.seed, "flicker", t_ms)
        output *= 1 + self.wander * wander_at(self.seed, "wander", t_ms, _WANDER_MS)
        output *= 1 + self.ripple_depth * mean_ripple(t_ms, self.ripple_hz, integration_ms)
        for fault in self.faults:
            output *= fault.multiplier(t_ms, self.seed)
        return output


def mean_ripple(t_ms: IntArray, ripple_hz: float, integration_ms: float) -> FloatArray:
    """Return the mean of a sine of `ripple_hz` over the `integration_ms` after each time.

    Its greatest value is |sin(πfT)/(πfT)|: 4.7 % for 100 Hz and 64 ms, nothing for whole cycles.
    """
    cycles = ripple_hz * integration_ms / 1000
    middle = (t_ms / 1000 * ripple_hz + cycles / 2) % 1.0
    return np.asarray(np.sinc(cycles) * np.sin(2 * np.pi * middle))


def spread(distance_cm: float, lamp_length_cm: float) -> float:
    """Return the irradiance at a distance in arbitrary units: only ratios mean something.

    Parameters
    ----------
    distance_cm
        From the light-giving part, on the perpendicular through its middle [cm].
    lamp_length_cm
        Length of a linear lamp [cm]; 0 for a compact source, which then follows the inverse square.

    Notes
    -----
    The linear lamp is Keitz's bare Lambertian line in air: (2α + sin 2α) / (D L), tan α = L / 2D.  A
    reflector or a beam follows neither law.

    References
    ----------
    Keitz, H.A.E., 1971, Light Calculations and Measurements, 2nd ed., Macmillan.
    """
    if lamp_length_cm == 0:
        return distance_cm**-2
    alpha = math.atan(lamp_length_cm / (2 * distance_cm))
    return (2 * alpha + math.sin(2 * alpha)) / (distance_cm * lamp_length_cm)


@dataclass(frozen=True, slots=True)
class SpotLight:
    """What reaches a spot from one lamp.

    `bare_uvi` at `bare_cm`: the lamp's steady UVI at `origin_ms` with nothing in between.  `transmission`:
    the share that mesh and glazing let through.  The air at the spot has `ambient_c` at night and comes to
    `warming_c` more under the lamp.
    """

    lamp: LampLight
    bare_uvi: float
    bare_cm: float
    distance_cm: float
    lamp_length_cm: float = 0.0
    transmission: float = 1.0
    shades: tuple[Influence, ...] = ()
    ambient_c: float = 22.0
    warming_c: float = 8.0
    warming_s: float = 1500.0

    @property
    def steady_uvi(self) -> float:
        """The UVI when the lamp is warm and nothing is amiss."""
        ratio = spread(self.distance_cm, self.lamp_length_cm) / spread(self.bare_cm, self.lamp_length_cm)
        return self.bare_uvi * ratio * self.transmission

    def uvi_at(self, t_ms: IntArray, integration_ms: float = 100.0) -> FloatArray:
        """Return the UVI at each time [UTC ms], averaged over the `integration_ms` that follow."""
        uvi = self.steady_uvi * self.lamp.relative(t_ms, integration_ms)
        for shade in self.shades:
            uvi *= shade.multiplier(t_ms, self.lamp.seed)
        return uvi

    def temperature_at(self, t_ms: IntArray) -> FloatArray:
        """Return the temperature of the sensor at each time [°C]: first-order warming and cooling."""
        since_on_s, since_off_s = self.lamp.photoperiod.since_switching_s(t_ms)
        is_lit = since_on_s < since_off_s
        warmed = 1 - np.exp(-since_on_s / self.warming_s)
        left = np.exp(-since_off_s / self.warming_s)
        return np.asarray(self.ambient_c + self.warming_c * np.where(is_lit, warmed, left))


@dataclass(frozen=True, slots=True)
class ChannelResponse:
    """How one channel of a sensor answers UV.

    `counts_per_uvi` at 25 °C under the light it is used under, so what it sees too much or too little of
    that lamp's spectrum is in it; `per_c`: relative change of it per °C; `dark_counts`: what it says
    without light.  Noise has a fixed part and one relative to the signal.  Counts end at
    `full_scale_counts`.
    """

    name: str
    dark_counts: float
    counts_per_uvi: float
    full_scale_counts: int
    per_c: float = 0.0
    noise_counts: float = 0.0
    noise_relative: float = 0.0


@dataclass(frozen=True, slots=True)
class SensorResponse:
    """A sensor: how its channels answer UV, each with noise of its own."""

    channels: tuple[ChannelResponse, ...]
    seed: int

    def counts(self, t_ms: IntArray, uvi: FloatArray, temperature_c: FloatArray) -> dict[str, FloatArray]:
        """Return the whole counts of each channel at each time; at full scale it is saturated."""
        return {channel.name: self._counts(channel, t_ms, uvi, temperature_c) for channel in self.channels}

    def _counts(
        self, channel: ChannelResponse, t_ms: IntArray, uvi: FloatArray, temperature_c: FloatArray
    ) -> FloatArray:
        signal = uvi * channel.counts_per_uvi * (1 + channel.per_c * (temperature_c - _REFERENCE_C))
        signal *= 1 + channel.noise_relative * normal_at(self.seed, f"relative {channel.name}", t_ms)
        noise = channel.noise_counts * normal_at(self.seed, f"fixed {channel.name}", t_ms)
        counts = np.rint(channel.dark_counts + signal + noise)
        return np.asarray(np.clip(counts, 0, channel.full_scale_counts))
