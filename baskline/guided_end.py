"""The end of a guided calibration: its curve in words and as a chart, its name, and what comes next."""

from pathlib import Path

from baskline.calibration_words import fit_lines
from baskline.charts.errors import ChartError
from baskline.first_hour.keeping import KeepingError
from baskline.first_hour.naming import can_name, name_calibration
from baskline.guided_talk import Talk
from baskline.guided_words import in_short
from baskline.text_chart import curve_lines
from calibrate.curve import curve_of
from ingest.capture_fit import Fitted


def tell(talk: Talk, fitted: Fitted) -> None:
    """Say what the curve is and how sure, and draw it with letters where it has one channel."""
    for line in fit_lines(fitted.fit, fitted.calibration, tried=False):
        talk.draw(f"   {line}".rstrip())
    if len(fitted.calibration.channels) == 1:
        talk.say()
        for line in curve_lines(curve_of(fitted.calibration), fitted.fit.points):
            talk.draw(line)
    talk.say()
    for line in in_short(fitted.calibration):
        talk.say(f"   {line}", hang=3)


def draw(talk: Talk, fitted: Fitted, path: Path) -> None:
    """Draw the curve into a file, or say why not."""
    from baskline.charts.calibration import save_calibration_chart

    try:
        save_calibration_chart(fitted.calibration, fitted.fit.points, path)
    except ChartError as error:
        talk.say(f"No chart: {error}")
    else:
        talk.say(f"Drawn: {path}")


def name(talk: Talk, path: Path, config_file: Path, spot: str) -> None:
    """Name the calibration at its spot, or say how: without that it is not used."""
    folder = config_file.parent
    named = str(path.relative_to(folder) if path.is_relative_to(folder) else path)
    talk.say()
    if can_name(config_file, spot):
        try:
            answer = talk.ask(f"Name it in {config_file}, under [spot.{spot}]? [yes]").lower()
        except KeyboardInterrupt:
            talk.say()
            _say_how(talk, named, config_file, spot)
            raise
        if answer in ("", "y", "yes"):
            try:
                talk.say(f"Named; {name_calibration(config_file, spot, named)} is what the file was.")
            except KeepingError as error:
                talk.say(str(error))
            else:
                return
    _say_how(talk, named, config_file, spot)


def _say_how(talk: Talk, named: str, config_file: Path, spot: str) -> None:
    talk.say(f"In {config_file}, under [spot.{spot}], write:")
    talk.draw(f'  calibration = "{named}"')


def say_next(talk: Talk, fitted: Fitted, path: Path, spot: str) -> None:
    """Say how it comes to hold, from now on and for the past."""
    talk.say()
    talk.say("Then `baskline check`, and start `baskline run`, again if it runs: it holds from there on.")
    talk.say("To put it over earlier readings too:")
    talk.draw(f"  baskline recompute --spot {spot} --calibration {path} --from {fitted.calibration.made_on}")
    talk.say(f"Compare it with the meter each week: baskline calibrate verify {spot}")
