"""The whole job on one capture: read, find roles, decode, check, judge. Knows no terminal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap import plugins
from rastertap.capture.model import HIGH
from rastertap.capture.pieces import Piece, beginning
from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.verdict import Verdict, judge
from rastertap.decode import Decoded, check_settings, decode, join
from rastertap.production import own_limits
from rastertap.standards.modes import nearest_mode
from rastertap.streams.interface import Context, Pin

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from rastertap.board.model import Board
    from rastertap.capture.interface import Window
    from rastertap.capture.model import Capture
    from rastertap.progress import Progress
    from rastertap.standards.modes import Mode, ModeDistance
    from rastertap.streams.model import Sync

DEFAULT_LIMITS = "home-computer"
DEFAULT_TIMEBASE_PPM = 50.0
"""Tolerance of a logic analyser's timebase: common practice, no source."""
MOST_TIMES = 20
"""Times of unknown levels kept for each channel and piece."""


@dataclass(frozen=True)
class Request:
    """What to do with a capture.

    Parameters
    ----------
    board : Board or None
        What the board should be.
    limits : str
        Name of the limit set.
    timebase_ppm : float
        Tolerance of the analyser's timebase.
    settings : mapping of str to mapping
        Options by decoder name.
    """

    board: Board | None = None
    limits: str = DEFAULT_LIMITS
    timebase_ppm: float = DEFAULT_TIMEBASE_PPM
    settings: Mapping[str, Mapping[str, Any]] | None = None


@dataclass(frozen=True, eq=False)
class Analysis:
    """Everything that was found in one capture."""

    capture: Capture
    request: Request
    pins: tuple[Pin, ...]
    decoded: Decoded
    evidence: Evidence
    distance: ModeDistance | None
    findings: tuple[Finding, ...]
    verdict: Verdict


def recognise(sync: Sync | None, tick_s: float) -> tuple[Mode | None, ModeDistance | None]:
    """Name the standard nearest to a sync, and how far off it is; None without a whole field."""
    if sync is None or sync.fields.starts.size < 2:  # noqa: PLR2004 - a field needs a start and an end
        return None, None
    from rastertap.streams.counts import lines_per_field

    lines = lines_per_field(sync)
    if not lines.size:
        return None, None
    return nearest_mode(
        1 / (sync.line_period.value * tick_s),
        lines.tolist(),
        interlaced=bool(sync.interlaced),
        hsync_width_s=sync.line_width.value * tick_s or None,
    )


class _Whole:
    """Facts of the whole recording, gathered while its pieces pass."""

    def __init__(self) -> None:
        self.start = 0
        self.first: Capture | None = None
        self.edges: dict[str, int] = {}
        self.unknown: dict[str, list[int]] = {}

    def add(self, piece: Piece) -> None:
        """Count what counts in this piece."""
        capture = piece.capture
        if self.first is None:
            self.first, self.start = beginning(capture), capture.start
        low, high = piece.span or (capture.start, capture.end + 1)
        for channel in capture.channels:
            inside = slice(*np.searchsorted(channel.ticks, (low, high)))
            ticks, levels = channel.ticks[inside], channel.levels[inside]
            self.edges[channel.name] = self.edges.get(channel.name, 0) + ticks.size
            unknown = ticks[levels > HIGH]
            if unknown.size:
                self.unknown.setdefault(channel.name, []).extend(unknown.tolist()[:MOST_TIMES])

    def capture(self, last: Capture) -> Capture:
        """Give the first piece's changes with the whole recording's start, end and findings of the reader."""
        if self.first is None:
            raise ValueError("no piece was added")
        return replace(last, start=self.start, channels=self.first.channels)


def analyse_pieces(
    found: Iterable[Piece], request: Request, *, sink: Callable[[Decoded], None] | None = None
) -> Analysis:
    """Analyse a recording piece by piece.

    Parameters
    ----------
    found : iterable of Piece
        In order, at least one.
    request : Request
        What to do.
    sink : callable, optional
        Shown what was decoded from each piece, with its frames, before they are joined.

    Notes
    -----
    Roles are found on the first piece and hold for the rest.
    """
    from rastertap.streams.roles import find_pins

    check_settings(request.settings or {}, "--set")
    if request.board is not None:
        check_settings(request.board.decoders, "board file")
    whole, pins, joined = _Whole(), tuple[Pin, ...](), None
    last = None
    for piece in found:
        whole.add(piece)
        capture = piece.capture
        binary = replace(capture, channels=tuple(c.binary() for c in capture.channels))
        if joined is None:
            pins = find_pins(binary, request.board)
        before: Mapping[str, Any] = joined.streams if joined is not None else {}
        context = Context(binary, pins, request.board, span=piece.span, before=before)
        decoded = decode(context, request.settings)
        if sink is not None:
            sink(decoded)
        joined = decoded if joined is None or piece.span is None else join(joined, decoded, piece.span[0])
        last = replace(capture, channels=())
        del piece, capture, binary, before, context, decoded  # the next piece is read into their memory
    if joined is None or last is None:
        raise ValueError("no piece to analyse")
    return _judged(whole, whole.capture(last), pins, joined, request)


def _judged(
    whole: _Whole, capture: Capture, pins: tuple[Pin, ...], decoded: Decoded, request: Request
) -> Analysis:
    """Check what was decoded."""
    mode, distance = recognise(decoded.streams.get("sync"), float(capture.tick))
    evidence = Evidence(
        capture=capture,
        pins=pins,
        board=request.board,
        streams=decoded.streams,
        missing=decoded.missing,
        limits=request.limits,
        mode=mode,
        mode_close=distance is not None and distance.close,
        timebase_ppm=request.timebase_ppm,
        edges=whole.edges,
        unknown=whole.unknown,
    )
    found = (f for check in _checks() for f in check.run(evidence))
    findings = tuple(own_limits(found, request.board))
    return Analysis(capture, request, pins, decoded, evidence, distance, findings, judge(findings, evidence))


def analyse(capture: Capture, request: Request) -> Analysis:
    """Analyse a capture that was read whole."""
    return analyse_pieces([Piece(capture, None, last=True)], request)


def _checks() -> list[Any]:
    return [p.factory() for p in plugins.load_all("rastertap.checks") if not p.error]


def analyse_path(
    path: str,
    request: Request | None = None,
    *,
    reader: str | None = None,
    options: Mapping[str, Any] | None = None,
    window: Window | None = None,
    progress: Progress | None = None,
    text_limit: int | None = None,
    sink: Callable[[Decoded], None] | None = None,
) -> Analysis:
    """Read a capture and analyse it, in memory that does not grow with it.

    Parameters are those of `rastertap.capture.read.open_blocks` and `analyse_pieces`.

    Raises
    ------
    CaptureError
        When it cannot be read.
    UsageError
        When an option does not fit.
    """
    from rastertap.capture.read import read_pieces

    found = read_pieces(
        path, reader=reader, options=options, window=window, progress=progress, text_limit=text_limit
    )
    return analyse_pieces(found, request or Request(), sink=sink)
