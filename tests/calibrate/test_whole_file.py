"""Files that are there whole or not at all."""

import os
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from calibrate.whole_file import unfinished, write_whole


def test_a_file_that_was_there_is_as_it_was_until_the_new_one_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "curve.toml"
    path.write_bytes(b"before")
    with unfinished(path) as partial:
        partial.write_bytes(b"half")
        assert path.read_bytes() == b"before"
    assert [file.name for file in tmp_path.iterdir()] == ["curve.toml"]
    write_whole(path, b"after")
    assert path.read_bytes() == b"after"
    assert [file.name for file in tmp_path.iterdir()] == ["curve.toml"]


@pytest.mark.parametrize("stop", [OSError, KeyboardInterrupt])
def test_whatever_stops_the_writing_leaves_nothing_beside(tmp_path: Path, stop: type[BaseException]) -> None:
    path = tmp_path / "curve.toml"
    path.write_bytes(b"before")

    def write() -> None:
        with unfinished(path) as partial:
            partial.write_bytes(b"half")
            raise stop

    with pytest.raises(stop):
        write()
    assert path.read_bytes() == b"before"
    assert [file.name for file in tmp_path.iterdir()] == ["curve.toml"]


def test_it_is_on_the_disk_before_it_has_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "curve.toml"
    named_when_flushed: list[bool] = []
    monkeypatch.setattr(os, "fsync", lambda fd: named_when_flushed.append(path.exists()))
    write_whole(path, b"whole")
    assert named_when_flushed == [False]


@pytest.mark.parametrize(
    ("mode", "umask", "seen"), [(0o600, 0, 0o600), (0o664, 0o077, 0o664), (None, 0o027, 0o640)]
)
def test_the_file_has_its_rights_from_the_first(
    tmp_path: Path, mode: int | None, umask: int, seen: int
) -> None:
    before = os.umask(umask)
    try:
        with unfinished(tmp_path / "secret", mode) as partial:
            assert stat.S_IMODE(partial.stat().st_mode) == seen
        write_whole(tmp_path / "secret", b"x", mode)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "secret").stat().st_mode) == seen


def test_what_a_killed_process_left_is_no_hindrance(tmp_path: Path) -> None:
    path = tmp_path / "curve.toml"
    (tmp_path / f".curve.toml.{os.getpid()}.new").write_bytes(b"left")
    write_whole(path, b"whole")
    assert [(file.name, file.read_bytes()) for file in tmp_path.iterdir()] == [("curve.toml", b"whole")]


def test_a_link_stays_one(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "there" / "curve.toml")
    for content in (b"first", b"second"):
        write_whole(tmp_path / "link", content)
        assert (tmp_path / "link").is_symlink()
        assert (tmp_path / "there" / "curve.toml").read_bytes() == content


def test_a_device_is_written_to_and_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("/dev/full")
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "link", b"x")
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)
    with pytest.raises(IsADirectoryError):
        write_whole(tmp_path, b"x")


def test_a_pipe_is_written_to_though_its_link_names_no_place() -> None:
    ours, theirs = os.pipe()
    try:
        write_whole(Path(f"/dev/fd/{theirs}"), b"x")
        assert os.read(ours, 2) == b"x"
    finally:
        os.close(ours)
        os.close(theirs)


# Rights do not bind root, so this runs as somebody else where the tests run as root.
_WITHOUT_RIGHTS = """
import os, sys
from pathlib import Path
from calibrate.whole_file import write_whole
if os.geteuid() == 0:
    os.setuid(65534)
path = Path(sys.argv[1]) / "file"
path.write_bytes(b"old")
path.chmod(0o444)
write_whole(path, b"new", mode=0o444)
print(path.read_text(), oct(path.stat().st_mode & 0o777))
"""


def test_a_file_may_get_rights_that_let_nobody_write_it() -> None:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o777)
        command = [sys.executable, "-c", _WITHOUT_RIGHTS, folder]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert (done.stdout, done.stderr) == ("new 0o444\n", "")
