"""Whether the screen shows the known picture of the board file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.interface import Finding
from rastertap.checks.make import not_measured
from rastertap.checks.wiring import explain
from rastertap.printable import plural, table_name

if TYPE_CHECKING:
    from rastertap.checks.interface import Evidence
    from rastertap.checks.picture_bits import BitSolution

ID = "picture.known_picture"
SOURCE = "board file"


def known_picture(evidence: Evidence) -> Finding:
    """Compare the picture at the pins with the one it should be, wiring faults undone."""
    board = evidence.board
    if board is None:
        return not_measured(ID, "No board file was given.")
    if board.picture is None:
        return not_measured(ID, "The board file states no known picture.")
    solution = explain(evidence).looks.solution
    if solution is None:
        reason = evidence.missing.get("frames", "no field was rebuilt")
        return not_measured(ID, f"No picture to compare: {reason}.")
    return _compared(solution, faulty=bool(explain(evidence).story.faults))


def _compared(solution: BitSolution, *, faulty: bool) -> Finding:
    if not solution.shown:
        text = (
            "The picture is not the known one: show that one to have the colour bits told apart; if it is on "
            "the screen, the chip or its memory shows it wrongly."
        )
        return Finding(ID, "warn", text, 0, 0.0, "the known picture", "", SOURCE)
    lost = [n for n, fits in solution.fits.items() if not fits]
    wrong = int(solution.wrong.sum())
    moved = _moved(solution)
    if moved and not wrong:
        return Finding(ID, "warn", moved, max(map(abs, solution.moved)), 0.0, "0", "pixels", SOURCE)
    if wrong:
        return Finding(ID, "fail", _where(solution, wrong), wrong, 0.0, "0", "pixels", SOURCE)
    if lost:
        text = f"As it should be, but for the bits on {', '.join(lost)}: see the findings on the taps."
        return Finding(ID, "pass", text, 0, 0.0, "0", "pixels", SOURCE)
    undone = ", the wiring faults undone" if faulty else ""
    text = f"All {solution.pixels} pixels compared are as they should be{undone}."
    return Finding(ID, "pass", text, 0, 0.0, "0", "pixels", SOURCE)


def _moved(solution: BitSolution) -> str:
    """Say by how much the picture lies off; empty when it does not, or when that is not known."""
    across, down = solution.moved
    if not solution.placed or not (across or down):
        return ""
    parts = [f"{plural(abs(across), 'pixel')} to the {'right' if across > 0 else 'left'}"] if across else []
    parts += [f"{plural(abs(down), 'line')} {'down' if down > 0 else 'up'}"] if down else []
    return (
        f"The picture is as it should be, but lies {' and '.join(parts)} of where the board file has it: the"
        " line or field sync comes earlier or later than it did, or `active` in the board file is to be"
        " corrected."
    )


def _where(solution: BitSolution, wrong: int) -> str:
    rows, columns = np.nonzero(solution.wrong)
    if not solution.placed:
        return (
            f"{plural(wrong, 'pixel')} of {solution.pixels} differ from the known picture, which was found by"
            " its own lines: no sync says where it lies."
        )
    x, y = solution.at
    place = f"lines {rows.min() + max(y, 0)} to {rows.max() + max(y, 0)}"
    place += f", pixels {columns.min() + max(x, 0)} to {columns.max() + max(x, 0)} of the raster"
    text = f"{plural(wrong, 'pixel')} of {solution.pixels} differ from the known picture, in {place}."
    if 2 * len(solution.wrong_on) <= len(solution.fits):
        text += f" Only on {', '.join(map(table_name, solution.wrong_on))}: all other bits are right."
    return text
