"""The demo captures, each analysed once for all tests that look at it."""

from __future__ import annotations

import json
import signal
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis

CAPTURES = Path(__file__).parents[1] / "captures"

if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    # A run in the background of a shell has interrupts ignored, and so would the programs under test.
    signal.signal(signal.SIGINT, signal.default_int_handler)


@dataclass(frozen=True)
class Checked:
    """A demo capture: what rastertap says of it, and what is so by the bench that made it."""

    analysis: Analysis
    document: dict[str, Any]
    truth: dict[str, Any]
    pictures: NDArray[np.unsignedinteger]

    def finding(self, name: str) -> dict[str, Any]:
        """The only finding with this id."""
        (found,) = [f for f in self.document["findings"] if f["id"] == name]
        return found

    def failed(self) -> set[str]:
        """Ids of what is out of limits."""
        return {f["id"] for f in self.document["findings"] if f["result"] == "fail"}


@cache
def _checked(name: str, *, with_board: bool) -> Checked:
    # Here, so that tests of one part run without the rest.
    from rastertap.analyse import Request, analyse_path
    from rastertap.board.load import load_board
    from rastertap.report.document import document

    board = load_board(CAPTURES / f"{name[:11]}.toml") if with_board else None
    analysis = analyse_path(str(CAPTURES / f"{name}.vcd.gz"), Request(board=board))
    truth = json.loads((CAPTURES / f"{name}.truth.json").read_text())
    return Checked(analysis, document(analysis), truth, np.load(CAPTURES / f"{name}.pictures.npy"))


@pytest.fixture(scope="session")
def checked() -> Callable[..., Checked]:
    """Analyse a demo capture by name, with the board file of its rate."""

    def of(name: str, *, with_board: bool = True) -> Checked:
        return _checked(name, with_board=with_board)

    return of
