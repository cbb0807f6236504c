"""Quiet hours and reminders as a keeper writes them."""

from dataclasses import replace
from pathlib import Path

import pytest

from exposure.attention_settings import AttentionSettings
from ingest.config import Config, ConfigError, parse_config

BRIDGE = """
[bridge]
site = "home"
name = "room"
time_zone = "Europe/Vienna"
"""
USUAL = AttentionSettings(time_zone="Europe/Vienna")


def read(text: str) -> Config:
    return parse_config(f"{BRIDGE}\n[attention]\n{text}", file=Path("baskline.toml"))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", USUAL),
        (
            'quiet_from = "21:30"\nquiet_until = 08:00:00',
            replace(USUAL, quiet_from_minute=1290, quiet_until_minute=480),
        ),
        (
            'quiet_from = "none"\nquiet_until = "none"',
            replace(USUAL, quiet_from_minute=None, quiet_until_minute=None),
        ),
        ("gather_s = 0", replace(USUAL, gather_s=0.0)),
        ("again_now_s = 60", replace(USUAL, again_now_s=60.0)),
        ("again_now_most_s = 3600", replace(USUAL, again_now_most_s=3600.0)),
        ("again_today_s = 3600", replace(USUAL, again_today_s=3600.0)),
        ("escalate_after = 1", replace(USUAL, escalate_after=1)),
    ],
)
def test_each_key_reaches_the_settings(text: str, expected: AttentionSettings) -> None:
    assert read(text).attention_settings() == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('quiet_from = "none"', "half the quiet hours"),
        ('quiet_from = "07:00"', "same minute"),
        ('quiet_from = "late"', "no time of day"),
        ("again_now_most_s = 600", "again_now_most_s is 600"),
        ("escalate_after = 0", "under 1"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(ConfigError) as refused:
        read(text)
    assert words in str(refused.value)
