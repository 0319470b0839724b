"""Timing codes embedded in 8-bit component video (BT.656): FF 00 00 XY.

XY is 1 F V H P3 P2 P1 P0 (references 4.1): F the field, V field blanking, H 1 for the end of active video
(EAV) and 0 for its start (SAV). P3 = V xor H, P2 = F xor H, P1 = F xor V, P0 = F xor V xor H: one wrong bit
can be mended, two are seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

FULL = 0xFF
CODE_WORDS = 4
VALID = {
    (f, v, h): 0x80 | f << 6 | v << 5 | h << 4 | (v ^ h) << 3 | (f ^ h) << 2 | (f ^ v) << 1 | (f ^ v ^ h)
    for f in (0, 1)
    for v in (0, 1)
    for h in (0, 1)
}
"""The eight codes by (F, V, H)."""


def _mended() -> NDArray[np.int16]:
    """Give the valid code nearest to each byte when at most one bit is wrong, else -1."""
    table = np.full(256, -1, np.int16)
    for code in VALID.values():
        table[code] = code
        for bit in range(8):
            table[code ^ (1 << bit)] = code
    return table


MENDED = _mended()


@dataclass(frozen=True, eq=False)
class TimingCodes:
    """Embedded codes in the order of the words.

    Parameters
    ----------
    words : ndarray of int64, shape (n,)
        Index of the FF that each begins with.
    field, blanking, end : ndarray of bool, shape (n,)
        F, V and H.
    wrong, seen : int
        Codes with wrong protection bits, those that could not be mended (and are left out) included; and all.
    """

    words: NDArray[np.int64]
    field: NDArray[np.bool_]
    blanking: NDArray[np.bool_]
    end: NDArray[np.bool_]
    wrong: int
    seen: int


def find_codes(words: NDArray[np.uint32]) -> TimingCodes:
    """Find the codes in a stream of 8-bit words, shape (n,)."""
    if words.size < CODE_WORDS:
        none = np.empty(0, np.int64)
        return TimingCodes(none, none != 0, none != 0, none != 0, 0, 0)
    first = np.flatnonzero((words[:-3] == FULL) & (words[1:-2] == 0) & (words[2:-1] == 0))
    given = words[first + 3].astype(np.int64) & FULL
    code = MENDED[given]
    known = code >= 0
    wrong = int((code != given).sum())
    code = code[known]
    return TimingCodes(
        first[known].astype(np.int64),
        (code & 0x40) != 0,
        (code & 0x20) != 0,
        (code & 0x10) != 0,
        wrong,
        int(first.size),
    )
