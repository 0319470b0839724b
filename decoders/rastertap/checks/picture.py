"""Is the picture that leaves the chip right?"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, cast

import numpy as np

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, not_measured, plural

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from rastertap.frames.model import Frames

IDS = ("picture.unstable_pixels", "picture.blank", "picture.known_picture", "picture.colour_set")
MOVING = 0.5
"""Part of the differing pixels that have a differing neighbour in their line, from which it is motion, not noise."""


class PictureCheck:
    """Stable pixels, a picture at all, codes of the colour set."""

    name: ClassVar[str] = "picture"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "picture: steady pixels, not blank, colours of the set"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the findings on the picture."""
        frames = evidence.frames
        if frames is None:
            reason = f"No frames: {evidence.missing.get('frames', 'not rebuilt')}."
            yield from (not_measured(finding, reason) for finding in IDS)
            return
        yield _unstable(evidence, frames)
        yield _blank(frames)
        yield not_measured("picture.known_picture", "The board file states no known picture.")
        yield _colour_set(evidence, frames)


def still_pairs(frames: Frames) -> list[tuple[NDArray[np.unsignedinteger], NDArray[np.unsignedinteger]]]:
    """Active areas of each complete field and the next one of its kind."""
    pairs = []
    for kind, area in frames.areas.items():
        same = [cast("NDArray[np.unsignedinteger]", area.crop(f.codes)) for f in frames.complete if f.field == kind]
        pairs += [(a, b) for a, b in zip(same[:-1], same[1:], strict=True) if a.shape == b.shape]
    return pairs


def _alone(differ: NDArray[np.bool_]) -> float:
    """Part of the differing pixels without a differing neighbour in their line."""
    beside = np.zeros_like(differ)
    beside[:, 1:] |= differ[:, :-1]
    beside[:, :-1] |= differ[:, 1:]
    return float((differ & ~beside).sum() / differ.sum())


def _unstable(evidence: Evidence, frames: Frames) -> Finding:
    pairs = still_pairs(frames)
    if not pairs:
        return not_measured("picture.unstable_pixels", "There are no two complete fields to compare.")
    masks = [a != b for a, b in pairs]
    count = max(int(m.sum()) for m in masks)
    if not count:
        text = f"All pixels are the same in every one of {len(frames.complete)} complete fields."
        return Finding("picture.unstable_pixels", "pass", text, 0, 0.0, "0", "pixels", PRACTICE)
    alone = max(_alone(m) for m in masks if m.any())
    share = count / masks[0].size
    text = f"{plural(count, 'pixel')} ({share:.2%}) differ from one field to the next,"
    if alone < 1 - MOVING:
        text += " in groups: the picture moves or blinks, which is not noise."
        return Finding("picture.unstable_pixels", "pass", text, count, 0.0, "", "pixels", PRACTICE)
    text += f" {alone:.0%} of them single ones: noise, or a bus that changes too near the sampling point."
    return Finding("picture.unstable_pixels", "fail", text, count, 0.0, "0", "pixels", PRACTICE)


def _blank(frames: Frames) -> Finding:
    if frames.active is None:
        text = "The colour bus never leaves its code in blanking: no picture at the pins."
        return Finding("picture.blank", "fail", text, 0, 0.0, "more than one colour", "", PRACTICE)
    codes = shown_codes(frames)
    area = frames.active
    text = f"{plural(codes.size, 'colour')} in an active area of {area.width} x {area.height} pixels."
    if codes.size > 1:
        return Finding("picture.blank", "pass", text, codes.size, 0.0, "more than one colour", "colours", PRACTICE)
    text += " One colour only: nothing can be told of the picture; show text or a test screen."
    return Finding("picture.blank", "warn", text, codes.size, 0.0, "more than one colour", "colours", PRACTICE)


def shown_codes(frames: Frames) -> NDArray[np.unsignedinteger]:
    """Colour codes that occur in the active area of the complete fields (of all, when none is complete), sorted."""
    shown = frames.complete or frames.frames
    crops = [area.crop(f.codes) for f in shown if (area := frames.active_of(f)) is not None]
    found = np.unique(np.concatenate([np.unique(c) for c in crops]))
    return cast("NDArray[np.unsignedinteger]", found)


def _used_codes(frames: Frames) -> Sequence[int]:
    shown = frames.complete or frames.frames
    found = [np.unique(f.codes[~f.unsure]) for f in shown]
    return [int(c) for c in np.unique(np.concatenate(found))]


def _colour_set(evidence: Evidence, frames: Frames) -> Finding:
    bus = evidence.colour_bus
    palette = bus.palette if bus is not None else None
    if bus is None or palette is None:
        reason = "The colours of the codes are not known: no board file states them and the number of bits fits no usual set."
        return not_measured("picture.colour_set", reason)
    outside = [code for code in _used_codes(frames) if code >= len(palette)]
    limit = f"0 .. {len(palette) - 1}"
    if outside:
        listed = ", ".join(map(str, outside[:8]))
        text = f"{plural(len(outside), 'code')} outside the colour set: {listed}{' ...' if len(outside) > 8 else ''}."  # noqa: PLR2004
        return Finding("picture.colour_set", "fail", text, len(outside), 0.0, limit, "codes", bus.palette_source)
    text = f"All codes are in the set ({bus.palette_source})."
    return Finding("picture.colour_set", "pass", text, 0, 0.0, limit, "codes", bus.palette_source)
