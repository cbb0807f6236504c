"""Each kind of event is judged by what its spot's own rules say, down to not at all."""

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Final

import pytest

from exposure.events import EventKind
from exposure.rules import RuleSettings
from tests.ingest.causes import CAUSES, Rules

LONG_S: Final = 86_400.0
# Rules by which the cause of each kind is none.
SILENCED: Final[Mapping[EventKind, Rules]] = {
    EventKind.OVER_CEILING: {"over_hold_s": LONG_S, "probably_over_hold_s": LONG_S},
    EventKind.ABOVE_BAND: {"above_hold_s": LONG_S},
    EventKind.UNDER_BAND: {"under_hold_s": LONG_S},
    EventKind.BACK_IN_BAND: {"back_hold_s": LONG_S},
    EventKind.DOSE_LOW: {"dose_low_part": 0.1},
    EventKind.DOSE_HIGH: {"dose_high_part": 9.0},
    EventKind.LAMP_OFF_BY_DAY: {"lamp_late_s": LONG_S},
    EventKind.LAMP_ON_AT_NIGHT: {"lamp_late_s": LONG_S},
    EventKind.LAMP_FLICKERS: {"flicker_times": 9},
    EventKind.LAMP_WARMS_UP_SLOWLY: {"slow_times": 9.0},
    EventKind.LAMP_RISING: {"lamp_notice_days": 0},
    EventKind.LAMP_FADING: {"lamp_notice_days": 0},
    EventKind.LEVEL_STEPPED: {"step_part": 0.5},
    EventKind.SENSOR_STUCK: {"stuck_hold_s": LONG_S},
    EventKind.SENSOR_SATURATED: {"sensor_hold_s": LONG_S},
    EventKind.SENSOR_TEMPERATURE: {"sensor_hold_s": LONG_S},
    EventKind.SENSOR_NEGATIVE: {"sensor_hold_s": LONG_S},
    EventKind.SENSOR_WITHOUT_VALUE: {"sensor_hold_s": LONG_S},
    EventKind.CALIBRATION_MISSING: {"sensor_hold_s": LONG_S},
    EventKind.CALIBRATION_OTHER_LAMP: {"sensor_hold_s": LONG_S},
    EventKind.CALIBRATION_DUE: {"calibration_notice_days": 7},
    EventKind.CALIBRATION_ENDED: {"sensor_hold_s": LONG_S},
    EventKind.CHECK_OVERDUE: {"check_every_days": 0},
}
# A failed check is a fact, and a board is no spot: `silent_after_s` stands at the board.
OF_NO_RULE: Final = {
    EventKind.CHECK_OUT,
    EventKind.BOARD_SILENT,
    EventKind.BOARD_RESTARTING,
    EventKind.BOARD_CLOCK_WRONG,
}


def test_every_kind_has_a_rule_or_a_reason_for_none() -> None:
    assert set(SILENCED) | OF_NO_RULE == set(EventKind)
    assert {key for rules in SILENCED.values() for key in rules} <= {
        rule.name for rule in fields(RuleSettings)
    }


@pytest.mark.parametrize("kind", SILENCED)
def test_a_spots_own_rules_say_what_is_an_event(kind: EventKind, tmp_path: Path) -> None:
    rig = CAUSES[kind](tmp_path, None, SILENCED[kind])
    assert kind not in {event.kind for event in rig.events()}
