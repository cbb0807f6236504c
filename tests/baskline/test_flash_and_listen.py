"""`baskline flash` and `baskline listen`, typed as a keeper types them, at real MicroPython."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.baskline.making import baskline, said_here
from tests.hardware.firmware_bench import FirmwareBench

BASKLINE = Path(sys.executable).with_name("baskline")


@pytest.fixture
def make_bench(tmp_path: Path) -> Iterator[Callable[..., FirmwareBench]]:
    benches: list[FirmwareBench] = []

    def make(**options: object) -> FirmwareBench:
        bench = FirmwareBench(tmp_path / f"board{len(benches)}", **options)  # type: ignore[arg-type]
        bench.plug()
        benches.append(bench)
        return bench

    yield make
    for bench in benches:
        bench.unplug()


def test_a_bare_board_is_flashed_set_up_and_shows_its_first_light(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(bare=True)
    bench.set_light_mv(900)
    done = baskline(
        "flash", bench.port, "--label", "rock, left", "--cadence-ms", "250", "--seconds", "3", folder=tmp_path
    )
    assert done.code == 0, done.out + done.err
    said = done.out
    assert "lamps are hot" in said
    assert "MicroPython, without baskline's firmware" in said
    assert "each verified by its hash" in said
    assert f"{bench.identity}: sensor analog, a reading each 0.25 s" in said
    shown = re.search(rf"{bench.identity}  photodiode_mv ([\d.]+)", said)
    assert shown is not None, said
    assert float(shown[1]) == pytest.approx(900, abs=2)  # its ADC has noise
    assert "noise" in said
    assert f'identity = "{bench.identity}"' in said
    settings = json.loads((bench.folder / "settings.json").read_text())
    assert (settings["label"], settings["cadence_ms"]) == ("rock, left", 250)


def test_a_board_that_is_refused_goes_on_with_what_it_did(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(prompt=True, settings={"cadence_ms": 200})
    with (bench.folder / "wire.py").open("a") as file:
        file.write("# changed by hand\n")
    done = said_here("flash", bench.port, folder=tmp_path)
    assert done.code == 1
    assert f"baskline: {bench.port}: files on the board would be overwritten" in done.err
    assert "Traceback" not in done.err
    heard = said_here("listen", "--port", bench.port, "--seconds", "3", "--json", folder=tmp_path)
    assert json.loads(heard.out)["boards"][0]["readings"] > 5


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--cadence-ms", "5"), "from 100 to 600000"),
        (("--sensor", "ltr930"), "Did you mean 'ltr390'"),
        (("--label", "x" * 61), "at most 60"),
    ],
)
def test_settings_that_cannot_be_are_refused_before_the_board_is_touched(
    tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    done = said_here("flash", "/dev/ttyACM-none", *arguments, folder=tmp_path)
    assert done.code == 1
    assert said in done.err


def test_a_port_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    done = said_here("flash", "/dev/ttyACM-none", folder=tmp_path)
    assert done.code == 1
    assert done.err.startswith("baskline: /dev/ttyACM-none: there is no such port. ")


def test_saturation_and_noise_are_shown_live(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    bench.set_light_mv(3300)
    done = said_here("listen", "--port", bench.port, "--seconds", "3", folder=tmp_path)
    assert done.code == 0, done.err
    assert "SATURATED" in done.out
    assert "more distance, or a thicker diffuser" in done.out


@pytest.mark.parametrize(
    ("options", "remedy"),
    [
        ({"chips": {0x60: {"kind": "si1145"}}}, "si1145 sees no UV"),
        ({"settings": {"sensor": "ltr390"}}, "ltr390 does not answer. Unplug the board"),
    ],
)
def test_a_sensor_that_cannot_be_used_says_why_and_what_to_do(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path, options: dict[str, object], remedy: str
) -> None:
    bench = make_bench(**options)
    (tmp_path / "baskline.toml").write_text(
        f'[bridge]\nsite = "home"\nname = "room"\ntime_zone = "UTC"\n[serial]\nports = ["{bench.port}"]\n'
    )
    for command in (["listen", "--port", bench.port, "--seconds", "3"], ["boards", "--seconds", "3"]):
        done = said_here(*command, folder=tmp_path)
        assert done.code == 0, done.err
        assert remedy in " ".join(done.out.split())


def test_a_bare_board_is_told_from_one_with_the_firmware_and_not_disturbed(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bare, ours = make_bench(bare=True), make_bench(unique_id="00aa11bb22cc33dd")
    (tmp_path / "baskline.toml").write_text(
        '[bridge]\nsite = "home"\nname = "room"\ntime_zone = "UTC"\n'
        f'[serial]\nports = ["{bare.port}", "{ours.port}"]\n'
    )
    done = baskline("boards", "--seconds", "3", folder=tmp_path)
    assert done.code == 0, done.err
    said = " ".join(done.out.split())
    assert f"{bare.port} MicroPython, but baskline's firmware is not on it or does not run" in said
    assert f"baskline flash {bare.port}" in said
    assert f"{ours.identity} on {ours.port}: baskline-" in said


def test_what_a_board_remembers_from_before_is_not_live(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(settings={"cadence_ms": 100})
    for _ in range(2):
        done = said_here("listen", "--port", bench.port, "--seconds", "2", "--json", folder=tmp_path)
        [board] = json.loads(done.out)["boards"]
        assert board["board"] == bench.identity
        assert 1 <= board["readings"] <= 25  # and not what it remembers: some 20 more at the second time
        channel = board["channels"][0]
        assert channel["name"] == "photodiode_mv"
        assert channel["lowest"] <= channel["mean"] <= channel["highest"]
        assert channel["noise"] >= 0
        assert board["marks"] == {"saturated": 0, "ranged": 0, "fault": 0}


def test_a_board_that_is_not_there_is_told_with_those_that_are(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    done = said_here("listen", "uv-other", "--port", bench.port, "--seconds", "2", folder=tmp_path)
    assert done.code == 1
    assert f"These were: {bench.identity}" in done.err


def test_a_board_that_is_unplugged_while_it_is_listened_to_is_told(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    listening = subprocess.Popen(
        [BASKLINE, "listen", "--port", bench.port, "--seconds", "5"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert listening.stdout is not None
    while bench.identity not in listening.stdout.readline():
        pass
    port = bench.port
    bench.unplug()
    _, told = listening.communicate(timeout=60)
    assert listening.returncode == 0
    assert told.startswith(f"baskline: {port}: it went away. Plug it in again")


def test_a_single_reading_says_nothing_of_its_noise(
    make_bench: Callable[..., FirmwareBench], tmp_path: Path
) -> None:
    bench = make_bench(settings={"cadence_ms": 600_000})
    done = said_here("listen", "--port", bench.port, "--seconds", "2", folder=tmp_path)
    assert "nan" not in done.out


def test_json_without_an_end_is_wrong_use(tmp_path: Path) -> None:
    done = said_here("listen", "--json", folder=tmp_path)
    assert done.code == 2
    assert "--seconds" in done.err
