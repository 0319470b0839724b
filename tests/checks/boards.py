"""Simulated boards for the tests of the taps: captures with wiring faults, as the reader hands them over."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.analyse import Request, analyse
from rastertap.bench.analyser import Analyser
from rastertap.bench.card import card_for
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MARLOW_50, MARLOW_WIRES
from rastertap.bench.make import make_capture
from rastertap.board.load import load_board, parse_board
from rastertap.capture.model import Capture, Channel, SamplePeriod

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.board.model import Board

STEP = 10
ACTIVE = (136, 46, 384, 240)
"""Of the Marlow 85, border included: written down in captures/README.md."""


def taken(
    *faults: str,
    picture: NDArray[np.uint32] | None = None,
    wires: dict[str, str] | None = None,
    fields: float = 1.2,
    seed: int = 1,
    **source: Any,
) -> Capture:
    """Record the invented Marlow 85 at 100 MS/s, from just before a field sync on."""
    machine = replace(MARLOW_50, **source) if source else MARLOW_50
    connected = tuple((dict(MARLOW_WIRES) | (wires or {})).items())
    analyser = Analyser(connected, rate_hz=Fraction(10**8), start_fields=0.95, fields=fields)
    shown = picture if picture is not None else card_for(machine)
    made = make_capture(machine, analyser, [parse_fault(f) for f in faults], shown, seed=seed)
    channels = tuple(
        Channel(n, initial, at * STEP, ((np.arange(1, at.size + 1) + initial) % 2).astype(np.uint8))
        for n, initial, at in made.channels
    )
    end = (made.count - 1) * STEP
    return Capture(
        "x", Fraction(1, 10**9), 0, end, channels, sample_period=SamplePeriod(STEP, 0.0, known=True)
    )


def text_of(folder: Path) -> str:
    """Give the shipped board file of the Marlow 85 without its known picture, which lies beside it."""
    return (folder / "marlow85-50.toml").read_text().partition("[picture]")[0]


def with_picture(captures: Path, tmp_path: Path) -> Board:
    """Make the board file with the shipped pictures, as the chip was told to show them, for known."""
    np.save(tmp_path / "card.npy", np.load(captures / "marlow85-50.pictures.npy"))
    entry = f'[picture]\nactive = {list(ACTIVE)}\nblanking = 0\nreference = "card.npy"\n'
    path = tmp_path / "board.toml"
    path.write_text(text_of(captures) + entry)
    return load_board(path)


def judged(capture: Capture, board: Board | str | None) -> Analysis:
    """Analyse a capture."""
    return analyse(capture, Request(board=parse_board(board) if isinstance(board, str) else board))


def result(analysis: Analysis, name: str) -> tuple[str, str]:
    """Result and text of the finding with this id."""
    (found,) = [f for f in analysis.findings if f.id == name]
    return found.result, found.text


def failed(analysis: Analysis) -> set[str]:
    """Ids of the findings on the taps that fail or warn."""
    return {f.id for f in analysis.findings if f.id.startswith("taps.") and f.result in {"fail", "warn"}}
