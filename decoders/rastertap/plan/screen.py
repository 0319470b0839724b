"""The test screen: every colour in bars in code order, with a listing and its board-file entry."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_BARS = 64
"""Bars that still are wide enough; a wider bus is shown a bit at a time."""


def codes_to_show(bits: int) -> tuple[int, ...]:
    """Colour codes of the bars: all of them; of a wide bus black, every single bit, and all bits."""
    if 1 << bits <= MOST_BARS:
        return tuple(range(1 << bits))
    return (0, *(1 << bit for bit in range(bits)), (1 << bits) - 1)


def drawing(bits: int, width: int = 76) -> Iterator[str]:
    """Draw the screen in characters, one row of bars with their codes; rows of 16 bars at most."""
    codes = codes_to_show(bits)
    for first in range(0, len(codes), 16):
        row = codes[first : first + 16]
        cell = min(max(len(str(codes[-1])) + 2, (width - 1) // len(row) - 1), 8)
        line = "+" + "+".join("-" * cell for _ in row) + "+"
        label = "|" + "|".join(str(code).center(cell) for code in row) + "|"
        yield line
        yield label
    yield line


def listing(bits: int) -> Iterator[str]:
    """Give a listing in plain line-numbered pseudo-BASIC; the words are to be put into the machine's own."""
    codes = codes_to_show(bits)
    count = len(codes)
    yield f"10 REM {count} UPRIGHT BARS, FULL HEIGHT, COLOUR CODES IN ORDER FROM THE LEFT"
    yield f"20 LET N = {count}"
    yield "30 LET W = SCREEN WIDTH"
    yield "40 FOR I = 0 TO N - 1"
    if count == 1 << bits:
        yield "50 LET C = I"
    else:
        yield "50 READ C"
    # Bars that fill the width whatever their number, with their edges where `expected_picture` has them.
    yield "60 LET L = INT((I * W + N - 1) / N)"
    yield "70 LET R = INT(((I + 1) * W + N - 1) / N) - 1"
    yield "80 FILL BOX FROM (L, 0) TO (R, SCREEN HEIGHT - 1) IN COLOUR C"
    yield "90 NEXT I"
    yield "100 GOTO 100"
    if count != 1 << bits:
        yield f"110 DATA {', '.join(map(str, codes))}"


def board_entry(bits: int, active: tuple[int, int, int, int] | None) -> Iterator[str]:
    """Give the lines for the board file that make this screen its known picture."""
    codes = ", ".join(map(str, codes_to_show(bits)))
    yield "[picture]"
    yield 'note = "test screen: bars in code order"'
    if active is None:
        yield "# active = [136, 46, 384, 240]   # x, y, width, height: as `rastertap frames` finds them"
        at = "[0, 0, 320, 200]   # where the bars are in the active area, border counted: correct it"
    else:
        yield f"active = {list(active)}"
        at = f"[0, 0, {active[2]}, {active[3]}]   # without the border, if there is one: correct it"
    yield "[[picture.regions]]"
    yield f"at = {at}"
    yield f"bars = [{codes}]"
