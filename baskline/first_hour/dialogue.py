"""The questions of `baskline init`, in the keeper's order: this bridge, boards, animals, lamps, spots."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from baskline.first_hour.animals import by_species, who_lives_there
from baskline.first_hour.asking import (
    AnswerError,
    Asking,
    a_past_day,
    centimetres,
    of_kind,
    or_none,
    zone_or_band,
)
from baskline.first_hour.boards_now import BoardsNow
from baskline.first_hour.draft import Draft, NewBoard, NewEnclosure, NewLamp, NewSpot, key_from
from baskline.first_hour.machine import broker_here, time_zone_here
from calibrate.lamp_kinds import LAMP_KINDS
from exposure.bands import Band
from exposure.species import with_own_rows
from exposure.zones import zone_band
from ingest.config import Config
from ingest.config.fields import Host, Name, Text, TimeZoneName

_NONE: Final = or_none(of_kind(Text))


@dataclass(frozen=True, slots=True)
class _Eye:
    """A sensor that watches nothing yet."""

    board: str
    sensor: str

    @property
    def said(self) -> str:
        return f"{self.board}.{self.sensor}" if self.sensor else self.board


class Dialogue:
    """Asks for what is missing and gathers it in a draft."""

    def __init__(self, asking: Asking, boards: BoardsNow, config: Config | None, today: date) -> None:
        self._ask = asking
        self._say = asking.talk.say
        self._boards = boards
        self._config = config
        self._today = today
        self._table = with_own_rows(() if config is None else config.own_species())
        self._told: set[str] = set()
        self.draft = Draft()

    def run(self, *, page: bool) -> Draft:
        """Ask everything; `page` is whether the page can be served here."""
        if self._config is None:
            self._bridge()
        self._find_boards()
        eyes = self._eyes()
        self._say("\n3. Enclosures, lamps and spots")
        self._known_enclosures(eyes)
        self._new_enclosures(eyes)
        for eye in eyes:
            self._say(f"   {eye.said} watches nothing yet: run `baskline init` again for it.", hang=3)
        self._broker()
        if page and (self._config is None or self._config.page is None):
            self._say("\n5. The page")
            self.draft.page = self._ask.yes(
                "Show the room in a browser too?",
                default=True,
                why="For this computer alone; a phone needs a password (ingest/CONFIG.md, [page]).",
            )
        return self.draft

    def _bridge(self) -> None:
        self._say("\n1. This bridge")
        self.draft.site = self._ask.ask(
            "Site", of_kind(Name), default="home", why="Your house: the first word of every MQTT topic."
        )
        self.draft.name = self._ask.ask(
            "Room", of_kind(Name), default="reptile-room", why="Each bridge of a site has another name."
        )
        self.draft.time_zone = self._ask.ask(
            "Time zone",
            of_kind(TimeZoneName),
            default=time_zone_here(),
            why="It says when a day begins and ends. Guessed from this computer.",
        )

    def _find_boards(self) -> None:
        self._say("\n2. Boards")
        known = {} if self._config is None else {b.identity: k for k, b in self._config.boards.items()}
        taken = set(known.values())
        for heard in self._boards.look(self._ask, known):
            self._say(f"   {heard.identity}  on {heard.port}: {', '.join(heard.channels)}", hang=6)
            number = len(taken) + 1
            label = self._ask.ask(
                "What do you call it?",
                of_kind(Text),
                default=f"Board {number}",
                why="In your words, such as where it sits.",
            )
            key = key_from(label, taken, f"board_{number}")
            taken.add(key)
            self.draft.boards.append(NewBoard(key, heard.identity, label, heard.sensors))
        self.draft.ports = self._boards.pattern if self._config is None else ""

    def _eyes(self) -> list[_Eye]:
        """Return what watches nothing: sensors of new boards, and of known ones that are heard now.

        Which sensors a board has, only the board says.
        """
        eyes = [_Eye(board.key, sensor) for board in self.draft.boards for sensor in board.sensors]
        if self._config is None:
            return eyes
        used = {(spot.board, spot.sensor or "") for spot in self._config.spots.values()}
        for key, board in self._config.boards.items():
            heard = self._boards.heard.get(board.identity)
            if heard is None:
                continue
            watched = {sensor for other, sensor in used if other == key}
            # A spot that names no sensor has the board for itself.
            eyes += [_Eye(key, each) for each in heard.sensors if each not in watched and "" not in watched]
        return eyes

    def _known_enclosures(self, eyes: list[_Eye]) -> None:
        if self._config is None:
            return
        for key, enclosure in self._config.enclosures.items():
            if not eyes:
                return
            bare = all(spot.enclosure != key for spot in self._config.spots.values())
            question = f"{'A' if bare else 'Another'} spot in {enclosure.label}?"
            if self._ask.yes(question, default=bare):
                lamps = self._lamps_over(key)
                if not lamps or self._ask.yes("Under a new lamp?", default=False):
                    lamps = [self._lamp(enclosure.label)]
                self._spots(key, enclosure.label, enclosure.species, lamps, eyes)

    def _lamps_over(self, enclosure: str) -> list[str]:
        assert self._config is not None
        spots = self._config.spots.values()
        over = dict.fromkeys(spot.lamp for spot in spots if spot.enclosure == enclosure)
        return list(over) or list(self._config.lamps)

    def _new_enclosures(self, eyes: list[_Eye]) -> None:
        taken = set() if self._config is None else set(self._config.enclosures)
        while True:
            more = "another" if taken else "an"
            label = self._ask.ask(
                f"Name {more} enclosure (Enter: no more)", _NONE, why="" if taken else "Where animals live."
            )
            if label is None:
                return
            key = key_from(label, taken, f"enclosure_{len(taken) + 1}")
            taken.add(key)
            species = who_lives_there(self._ask, self._table)
            name = None if species is None else species if isinstance(species, str) else species.name
            self.draft.enclosures.append(NewEnclosure(key, label, name))
            lamps = [self._lamp(label)]
            while self._ask.yes("Another lamp over it?", default=False):
                lamps.append(self._lamp(label))
            if eyes:
                self._spots(key, label, name, lamps, eyes)
            else:
                self._say("   Every board has its spot; another spot needs another board.", hang=3)

    def _lamp(self, enclosure: str) -> str:
        """Ask how a lamp hangs, and return its key."""
        known = set() if self._config is None else set(self._config.lamps)
        taken = known | {lamp.key for lamp in self.draft.lamps}
        self._say(f"\n   A lamp over {enclosure}", hang=3)
        self._once(
            "A calibration holds under one kind of lamp:",
            *(f"  {kind.key}: {kind.title}" for kind in LAMP_KINDS.values()),
        )
        kind = self._ask.one_of("Kind", list(LAMP_KINDS), default="t5")
        installed = self._ask.ask(
            "Since when does it hang there?",
            a_past_day(self._today),
            default=str(self._today),
            why="Lamps age: their hours are counted from that day.",
        )
        distance_cm = self._ask.ask(
            "How far is the animal's back, in cm?",
            centimetres,
            default="30",
            why="Measure with the lamp off and cold, from the lamp to where the back will be.",
        )
        mesh = self._ask.yes("Is there mesh between?", default=False, why="Mesh takes part of the UV.")
        key = key_from(f"{enclosure} lamp", taken, f"lamp_{len(taken) + 1}")
        self.draft.lamps.append(NewLamp(key, kind, installed, distance_cm, mesh))
        return key

    def _spots(
        self, enclosure: str, label: str, species: str | None, lamps: Sequence[str], eyes: list[_Eye]
    ) -> None:
        """Ask which spots of an enclosure are watched, until the sensors or the keeper have no more."""
        taken = set() if self._config is None else set(self._config.spots)
        self._once("A spot is where a sensor looks from: a basking place, or a retreat from the light.")
        while eyes:
            taken |= {spot.key for spot in self.draft.spots}
            spot_label = self._ask.ask(f"Name a spot in {label} (Enter: no more)", _NONE)
            if spot_label is None:
                return
            said = [eye.said for eye in eyes]
            eye = eyes[said.index(self._ask.one_of(f"Watched by ({', '.join(said)})", said, default=said[0]))]
            lamp = self._ask.one_of(f"Under which lamp ({', '.join(lamps)})", lamps, default=lamps[0])
            kind = self._ask.one_of(
                "basking or retreat",
                ("basking", "retreat"),
                default="basking",
                why="An animal needs both: where it basks, and where it gets away from the light.",
            )
            wanted = self._wanted(kind, species)
            eyes.remove(eye)
            key = key_from(spot_label, taken, f"spot_{len(taken) + 1}")
            self.draft.spots.append(
                NewSpot(key, spot_label, enclosure, lamp, eye.board, eye.sensor, kind, wanted)
            )

    def _wanted(self, kind: str, species: str | None) -> int | Band:
        """Ask for the zone or band; nothing is offered that no source says."""
        if kind == "retreat":
            default: str | None = "1"
            why = "Zone 1 is the one with the least UV, as a retreat should have."
        else:
            default, why = by_species(species, self._table)
        self._once(
            "The published zones, as UVI where it basks:",
            *(f"  zone {number}: {_band_words(zone_band(number))}" for number in (1, 2, 3, 4)),
        )
        self._once(
            "Zones guide; behaviour, shade and gradient matter more. A zone's ceiling was seen at noon under"
            " the sun: under a strong lamp, type a band with a lower one."
        )
        return self._ask.ask("Zone, or low high ceiling", zone_or_band, why=why, default=default)

    def _once(self, *lines: str) -> None:
        """Explain; the second time it would only be in the way."""
        if lines[0] not in self._told:
            self._told.add(lines[0])
            self._say()
            for line in lines:
                self._say(f"   {line}", hang=5 if line.startswith(" ") else 3)

    def _broker(self) -> None:
        if self._config is not None and self._config.mqtt is not None:
            return
        self._say("\n4. Home automation")
        here = "localhost" if broker_here() else "none"
        given = self._ask.ask(
            "MQTT broker (a name, or none)",
            or_none(_host_and_port),
            default=here,
            why="It is told every value and event; without one everything else works.",
        )
        if given is None:
            return
        self.draft.broker_host, self.draft.broker_port = given
        self.draft.broker_user = self._ask.ask("User name there (Enter: none)", _NONE)
        if self.draft.broker_user is not None:
            self._say("   Put the password into the first line of the file mqtt-password beside it.", hang=3)


def _host_and_port(given: str) -> tuple[str, int | None]:
    host, colon, port = given.rpartition(":")
    if not colon or ":" in host:  # an address of version 6 has colons of its own
        return of_kind(Host)(given), None
    if not port.isascii() or not port.isdigit() or not 1 <= int(port) <= 65535:
        raise AnswerError(f"{port!r} is no port", remedy="Write one such as localhost:1883")
    return of_kind(Host)(host), int(port)


def _band_words(band: Band) -> str:
    return f"{band.low_uvi:g} to {band.high_uvi:g}, never over {band.ceiling_uvi:g}"
