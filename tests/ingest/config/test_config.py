"""What a keeper is told, and what a good file becomes."""

from dataclasses import asdict, fields
from datetime import date, time
from pathlib import Path

import pytest

from calibrate.errors import KeeperError
from exposure.bands import Band
from exposure.rules import RuleSettings
from exposure.zones import zone_band
from firmware_host.mapped import LineMapping
from firmware_host.ports import AUTO, PortWish
from ingest.config import ConfigError, RulesConfig, load_config, parse_config
from ingest.config.resolve_boards import port_wishes

FILE = Path("room/baskline.toml")

SMALL = """\
[bridge]
site = "home"
name = "room"
time_zone = "Europe/Vienna"
"""

SPOT = """
[board.rock]
identity = "pico-1"
label = "Pico"
[enclosure.garden]
label = "Garden"
[lamp.sunny]
kind = "t5"
installed = 2025-01-18
distance_cm = 30
[spot.ledge]
label = "Ledge"
enclosure = "garden"
lamp = "sunny"
board = "rock"
"""


def problems(text: str) -> dict[str, str]:
    with pytest.raises(ConfigError) as caught:
        parse_config(text, file=FILE)
    return {problem.key: str(problem) for problem in caught.value.problems}


def test_the_smallest_file_has_a_bridge_and_nothing_else():
    config = parse_config(SMALL, file=FILE)
    assert config.bridge.store == Path("room/baskline.db")
    assert config.bridge.commit_interval_s == 2.0
    assert config.bridge.raw_keep_days is None
    assert config.serial.ports == "auto"
    assert config.mqtt is None
    assert config.mirror is None
    assert dict(config.spots) == {}


def test_the_documented_example_becomes_what_it_says(example):
    config = parse_config(example, file=FILE)
    ledge, cave = config.spots["ledge"], config.spots["cave"]
    assert ledge.band() == zone_band(3)
    assert cave.band() == Band(0.0, 0.7, 1.4)
    assert (ledge.lit_from, ledge.lit_until) == (time(8, 30), time(20, 30))
    assert ledge.calibration == Path("room/calibrations/ledge.toml")
    assert config.lamps["rock_lamp"].installed == date(2025, 1, 18)
    assert config.lamps["rock_lamp"].between == ("mesh",)
    assert config.mqtt is not None
    assert config.mqtt.password_file == Path("room/mqtt-password")
    assert config.serial.ports == ("/dev/ttyACM*", "/dev/ttyUSB*")
    mapping = config.boards["cave"].mapping
    assert mapping is not None
    assert mapping.line_mapping() == LineMapping("csv", {"uva_counts": 0})


def test_a_spot_is_judged_as_usual_but_for_what_its_rules_say():
    rules = "zone = 3\nlit_from = '08:30'\nlit_until = 20:00:00\n[spot.ledge.rules]\nunder_hold_s = 1800\n"
    config = parse_config(SMALL + SPOT + rules, file=FILE)
    assert config.rule_settings("ledge") == RuleSettings(
        under_hold_s=1800.0, lit_from_minute=510, lit_until_minute=1200, time_zone="Europe/Vienna"
    )


def test_every_number_of_the_rules_can_be_set_at_a_spot():
    others = {"lit_from_minute", "lit_until_minute", "time_zone"}  # these come from other keys
    assert set(RulesConfig.model_fields) == {field.name for field in fields(RuleSettings)} - others
    assert RulesConfig().model_dump().items() <= asdict(RuleSettings()).items()


def test_a_configuration_cannot_be_changed_after_it_was_checked(example):
    config = parse_config(example, file=FILE)
    with pytest.raises(ValueError, match="frozen"):
        config.bridge.site = "elsewhere"
    with pytest.raises(TypeError):
        config.spots["new"] = config.spots["ledge"]


def test_everything_wrong_is_said_at_once_in_the_order_of_the_file():
    text = SMALL.replace("site", "siet") + SPOT.replace('lamp = "sunny"', 'lamp = "suny"') + "zone = 7\n"
    with pytest.raises(ConfigError) as caught:
        parse_config(text, file=FILE)
    error = caught.value
    assert isinstance(error, KeeperError)
    assert [problem.key for problem in error.problems] == [
        "bridge.site",
        "bridge.siet",
        "spot.ledge.lamp",
        "spot.ledge.zone",
    ]
    assert [problem.line for problem in error.problems] == [1, 2, 18, 20]
    assert str(error).startswith(
        "room/baskline.toml: 4 things to put right\n  line 1, bridge.site: is missing."
    )


def test_one_problem_reads_as_one_line():
    with pytest.raises(ConfigError) as caught:
        parse_config(SMALL + '[bord.x]\nidentity = "a"\n', file=FILE)
    assert str(caught.value) == "room/baskline.toml, line 5, bord: is unknown here. Did you mean 'board'?"


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('name = "room"\n', "", "bridge.name", 'for example: name = "reptile-room"'),
        ('"home"', '"Haus am See/1"', "bridge.site", "for example 'haus-am-see-1'"),
        ('"room"', '"a+b"', "bridge.name", "for example 'a-b'"),
        ("Europe/Vienna", "vienna", "bridge.time_zone", "Did you mean 'Europe/Vienna'?"),
        ("Europe/Vienna", "Europe", "bridge.time_zone", "no IANA time zone"),
        ("Europe/Vienna", "../Vienna", "bridge.time_zone", "no IANA time zone"),
        ("[bridge]\n", '[bridge]\nstore = "~/x.db"\n', "bridge.store", "Write the whole path"),
        ("[bridge]\n", '[bridge]\nstore = "a\\u0000b"\n', "bridge.store", "control characters"),
        ("[bridge]\n", "[bridge]\ncommit_interval_s = 0\n", "bridge.commit_interval_s", "is 0, not above 0"),
        ("[bridge]\n", "[bridge]\ncommit_interval_s = nan\n", "bridge.commit_interval_s", "is nan"),
        (
            "[bridge]\n",
            "[bridge]\nraw_keep_days = 1.5\n",
            "bridge.raw_keep_days",
            "is 1.5, not a whole number",
        ),
    ],
)
def test_a_wrong_bridge_key_is_told_with_what_would_be_right(old, new, key, says):
    assert says in problems(SMALL.replace(old, new, 1))[key]


@pytest.mark.parametrize(
    ("extra", "key", "says"),
    [
        ("", "spot.ledge.zone", "is missing, and so is a band"),
        (
            "zone = 3\nband = { low_uvi = 1, high_uvi = 2, ceiling_uvi = 3 }",
            "spot.ledge.band",
            "Keep one of the two",
        ),
        ("band = { low_uvi = 2, high_uvi = 1, ceiling_uvi = 3 }", "spot.ledge.band", "is not below high"),
        ("zone = 3\nkind = 'bask'", "spot.ledge.kind", "not 'basking' or 'retreat'"),
        ("zone = 3\nlit_from = 8", "spot.ledge.lit_from", "no time of day"),
        ("zone = 3\nlit_from = '08:30'", "spot.ledge.lit_until", "is missing beside lit_from"),
        (
            "zone = 3\nlit_from = '08:30'\nlit_until = 08:30:00",
            "spot.ledge.lit_until",
            "the same as lit_from",
        ),
        ("zone = 3\nlit_from = 08:30:30", "spot.ledge.lit_from", "no time of day"),
        ("zone = 3\nrules = { over_hold = 30 }", "spot.ledge.rules.over_hold", "Did you mean 'over_hold_s'?"),
        ("zone = 3\nrules = { over_hold_s = -1 }", "spot.ledge.rules.over_hold_s", "is -1, under 0"),
        ("zone = true", "spot.ledge.zone", "is true, not a whole number"),
        ("zone = 3\nsensor = 'A'", "spot.ledge.sensor", "before the dot"),
        ("zone = 3\n[spot.'Böse']", 'spot."Böse"', "other characters than allowed"),
        ("zone = 3\n[spot.two]\nboard = 'rock'", "spot.two.board", "same board and sensor as spot.ledge"),
        ("zone = 3\n[spot.two]\nboard = 'rock'\nsensor = 'a'", "spot.two.board", "Give both spots a sensor"),
        ("zone = 3\n[spot.two]\nboard = 'rok'", "spot.two.board", "Did you mean 'rock'?"),
        ("zone = 3\n[board.two]\nidentity = 'pico-1'", "board.two.identity", "which is board.rock already"),
        ("zone = 3\n[board.two]\nidentity = 'Pico'", "board.two.identity", "digits and hyphens"),
        ("zone = 3\n[lamp.two]\nkind = 't6'", "lamp.two.kind", "Valid here: compact"),
        ("zone = 3\n[lamp.two]\ninstalled = '2025-01-18'", "lamp.two.installed", "without quotes"),
        (
            "zone = 3\n[lamp.two]\npackage_claim_uvi = 3",
            "lamp.two.package_claim_at_cm",
            "Give both, or neither",
        ),
        ("zone = 3\n[serial]\nports = []", "serial.ports", "a list without ports"),
        ("zone = 3\n[serial]\nports = 'ttyUSB0'", "serial.ports", 'Write "auto", or a list'),
    ],
)
def test_a_wrong_key_at_a_spot_is_told_with_what_would_be_right(extra, key, says):
    assert says in problems(f"{SMALL}{SPOT}{extra}\n")[key]


def test_a_value_where_a_table_belongs_is_told_with_what_would_be_right():
    told = problems("board.two = 2\nlamp = 3\n" + SMALL)
    assert "Write a table [board.two] with identity, label" in told["board.two"]
    assert "Write a table [lamp.<key>] for each lamp" in told["lamp"]


@pytest.mark.parametrize(
    ("mqtt", "key", "says"),
    [
        ("host = 'mqtt://x'", "mqtt.host", "a name or an address alone"),
        ("host = 'x'\nport = 70000", "mqtt.port", "is 70000, over 65535"),
        (
            "host = 'x'\nusername = 'u'\npassword_file = 'a'\npassword_env = 'B'",
            "mqtt.password_env",
            "Keep one",
        ),
        ("host = 'x'\npassword_env = 'B'", "mqtt.password_env", "without a username"),
        ("host = 'x'\nca_file = 'ca.pem'", "mqtt.ca_file", "Add: tls = true"),
        ("host = 'x'\ntls = true\nkey_file = 'k'", "mqtt.certificate_file", "Give both, or neither"),
        ("host = 'x'\nroot_topic = 'a/#'", "mqtt.root_topic", "cannot start an MQTT topic"),
        ("host = 'x'\nroot_topic = '/a'", "mqtt.root_topic", "a '/' at either end"),
        ("host = 'x'\nroot_topic = '$SYS'", "mqtt.root_topic", "a leading '$'"),
    ],
)
def test_a_wrong_broker_key_is_told_with_what_would_be_right(mqtt, key, says):
    assert says in problems(f"{SMALL}[mqtt]\n{mqtt}\n")[key]


@pytest.mark.parametrize(
    ("mirror", "key", "says"),
    [
        ("url = 'mirror:8086'", "mirror.url", "no http or https URL"),
        ("url = 'http://[x'", "mirror.url", "is no URL"),
        ("url = 'http://x:99999'", "mirror.url", "is no URL"),
        ("url = 'http://me:pw@x'", "mirror.url", "use token_file or token_env"),
        ("url = 'http://x'\ntoken_file = 'a'\ntoken_env = 'B'", "mirror.token_env", "Keep one of the two"),
        ("url = 'http://x'", "mirror.org", "is missing"),
    ],
)
def test_a_wrong_mirror_key_is_told_with_what_would_be_right(mirror, key, says):
    assert says in problems(f"{SMALL}[mirror]\n{mirror}\n")[key]


@pytest.mark.parametrize(
    "line",
    [
        "[mqtt]\nhost = 'x'\npassword = 'hunter2!'",
        "[mqtt]\nhost = 'x'\nusername = 'u'\npassword_env = 'hunter2!'",
        "[mirror]\nurl = 'http://me:hunter2!@x'\norg = 'o'\nbucket = 'b'",
        "[mirror]\nurl = 'http://x'\norg = 'o'\nbucket = 'b'\ntoken = 'hunter2!'",
    ],
)
def test_a_secret_in_the_file_is_refused_and_not_repeated(line):
    (told,) = problems(f"{SMALL}{line}\n").values()
    assert "hunter2" not in told
    assert "_env" in told or "variable" in told


@pytest.mark.parametrize(
    ("mapping", "key", "says"),
    [
        ("format = 'csv', channels = { uv = 0 }", "board.a.mapping.usb", "is missing, and so is a port"),
        (
            "format = 'csv', channels = { uv = 0 }, port = 'x', usb = 'y'",
            "board.a.mapping.port",
            "Keep one of the two",
        ),
        ("format = 'csv', channels = { uv = 0 }, port = '/dev/b'", "board.b.mapping.port", "board.a already"),
        (
            "format = 'csv', channels = { uv = 'x' }, port = 'x'",
            "board.a.mapping",
            "Give the column's number",
        ),
        (
            "format = 'csv', channels = { uv = 1.5 }, port = 'x'",
            "board.a.mapping.channels.uv",
            "a column's number",
        ),
        (
            "format = 'csv', channels = { uv = 0 }, usb = 'x', baud = 9600",
            "board.a.mapping.baud",
            "Name the port",
        ),
        ("format = 'xml', channels = { uv = 0 }, port = 'x'", "board.a.mapping.format", "not 'csv'"),
    ],
)
def test_a_mapping_that_cannot_work_is_told_with_what_would_be_right(mapping, key, says):
    text = f"""{SMALL}
[board.a]
identity = "a"
label = "A"
mapping = {{ {mapping} }}
[board.b]
identity = "b"
label = "B"
mapping = {{ format = "json", channels = {{ uv = "uv" }}, port = "/dev/b" }}
"""
    assert says in problems(text)[key]


def test_the_ports_of_plain_boards_are_opened_at_their_own_speed(example):
    config = parse_config(example.replace('USB7" }', 'USB7", baud = 9600 }'), file=FILE)
    assert port_wishes(config) == (
        PortWish("/dev/ttyUSB7", 9600),
        PortWish("/dev/ttyACM*", 115200),
        PortWish("/dev/ttyUSB*", 115200),
    )
    assert port_wishes(parse_config(SMALL, file=FILE)) == (PortWish(AUTO, 115200),)


def test_the_port_of_the_broker_follows_encryption():
    def port(extra: str) -> int:
        config = parse_config(f"{SMALL}[mqtt]\nhost = 'x'\n{extra}\n", file=FILE)
        assert config.mqtt is not None
        return config.mqtt.port_or_usual

    assert (port(""), port("tls = true"), port("tls = true\nport = 1")) == (1883, 8883, 1)


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("[bridge]\nsite == 'x'\n", 2, "not valid TOML"),
        ("[bridge\n", 1, "not valid TOML"),
        ("site = '", None, "not valid TOML"),
        ("x = " + "9" * 5000, None, "not valid TOML"),
        ("x = " + "[" * 5000, None, "nested too deeply"),
    ],
)
def test_broken_toml_is_told_with_its_place(text, line, says):
    with pytest.raises(ConfigError) as caught:
        parse_config(text, file=FILE)
    (problem,) = caught.value.problems
    assert problem.line == line
    assert says in problem.what


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("distance_cm = 3,2", "write 3.2"),
        ("distance_cm = -0,25  # about", "write -0.25"),
        ("installed = 2.3.2026", "write 2026-03-02"),
        ("label = Slate ledge", 'label = "Slate ledge"'),
        ("label = “Slate ledge”", "straight quotes"),
        ("label = „Slate ledge“", "straight quotes"),
        ("[spot.slate  ledge]", "write [spot.slate_ledge]"),
        ("site 'home'", "key = value"),
    ],
)
def test_what_slips_in_by_habit_is_told_with_what_to_write(line, says):
    with pytest.raises(ConfigError) as caught:
        parse_config(f"{SMALL}{line}\r\n", file=FILE)
    (problem,) = caught.value.problems
    assert problem.line == SMALL.count("\n") + 1
    assert says in problem.remedy


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("[x]\n[y]\n[x]\n", "[x] stands here a second time"),
        ("[spot.a]\n[spot.a]\n", "[spot.a] stands here a second time"),
        ("[x]\na = 1\na = 2\n", "stands in its table already"),
    ],
)
def test_what_stands_twice_is_named(more, says):
    with pytest.raises(ConfigError) as caught:
        parse_config(more, file=FILE)
    (problem,) = caught.value.problems
    assert problem.line == more.count("\n")
    assert says in problem.what


def test_a_missing_file_says_how_to_make_one(tmp_path):
    with pytest.raises(ConfigError, match=r"there is no such file.*CONFIG\.md"):
        load_config(tmp_path / "baskline.toml")


def test_a_folder_or_a_file_that_is_no_text_is_told(tmp_path):
    with pytest.raises(ConfigError, match="directory"):
        load_config(tmp_path)
    (tmp_path / "latin.toml").write_bytes("# ok\nsite = 'Böse'".encode("latin-1"))
    with pytest.raises(ConfigError, match=r"line 2: .* Save the file as UTF-8"):
        load_config(tmp_path / "latin.toml")


def test_a_file_from_an_editor_that_marks_utf8_and_ends_lines_with_cr_lf_is_read(tmp_path):
    (tmp_path / "baskline.toml").write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_config(tmp_path / "baskline.toml").bridge.store == tmp_path / "baskline.db"
