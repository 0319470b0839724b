"""Stored bytes to text: gzip and zstd, piece by piece, keeping all that comes before a damaged place."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field
from queue import Full, Queue
from threading import Event, Thread
from typing import TYPE_CHECKING

from rastertap.errors import CaptureError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import Any

GZIP_MAGIC = b"\x1f\x8b"
ZSTD_MAGIC = b"\x28\xb5\x2f\xfd"

_STORED_PIECE = 1 << 16
_TEXT_PIECE = 1 << 20
_ZSTD_STEP = 128
"""Bytes decompressed in one step: a zstd block of four bytes can unpack to 128 KiB."""
_GZIP = zlib.MAX_WBITS | 16


@dataclass
class Damage:
    """How the stored bytes were seen to be damaged or cut short; empty when they were not."""

    cut: str = ""
    notes: list[str] = field(default_factory=list)


def gunzip(read: Callable[[int], bytes], damage: Damage) -> Iterator[bytes]:
    """Decompress gzip, any number of members, in pieces of at most 1 MiB.

    Parameters
    ----------
    read : callable
        Gives up to that many stored bytes; empty at the end.
    damage : Damage
        Told how the file is cut or damaged; what was whole before that is still yielded.
    """
    stored = read(_STORED_PIECE)
    members = 0
    while stored:
        if not stored.startswith(GZIP_MAGIC[: len(stored)]):
            if members and stored.strip(b"\0"):
                damage.notes.append("bytes after the end of the gzip data were left out")
            return
        inflater = zlib.decompressobj(_GZIP)
        while not inflater.eof:
            if not stored:
                stored = read(_STORED_PIECE)
                if not stored:
                    damage.cut = "the gzip data ends early"
                    return
            before = inflater.copy()
            try:
                text = inflater.decompress(stored, _TEXT_PIECE)
            except zlib.error as error:
                damage.cut = f"the gzip data is damaged ({_plain(error)})"
                yield from _salvage(before, stored)
                return
            stored = inflater.unconsumed_tail
            if text:
                yield text
        members += 1
        stored = inflater.unused_data or read(_STORED_PIECE)


def _plain(error: zlib.error) -> str:
    """Zlib's own words without its numbers: ``incorrect data check``."""
    return str(error).rpartition(": ")[2]


def _salvage(inflater: Any, stored: bytes) -> Iterator[bytes]:
    """Feed single bytes, so that nothing before the damaged one is lost."""
    for i in range(len(stored)):
        try:
            text = inflater.decompress(stored[i : i + 1])
        except zlib.error:
            return
        if text:
            yield text


def unzstd(read: Callable[[int], bytes], damage: Damage, path: str) -> Iterator[bytes]:
    """Decompress zstd, any number of frames; as `gunzip`.

    Raises
    ------
    CaptureError
        When the ``zstandard`` package is not installed.
    """
    try:
        import zstandard
    except ImportError as error:
        raise CaptureError(
            "the file is compressed with zstd, and the package that reads it is not installed",
            path=path,
            hint="pip install zstandard (or unpack the file first: zstd -d FILE)",
        ) from error
    yield from _gathered(_zstd_steps(read, damage, zstandard))


def _zstd_steps(read: Callable[[int], bytes], damage: Damage, zstandard: Any) -> Iterator[bytes]:
    """Decompress a few bytes at a time, for what is unpacked from them comes all at once."""
    stored = read(_STORED_PIECE)
    while stored:
        inflater = zstandard.ZstdDecompressor().decompressobj()
        while not inflater.eof:
            if not stored:
                stored = read(_STORED_PIECE)
            if not stored:
                damage.cut = "the zstd data ends early"
                return
            at = 0
            while at < len(stored) and not inflater.eof:
                try:
                    yield inflater.decompress(stored[at : at + _ZSTD_STEP])
                except zstandard.ZstdError as error:
                    damage.cut = f"the zstd data is damaged ({error})"
                    return
                at += _ZSTD_STEP
            stored = inflater.unused_data + stored[at:] if inflater.eof else b""
        stored = stored or read(_STORED_PIECE)


def _gathered(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Join small pieces to some of a MiB or more."""
    text = bytearray()
    for piece in pieces:
        text += piece
        if len(text) >= _TEXT_PIECE:
            yield bytes(text)
            text.clear()
    if text:
        yield bytes(text)


class Ahead:
    """Runs an iterator in a thread of its own, at most some pieces ahead of whoever calls `take`.

    Parameters
    ----------
    pieces : iterator of bytes
        An exception that it raises is raised by `take`.
    depth : int
        How many pieces may wait.
    """

    def __init__(self, pieces: Iterator[bytes], *, depth: int = 4) -> None:
        self._waiting: Queue[bytes | BaseException] = Queue(depth)
        self._stopped = Event()
        self._thread = Thread(target=self._work, args=(pieces,), name="rastertap-decompress", daemon=True)
        self._thread.start()

    def _work(self, pieces: Iterator[bytes]) -> None:
        last: bytes | BaseException = b""
        try:
            for piece in pieces:
                if not self._put(piece):
                    return
        except BaseException as error:  # noqa: BLE001 - handed to the consumer, which raises it
            last = error
        self._put(last)

    def _put(self, piece: bytes | BaseException) -> bool:
        while not self._stopped.is_set():
            try:
                self._waiting.put(piece, timeout=0.1)
            except Full:
                continue
            return True
        return False

    def take(self) -> bytes:
        """Give the next piece; empty from the end on."""
        if self._stopped.is_set():
            return b""
        piece = self._waiting.get()
        if isinstance(piece, BaseException):
            self._stopped.set()
            raise piece
        if not piece:
            self._stopped.set()
        return piece

    def close(self) -> None:
        """End the thread."""
        self._stopped.set()
        self._thread.join()
