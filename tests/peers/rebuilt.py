"""Comparing what rastertap rebuilt with what an HDL test bench says it showed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.frames.model import Frame

    from .simulate import Simulated, TrueField


def without_scope(wanted: Mapping[str, tuple[str, int | None]]) -> dict[str, tuple[str, int | None]]:
    """Roles by the name that a user knows: the bench's only scope left out."""
    return {name.rpartition(".")[2]: role for name, role in wanted.items()}


LINE_S = 30e-6
"""Frames are matched with true fields by the time of their field sync, to less than half a line."""


@dataclass(frozen=True)
class Comparison:
    """How many whole fields were compared, and the differing pixels of each."""

    fields: int
    differing: tuple[int, ...]


def found_roles(
    analysis: Analysis, wanted: Mapping[str, tuple[str, int | None]]
) -> dict[str, tuple[str, str]]:
    """Channel -> (wanted role, found role), where the two differ."""
    found = {pin.channel: pin.role for pin in analysis.pins}
    other = {"static_low", "static_high", "cpu_clock"}
    expected = {name: "other" if role in other else role for name, (role, _) in wanted.items()}
    return {n: (role, found[n]) for n, role in expected.items() if found[n] != role}


def in_true_order(
    analysis: Analysis, frame: Frame, wanted: Mapping[str, tuple[str, int | None]]
) -> NDArray[np.uint32]:
    """Codes of a frame with the bits in the source's order: behaviour cannot tell which is which."""
    codes = np.zeros(frame.codes.shape, np.uint32)
    for pin in analysis.pins:
        role, bit = wanted[pin.channel]
        if role == "colour":
            assert pin.bit is not None
            assert bit is not None
            codes |= ((frame.codes.astype(np.uint32) >> np.uint32(pin.bit)) & 1) << np.uint32(bit)
    return codes


def compare(
    analysis: Analysis,
    source: Simulated,
    fields: Sequence[TrueField],
    wanted: Mapping[str, tuple[str, int | None]],
    start_s: float,
) -> Comparison:
    """Compare every whole true field with the frame that begins with it, over the active area."""
    frames = analysis.evidence.frames
    assert frames is not None, dict(analysis.evidence.missing)
    size = source.truth["active"]["height"], source.truth["active"]["width"]
    differing = []
    for true in fields:
        begins = float(true.start_s) - start_s
        frame = next(f for f in frames.complete if abs(analysis.capture.seconds(f.start) - begins) < LINE_S)
        area = frames.active_of(frame)
        assert area is not None
        shown = area.crop(in_true_order(analysis, frame, wanted))
        assert shown.shape == size == true.codes.shape
        differing.append(int((shown != true.codes).sum()))
    return Comparison(len(differing), tuple(differing))
