"""rastertap in a program or a notebook.

>>> import rastertap
>>> result = rastertap.check("captures/marlow85-50.vcd.gz", board="captures/marlow85-50.toml")
>>> result.verdict.place
'after_the_pins'

Everything measured is a table, a pandas DataFrame, with units in the names of its columns:

>>> result.fields[["kind", "complete", "length_lines"]].values.tolist()[1]
['progressive', True, 312.0]
>>> faulty = result.findings.query("result == 'fail'")
>>> len(faulty)
0
>>> line = result.lines.query("field == 0 and line == 100").iloc[0]
>>> f"{line.duration_s * 1e6:.1f} us, sync {line.sync_width_s * 1e6:.1f} us"
'64.0 us, sync 4.7 us'

Frames are arrays: colour codes of the active area, R'G'B', and of the whole raster.

>>> frame = result.frames[1]
>>> frame.codes.shape, frame.codes.dtype.name
((240, 384), 'uint8')
>>> frame.rgb[0, 0].tolist()
[0, 0, 170]
>>> frame.raster.shape
(312, 576)

A notebook shows ``result`` and ``frame`` as verdict and picture. The numbers for the next device:

>>> sheet = result.handover()
>>> sheet.across.total, sheet.across.offset, sheet.down.total
(576, 136, 312.0)

A capture by itself, its changes as a table:

>>> capture = rastertap.read("captures/marlow85-50.vcd.gz", end_s=0.001)
>>> rastertap.edges(capture, ["D1"]).head(2).values.tolist()
[['D1', 3.841e-05, '0'], ['D1', 4.308e-05, '1']]
"""

from __future__ import annotations

import base64
from dataclasses import dataclass, field, replace
from functools import cached_property
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap import tables
from rastertap.analyse import DEFAULT_LIMITS, DEFAULT_TIMEBASE_PPM, Request, analyse_path
from rastertap.board.load import load_board
from rastertap.board.model import Board
from rastertap.capture.interface import Window
from rastertap.capture.read import read_capture
from rastertap.errors import UsageError
from rastertap.frames.images import shown_codes
from rastertap.frames.look import Look
from rastertap.frames.png import encode
from rastertap.standards.limits import limits_for
from rastertap.streams.model import Lines
from rastertap.tables import edges

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.capture.model import Capture
    from rastertap.checks.verdict import Verdict
    from rastertap.decode import Decoded
    from rastertap.frames.model import Frame, Frames
    from rastertap.handover.sheet import Sheet

__all__ = ["FrameView", "Result", "check", "edges", "read"]


def read(
    path: str | os.PathLike[str],
    *,
    reader: str | None = None,
    start_s: float = 0.0,
    end_s: float | None = None,
) -> Capture:
    """Read a capture whole.

    Parameters
    ----------
    path : str or path
        A file, or ``-`` for standard input.
    reader : str, optional
        A reader's name; else the one that is surest of the file.
    start_s, end_s : float, optional
        The part to read, seconds from the start of the capture.

    Raises
    ------
    CaptureError
        When it cannot be read.
    """
    return read_capture(path, reader=reader, window=Window(start_s, end_s))


def check(
    path: str | os.PathLike[str],
    *,
    board: str | os.PathLike[str] | Board | None = None,
    limits: str = DEFAULT_LIMITS,
    timebase_ppm: float = DEFAULT_TIMEBASE_PPM,
    options: Mapping[str, Mapping[str, Any]] | None = None,
    reader: str | None = None,
    start_s: float = 0.0,
    end_s: float | None = None,
    keep_all: bool = True,
) -> Result:
    """Read, decode, rebuild, check and judge a capture.

    Parameters
    ----------
    path : str or path
        A file, or ``-`` for standard input.
    board : path or Board, optional
        Board file: pin map, expected timing, colours.
    limits : str
        Limit set.
    timebase_ppm : float
        Tolerance of the analyser's own clock.
    options : mapping of str to mapping, optional
        Options by decoder name, e.g. ``{"frames": {"weave": False}}``.
    reader : str, optional
    start_s, end_s : float, optional
        The part to read.
    keep_all : bool
        Keep every frame and line of a long capture (some 10 MB a second of recording); else only the first
        and last frames are, and no lines, in memory that does not grow.

    Raises
    ------
    CaptureError
        When it cannot be read.
    BoardError, UsageError
        For a board file or an option that is wrong.
    """
    loaded = board if board is None or isinstance(board, Board) else load_board(board)
    limits_for(limits, None)
    request = Request(loaded, limits, timebase_ppm, options)
    kept = _Kept()
    analysis = analyse_path(
        str(path), request, reader=reader, window=Window(start_s, end_s), sink=kept if keep_all else None
    )
    return Result(analysis, kept)


@dataclass
class _Kept:
    """Frames and lines of all pieces."""

    frames: list[tuple[Frames, Frame]] = field(default_factory=list)
    lines: list[Lines] = field(default_factory=list)

    def __call__(self, decoded: Decoded) -> None:
        """Take in a piece; of what two pieces both hold, the earlier one's is kept."""
        frames, sync = decoded.streams.get("frames"), decoded.streams.get("sync")
        if frames is not None:
            bare = replace(frames, frames=(), steadiness={})
            self.frames += [(bare, frame) for frame in frames.frames]
        if sync is not None and sync.lines.starts.size:
            new = slice(0, None)
            if self.lines:
                last = self.lines[-1].starts[-1] + sync.line_period.value / 2
                new = slice(int(np.searchsorted(sync.lines.starts, last)), None)
            found = sync.lines
            if found.starts[new].size:
                self.lines.append(Lines(found.starts[new], found.measured[new], found.widths[new]))


class FrameView:
    """One rebuilt frame.

    Parameters
    ----------
    frames : Frames
        Where its active area is known from.
    frame : Frame
    look : Look
        How codes become colours.
    """

    def __init__(self, frames: Frames, frame: Frame, look: Look) -> None:
        self._frames, self.frame, self._look = frames, frame, look

    @property
    def codes(self) -> NDArray[np.unsignedinteger]:
        """Colour codes of the active area, shape (height, width)."""
        return shown_codes(self._frames, self.frame)

    @property
    def raster(self) -> NDArray[np.unsignedinteger]:
        """Colour codes of the whole raster, shape (lines, pixels)."""
        return self.frame.codes

    @property
    def rgb(self) -> NDArray[np.uint8]:
        """R'G'B' of the active area, shape (height, width, 3); greys when the colours are not known."""
        return self._look.rgb(self.codes)

    def png(self, scale: int = 2) -> bytes:
        """Give the active area as the bytes of a PNG."""
        return encode(replace(self._look, scale=(scale, scale)).picture(self.codes))

    def _repr_png_(self) -> bytes:
        return self.png()

    def __repr__(self) -> str:
        height, width = self.codes.shape
        whole = "complete" if self.frame.complete else "cut"
        return f"<frame {self.frame.index}, {self.frame.field}, {whole}, {width} x {height}>"


class Result:
    """Everything that was found in one capture; `check` makes it."""

    def __init__(self, analysis: Analysis, kept: _Kept) -> None:
        self.analysis = analysis
        """The whole analysis, for what is not offered here."""
        self._kept = kept

    @property
    def verdict(self) -> Verdict:
        """Where the fault is, why, and what to do next."""
        return self.analysis.verdict

    @cached_property
    def frames(self) -> list[FrameView]:
        """Frames in order; of a long capture that was not kept whole only the first and last ones."""
        found, bus = self.analysis.evidence.frames, self.analysis.evidence.colour_bus
        if found is None or bus is None:
            return []
        look = Look(len(bus.bits), bus.colours)
        held = self._kept.frames or [(found, frame) for frame in found.frames]
        return [FrameView(found, frame, look) for _, frame in held]

    @cached_property
    def pins(self) -> pd.DataFrame:
        """What each channel carries (`rastertap.tables.pins`)."""
        return tables.pins(self.analysis.pins)

    @cached_property
    def findings(self) -> pd.DataFrame:
        """Every finding (`rastertap.tables.findings`)."""
        return tables.findings(self.analysis.findings)

    @cached_property
    def lines(self) -> pd.DataFrame:
        """Every scan line (`rastertap.tables.lines`).

        Raises
        ------
        UsageError
            When there is no sync, or the lines were not kept.
        """
        sync = self.analysis.evidence.sync
        if sync is None:
            raise UsageError(f"no sync was found: {self.analysis.evidence.missing.get('sync', '')}")
        if not self._kept.lines:
            raise UsageError("the lines were not kept", hint="check(..., keep_all=True)")
        parts = self._kept.lines
        joined = Lines(
            *(np.concatenate([getattr(p, n) for p in parts]) for n in ("starts", "measured", "widths"))
        )
        return tables.lines(joined, sync, self.analysis.capture)

    @cached_property
    def fields(self) -> pd.DataFrame:
        """Every field (`rastertap.tables.fields`).

        Raises
        ------
        UsageError
            When no frame could be rebuilt.
        """
        evidence = self.analysis.evidence
        if evidence.frames is None or evidence.sync is None:
            raise UsageError(f"no frame was rebuilt: {evidence.missing.get('frames', '')}")
        return tables.fields(evidence.frames.notes, evidence.sync, self.analysis.capture)

    def handover(self) -> Sheet:
        """Give the numbers for the next device (`rastertap.handover.sheet.make_sheet`)."""
        from rastertap.handover.sheet import make_sheet

        return make_sheet(self.analysis)

    def as_dict(self) -> dict[str, Any]:
        """Give it as plain data, as ``rastertap check --json`` writes it."""
        from rastertap.report.document import document

        return document(self.analysis)

    def save_tables(self, folder: str | os.PathLike[str], form: tables.Format = "csv") -> list[Path]:
        """Write pins, findings, lines and fields as CSV or Parquet, units and origin in their metadata.

        Returns
        -------
        list of Path
        """
        from rastertap.report.provenance import provenance

        made = {"pins": self.pins, "findings": self.findings}
        if self._kept.lines:
            made["lines"] = self.lines
        if self.analysis.evidence.frames is not None:
            made["fields"] = self.fields
        return tables.save(made, Path(folder), form, provenance(self.analysis))

    def __repr__(self) -> str:
        return f"<rastertap result: {self.verdict.place}, {len(self.frames)} frames>"

    def _repr_html_(self) -> str:
        shown = next((f for f in self.frames if f.frame.complete), None)
        picture = ""
        if shown is not None:
            data = base64.b64encode(shown.png(1)).decode()
            picture = f'<img alt="the first complete frame" src="data:image/png;base64,{data}">'
        table = self.findings[["result", "id", "text"]].to_html(escape=True, index=False, border=0)
        return f"<p><b>{escape(self.verdict.place)}</b>: {escape(self.verdict.text)}</p>{picture}{table}"
