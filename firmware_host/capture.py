"""What happened on the links, kept in a file and read back.  The format stands in CAPTURE.md."""

import json
from collections.abc import Iterator
from typing import BinaryIO, Final, NoReturn

from calibrate.errors import KeeperError
from firmware_host.clock import Moment
from firmware_host.traffic import LinkClosed, LinkOpened, Quiet, Received, Traffic

_FIRST_LINE: Final = b"baskline-capture 1\n"
_NAME: Final = b"baskline-capture "

# No link delivers so much between two looks at it; a longer payload is a damaged length.
MAX_PAYLOAD_BYTES: Final = 1 << 24
_MAX_HEADER_BYTES: Final = 128
_PIECE_BYTES: Final = 1 << 16

_SYNCHRONISED: Final = {b"sync": True, b"nosync": False}


class CaptureError(KeeperError):
    """A capture file that is none, or is damaged."""


class CaptureWriter:
    """Writes traffic to a binary stream; flushing and closing the stream is its owner's work."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        stream.write(_FIRST_LINE)

    def write(self, item: Traffic) -> None:
        """Append one record."""
        self._stream.write(_record(item))


def _record(item: Traffic) -> bytes:
    match item:
        case Received(link=link, data=data):
            kind, payload = b"data", data
        case Quiet():
            kind, link, payload = b"quiet", 0, b""
        case LinkOpened(link=link, port=port, usb=usb):
            kind, payload = b"open", json.dumps({"port": port, "usb": usb}).encode("ascii")
        case LinkClosed(link=link, reason=reason):
            kind, payload = b"close", json.dumps({"reason": reason}).encode("ascii")
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise ValueError(f"{len(payload)} bytes in one record; the limit is {MAX_PAYLOAD_BYTES}")
    at = item.at
    clock = b"sync" if at.synchronised else b"nosync"
    return b"%b %d %d %b %d %d\n%b\n" % (kind, at.mono_ms, at.wall_ms, clock, link, len(payload), payload)


def read_capture(stream: BinaryIO) -> "CaptureReader":
    """Return an iterator over the traffic in a capture; CaptureError where `stream` is none."""
    return CaptureReader(stream)


class CaptureReader(Iterator[Traffic]):
    """The records of a capture, in order.

    A last record that is cut off, as by a power cut, ends the iteration like the end of the file does; then
    `cut_bytes` says how many bytes of it were left.  Damage before the end raises CaptureError.
    """

    def __init__(self, stream: BinaryIO) -> None:
        first = stream.readline(_MAX_HEADER_BYTES)
        if first != _FIRST_LINE:
            if first.startswith(_NAME) and first.endswith(b"\n"):
                version = first[len(_NAME) :].strip().decode("ascii", errors="replace")
                raise CaptureError(
                    f"version {version!r} of the capture format is not known here",
                    remedy="Replay it with the version of baskline that wrote it, or a newer one",
                )
            raise CaptureError("not a capture file", remedy="Give a file that run --capture wrote")
        self.cut_bytes = 0
        self._stream = stream
        self._offset = len(first)
        self._number = 1

    def __next__(self) -> Traffic:
        header = self._stream.readline(_MAX_HEADER_BYTES)
        if not header.endswith(b"\n"):
            self._stop_at_cut(header, header)
        try:
            kind, mono_ms, wall_ms, clock, link, length = header.split(b" ")
            at = Moment(int(mono_ms), int(wall_ms), _SYNCHRONISED[clock])
            link_number, n_bytes = int(link), int(length)
        except (ValueError, KeyError):
            raise self._damage("its first line makes no sense") from None
        if not 0 <= n_bytes <= MAX_PAYLOAD_BYTES:
            raise self._damage(f"a length of {n_bytes} bytes")
        payload = self._stream.read(n_bytes)
        end = self._stream.read(1)
        if end != b"\n":
            self._stop_at_cut(header + payload + end, end)
        try:
            item = _item(kind, at, link_number, payload)
        except (ValueError, KeyError, TypeError, RecursionError):
            raise self._damage("its contents make no sense") from None
        self._offset += len(header) + n_bytes + 1
        self._number += 1
        return item

    def _stop_at_cut(self, record: bytes, end: bytes) -> NoReturn:
        """Stop where the record runs into the end of the file; raise where it is damaged.

        A file system that lost its last blocks to a power cut may leave zeros in their place: zeros up to
        the end of the file count as the end.
        """
        n_bytes = len(record)
        more = self._stream.read(_PIECE_BYTES)
        if more and end.endswith(b"\0"):
            while more and not more.strip(b"\0"):
                n_bytes += len(more)
                more = self._stream.read(_PIECE_BYTES)
        if more:
            raise self._damage("it has no proper end")
        self.cut_bytes += n_bytes
        raise StopIteration

    def _damage(self, what: str) -> CaptureError:
        return CaptureError(
            f"damaged: {what}",
            where=f"record {self._number} at byte {self._offset}",
            remedy="What comes before it can be read; cut the file there to replay that much",
        )


def _item(kind: bytes, at: Moment, link: int, payload: bytes) -> Traffic:
    if kind == b"data":
        return Received(at, link, payload)
    if kind == b"quiet":
        return Quiet(at)
    if kind == b"open":
        opened = json.loads(payload)
        return LinkOpened(at, link, str(opened["port"]), str(opened["usb"]))
    if kind == b"close":
        return LinkClosed(at, link, str(json.loads(payload)["reason"]))
    raise ValueError(kind)
