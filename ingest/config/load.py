"""From the text of a configuration file to a checked configuration, or to everything wrong with it."""

import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path

from pydantic import ValidationError

from ingest.config.cross import cross_findings
from ingest.config.errors import ConfigError, Finding, Problem
from ingest.config.explain import explained
from ingest.config.lines import key_lines, line_of
from ingest.config.model import Config
from ingest.config.slips import refusal

_SYNTAX_PLACE = re.compile(r" \(at (?:line (?P<line>\d+), column \d+|end of document)\)$")


def load_config(path: Path) -> Config:
    """Read and check the configuration file at `path`; relative paths in it start from its folder."""
    content = b""
    try:
        content = path.read_bytes()
        text = content.decode("utf-8-sig")
    except FileNotFoundError:
        remedy = "`baskline init` makes one (every key: ingest/CONFIG.md); or name the one that you have"
        raise _refused(path, "there is no such file", remedy) from None
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        what = "a character here is not UTF-8"
        raise ConfigError(path, [Problem(path, line, (), what, "Save the file as UTF-8 text")]) from None
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise _refused(path, reason, "Name a file that this user may read") from None
    return parse_config(text, file=path)


def parse_config(text: str, *, file: Path) -> Config:
    """Check the `text` of the configuration file `file`, which gives messages and relative paths their place.

    Raises `ConfigError` with every problem found.
    """
    document = _document(text, file)
    findings: list[Finding] = []
    config: Config | None = None
    try:
        config = Config.model_validate(document, context={"folder": file.parent})
    except ValidationError as error:
        findings = [explained(detail) for detail in error.errors(include_url=False)]
    findings += cross_findings(document)
    if config is None or findings:
        raise ConfigError(file, _placed(findings, text, file))
    return config


def _document(text: str, file: Path) -> Mapping[str, object]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise _refused(file, "lists or tables are nested too deeply", "Write it flatter") from None
    except ValueError as error:  # TOMLDecodeError, and the interpreter's own limit on digits
        raise _syntax_error(str(error), text, file) from None


def _syntax_error(message: str, text: str, file: Path) -> ConfigError:
    place = _SYNTAX_PLACE.search(message)
    said = message if place is None else message[: place.start()]
    line = None if place is None or place["line"] is None else int(place["line"])
    what, remedy = refusal(said, "" if line is None else text.split("\n")[line - 1].rstrip("\r"))
    return ConfigError(file, [Problem(file, line, (), what, remedy)])


def _placed(findings: Iterable[Finding], text: str, file: Path) -> Iterable[Problem]:
    lines = key_lines(text)
    for finding in findings:
        yield Problem(file, line_of(lines, finding.path), finding.path, finding.what, finding.remedy)


def _refused(file: Path, what: str, remedy: str) -> ConfigError:
    return ConfigError(file, [Problem(file, None, (), what, remedy)])
