"""The host's side of the readers: choose one, run it, join its blocks."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

from rastertap import plugins
from rastertap.capture.interface import Window
from rastertap.capture.model import join
from rastertap.capture.names import short_names
from rastertap.capture.pieces import Piece, pieces
from rastertap.capture.sampling import infer_sample_period
from rastertap.capture.source import Source
from rastertap.errors import CaptureError, PluginError
from rastertap.options import options_of
from rastertap.progress import Silent

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator, Mapping

    from rastertap.capture.interface import Reader
    from rastertap.capture.model import Capture, SamplePeriod
    from rastertap.match import Match
    from rastertap.progress import Progress

GROUP: plugins.Group = "rastertap.readers"
LEAST_SCORE = 0.3
"""A reader must be this sure of a file to be given it."""


def reader_by_name(name: str, options: Mapping[str, Any] | None = None) -> Reader:
    """Make the reader called ``name``.

    Raises
    ------
    PluginError
        When there is none, or it cannot be used.
    UsageError
        When an option is not one of its own, or has a value that it refuses.
    """
    plugin = plugins.load(GROUP, name)
    if plugin.error:
        raise PluginError(f"the reader '{name}' cannot be used: {plugin.error}")
    return cast("Reader", options_of(f"reader {name}", plugin.factory, options or {}))


def choose_reader(source: Source) -> Reader:
    """Make the reader that is surest of the first bytes.

    Raises
    ------
    CaptureError
        When none is; says what the bytes look like and what can be read.
    """
    head = source.head()
    usable = [plugin for plugin in plugins.load_all(GROUP) if not plugin.error]
    readers = [cast("Reader", plugin.factory()) for plugin in usable]
    scored: list[tuple[Match, Reader]] = [(reader.match(head, source.label), reader) for reader in readers]
    best = max(scored, key=lambda pair: pair[0].score, default=None)
    if best is None or best[0].score < LEAST_SCORE:
        raise CaptureError(
            f"no reader knows this format: the file {looks_like(head)}",
            path=source.label,
            byte=0,
            hint="can be read: " + "; ".join(f"{reader.describes} ({reader.name})" for reader in readers),
        )
    return best[1]


def is_capture(path: str | os.PathLike[str]) -> bool:
    """Whether a reader is sure enough of a file's first bytes."""
    try:
        with Source(path) as source:
            choose_reader(source)
    except CaptureError:
        return False
    return True


_SIGNATURES = (
    (b"PK\x03\x04", "is a zip archive: unpack it, or export the capture as VCD"),
    (b"BZh", "is compressed with bzip2: unpack it first (bunzip2)"),
    (b"\xfd7zXZ", "is compressed with xz: unpack it first (unxz)"),
    (b"\xff\xfe", "is UTF-16 text: save it as UTF-8 or ASCII"),
    (b"\xfe\xff", "is UTF-16 text: save it as UTF-8 or ASCII"),
)


def looks_like(head: bytes) -> str:
    """Say what bytes look like, for an error: ``is empty``, ``is a zip archive...``, ``begins with ...``."""
    if not head:
        return "is empty"
    for signature, meaning in _SIGNATURES:
        if head.startswith(signature):
            return meaning
    if b"\0" in head:
        return "holds binary data"
    return f"begins with {head[:40].decode('ascii', 'backslashreplace')!r}"


@contextmanager
def _opened(
    path: str | os.PathLike[str],
    reader: str | None,
    options: Mapping[str, Any] | None,
    *,
    text_limit: int | None,
    hashed: bool,
) -> Iterator[tuple[Source, Reader]]:
    with Source(path, text_limit=text_limit, hashed=hashed) as source:
        yield source, (reader_by_name(reader, options) if reader is not None else choose_reader(source))


def open_blocks(
    path: str | os.PathLike[str],
    *,
    reader: str | None = None,
    options: Mapping[str, Any] | None = None,
    window: Window | None = None,
    progress: Progress | None = None,
    text_limit: int | None = None,
) -> Iterator[Capture]:
    """Read a capture block by block, in memory that does not grow with it.

    Parameters
    ----------
    path : str or path
        A file, or ``-`` for standard input.
    reader : str, optional
        A reader's name; else the one that is surest of the first bytes.
    options : mapping, optional
        Given to the named reader, e.g. ``{"time_back": "drop"}`` to ``vcd``.
    window : Window, optional
        The part to read; all of it when left out.
    progress : Progress, optional
        Told about the stored bytes read.
    text_limit : int, bytes
        Decompressed text beyond this is an error; when left out, that of `Source`.

    Yields
    ------
    Capture
        Consecutive blocks; each one's arrays are valid until the next is asked for. ``sha256`` is empty and
        ``sample_period`` None.

    Raises
    ------
    CaptureError, PluginError, UsageError
    """
    with _opened(path, reader, options, text_limit=text_limit, hashed=False) as (source, chosen):
        for block in chosen.blocks(source, window=window or Window(), progress=progress or Silent()):
            yield short_names(block)


def read_pieces(
    path: str | os.PathLike[str],
    *,
    reader: str | None = None,
    options: Mapping[str, Any] | None = None,
    window: Window | None = None,
    progress: Progress | None = None,
    text_limit: int | None = None,
) -> Iterator[Piece]:
    """Read a capture in overlapping pieces, in memory that does not grow; parameters as `open_blocks`.

    Yields
    ------
    Piece
        Its capture has a ``sample_period``, inferred from the first piece; the last one's has ``sha256``.
    """
    period: SamplePeriod | None = None
    with _opened(path, reader, options, text_limit=text_limit, hashed=True) as (source, chosen):

        def completed(piece: Piece) -> Piece:
            nonlocal period
            period = period or piece.capture.sample_period or infer_sample_period(piece.capture)
            sha256 = source.sha256() if piece.last else ""
            return replace(piece, capture=replace(piece.capture, sample_period=period, sha256=sha256))

        blocks = chosen.blocks(source, window=window or Window(), progress=progress or Silent())
        # No variable holds a piece while the next one is read into the memory that it leaves.
        yield from map(completed, pieces(short_names(block) for block in blocks))


def read_capture(
    path: str | os.PathLike[str],
    *,
    reader: str | None = None,
    options: Mapping[str, Any] | None = None,
    window: Window | None = None,
    progress: Progress | None = None,
    text_limit: int | None = None,
) -> Capture:
    """Read a capture whole; parameters and errors as `open_blocks`.

    Returns
    -------
    Capture
        With ``sha256`` and ``sample_period`` filled in.
    """
    with _opened(path, reader, options, text_limit=text_limit, hashed=True) as (source, chosen):
        capture = join(chosen.blocks(source, window=window or Window(), progress=progress or Silent()))
        capture = replace(short_names(capture), sha256=source.sha256())
    return replace(capture, sample_period=capture.sample_period or infer_sample_period(capture))
