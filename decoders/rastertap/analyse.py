"""The whole job on one capture: read, find roles, decode, check, judge. Knows no terminal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rastertap import plugins
from rastertap.capture.interface import Window
from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.verdict import Verdict, judge
from rastertap.decode import Decoded, check_settings, decode
from rastertap.progress import Progress, Silent
from rastertap.standards.modes import nearest_mode
from rastertap.streams.interface import Context, Pin

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.board.model import Board
    from rastertap.capture.model import Capture
    from rastertap.standards.modes import Mode, ModeDistance
    from rastertap.streams.model import Sync

DEFAULT_LIMITS = "home-computer"
DEFAULT_TIMEBASE_PPM = 50.0
"""Tolerance of a logic analyser's timebase: common practice, no source."""


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

    return nearest_mode(
        1 / (sync.line_period.value * tick_s),
        lines_per_field(sync).tolist(),
        interlaced=bool(sync.interlaced),
        hsync_width_s=sync.line_width.value * tick_s or None,
    )


def analyse(capture: Capture, request: Request) -> Analysis:
    """Analyse a capture that has been read."""
    from rastertap.streams.roles import find_pins

    check_settings(request.settings or {}, "--set")
    if request.board is not None:
        check_settings(request.board.decoders, "board file")
    binary = replace(capture, channels=tuple(c.binary() for c in capture.channels))
    pins = find_pins(binary, request.board)
    decoded = decode(Context(binary, pins, request.board), request.settings)
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
    )
    findings = tuple(f for check in _checks() for f in check.run(evidence))
    return Analysis(capture, request, pins, decoded, evidence, distance, findings, judge(findings, evidence))


def _checks() -> list[Any]:
    return [p.factory() for p in plugins.load_all("rastertap.checks") if not p.error]


def analyse_path(
    path: str,
    request: Request | None = None,
    *,
    reader: str | None = None,
    window: Window | None = None,
    progress: Progress | None = None,
) -> Analysis:
    """Read a capture and analyse it.

    Raises
    ------
    CaptureError
        When it cannot be read.
    UsageError
        When an option does not fit.
    """
    from rastertap.capture.read import read_capture

    capture = read_capture(path, reader=reader, window=window or Window(), progress=progress or Silent())
    return analyse(capture, request or Request())
