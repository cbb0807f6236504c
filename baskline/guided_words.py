"""What a guided calibration says and asks: safe at each moment where the person stands."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from baskline.calibration_words import number
from calibrate.budget import budget
from calibrate.curve import middle_levels
from calibrate.lamp_kinds import LAMP_KINDS
from exposure.wording import uvi_text
from ingest.capture_guide import ENOUGH_PAIRS, FEWEST_PAIRS, CaptureGuide
from ingest.capture_steps import Step, Watching
from ingest.captured import Taken

if TYPE_CHECKING:
    from calibrate.calibration import Calibration

BEFORE: Final = (
    "Before you begin",
    "- The animals are somewhere else: nobody basks while you work.",
    "- Wear glasses that stop UV, and long sleeves. Do not look into the lamp.",
    "- The lamp stays on and is hot. Touch neither it nor its guard; keep cables and cloth away from it.",
    "- You need the sensor on its cable, your UVI meter, and something opaque to cover the sensor with,"
    " such as folded aluminium foil.",
    "- The readings of this spot are those of your work meanwhile: take no heed of its events.",
)


@dataclass(frozen=True, slots=True)
class Question:
    """Lines to say, and the prompt after them."""

    lines: tuple[str, ...]
    prompt: str


_NEARER = "   Nearer is hotter, with more UV on your hands: be quick, then draw back."


def question(guide: CaptureGuide) -> Question:
    """Return the question that stands."""
    match guide.step:
        case Step.METER_ACCURACY:
            about = "   Its papers state how accurate it is, and its display how fine."
            return Question(("", "1. Your meter", about), "   Accuracy in ± per cent [10]:")
        case Step.METER_STEP:
            return Question((), "   Step of its last digit in UVI [0.1]:")
        case Step.COVER:
            how = (
                "   Cover the sensor so that no light gets in. Lay the cover on from the side, with your"
                " hands out of the beam."
            )
            return Question(("", "2. Dark", how), "   Press Enter when it is covered:")
        case Step.LAMP_MINUTES:
            minutes = LAMP_KINDS[guide.setting.lamp_kind].warm_up_s // 60
            needs = f"   This kind of lamp needs {minutes} minutes until its light holds."
            return Question((needs,), "   For how many minutes has it been on?")
        case Step.PLACE:
            return _place(guide)
        case Step.READING:
            assert guide.level is not None
            return Question(
                (f"   {level_words(guide, guide.level)}",),
                "   What does the meter show at the same place? (or again)",
            )
        case _:
            why = "   To see whether the sensor has drifted meanwhile. Cover it again, from the side."
            return Question(
                ("", "4. Dark once more", why), "   Press Enter when it is covered, or type skip:"
            )


def _place(guide: CaptureGuide) -> Question:
    done = len(guide.pairs)
    lines = []
    if done == 0:
        lines += [
            "",
            "3. Pairs: the sensor's level and the meter's reading, side by side",
            "   Take the cover off. Begin far from the lamp, then go nearer: about five heights. Sensor and"
            " meter side by side, facing the lamp alike, on a stand if you can. Mesh stays where it always"
            " is. What moves is the sensor, never the hot lamp.",
        ]
    aim = guide.aim_uvi
    if aim is None or done >= ENOUGH_PAIRS:
        hint = "That is enough: type done, or take one more."
    else:
        hint = f"Look for a place where the meter shows about {aim:.1f}."
        if done >= FEWEST_PAIRS:
            hint += " If there is none where the animal can be, type done."
    lines += ["", f"   Pair {done + 1}. {hint}"]
    if 0 < done < ENOUGH_PAIRS:
        lines.append(_NEARER)
    return Question(tuple(lines), "   Press Enter when both hold still (or undo, done):")


def level_words(guide: CaptureGuide, taken: Taken) -> str:
    """Return what was taken of each channel, k = 2."""
    parts = zip(guide.setting.channels, taken.levels, taken.u_levels, strict=True)
    return ", ".join(f"{channel} {number(level)} ± {2 * u:.2g}" for channel, level, u in parts)


def watch_line(guide: CaptureGuide, watching: Watching) -> str:
    """Return the line that lives while readings are watched."""
    if watching.latest is None:
        return "   waiting for readings"
    parts = [
        f"{channel} {number(level)}"
        for channel, level in zip(guide.setting.channels, watching.latest.tolist(), strict=True)
    ]
    seen = watching.seen
    if seen is not None:
        parts.append(f"noise {', '.join(f'{noise:.2g}' for noise in seen.noise.tolist())}")
        parts.append("holds still" if seen.steady else f"moves by {float(seen.wander.max()):.1%}")
    if watching.seconds_left is not None:
        left = watching.seconds_left
        parts.append(f"{left:.0f} s more" if left < 120 else f"{left / 60:.0f} min more")
    return "   " + ", ".join(parts)


def in_short(calibration: "Calibration") -> Iterator[str]:
    """Yield what a calibration is good for, to somebody who has never made one."""
    at_middle = budget(calibration, middle_levels(calibration))
    value, _, doubt = uvi_text(at_middle.uvi, at_middle.u_uvi, 2.0, at_least=False).partition(" ± ")
    largest = at_middle.rows[0]
    yield (
        f"In short: where this spot reads UVI {value}, the true value is within ± {doubt} of it (k = 2, about"
        f" 95 %). The largest part of that: {largest.source} ({largest.basis})."
    )
