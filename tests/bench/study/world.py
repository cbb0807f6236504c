"""The simulated year: what truly happens under each lamp, and what its sensor makes of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from calibrate.conversion import EXTRAPOLATED_SHARE, extrapolated
from calibrate.samples import Flag, Samples
from exposure.bands import Band
from exposure.days import DayBounds, day_bounds
from exposure.events import EventKind
from exposure.rules import RuleSettings

FIRST_DAY = date(2023, 1, 1)
DAYS = 365
BAND = Band(1.0, 2.6, 3.8)
ON_MINUTE, OFF_MINUTE = 480, 1200
SETTINGS = RuleSettings(lit_from_minute=ON_MINUTE, lit_until_minute=OFF_MINUTE)
CADENCE_S = 60.0
MINUTE = np.arange(1440)

# What is not known of the level: 5 % (k = 1), common to all samples of a spot, as a hobby sensor's
# calibration leaves it; the spot's own error is drawn from that.
U_RELATIVE, U_DARK_UVI = 0.05, 0.02
NOISE_RELATIVE, NOISE_UVI = 0.01, 0.015
SEASON_PART = 0.02  # a room's temperature over the year, as a lamp feels it
WEATHER_PART, WEATHER_RHO = 0.01, 0.7  # and from day to day
BURN_IN_PART, BURN_IN_DAYS = 0.15, 8
KEEPER_DAYS = 14  # so long after its level has left the band the keeper changes the lamp or its distance


@dataclass(frozen=True, slots=True)
class Incident:
    """Something that happens: from minute to minute since the year began."""

    kind: EventKind
    begin: int
    end: int
    amount: float = 0.0

    def on(self, day: int) -> slice | None:
        """Return the minutes of a day in which it happens; None if it does not."""
        begin, end = max(self.begin - day * 1440, 0), min(self.end - day * 1440, 1440)
        return slice(begin, end) if begin < end else None


@dataclass(frozen=True, slots=True)
class Plan:
    """What happens under a lamp: its rate [1/week], steps by day, spells of three shaded days, new lamps."""

    name: str
    start_uvi: float = 1.8
    per_week: float = 0.0
    steps: dict[int, float] = field(default_factory=dict)
    shaded_times: int = 0
    replaced: tuple[int, ...] = ()
    keeper_acts: bool = True


@dataclass(frozen=True, slots=True)
class Lamp:
    """A lamp's true year.

    `level_uvi` is what its spot truly gets once it is warm, day by day; `ageing_uvi` the same without season
    and weather; `changes` the days on which a new baseline begins.  Beyond `reach_uvi` the spot's calibration
    was not compared with a meter, and its sensor goes wrong by `bend` times the excess.
    """

    plan: Plan
    level_uvi: np.ndarray
    ageing_uvi: np.ndarray
    changes: tuple[int, ...]
    incidents: tuple[Incident, ...]
    bias: float
    seed: int
    reach_uvi: float = math.inf
    bend: float = 0.0

    def bounds(self, day: int) -> DayBounds:
        return day_bounds(FIRST_DAY + timedelta(days=day), "UTC")

    def truth_uvi(self, day: int) -> np.ndarray:
        """Return the true UVI at each minute of a day."""
        uvi = np.zeros(1440)
        slow = any(each.kind is EventKind.LAMP_WARMS_UP_SLOWLY and each.on(day) for each in self.incidents)
        since = MINUTE[ON_MINUTE:OFF_MINUTE] - ON_MINUTE
        uvi[ON_MINUTE:OFF_MINUTE] = self.level_uvi[day] * (1 - 0.5 * np.exp(-since / (25.0 if slow else 4.0)))
        for each in self.incidents:
            part = each.on(day)
            if part is None:
                continue
            if each.kind is EventKind.OVER_CEILING:
                uvi[part] *= each.amount / self.level_uvi[day]
            elif each.kind is EventKind.LAMP_OFF_BY_DAY:
                uvi[part] = 0.0
            elif each.kind is EventKind.LAMP_ON_AT_NIGHT:
                uvi[part] = self.level_uvi[day]
            elif each.kind is EventKind.LAMP_FLICKERS:
                uvi[part] *= MINUTE[part] % 5 < 3
            elif each.kind is EventKind.UNDER_BAND:
                uvi[part] *= each.amount
        return uvi

    def samples(self, day: int) -> Samples:
        """Return what the sensor says of a day."""
        rng = np.random.default_rng([self.seed, day])
        truth = self.truth_uvi(day)
        uvi = truth * (1 + self.bias) * (1 + rng.normal(0, NOISE_RELATIVE, 1440))
        uvi = np.maximum(uvi + rng.normal(0, NOISE_UVI, 1440), 0.0)
        uvi += self.bend * np.maximum(uvi - self.reach_uvi, 0.0)
        flags = np.where(uvi > self.reach_uvi, np.uint32(Flag.ABOVE_RANGE), np.uint32(0))
        kept = np.ones(1440, np.bool_)
        for each in self.incidents:
            part = each.on(day)
            if part is None:
                continue
            if each.kind is EventKind.BOARD_SILENT:
                kept[part] = False
            elif each.kind is EventKind.SENSOR_STUCK:
                uvi[part] = 0.001 * round(1000 * self.level_uvi[day])
            elif each.kind in _FLAG_OF:
                flags[part] |= np.uint32(_FLAG_OF[each.kind])
                if each.kind is EventKind.SENSOR_WITHOUT_VALUE:
                    uvi[part] = np.nan
        u_uvi = np.hypot(np.hypot(U_RELATIVE * uvi, U_DARK_UVI), extrapolated(uvi, self.reach_uvi))
        at_ms = self.bounds(day).start_ms + MINUTE * 60_000
        return Samples(at_ms[kept], uvi[kept], u_uvi[kept], flags[kept])


_FLAG_OF = {
    EventKind.SENSOR_SATURATED: Flag.SATURATED,
    EventKind.SENSOR_TEMPERATURE: Flag.TEMPERATURE,
    EventKind.SENSOR_NEGATIVE: Flag.NEGATIVE,
    EventKind.SENSOR_WITHOUT_VALUE: Flag.SENSOR_FAULT,
}

PLANS = (
    *(Plan(f"fading {rate:g} %/week", 1.35, per_week=-rate / 100) for rate in (0.7, 1.0, 1.5, 2.0)),
    *(Plan(f"rising {rate:g} %/week", per_week=rate / 100) for rate in (0.7, 1.0, 1.5)),
    Plan("rising 2 %/week, never mended", per_week=0.02, keeper_acts=False),
    *(Plan(f"steady at {level:g}", level) for level in (1.3, 1.8, 2.0, 2.3)),
    Plan("stepping down and up", steps={120: 0.75, 250: 1.3}),
    Plan("stepping up", steps={90: 1.2}),
    Plan("stepping down a little", steps={200: 0.88}),
    Plan("shaded now and then", 1.6, shaded_times=6),
    Plan("shaded by a plant, trimmed", 2.2, per_week=-0.012, steps={170: 1.25, 300: 1.3}),
    Plan("replaced when due", per_week=-0.015, replaced=(160, 320)),
    Plan("replaced early", replaced=(120, 240)),
    Plan("replaced by a stronger one", 1.5, per_week=-0.005, replaced=(180,)),
)


def lamps(seed: int, plans: Sequence[Plan] = PLANS, reach_uvi: float = math.inf) -> list[Lamp]:
    """Return the lamps' years, reproducible by seed; their sensors calibrated up to `reach_uvi`."""
    years = [_lamp(plan, 1000 * seed + number) for number, plan in enumerate(plans)]
    if reach_uvi == math.inf:
        return years
    rng = np.random.default_rng([seed, 98])
    bends = np.clip(rng.normal(0, EXTRAPOLATED_SHARE, len(years)), -0.5, 0.5).tolist()
    return [replace(lamp, reach_uvi=reach_uvi, bend=bend) for lamp, bend in zip(years, bends, strict=True)]


def _lamp(plan: Plan, seed: int) -> Lamp:
    rng = np.random.default_rng([seed, 99])
    season = SEASON_PART * np.sin(2 * np.pi * (np.arange(DAYS) / 365 + rng.uniform()))
    weather = np.zeros(DAYS)
    for day in range(1, DAYS):
        shock = rng.normal(0, WEATHER_PART * np.sqrt(1 - WEATHER_RHO**2))
        weather[day] = WEATHER_RHO * weather[day - 1] + shock
    ageing, changes = _ageing(plan, rng)
    lamp = Lamp(
        plan,
        ageing * np.exp(season + weather),
        ageing,
        changes,
        (),
        float(np.clip(rng.normal(0, U_RELATIVE), -2 * U_RELATIVE, 2 * U_RELATIVE)),
        seed,
    )
    return replace(lamp, incidents=_incidents(lamp, rng))


def _ageing(plan: Plan, rng: np.random.Generator) -> tuple[np.ndarray, tuple[int, ...]]:
    """Return the level day by day and the days on which the keeper changed something."""
    level, level_uvi = plan.start_uvi, np.empty(DAYS)
    changes: list[int] = [0]
    out_days = 0
    for day in range(DAYS):
        level *= (1 + plan.per_week) ** (1 / 7) * plan.steps.get(day, 1.0)
        out_days = out_days + 1 if not BAND.low_uvi <= level <= BAND.high_uvi else 0
        if day in plan.replaced or (plan.keeper_acts and out_days > KEEPER_DAYS):
            level = plan.start_uvi * rng.uniform(0.95, 1.1)
            changes.append(day)
            out_days = 0
        burned = (day - changes[-1]) / BURN_IN_DAYS
        level_uvi[day] = level * (1 + BURN_IN_PART * np.exp(-3 * burned))
    return level_uvi, tuple(changes)


def _incidents(lamp: Lamp, rng: np.random.Generator) -> tuple[Incident, ...]:
    """Return what happens by chance, none of it while another such thing does, and gaps at any time."""
    free = list(range(20, DAYS - 2))
    found: list[Incident] = []

    def take(n_days: int = 1) -> int:
        while True:
            day = int(rng.choice(free))
            if all(each in free for each in range(day, day + n_days)):
                for each in range(day - 1, day + n_days + 1):
                    if each in free:
                        free.remove(each)
                return day

    def add(kind: EventKind, times: int, lengths: tuple[int, int], amount: float = 0.0) -> None:
        for _ in range(times):
            begin = take() * 1440 + int(rng.integers(ON_MINUTE + 60, ON_MINUTE + 200))
            found.append(Incident(kind, begin, begin + int(rng.integers(*lengths)), amount))

    add(EventKind.OVER_CEILING, 2, (40, 300), BAND.ceiling_uvi * 1.2)
    add(EventKind.OVER_CEILING, 1, (40, 300), BAND.ceiling_uvi * rng.uniform(1.02, 1.1))
    add(EventKind.OVER_CEILING, 1, (5, 40), BAND.ceiling_uvi * 2.5)
    add(EventKind.LAMP_OFF_BY_DAY, 2, (60, 500))
    add(EventKind.LAMP_FLICKERS, 1, (60, 200))
    add(EventKind.SENSOR_STUCK, 1, (420, 500))
    for kind in _FLAG_OF:
        add(kind, 1, (40, 400))
    for _ in range(2):
        begin = take() * 1440 + OFF_MINUTE
        found.append(Incident(EventKind.LAMP_ON_AT_NIGHT, begin, begin + int(rng.integers(60, 240))))
    begin = take(8) * 1440
    found.append(Incident(EventKind.LAMP_WARMS_UP_SLOWLY, begin, begin + 8 * 1440))
    for _ in range(lamp.plan.shaded_times):
        begin = take(3) * 1440
        found.append(Incident(EventKind.UNDER_BAND, begin, begin + 3 * 1440, 0.4))
    for day in range(DAYS):  # gaps: one day in twelve, from five minutes to a day and more
        if rng.uniform() < 1 / 12:
            begin = day * 1440 + int(rng.integers(1440))
            found.append(Incident(EventKind.BOARD_SILENT, begin, begin + int(5 * 300 ** rng.uniform())))
    return tuple(found)
