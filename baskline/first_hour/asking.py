"""Questions with a default and a reason, asked until the answer can be meant."""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, Final, TypeVar

from pydantic import TypeAdapter, ValidationError

from baskline.guided_talk import Talk
from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean
from exposure.bands import Band
from ingest.config.fields import DistanceCm

T = TypeVar("T")

_YES_NO: Final = {"y": True, "yes": True, "n": False, "no": False}
NONE_WORDS: Final = frozenset({"none", "-", "no"})


class AnswerError(KeeperError):
    """An answer that cannot be meant."""


class Asking:
    """Asks at a terminal or along a pipe."""

    def __init__(self, talk: Talk) -> None:
        self.talk = talk

    def ask(self, question: str, read: Callable[[str], T], *, why: str = "", default: str | None = None) -> T:
        """Say why, ask, and return the answer as `read` takes it; Enter is the default."""
        if why:
            self.talk.say()
            self.talk.say(f"   {why}", hang=3)
        shown = f" [{default}]" if default else ""
        while True:
            given = self.talk.ask(f"   {question}{shown}:")
            if not given and default is not None:
                given = default
            try:
                return read(given)
            except KeeperError as error:
                self.talk.say(f"   {error}", hang=3)

    def yes(self, question: str, *, default: bool, why: str = "") -> bool:
        """Ask for yes or no."""
        return self.ask(question, _yes_no, why=why, default="yes" if default else "no")

    def one_of(
        self, question: str, choices: Sequence[str], *, default: str | None = None, why: str = ""
    ) -> str:
        """Ask for one of several words, the beginning of one being enough; of one choice nothing is asked."""
        if len(choices) == 1:
            return choices[0]
        return self.ask(question, lambda given: _one_of(given, choices), why=why, default=default)


def _yes_no(given: str) -> bool:
    try:
        return _YES_NO[given.casefold()]
    except KeyError:
        raise AnswerError(f"{given!r} is neither yes nor no") from None


def _one_of(given: str, choices: Sequence[str]) -> str:
    wanted = given.casefold().strip()
    if given in choices:
        return given
    begin_so = [choice for choice in choices if wanted and choice.casefold().startswith(wanted)]
    if len(begin_so) == 1:
        return begin_so[0]
    raise AnswerError(f"{given!r} is not one of them", remedy=did_you_mean(given, choices))


def of_kind(kind: Any) -> Callable[[str], str]:
    """Return what reads an answer as the configuration would read that kind of value."""
    adapter = TypeAdapter(kind)

    def read(given: str) -> str:
        try:
            return str(adapter.validate_python(given))
        except ValidationError as error:
            [detail, *_] = error.errors(include_url=False)
            context = detail.get("ctx", {})
            what = str(context.get("what", detail["msg"]))
            raise AnswerError(f"that {what}", remedy=str(context.get("remedy", ""))) from None

    return read


def or_none(read: Callable[[str], T]) -> Callable[[str], T | None]:
    """Return what also takes `none`, for a thing that may be left out."""
    return lambda given: None if not given or given.casefold() in NONE_WORDS else read(given)


def centimetres(given: str) -> float:
    """Read a distance as the configuration would, with the keeper's comma or point."""
    try:
        number = float(given.replace(",", "."))
    except ValueError:
        raise AnswerError(f"{given!r} is no number", remedy="Write one such as 30") from None
    if not 0 < number < float("inf"):
        raise AnswerError(f"{given!r} is not above zero")
    return float(of_kind(DistanceCm)(str(number)))


def a_past_day(today: date) -> Callable[[str], date]:
    """Return what reads a date that is not to come."""

    def read(given: str) -> date:
        try:
            day = date.fromisoformat(given)
        except ValueError:
            raise AnswerError(f"{given!r} is no date", remedy=f"Write it as {today}") from None
        if day > today:
            raise AnswerError(f"{given} is still to come: this computer's clock says that it is {today}")
        return day

    return read


def zone_or_band(given: str) -> int | Band:
    """Read a zone, or a band as low, high and ceiling."""
    parts = given.replace(";", " ").split()
    if parts in (["1"], ["2"], ["3"], ["4"]):
        return int(parts[0])
    if len(parts) != 3:
        raise AnswerError(
            f"{given!r} is neither a zone nor a band",
            remedy="Write 1, 2, 3 or 4, or low, high and ceiling UVI, such as: 1 2.6 4",
        )
    low, high, ceiling = (_number(part) for part in parts)
    return Band(low, high, ceiling)


def _number(given: str) -> float:
    try:
        return float(given.replace(",", "."))
    except ValueError:
        raise AnswerError(f"{given!r} is no number", remedy="Write one such as 2.6") from None
