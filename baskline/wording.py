"""Words for numbers, as the command line and the charts print them."""

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from baskline.measured_words import full_day, local_moment, measured
from exposure.days import local_date
from exposure.events import Event
from exposure.wording import duration_text

if TYPE_CHECKING:
    from exposure.dose_verdict import DoseVerdict
    from exposure.profile import DayProfile
    from exposure.usual import Compared
    from ingest.config import Config
    from ingest.day import SpotDay
    from ingest.day_beside import DayBeside

DAY_HANG: Final = 11
"""In which column the words of `day_lines` begin."""

_FIGURES: Final = {
    "mean_uvi_lit": ("mean UVI", ""),
    "peak_uvi": ("peak", "UVI"),
    "lit_hours": ("light for", "h"),
    "hours_in_band": ("in band for", "h"),
    "first_light_minute": ("first light at", "clock"),
    "last_light_minute": ("last light at", "clock"),
}
"""What is compared with other days besides the dose and the warm-up, which have lines of their own."""

# Hours are said to a tenth.
_TENTH_H: Final = 0.05

FLAG_WORDS: Final = {
    "uncalibrated": "not calibrated",
    "missing": "a channel is missing",
    "saturated": "sensor at its limit",
    "below_range": "below what was calibrated",
    "above_range": "above what was calibrated",
    "negative": "below dark",
    "temperature": "outside the calibrated temperatures",
    "other_lamp_kind": "calibrated under another kind of lamp",
    "sensor_fault": "sensor fault",
    "clock_unsure": "clock not set",
    "stale_calibration": "calibration too old",
}
"""What is wrong with a sample, by its flag's name in lower case."""


def clock_time(utc_ms: int, zone: ZoneInfo) -> str:
    """Return a moment as the keeper's clock shows it."""
    return datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(zone).strftime("%H:%M")


def clock_span(start_ms: int, end_ms: int, shown: "SpotDay") -> str:
    """Return `15:09 to 15:50`; the end of the day is 24:00."""
    zone = ZoneInfo(shown.bounds.time_zone)
    end = "24:00" if end_ms == shown.bounds.end_ms else clock_time(end_ms, zone)
    return f"{clock_time(start_ms, zone)} to {end}"


def hours(value: float | None) -> str:
    """Return hours to a tenth."""
    return "not known" if value is None else f"{value:.1f} h"


def event_words(event: Event, zone: ZoneInfo, day: date) -> str:
    """Return an event as one line of the story of `day`; a time of another day says which."""

    def at(utc_ms: int) -> str:
        return clock_time(utc_ms, zone) if local_date(utc_ms, zone.key) == day else local_moment(utc_ms, zone)

    who = f"board {event.subject} " if event.subject_kind == "board" else ""
    told = f"{at(event.opened_ms)} {who}{event.sentence}"
    if event.closed_ms is None:
        return f"{told} (open)"
    return told if event.closed_ms == event.opened_ms else f"{told}; until {at(event.closed_ms)}"


def seen_until_ms(shown: "SpotDay", now_ms: int) -> int:
    """Return up to when the day can have been seen: to `now_ms` while it lasts."""
    return min(max(now_ms, shown.bounds.start_ms), shown.bounds.end_ms)


def gaps_until_ms(shown: "SpotDay", now_ms: int) -> list[tuple[int, int]]:
    """Return (from, to) of what was not seen, UTC milliseconds, without what is still to come."""
    until_ms = seen_until_ms(shown, now_ms)
    longest_ms = shown.profile.max_gap_s * 1000
    clipped = [(gap.start_ms, min(gap.end_ms, until_ms)) for gap in shown.profile.gaps]
    return [(start, end) for start, end in clipped if end - start > longest_ms]


def day_title(shown: "SpotDay", config: "Config") -> str:
    """Return the spot and the day."""
    label = config.spots[shown.spot].label
    return f"{label}, {full_day(shown.bounds.date)}"


def seen_words(shown: "SpotDay", now_ms: int) -> str:
    """Return how much of the day there is a UVI of: of the whole day, or of the day so far."""
    until_ms = seen_until_ms(shown, now_ms)
    length_ms = shown.bounds.end_ms - shown.bounds.start_ms
    so_far_ms = until_ms - shown.bounds.start_ms
    part = shown.profile.coverage * length_ms / so_far_ms if so_far_ms else 0.0
    percent = round(100 * min(part, 1.0))
    if gaps_until_ms(shown, now_ms):
        percent = min(percent, 99)  # what says 100 % has no gap
    return f"{percent} % of the day{'' if until_ms == shown.bounds.end_ms else ' so far'}"


def day_summary(shown: "SpotDay", now_ms: int) -> list[str]:
    """Return the day's main numbers as short phrases."""
    profile = shown.profile
    zone = ZoneInfo(shown.bounds.time_zone)
    seen = f"{seen_words(shown, now_ms)} seen"
    if profile.dose_uvi_h is None:
        return [no_value_words(shown)]
    least = profile.at_least
    at = f" at {clock_time(profile.peak_ms, zone)}" if profile.peak_ms is not None else ""
    return [
        f"dose {measured(profile.dose_uvi_h, profile.u_dose_uvi_h, 'UVI·h', at_least=least)}",
        f"peak {measured(profile.peak_uvi, profile.u_peak_uvi, at_least=least)}{at}",
        f"{hours(profile.hours_in_band)} in band",
        seen,
    ]


def no_value_words(shown: "SpotDay") -> str:
    """Return why a day has no UVI at all."""
    reasons = _flag_words(shown)
    if reasons:
        return ", ".join(reasons)
    apart = f"readings more than {duration_text(shown.profile.max_gap_s)} apart"
    return apart if len(shown.samples) else "no readings"


def day_lines(
    shown: "SpotDay", config: "Config", now_ms: int, beside: "DayBeside | None" = None
) -> Iterator[str]:
    """Yield the lines that `baskline day` prints; words start in column `DAY_HANG`.

    `beside` adds what the day is beside other days.
    """
    profile = shown.profile
    zone = ZoneInfo(shown.bounds.time_zone)
    spot = config.spots[shown.spot]
    lamp = config.lamps[spot.lamp]
    band = profile.band
    yield day_title(shown, config)
    yield f"{config.enclosures[spot.enclosure].label}, {spot.kind} spot under {lamp.kind}; ± is k = 2"
    yield ""
    zone_words = f"zone {spot.zone}, " if spot.zone is not None and spot.own_band is None else ""
    yield f"wanted     {zone_words}{band.low_uvi:g} to {band.high_uvi:g}, never over {band.ceiling_uvi:g}"
    if profile.dose_uvi_h is None:
        kept = "; the readings are kept" if len(shown.samples) else ""
        yield f"no UVI     {no_value_words(shown)}{kept}"
    else:
        yield f"seen       {seen_words(shown, now_ms)}{_gap_words(shown, now_ms)}"
        yield from _number_lines(shown, zone)
        doubts = _flag_words(shown)
        if doubts:
            yield f"doubtful   {', '.join(doubts)}"
        if beside is not None:
            yield from _beside_lines(beside)
    for number, event in enumerate(shown.events):
        yield f"{'events' if number == 0 else '':10} {event_words(event, zone, shown.bounds.date)}"


def _number_lines(shown: "SpotDay", zone: ZoneInfo) -> Iterator[str]:
    profile = shown.profile
    least = profile.at_least
    at = f" at {clock_time(profile.peak_ms, zone)}" if profile.peak_ms is not None else ""
    yield f"peak       {measured(profile.peak_uvi, profile.u_peak_uvi, 'UVI', at_least=least)}{at}"
    yield (
        f"dose       {measured(profile.dose_uvi_h, profile.u_dose_uvi_h, 'UVI·h', at_least=least)}"
        f" = {measured(profile.dose_sed, profile.u_dose_sed, 'SED')}"
    )
    if profile.first_light_ms is None or profile.last_light_ms is None:
        yield "light      none seen"
        return
    yield (
        f"light      {clock_time(profile.first_light_ms, zone)} to"
        f" {clock_time(profile.last_light_ms, zone)}, {hours(profile.lit_hours)},"
        f" mean {measured(profile.mean_uvi_lit, profile.u_mean_uvi_lit, 'UVI')}"
    )
    yield (
        f"in band    {hours(profile.hours_in_band)}; below {hours(profile.hours_below_band)},"
        f" above {hours(profile.hours_above_band)}, over the ceiling"
        f" {hours(profile.hours_above_ceiling)}{_likely_words(profile)}"
    )


def _likely_words(profile: "DayProfile") -> str:
    """Return for how long it was over the ceiling if the uncertainty is counted in, where that differs."""
    likely, best = profile.expected_hours_above_ceiling, profile.hours_above_ceiling
    if likely is None or best is None or abs(likely - best) < _TENTH_H:
        return ""
    return f" (with the ± counted in, rather {hours(likely)})"


def _beside_lines(beside: "DayBeside") -> Iterator[str]:
    """Yield what the day is beside the days before it."""
    if beside.lamp is not None and beside.lamp.ramp_minutes is not None:
        usual = _usual_of(beside.compared.get("ramp_minutes"))
        among = "" if usual is None else f", {usual:.0f} min is usual"
        yield f"warm-up    {beside.lamp.ramp_minutes:.0f} min to nine tenths of the day's level{among}"
    if beside.verdict is not None:
        yield f"verdict    {_verdict_words(beside.verdict)}"
    dose = beside.compared.get("dose_uvi_h")
    before = [] if dose is None else [(dose.week, 7), (dose.month, 30)]
    told = [f"{usual.median:.1f} UVI·h in the {n} days before" for usual, n in before if usual is not None]
    if told:
        yield f"usual      {', '.join(told)}"
    unlike = list(_unlike_words(beside.compared))
    if unlike:
        yield f"unusual    {'; '.join(unlike)}"


def _verdict_words(verdict: "DoseVerdict") -> str:
    if verdict.state.value != "usual":
        return verdict.sentence
    least, greatest = (verdict.evidence[name] for name in ("least_uvi_h", "greatest_uvi_h"))
    little = None if least is None else f"little dose (under {least:.1f} UVI·h)"
    much = None if greatest is None else f"much (over {greatest:.1f} UVI·h)"
    if little is None or much is None:
        return f"not {little or much}"
    return f"neither {little} nor {much}"


def _unlike_words(compared: "Mapping[str, Compared]") -> Iterator[str]:
    """Yield each figure that is not as on other days."""
    for name, (words, unit) in _FIGURES.items():
        each = compared.get(name)
        usual = _usual_of(each)
        if each is not None and each.unlike and each.value is not None and usual is not None:
            yield f"{words} {_figure(each.value, unit)} where {_figure(usual, unit)} is usual"


def _usual_of(compared: "Compared | None") -> float | None:
    usual = None if compared is None else compared.month or compared.week
    return None if usual is None else usual.median


def _figure(value: float, unit: str) -> str:
    if unit == "clock":
        return f"{int(value) // 60:02}:{int(value) % 60:02}"
    return f"{value:.1f} {unit}".rstrip()


def _gap_words(shown: "SpotDay", now_ms: int) -> str:
    gaps = gaps_until_ms(shown, now_ms)
    if not gaps:
        return ""
    spans = [clock_span(start, end, shown) for start, end in gaps[:3]]
    more = f" and {len(gaps) - 3} more times" if len(gaps) > 3 else ""
    return f"; nothing from {', '.join(spans)}{more}"


def _flag_words(shown: "SpotDay") -> list[str]:
    return [
        f"{FLAG_WORDS[name]} for {duration_text(3600 * spent)}"
        for name, spent in sorted(shown.profile.flag_hours.items())
    ]
