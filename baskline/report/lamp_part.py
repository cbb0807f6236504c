"""What a month's report says of a lamp."""

from baskline.lamp_words import change_words, hours_words, lamp_words, replace_by_of, view_words
from baskline.measured_words import full_day, plain_day
from baskline.report.parts import LampPart
from ingest.config import Config
from ingest.month import LampMonth, Month


def lamp_part(lamp: LampMonth, month: Month, config: Config) -> LampPart:
    """Return what was, is and may be of a lamp, with what each of its spots has seen of it."""
    configured = config.lamps[lamp.lamp]
    facts = [
        ("Kind", lamp_words(lamp.lamp, config)),
        ("Put in", plain_day(lamp.hung)),
        ("Burned", hours_words(lamp.views)),
    ]
    if configured.package_claim_uvi is not None and configured.package_claim_at_cm is not None:
        claim = f"UVI {configured.package_claim_uvi:g} at {configured.package_claim_at_cm:g} cm"
        facts.append(("Package", f"claims {claim}"))
    for change in lamp.changes:
        facts.append(("Changed" if month.first <= change.day else "Before", change_words(change)))
    if not lamp.changes:
        facts.append(("Changed", "nothing was noted"))
    replace_by = replace_by_of(lamp.views)
    if replace_by is not None:
        facts.append(("Replace by", f"{full_day(replace_by)}, the earliest day on which it may be too weak"))
    return LampPart(
        config.lamp_name(lamp.lamp),
        facts,
        [
            (
                config.spots[view.spot].label,
                [(name.capitalize(), words) for name, words in view_words(view, config)],
                f"lamp-{view.spot}" if any(day.level_uvi is not None for day in view.days) else "",
            )
            for view in lamp.views
        ],
    )
