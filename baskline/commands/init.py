"""`baskline init`: the first configuration, and what a configuration lacks."""

from typing import TYPE_CHECKING

from baskline.caution import LAMP_CAUTION
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, read_config
from baskline.printing import console

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from baskline.first_hour.asking import Asking
    from baskline.first_hour.draft import Draft


def init(config: ConfigOption = DEFAULT_CONFIG) -> None:
    """Set a room up by a few questions, or add what is missing.

    Writes a commented configuration that loads, offers to start with the computer, checks, and says what
    comes next. A file that is there keeps every line and comment: what is new comes after it, and a numbered
    copy of what it was stays beside it. Ctrl-C leaves everything as it was.

    \b
    Examples:
      baskline init
      baskline init --config fern-room.toml
    """
    from datetime import UTC, datetime
    from importlib.util import find_spec
    from pathlib import Path

    from baskline.first_hour.asking import Asking
    from baskline.first_hour.boards_now import BoardsNow
    from baskline.first_hour.dialogue import Dialogue
    from baskline.first_hour.finish import check_and_say_next, offer_service
    from baskline.first_hour.keeping import refuse_early
    from baskline.guided_talk import Talk
    from exposure.days import local_date
    from firmware_host.clock import SystemClock

    refuse_early(config)
    present = read_config(config) if config.exists() else None
    before = None if present is None else config.read_bytes()
    clock = SystemClock()
    words = console()
    talk = Talk(words, clock)
    asking = Asking(talk)
    now_ms = clock.moment().wall_ms
    if present is None:
        today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone().date()
        talk.say(
            f"A first configuration, {config}. Enter takes what stands in brackets; nothing is written before"
            " the end, and Ctrl-C leaves everything as it is.\n"
        )
    else:
        today = local_date(now_ms, present.bridge.time_zone)
        talk.say(f"{config} is there, and stays as it is: what is missing comes after it.\n")
    talk.say(LAMP_CAUTION)
    dialogue = Dialogue(asking, BoardsNow(present, clock), present, today)
    try:
        draft = dialogue.run(page=find_spec("uvicorn") is not None)
        confirmed = draft.is_empty() or _confirmed(asking, config, draft, today, adding=before is not None)
    except KeyboardInterrupt:
        talk.say("\nNothing was written.")
        raise
    if not confirmed:
        talk.say("   Nothing was written.")
        return
    if draft.is_empty():
        talk.say("\nNothing to add.")
    else:
        _write(asking, config, before, draft, today)
    configured = read_config(config)
    offer_service(asking, configured, config, Path.home())
    check_and_say_next(words, asking, configured, config)


def _text(draft: "Draft", today: "date", *, adding: bool) -> str:
    from baskline.first_hour.draft import added_text, new_text

    return added_text(draft, today) if adding else new_text(draft)


def _confirmed(asking: "Asking", config: "Path", draft: "Draft", today: "date", *, adding: bool) -> bool:
    """Show what is to be written, and ask."""
    asking.talk.say("\nTo be written:\n")
    for line in _text(draft, today, adding=adding).splitlines():
        asking.talk.draw(f"   {line}".rstrip())
    asking.talk.say()
    return asking.yes(f"Write it into {config}?", default=True)


def _write(asking: "Asking", config: "Path", before: bytes | None, draft: "Draft", today: "date") -> None:
    from baskline.first_hour.keeping import add, write_new
    from calibrate.errors import KeeperError

    text = _text(draft, today, adding=before is not None)
    try:
        if before is None:
            write_new(config, text)
        else:
            asking.talk.say(f"   What it was before is kept: {add(config, before, text)}", hang=3)
    except KeeperError:
        asking.talk.say("   It could not be written; what you answered stands above.", hang=3)
        raise
    asking.talk.say(f"   Written: {config}", hang=3)
