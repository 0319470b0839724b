"""A colour set: what colour each code of a bus is, for any width of bus, and which codes are none of it.

R'G'B' is uint8 with 0 = off and 255 = full. Up to 16 bits the colours are a table; wider sets are computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.standards import colour

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

RGB_FIELDS: dict[str, tuple[int, int, int]] = {
    "rgb9": (3, 3, 3),
    "rgb12": (4, 4, 4),
    "rgb15": (5, 5, 5),
    "rgb16": (5, 6, 5),
    "rgb18": (6, 6, 6),
    "rgb24": (8, 8, 8),
}
"""Bits of R, G and B, R the highest; level = 255 x value / largest value (common practice, no source)."""
FIXED_BITS = {"rgb": 3, "rgbi": 4, "rrggbb": 6, **{k: sum(v) for k, v in RGB_FIELDS.items()}, "component": 24}
"""Bits of the sets that have a fixed number of them."""
MEANINGS = {
    "rgb": "R G B",
    "rgbi": "I R G B",
    "rrggbb": "R r G g B b",
    **{k: "R{} G{} B{}".format(*v) for k, v in RGB_FIELDS.items()},
    "component": "Y8 Cb8 Cr8",
}
"""What the bits are, highest first; ``G6`` is six bits of green."""
TABLE_BITS = 16
"""Widest bus whose colours are kept as a table."""
OUTSIDE = (255, 0, 255)
"""How a code that is not in the set is drawn."""
U_MILLIVOLTS, V_MILLIVOLTS = 0.493, 0.877
"""U' = 0.493 (B' - Y'), V' = 0.877 (R' - Y'): BT.470-6 Table 2 (from memory; the phases that they give for
the colour bars are those of SMPTE 170M Annex A, references 1.4)."""


@dataclass(frozen=True, eq=False)
class ColourSet:
    """The colours that a bus can carry.

    Parameters
    ----------
    name : str
        As in a board file: ``rgbi``, ``rgb12``, ``component``, ``list`` ...
    bits : int
        Of the bus.
    size : int
        Codes 0 up to this, not included, are in the set.
    table : ndarray of uint8, shape (size, 3), or None
        R'G'B' of each code; None for sets wider than `TABLE_BITS`, which are computed.
    millivolts : ndarray of float64, shape (size, 3), or None
        Y', Pb, Pr as a board file states them; None where they follow from R'G'B'.
    """

    name: str
    bits: int
    size: int
    table: NDArray[np.uint8] | None
    millivolts: NDArray[np.float64] | None = None

    @property
    def meaning(self) -> str:
        """What the bits are, highest first; empty where they have no meaning of their own."""
        return MEANINGS.get(self.name, "")

    def contains(self, codes: NDArray[np.unsignedinteger]) -> NDArray[np.bool_]:
        """Whether each code is in the set; bytes 0 and 255 of component video are for synchronisation only.

        That is BT.601-5 Table 2.
        """
        inside = np.asarray(codes) < self.size
        if self.name == "component":
            for part in _parts(codes, (8, 8, 8)):
                inside &= (part > 0) & (part < 255)  # noqa: PLR2004 - the reserved codes
        return np.asarray(inside)

    def colours(self, codes: NDArray[np.unsignedinteger]) -> NDArray[np.uint8]:
        """R'G'B' of codes of any shape, uint8, shape (..., 3); `OUTSIDE` where a code has no colour."""
        codes = np.asarray(codes)
        if self.table is None:
            return _component(codes) if self.name == "component" else _packed(codes, RGB_FIELDS[self.name])
        shown: NDArray[np.uint8] = self.table[np.minimum(codes, self.size - 1)]
        outside = codes >= self.size
        if outside.any():
            shown[outside] = OUTSIDE
        return shown

    def levels(self, codes: NDArray[np.unsignedinteger]) -> NDArray[np.float64]:
        """Y', Pb, Pr in mV of codes, shape (..., 3); exact for component codes and stated levels."""
        if self.millivolts is not None:
            return np.asarray(self.millivolts[codes])
        if self.name == "component":
            y, *chroma = _parts(codes, (8, 8, 8))
            parts = [(y - 16.0) / 219.0, *((c - 128.0) / 224.0 for c in chroma)]
            return np.stack(parts, axis=-1) * colour.WHITE_MILLIVOLTS
        return colour.component_millivolts(self.colours(codes))


def _parts(codes: NDArray[np.unsignedinteger], fields: tuple[int, int, int]) -> list[NDArray[np.int64]]:
    """Split codes into their three fields, the highest first."""
    low = [fields[1] + fields[2], fields[2], 0]
    whole = np.asarray(codes).astype(np.int64)
    return [(whole >> shift) & ((1 << bits) - 1) for shift, bits in zip(low, fields, strict=True)]


def _packed(codes: NDArray[np.unsignedinteger], fields: tuple[int, int, int]) -> NDArray[np.uint8]:
    tops = [(1 << bits) - 1 for bits in fields]
    levels = [(part * 510 + top) // (2 * top) for part, top in zip(_parts(codes, fields), tops, strict=True)]
    return np.stack(levels, axis=-1).astype(np.uint8)


def _component(codes: NDArray[np.unsignedinteger]) -> NDArray[np.uint8]:
    """R'G'B' of packed Y Cb Cr, eight bits each, to BT.601-5 3.5.3 (exact coefficients, rounded once)."""
    y, cb, cr = _parts(codes, (8, 8, 8))
    levels = np.stack([(y - 16) / 219.0, (cb - 128) / 224.0, (cr - 128) / 224.0], axis=-1)
    return to_bytes(rgb_of_component(levels))


def rgb_of_component(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """R'G'B' of normalised Y', Pb, Pr (0..1, -0.5..0.5), (..., 3): BT.601-5 3.5.1, 3.5.2 inverted."""
    y, pb, pr = np.moveaxis(np.asarray(levels, np.float64), -1, 0)
    red, blue = y + pr * (0.701 / 0.5), y + pb * (0.886 / 0.5)
    green = (y - 0.299 * red - 0.114 * blue) / 0.587
    return np.stack([red, green, blue], axis=-1)


def to_bytes(levels: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Levels of 0..1 as bytes, cut at both ends."""
    return np.rint(np.clip(levels, 0, 1) * 255).astype(np.uint8)


def from_table(name: str, bits: int, table: NDArray[np.uint8]) -> ColourSet:
    """Make a set from R'G'B' of each code, shape (n, 3)."""
    return ColourSet(name, bits, len(table), table)


def from_millivolts(bits: int, millivolts: Sequence[Sequence[float]]) -> ColourSet:
    """Make a set from Y', Pb, Pr in mV of each code; what leaves R'G'B' is cut."""
    levels = np.asarray(millivolts, np.float64)
    table = to_bytes(rgb_of_component(levels / colour.WHITE_MILLIVOLTS))
    return ColourSet("list", bits, len(table), table, levels)


def from_luma_chroma(bits: int, entries: Sequence[Sequence[float]]) -> ColourSet:
    """Make a set from luma (mV over black), chroma amplitude (mV, half of peak to peak) and phase (degrees).

    The phase counts from the B' - Y' axis towards R' - Y', as on a vectorscope; white is 700 mV.
    """
    luma, amplitude, degrees = np.asarray(entries, np.float64).T
    u, v = amplitude * np.cos(np.radians(degrees)), amplitude * np.sin(np.radians(degrees))
    pb, pr = u / U_MILLIVOLTS * (0.5 / 0.886), v / V_MILLIVOLTS * (0.5 / 0.701)
    return from_millivolts(bits, np.stack([luma, pb, pr], axis=1).tolist())


def named_set(name: str, bits: int, *, dark_yellow: bool = False) -> ColourSet:
    """Make the set called ``name``.

    Parameters
    ----------
    name : str
        A key of `FIXED_BITS`, or ``grey``.
    bits : int
        Used by ``grey`` only.
    dark_yellow : bool
        Used by ``rgbi`` only.

    Raises
    ------
    ValueError
        When no set is called so.
    """
    if name not in FIXED_BITS:
        return from_table(name, bits, colour.colour_table(name, bits))
    bits = FIXED_BITS[name]
    if bits > TABLE_BITS:
        return ColourSet(name, bits, 1 << bits, None)
    if name in RGB_FIELDS:
        return from_table(name, bits, _packed(np.arange(1 << bits, dtype=np.uint32), RGB_FIELDS[name]))
    return from_table(name, bits, colour.colour_table(name, bits, dark_yellow=dark_yellow))
