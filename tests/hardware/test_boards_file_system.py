"""What the boards' own file system, littlefs, makes of a power cut, and of no room."""

import json
from collections.abc import Callable
from itertools import pairwise

import pytest

from firmware_host.firmware_files import firmware_files
from firmware_host.flash import BoardState, FlashError, Mpremote, install, plan_install
from firmware_host.flash.install import needed_bytes
from firmware_host.flash.scripts import INSTALL, MANIFEST, PREPARE, STAGING, planned

OnBoard = Callable[..., str]
BLOCK_BYTES = 4096


def test_a_power_cut_while_settings_are_changed_leaves_the_old_ones_or_the_new_ones(
    on_board: OnBoard,
) -> None:
    said = json.loads(on_board("littlefs.py", said=json.dumps({"work": "cut"}), heap="1M"))
    found, changed_again = said[::2], said[1::2]
    assert len(found) >= 4
    old, new = ["the old one", 500], ["the new one " * 5, 500]
    assert found[0] == old
    assert found[-1] == new
    assert all(one in (old, new) for one in found)
    assert all(not (earlier == new and later == old) for earlier, later in pairwise(found))
    assert set(changed_again) == {"another"}


def test_settings_that_find_no_room_are_told_and_the_old_ones_stay(on_board: OnBoard) -> None:
    said = json.loads(on_board("littlefs.py", said=json.dumps({"work": "full"}), heap="1M"))
    assert said == {"said": 28, "label": "the old one", "left_over": False}  # ENOSPC


def there(free_bytes: int) -> BoardState:
    return BoardState((1, 29), "small", "00", free_bytes, {}, {})


def installed(on_board: OnBoard, free_blocks: int) -> dict[str, object]:
    files = firmware_files()
    plan = plan_install(files, there(0))
    orders = {
        "staging": STAGING,
        "folders": [STAGING, f"{STAGING}/chips", "chips"],
        "manifest": MANIFEST,
        "write": plan.sums,
        "remove": [],
        "files": plan.sums,
    }
    job = {
        "work": "install",
        "scripts": [planned(script, orders)[1] for script in (PREPARE, INSTALL)],
        "staging": STAGING,
        "files": {path: content.decode() for path, content in files.items()},
        "blocks": free_blocks,
    }
    *_, last = on_board("littlefs.py", said=json.dumps(job), heap="4M").splitlines()
    said: dict[str, object] = json.loads(last)
    return said


def test_the_firmware_fits_where_flashing_says_that_it_does_and_not_much_below(on_board: OnBoard) -> None:
    needed = needed_bytes(plan_install(firmware_files(), there(0)))
    said = installed(on_board, needed // BLOCK_BYTES)
    assert said == {"free_bytes": needed, "said": None}
    assert installed(on_board, needed // BLOCK_BYTES - 6)["said"] == 28  # ENOSPC: little is asked for in vain


def test_a_board_is_refused_only_where_the_firmware_would_not_fit() -> None:
    plan = plan_install(firmware_files(), there(0))
    enough = needed_bytes(plan)
    nobody = Mpremote("/dev/ttyACM-none")
    with pytest.raises(FlashError, match="kB left"):
        install(nobody, plan, there(enough - 1))
    with pytest.raises(FlashError, match="cannot be opened"):
        install(nobody, plan, there(enough))
