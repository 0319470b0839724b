"""The declared identifier codes as the lookup tables that the kernels read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture import kernels as k
from rastertap.capture.vcd_text import WHITE_SPACE, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from rastertap.capture.vcd_header import Variable

_SHORT = 2


@dataclass(frozen=True, eq=False)
class Codes:
    """Identifier codes to signals.

    A code's value is its signal (0 or more), -1 when it is not declared, or ``-2 - e`` for the entry ``e``
    of ``vector_first`` (signal of the least significant bit) and ``vector_width`` (0: changes are skipped).

    Parameters
    ----------
    declared : dict of bytes to (int, int)
        Each code's first signal and width.
    signals : int
        Number of signals.
    classes : ndarray of uint8, shape (256,)
        Class of a token by its first byte.
    short_codes : ndarray of int32, shape (65536,)
        Values of codes of one (index: the byte) and two characters (index: first + 256 second).
    slots, code_at, code_text, code_value : ndarray
        Hash table of the longer codes, their texts one after the other, and their values.
    """

    declared: dict[bytes, tuple[int, int]]
    signals: int
    classes: NDArray[np.uint8]
    short_codes: NDArray[np.int32]
    slots: NDArray[np.int32]
    code_at: NDArray[np.int64]
    code_text: NDArray[np.uint8]
    code_value: NDArray[np.int32]
    vector_first: NDArray[np.int32]
    vector_width: NDArray[np.int32]

    def begins_another(self, code: bytes) -> bool:
        """Say whether a longer declared code begins with ``code``."""
        return any(other != code and other.startswith(code) for other in self.declared)


def first_byte_classes() -> NDArray[np.uint8]:
    """Class of a token by its first byte.

    Beside the four levels of IEEE 1364 those of VHDL's std_logic (IEEE 1164), which GHDL writes as they are:
    U, W and - are no known level, L and H are 0 and 1.
    """
    classes = np.full(256, k.BAD, np.uint8)
    for characters, kind in (
        (WHITE_SPACE, k.SPACE),
        (b"0lL", 0),
        (b"1hH", 1),
        (b"xXuUwW-", 2),
        (b"zZ", 3),
        (b"#", k.TIME),
        (b"bB", k.VECTOR),
        (b"rRs", k.REAL),
        (b"$", k.KEYWORD),
        (b"p", k.PORT),
    ):
        classes[list(characters)] = kind
    return classes


def declare(variables: Iterable[Variable], at: int) -> dict[bytes, tuple[int, int]]:
    """Give every code its signals.

    Raises
    ------
    Problem
        When one code is declared with two sizes; ``at`` is its place.
    """
    declared: dict[bytes, tuple[int, int]] = {}
    signals = 0
    for variable in variables:
        _, width = declared.setdefault(variable.code, (signals, variable.width))
        if width != variable.width:
            code = variable.code.decode("ascii", "backslashreplace")
            raise Problem(
                f"{variable.name}: identifier code {code!r} has two sizes: {width} and {variable.width}",
                at,
                "the declarations are damaged, or the program that wrote them is wrong",
            )
        signals = max(signals, declared[variable.code][0] + width)
    return declared


def make_codes(declared: dict[bytes, tuple[int, int]]) -> Codes:
    """Build the tables."""
    special = [span for span in declared.values() if span[1] != 1]
    entry = {span: -2 - e for e, span in enumerate(special)}
    values = {code: span[0] if span[1] == 1 else entry[span] for code, span in declared.items()}
    short = np.full(65536, -1, np.int32)
    long = [code for code in declared if len(code) > _SHORT]
    for code, value in values.items():
        if len(code) <= _SHORT:
            short[int.from_bytes(code, "little")] = value
    code_at = np.cumsum([0, *(len(code) for code in long)], dtype=np.int64)
    code_text = np.frombuffer(bytearray(b"".join(long)), np.uint8)
    slots = np.full(1 << (2 * len(long) + 1).bit_length(), -1, np.int32)
    k.fill_slots(code_at, code_text, slots)
    return Codes(
        declared=declared,
        signals=max((first + width for first, width in declared.values()), default=0),
        classes=first_byte_classes(),
        short_codes=short,
        slots=slots,
        code_at=code_at,
        code_text=code_text,
        code_value=np.array([values[code] for code in long], np.int32),
        vector_first=np.array([first for first, _ in special], np.int32),
        vector_width=np.array([width for _, width in special], np.int32),
    )
