"""The guided calibration at the terminal: the words around `ingest.capture_guide`."""

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from baskline.calibration_words import residual_lines
from baskline.guided_end import draw, name, say_next, tell
from baskline.guided_talk import Talk
from baskline.guided_words import BEFORE, level_words, question, watch_line
from calibrate.calibration_file import read_calibration
from calibrate.errors import KeeperError
from calibrate.lamp_kinds import LAMP_KINDS
from exposure.days import local_date
from firmware_host.clock import Clock
from ingest.calibration_files import folder_of, free_points_file, newest_points_file
from ingest.capture_fit import fit_points_of, keep
from ingest.capture_guide import FEWEST_PAIRS, CaptureGuide
from ingest.capture_steps import WATCHED, AnswerError, NoReadingsError, Plan, Step
from ingest.captured import Setting, Taken, read_taken, write_points
from ingest.config import Config
from ingest.spot_levels import Levels, SpotLevels, light_channels
from ingest.steadiness import lit_for_s
from ingest.store.lock import is_held
from ingest.store.store import Store
from ingest.temporary_daemon import TemporaryDaemon, running_daemon

if TYPE_CHECKING:
    from calibrate.calibration import Calibration

_LOOK_S: Final = 0.25
_FIRST_READING_S: Final = 60.0
_SKEW_MS: Final = 60_000


class GuidedError(KeeperError):
    """A guided calibration that cannot begin or go on."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the keeper has asked for."""

    spot: str
    config_file: Path
    window_s: float
    resume: bool


class Guided:
    """One guided calibration."""

    def __init__(self, wish: Wish, config: Config, clock: Clock, talk: Talk) -> None:
        self._wish = wish
        self._config = config
        self._clock = clock
        self._talk = talk
        self._spot = config.spots[wish.spot]
        self._folder = folder_of(config, wish.config_file, wish.spot)
        self._skew_ms = 0
        self._points_file: Path | None = None
        self._daemon: TemporaryDaemon | None = None

    def run(self) -> None:
        """Lead through all of it; what was taken stays in the points file whatever happens."""
        config = self._config
        say = self._talk.say
        lamp = config.lamps[self._spot.lamp]
        board = config.boards[self._spot.board]
        say(f"Calibrating {self._wish.spot}: {self._spot.label}, under {LAMP_KINDS[lamp.kind].title}")
        say()
        for line in BEFORE:
            say(line, hang=2)
        say()
        with ExitStack() as stack:
            if is_held(config.bridge.store):
                say("baskline is running: its readings are used.")
            else:
                say("baskline is not running: for the time being this command reads the boards itself.")
                self._daemon = stack.enter_context(running_daemon(config, self._clock))
            levels = stack.enter_context(SpotLevels(config.bridge.store, board.identity, self._spot.sensor))
            first = self._first_reading(levels, board.label)
            guide = self._begin(first)
            self._note_lamp(guide, levels)
            try:
                self._course(guide, levels)
            except (KeyboardInterrupt, NoReadingsError):
                self._say_kept(guide)
                raise
        assert self._points_file is not None
        self._finish(guide, self._points_file)

    # -- beginning

    def _now_ms(self) -> int:
        return self._clock.moment().wall_ms + self._skew_ms

    def _first_reading(self, levels: SpotLevels, label: str) -> Levels:
        began_ms = self._clock.moment().mono_ms
        with self._talk.waiting() as shown:
            while True:
                self._check_daemon()
                found = levels.new()
                if len(found):
                    # Readings of a run that began with an unset clock carry that run's idea of the time.
                    skew_ms = int(found.utc_ms[-1]) - self._clock.moment().wall_ms
                    self._skew_ms = skew_ms if abs(skew_ms) > _SKEW_MS else 0
                    return found
                waited_s = (self._clock.moment().mono_ms - began_ms) / 1000
                if waited_s > _FIRST_READING_S:
                    raise GuidedError(
                        f"no reading has come for {waited_s:.0f} s",
                        where=f"board {self._spot.board} ({label})",
                        remedy="Check its plug and cable, and `baskline check`",
                    )
                shown.show(f"waiting for the board ({label}), {waited_s:.0f} s")
                shown.enter_pressed(_LOOK_S)

    def _begin(self, first: Levels) -> CaptureGuide:
        taken: list[Taken] = []
        today = local_date(self._now_ms(), self._config.bridge.time_zone)
        if self._wish.resume:
            self._points_file = newest_points_file(self._folder, self._wish.spot)
            if self._points_file is None:
                raise GuidedError(
                    f"nothing was taken of {self._wish.spot} yet",
                    where=str(self._folder),
                    remedy="Begin without --resume",
                )
            setting, taken = read_taken(self._points_file)
            self._refuse_other(setting, first, self._points_file)
            n_pairs = sum(not point.is_dark for point in taken)
            self._talk.say(f"Going on with {self._points_file}: {_count(n_pairs, 'pair')} so far.")
        else:
            setting = self._setting(first)
            self._points_file = free_points_file(self._folder, self._wish.spot, today)
        plan = Plan(setting, top_uvi=self._spot.band().ceiling_uvi, window_s=self._wish.window_s)
        return CaptureGuide(plan, self._write, taken)

    def _setting(self, first: Levels) -> Setting:
        earlier = self._earlier()
        if earlier is not None:
            channels = tuple(channel.name for channel in earlier.channels)
            saturation = {c.name: c.saturation for c in earlier.channels if c.saturation is not None}
        else:
            channels, saturation = light_channels(first.channels), {}
        missing = [channel for channel in channels if channel not in first.channels]
        if missing or not channels:
            raise GuidedError(
                f"the board reports {', '.join(first.channels)}"
                + (f", but not {', '.join(missing)} of the present calibration" if missing else ": no light"),
                where=f"board {self._spot.board}",
                remedy=f"Check `sensor` in [spot.{self._wish.spot}], and the board's program",
            )
        return Setting(
            channels,
            lamp_kind=self._config.lamps[self._spot.lamp].kind,
            sensor_kind=self._sensor_kind(earlier),
            made_on=local_date(self._now_ms(), self._config.bridge.time_zone),
            saturation=saturation,
        )

    def _earlier(self) -> "Calibration | None":
        path = self._spot.calibration
        return read_calibration(path) if path is not None and path.exists() else None

    def _sensor_kind(self, earlier: "Calibration | None") -> str:
        if earlier is not None:
            return earlier.sensor_kind
        with Store.open(self._config.bridge.store, read_only=True) as store:
            record = store.boards.get(self._config.boards[self._spot.board].identity)
        return record.hello.sensor if record is not None and record.hello is not None else "not stated"

    def _refuse_other(self, setting: Setting, first: Levels, path: Path) -> None:
        lamp_kind = self._config.lamps[self._spot.lamp].kind
        if setting.lamp_kind != lamp_kind or not set(setting.channels) <= set(first.channels):
            raise GuidedError(
                f"was taken of {', '.join(setting.channels)} under {setting.lamp_kind}, but now it is"
                f" {', '.join(first.channels)} under {lamp_kind}",
                where=str(path),
                remedy="Begin anew, without --resume",
            )

    def _note_lamp(self, guide: CaptureGuide, levels: SpotLevels) -> None:
        """See in what is stored since when the lamp has been on."""
        now_ms = self._now_ms()
        back_ms = 1000 * (LAMP_KINDS[guide.setting.lamp_kind].warm_up_s + 600)
        past = levels.between(now_ms - back_ms, now_ms + 1)
        on_s = lit_for_s(past.utc_ms / 1000, past.of(guide.setting.channels[0]))
        if on_s is not None:
            self._talk.say(f"The lamp came on {on_s / 60:.0f} minutes ago, as the readings show.")
            guide.lamp_lit_since(now_ms - 1000 * on_s, now_ms)

    def _write(self, setting: Setting, taken: Sequence[Taken]) -> None:
        assert self._points_file is not None
        self._points_file.parent.mkdir(parents=True, exist_ok=True)
        write_points(self._points_file, setting, taken)

    def _check_daemon(self) -> None:
        if self._daemon is not None:
            self._daemon.check()

    # -- the course

    def _course(self, guide: CaptureGuide, levels: SpotLevels) -> None:
        while guide.step is not Step.FINISHED:
            self._check_daemon()
            try:
                if guide.step in WATCHED:
                    self._watch(guide, levels)
                else:
                    n_pairs = len(guide.pairs)
                    guide.answer(self._ask(guide), self._now_ms())
                    if len(guide.pairs) != n_pairs:
                        self._show_progress(guide)
            except AnswerError as error:
                self._talk.say(f"  {error}", hang=2)

    def _ask(self, guide: CaptureGuide) -> str:
        asked = question(guide)
        for line in asked.lines:
            self._talk.say(line, hang=3)
        return self._talk.ask(asked.prompt)

    def _watch(self, guide: CaptureGuide, levels: SpotLevels) -> None:
        step, n_taken = guide.step, len(guide.taken)
        if step is Step.WARM_UP:
            self._talk.say("   Waiting for the lamp to warm up. Draw back; Enter goes on without.")
        with self._talk.waiting() as shown:
            while guide.step is step:
                self._check_daemon()
                guide.observe(levels.new(), self._now_ms())
                if guide.step is not step:
                    break
                shown.show(watch_line(guide, guide.watching(self._now_ms())))
                if shown.enter_pressed(_LOOK_S):
                    guide.skip(self._now_ms())
        if len(guide.taken) > n_taken:
            self._talk.say(f"   Dark: {level_words(guide, guide.taken[-1])}. Kept. Take the cover off.")

    def _show_progress(self, guide: CaptureGuide) -> None:
        """Say how the pairs so far agree with one another."""
        if len(guide.pairs) < FEWEST_PAIRS or self._points_file is None:
            return
        try:
            fitted = fit_points_of(self._points_file, name="")
        except KeeperError as error:
            self._talk.say(f"   No curve yet: {error.what}. {error.remedy}.", hang=3)
            return
        self._talk.say(f"   So far ({fitted.fit.name}):")
        for line in residual_lines(fitted.fit):
            self._talk.draw(f"     {line}")

    # -- the end

    def _say_kept(self, guide: CaptureGuide) -> None:
        self._talk.say()
        if guide.taken:
            self._talk.say(
                f"Kept: {_count(len(guide.pairs), 'pair')} in {self._points_file}."
                f" Go on with: baskline calibrate {self._wish.spot} --resume"
            )
        else:
            self._talk.say("Nothing was taken yet.")

    def _finish(self, guide: CaptureGuide, points_file: Path) -> None:
        talk = self._talk
        try:
            fitted = fit_points_of(points_file, name=self._spot.label, remarks=tuple(guide.remarks))
        except KeeperError:
            self._say_kept(guide)
            raise
        talk.say()
        talk.say("5. The calibration")
        tell(talk, fitted)
        try:
            answer = talk.ask("   Keep this calibration? [yes]").lower()
        except KeyboardInterrupt:
            self._say_kept(guide)
            raise
        if answer not in ("", "y", "yes"):
            self._say_kept(guide)
            return
        path = keep(fitted.calibration, self._config, self._wish.spot, self._folder)
        talk.say()
        talk.say(f"Written: {path}, with its points in {points_file}")
        draw(talk, fitted, path.with_suffix(".png"))
        if self._spot.calibration != path:
            name(talk, path, self._wish.config_file, self._wish.spot)
        say_next(talk, fitted, path, self._wish.spot)


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"
