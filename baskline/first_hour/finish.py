"""The end of the first hour: starting with the computer, the check, and what comes next."""

import os
import pwd
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from rich.console import Console

from baskline.commands.check import print_findings
from baskline.commands.common import DEFAULT_CONFIG
from baskline.first_hour.asking import Asking
from baskline.first_hour.keeping import KeepingError, write_new_file
from baskline.first_hour.machine import lacks_group
from baskline.first_hour.service import NAME, Service, program_here, unit_text, user_unit_file
from ingest.config import Config

_SERIAL_GROUP: Final = "dialout"
_CHECK_S: Final = 12.0


def offer_service(asking: Asking, config: Config, config_file: Path, home: Path) -> None:
    """Offer the unit that starts the watch with the computer."""
    say = asking.talk.say
    say("\nStart with the computer")
    chosen = asking.one_of(
        "system, user, show or no",
        ("system", "user", "show", "no"),
        default="no",
        why="By systemd: as a service of the system, or of your own login. Show only prints it. You may run"
        " init again for it once the spots are calibrated.",
    )
    if chosen == "no":
        return
    groups = (_SERIAL_GROUP,) if config.pi_bus is None else (_SERIAL_GROUP, "i2c")
    service = Service(
        program_here(),
        config_file.absolute(),
        (config.bridge.store.absolute().parent,),
        None if chosen == "user" else pwd.getpwuid(os.geteuid()).pw_name,
        groups,
    )
    text = unit_text(service)
    if chosen == "show":
        for line in text.splitlines():
            asking.talk.draw(line)
        return
    file = user_unit_file(home) if chosen == "user" else config_file.absolute().parent / NAME
    _write(asking, file, text)
    say("   To begin with it, type:", hang=3)
    if chosen == "user":
        asking.talk.draw(f"   systemctl --user enable --now {NAME}")
        asking.talk.draw("   sudo loginctl enable-linger $USER     # or it ends when you log out")
    else:
        asking.talk.draw(f"   sudo cp {file} /etc/systemd/system/")
        asking.talk.draw(f"   sudo systemctl enable --now {NAME}")


def _write(asking: Asking, file: Path, text: str) -> None:
    """Write the unit; one that is there and differs stays as it is."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        if file.exists():
            same = file.read_text("utf-8") == text
            asking.talk.say(f"   {file} is there already{'' if same else ', and is left as it is'}.", hang=3)
            return
        write_new_file(file, text)
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not text"
        asking.talk.say(f"   {file} cannot be written ({reason}). Choose show another time.", hang=3)
        return
    except KeepingError as error:
        asking.talk.say(f"   {error}", hang=3)
        return
    asking.talk.say(f"   Written: {file}", hang=3)


def check_and_say_next(words: Console, asking: Asking, config: Config, config_file: Path) -> None:
    """Run what `baskline check` runs, and say the next step."""
    say = asking.talk.say
    say("\nThe check")
    print_findings(words, config_file, _CHECK_S)
    option = "" if config_file == DEFAULT_CONFIG else f" -c {config_file}"
    steps = list(_steps(config, option))
    say("\nWhat comes next")
    for number, (command, why) in enumerate(steps, 1):
        say(f"{number}. {command}", hang=3)
        say(f"   {why}", hang=3)


def _steps(config: Config, option: str) -> Sequence[tuple[str, str]]:
    steps = []
    if lacks_group(_SERIAL_GROUP):
        steps.append(
            (
                f"sudo usermod -aG {_SERIAL_GROUP} $USER",
                "Then log out and in again: without that group this user may not read serial ports.",
            )
        )
    if not config.boards:
        steps.append(
            ("baskline flash", "Puts the firmware on a board. Then run init again: it adds the board.")
        )
    elif not config.spots:
        steps.append((f"baskline init{option}", "Adds enclosures and spots for the boards that are there."))
    bare = [key for key, spot in config.spots.items() if spot.calibration is None]
    for key in bare[:1]:
        others = f" The same for {', '.join(bare[1:])}." if bare[1:] else ""
        steps.append(
            (
                f"baskline calibrate {key}{option}",
                "Compares the sensor with your UVI meter; until then the spot has no UVI. Animals out,"
                f" glasses that stop UV on, hands off the hot lamp: it says more before it begins.{others}",
            )
        )
    steps.append((f"baskline run{option}", "Watches, keeps every reading and speaks up."))
    return steps
