"""A number that can only have been meant in another unit is refused, and told in which to write it."""

import pytest

from tests.ingest.config.test_config import SMALL, SPOT, problems


@pytest.mark.parametrize(
    ("line", "key", "said"),
    [
        ("distance_cm = 3200", "distance_cm", "Write centimetres: 3200 mm are 320"),
        (
            "distance_cm = 32\npackage_claim_uvi = 3\npackage_claim_at_cm = 3000",
            "package_claim_at_cm",
            "Write centimetres: 3000 mm are 300",
        ),
        (
            "distance_cm = 32\npackage_claim_uvi = 350\npackage_claim_at_cm = 30",
            "package_claim_uvi",
            "Write a UV Index, such as 3.0",
        ),
    ],
)
def test_what_a_lamp_cannot_have_was_meant_in_another_unit(line, key, said):
    text = SMALL + SPOT.replace("distance_cm = 30", line) + "zone = 3\n"
    found = problems(text)
    assert list(found) == [f"lamp.sunny.{key}"]
    assert said in found[f"lamp.sunny.{key}"]


@pytest.mark.parametrize(
    "rule",
    [
        "dose_low_part = 60",  # per cent
        "dose_coverage = 90",
        "step_part = 10",
        "dose_high_part = 150",
        "far_times = 200",
        "k = 95",
        "under_hold_s = 900_000",  # milliseconds
        "max_gap_s = 180_000",
    ],
)
def test_a_rule_in_per_cent_or_milliseconds_is_refused(rule):
    name = rule.split()[0]
    found = problems(f"{SMALL}{SPOT}zone = 3\nrules = {{ {rule} }}\n")
    assert list(found) == [f"spot.ledge.rules.{name}"]
    assert f"for example: {name} = " in found[f"spot.ledge.rules.{name}"]


def test_a_silence_or_a_reminder_in_milliseconds_is_refused():
    board = SPOT.replace('label = "Pico"', 'label = "Pico"\nsilent_after_s = 120_000')
    found = problems(f"{SMALL}[attention]\nagain_now_s = 900_000\n{board}zone = 3\n")
    assert "attention.again_now_s" in found
    assert "over 86400" in found["board.rock.silent_after_s"]
