"""Where a capture's bytes come from: a file or standard input, decompressed when gzip or zstd."""

from __future__ import annotations

import hashlib
import os
import stat
import sys
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, BinaryIO, cast

from rastertap.capture.decompress import GZIP_MAGIC, ZSTD_MAGIC, Ahead, Damage, gunzip, unzstd
from rastertap.errors import CaptureError

if TYPE_CHECKING:
    from types import TracebackType
    from typing import Self

HEAD_BYTES = 1 << 16
"""How much of the text a reader is shown to recognise its format."""

TEXT_LIMIT = 10**9
TEXT_TIMES = 500
"""Default limit of decompressed text: so many bytes, or so many times the stored ones, whichever is more.
Captures shrink to a fifth or a fiftieth; only a file made to do harm unpacks to more than this."""


class Source:
    """The text of a capture, read once from front to back.

    Parameters
    ----------
    path : str or path
        A file, or ``-`` for standard input. gzip (any number of members) and zstd are recognised by content.
    text_limit : int, bytes
        Decompressed text beyond this is an error; `TEXT_LIMIT` or `TEXT_TIMES` when left out.
    hashed : bool
        Also compute `sha256`: of a regular file in a thread of its own, else while reading.

    Raises
    ------
    CaptureError
        When there is no such file, it is a folder, or it may not be read.

    Notes
    -----
    A file whose compressed data is damaged or ends early gives what comes before the damage; `cut` then
    says so once the end was reached.
    """

    def __init__(
        self, path: str | os.PathLike[str], *, text_limit: int | None = None, hashed: bool = False
    ) -> None:
        self.label = os.fspath(path)
        self.text_read = 0
        self._text_limit = text_limit
        self._damage = Damage()
        self._raw = self._open()
        status = os.fstat(self._raw.fileno()) if self.label != "-" else None
        self.rereadable = status is not None and stat.S_ISREG(status.st_mode)
        """Whether the same text can be read again from the path."""
        self.size = status.st_size if status is not None and self.rereadable else None
        """Stored bytes in all; None when not known."""
        self.consumed = 0
        """Stored bytes read so far."""
        self._sha = hashlib.sha256() if hashed else None
        self._hasher: Thread | None = None
        self._hash_error: OSError | None = None
        self._closed = False
        if hashed and self.rereadable:
            self._hasher = Thread(target=self._hash_file, name="rastertap-sha256", daemon=True)
            self._hasher.start()
        self._pieces: Ahead | None = None
        self._left = memoryview(b"")
        self._begin_decompressing()
        self._head = b""

    def _open(self) -> BinaryIO:
        if self.label == "-":
            if sys.stdin is None:
                raise CaptureError("standard input is closed", path="-", hint="name a file instead of -")
            return cast("BinaryIO", getattr(sys.stdin.buffer, "raw", sys.stdin.buffer))
        try:
            return cast("BinaryIO", Path(self.label).open("rb", buffering=0))
        except FileNotFoundError as error:
            raise CaptureError("no such file", path=self.label, hint="check the path") from error
        except IsADirectoryError as error:
            hint = "name a file in it; 'rastertap check' and 'rastertap batch' take a folder"
            raise CaptureError("this is a folder, not a capture", path=self.label, hint=hint) from error
        except PermissionError as error:
            hint = "check the file's permissions"
            raise CaptureError("no permission to read the file", path=self.label, hint=hint) from error
        except (OSError, ValueError) as error:
            raise CaptureError(f"the file cannot be opened: {error}", path=self.label) from error

    def _hash_file(self) -> None:
        if self._sha is None:
            return
        try:
            with Path(self.label).open("rb", buffering=0) as again:
                while not self._closed and (piece := again.read(1 << 20)):
                    self._sha.update(piece)
        except OSError as error:
            self._hash_error = error

    def _read_stored_into(self, view: memoryview) -> int:
        try:
            got = self._raw.readinto(view)  # type: ignore[attr-defined]
        except OSError as error:
            raise CaptureError(
                f"reading failed: {error.strerror}", path=self.label, byte=self.consumed
            ) from error
        count = int(got or 0)
        self.consumed += count
        if self._sha is not None and self._hasher is None:
            self._sha.update(view[:count])
        return count

    def _read_stored(self, count: int) -> bytes:
        """Read up to ``count`` stored bytes; fewer only at the end."""
        piece = bytearray(count)
        view, filled = memoryview(piece), 0
        while filled < count and (got := self._read_stored_into(view[filled:])):
            filled += got
        return bytes(view[:filled])

    def _begin_decompressing(self) -> None:
        """Recognise the compression by the first bytes."""
        first = self._read_stored(HEAD_BYTES)

        def read(count: int) -> bytes:
            nonlocal first
            piece, first = first, b""
            return piece or self._read_stored(count)

        if first.startswith(GZIP_MAGIC):
            self._pieces = Ahead(gunzip(read, self._damage))
        elif first.startswith(ZSTD_MAGIC):
            self._pieces = Ahead(unzstd(read, self._damage, self.label))
        else:
            self._left = memoryview(first)

    @property
    def cut(self) -> str:
        """Empty, or how the compressed data was seen to be damaged or cut short."""
        return self._damage.cut

    @property
    def notes(self) -> tuple[str, ...]:
        """What else was seen on the way, for the user."""
        return tuple(self._damage.notes)

    def head(self) -> bytes:
        """Show the first bytes of the text (up to `HEAD_BYTES`) without consuming them."""
        if not self._head and self.text_read == 0:
            piece = bytearray(HEAD_BYTES)
            self._head = bytes(memoryview(piece)[: self._fill(memoryview(piece))])
        return self._head

    def readinto(self, view: memoryview) -> int:
        """Fill ``view`` with the text that comes next.

        Returns
        -------
        int
            Bytes filled in; fewer than ``len(view)`` only at the end of the text, 0 when there is no more.

        Raises
        ------
        CaptureError
            When reading fails, or the text is longer than the limit.
        """
        from_head = min(len(self._head), len(view))
        view[:from_head] = self._head[:from_head]
        self._head = self._head[from_head:]
        filled = from_head + self._fill(view[from_head:])
        self.text_read += filled
        self._keep_to_limit()
        return filled

    def _keep_to_limit(self) -> None:
        limit = self._text_limit
        if limit is None:  # what is stored plainly has no limit: its text is as long as the file
            limit = max(TEXT_LIMIT, TEXT_TIMES * self.consumed)
        if self.text_read > limit:
            raise CaptureError(
                f"the file unpacks to more than {limit} bytes of text",
                path=self.label,
                hint="if it is a real capture, give a higher --text-limit, or unpack it first",
            )

    def _fill(self, view: memoryview) -> int:
        filled = 0
        while filled < len(view) and (got := self._fill_once(view[filled:])):
            filled += got
        return filled

    def _fill_once(self, view: memoryview) -> int:
        if not self._left and self._pieces is not None:
            self._left = memoryview(self._pieces.take())
        if not self._left:
            return self._read_stored_into(view) if self._pieces is None else 0
        count = min(len(view), len(self._left))
        view[:count] = self._left[:count]
        self._left = self._left[count:]
        return count

    def sha256(self) -> str:
        """Hash of all the stored bytes, hexadecimal; reads what was not read yet.

        Raises
        ------
        ValueError
            When the source was not made with ``hashed=True``.
        """
        if self._sha is None:
            raise ValueError("the source was not asked to hash its bytes")
        if self._hasher is not None:
            self._hasher.join()
            if self._hash_error is not None:
                raise CaptureError(f"reading failed: {self._hash_error.strerror}", path=self.label)
        else:
            rest = memoryview(bytearray(1 << 20))
            while self._read_stored_into(rest):
                pass
        return self._sha.hexdigest()

    def place(self, byte: int) -> tuple[int, int]:
        """Find line and column (both from 1) of a byte of the text, by reading the file again.

        Raises
        ------
        ValueError
            When the source cannot be read again.
        """
        if not self.rereadable:
            raise ValueError("the source can be read only once")
        line, line_start, at = 1, 0, 0
        piece = bytearray(1 << 20)
        with Source(self.label) as again:
            while at < byte and (got := again.readinto(memoryview(piece))):
                upto = min(got, byte - at)
                line += piece.count(b"\n", 0, upto)
                newline = piece.rfind(b"\n", 0, upto)
                line_start = at + newline + 1 if newline >= 0 else line_start
                at += upto
        return line, byte - line_start + 1

    def close(self) -> None:
        """Close the file and end the threads."""
        self._closed = True
        if self._pieces is not None:
            self._pieces.close()
        if self._hasher is not None:
            self._hasher.join()
        if self.label != "-":
            self._raw.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
