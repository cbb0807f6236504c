"""The tables of the chips: data that any Python can read, and what others say of the same chips."""

import ast
import re
import runpy
from pathlib import Path
from typing import Any, Literal

import pytest

from firmware_host.firmware_program import known_sensors
from firmware_host.messages import Reading
from firmware_host.wire import encode_reading
from tests.hardware.firmware_bench import FIRMWARE
from tests.hardware.stand_in.simulated_chips import KINDS

PATHS = sorted((FIRMWARE / "chips").glob("*.py"))


def table(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = runpy.run_path(str(FIRMWARE / "chips" / f"{name}.py"))["TABLE"]
    return loaded


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_a_table_is_data_alone(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    kinds = {type(node) for node in tree.body}
    assert kinds <= {ast.Expr, ast.Assign}
    assert table(path.stem)["name"] == path.stem


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_the_channels_of_a_table_fit_a_line(path: Path) -> None:
    channels = table(path.stem).get("channels", ())
    names = tuple(channel["name"] for channel in channels)
    if names:
        # With the longest prefix, a chip's own board name and the largest counts.
        encode_reading(
            Reading(
                "uv-0123456789abcdef", "0" * 8, 10**9, 10**11, names, (1048575.1234,) * len(names), 0, False
            )
        )
    for channel in channels:
        largest = channel.get("mask", 0xFFFF * 10_000) * channel.get("times", 1)
        assert largest < 2**30  # what a 32-bit board keeps without memory of its own
        assert 0 <= channel["decimals"] <= 9


@pytest.mark.parametrize(
    ("name", "addresses", "identity"),
    [
        # Addresses and identities as the open CircuitPython drivers of each chip have them (ltr390 1.1.25,
        # veml6075 1.1.25, as7331 1.0.2, si1145 1.2.8, mcp9808 3.3.32), read in 2026.
        ("ltr390", {0x53}, 0xB0),
        ("veml6075", {0x10}, 0x26),
        ("as7331", {0x74, 0x75, 0x76, 0x77}, 0x21),
        ("si1145", {0x60}, 0x45),
        ("mcp9808", set(range(0x18, 0x20)), 0x0054),
    ],
)
def test_addresses_and_identities_are_those_that_others_use(
    name: str, addresses: set[int], identity: int
) -> None:
    chip = table(name)
    assert set(chip["addresses"]) == addresses
    assert chip["identity"][0][3] == identity


def test_the_adc_is_started_by_the_bits_that_others_use() -> None:
    # adafruit-circuitpython-ads1x15 3.0.5: start 0x8000, input 0 against ground 4 << 12, gain 1 (±4.096 V)
    # 0x0200, single 0x0100, 860 a second 0x00E0, comparator off 0x0003.
    assert table("ads1115")["start"] == 0x8000 | 4 << 12 | 0x0200 | 0x0100 | 0x00E0 | 0x0003
    assert table("ads1115")["counts_per_mv"] == 32768 / 4096


def test_the_dividers_of_the_as7331_keep_the_counts_at_those_for_64_ms() -> None:
    # The driver named above: 2**n ms, and a division by 2**(1 + d) when bit 3 is set.
    for _, exponent, divider in table("as7331")["times"]:
        divided_by = 2 << (divider & 7) if divider & 8 else 1
        assert 2**exponent / divided_by == 64


@pytest.mark.parametrize("name", ["ltr390", "veml6075", "mcp9808"])
def test_a_chip_that_was_reset_does_not_have_what_its_table_says_is_kept(name: str) -> None:
    chip = KINDS[name]()
    order: Literal["big", "little"] = "big" if table(name)["big_endian"] else "little"
    kept = [
        int.from_bytes(chip.read(register, n), order) & mask == value
        for register, n, mask, value in table(name)["kept"]
    ]
    assert not all(kept)


def test_the_readme_names_what_the_setting_sensor_may_be() -> None:
    readme = " ".join((FIRMWARE.parent / "README.md").read_text(encoding="utf-8").split())
    listed = readme.split("`sensor` is one of ")[1].split(". ")[0]
    assert set(re.findall(r"`([\w-]+)`", listed)) == set(known_sensors())


def test_no_two_chips_share_an_address() -> None:
    addresses = [address for path in PATHS for address in table(path.stem)["addresses"]]
    assert len(addresses) == len(set(addresses))
