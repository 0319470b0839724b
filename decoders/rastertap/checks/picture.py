"""Whether the picture that leaves the chip is right."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.known_picture import known_picture
from rastertap.checks.make import PRACTICE, not_measured
from rastertap.checks.picture_drops import find_drop
from rastertap.printable import plural

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from rastertap.checks.picture_drops import Drop
    from rastertap.frames.model import Frames
    from rastertap.frames.steadiness import Steadiness
    from rastertap.streams.model import ColourBus

IDS = ("picture.unstable_pixels", "picture.blank", "picture.known_picture", "picture.colour_set")
LISTED = 8
"""Codes named in a finding's text."""


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
        yield _unstable(frames, evidence.colour_bus)
        yield _blank(frames)
        yield known_picture(evidence)
        yield _colour_set(evidence, frames)


def _unstable(frames: Frames, bus: ColourBus | None) -> Finding:
    kinds = [s for s in frames.steadiness.values() if s.fields > 1]
    if not kinds:
        return not_measured("picture.unstable_pixels", "There are no two complete fields to compare.")
    flips = sum(s.flips.sum(axis=(1, 2), dtype=np.int64) for s in kinds)
    count, moving = int(flips.sum()), sum(s.moving for s in kinds)
    if count:
        return _noisy(kinds, flips, bus)
    if moving and (drop := find_drop(frames)) is not None:
        return _dropped(drop, moving, bus)
    if moving:
        text = (
            f"{plural(moving, 'pixel')} change from field to field in groups: the picture moves or blinks, "
            "which is not noise. No bit flips by itself."
        )
        return Finding("picture.unstable_pixels", "pass", text, 0, 0.0, "0", "flips", PRACTICE)
    text = f"All pixels are the same in every one of {sum(s.fields for s in kinds)} complete fields."
    return Finding("picture.unstable_pixels", "pass", text, 0, 0.0, "0", "flips", PRACTICE)


def _numbered(bit: int, bus: ColourBus | None) -> str:
    """Give a bit's number, with its channel where it has one: ``2 (D5)``."""
    channel = bus.bits[bit].name if bus is not None and bit < len(bus.bits) else ""
    return f"{bit} ({channel})" if channel else f"{bit}"


def _dropped(drop: Drop, moving: int, bus: ColourBus | None) -> Finding:
    text = (
        f"Colour bit {_numbered(drop.bit, bus)} stays {'high' if drop.high else 'low'}"
        f" from line {drop.first} to {drop.last} of field {drop.field}, where it moves in the field beside"
        " it; no other bit changes. Unless the picture blinks there, its wire, clip or joint lets go now and"
        " then: reseat it, power off, and record again."
    )
    return Finding("picture.unstable_pixels", "warn", text, moving, 0.0, "0", "pixels", PRACTICE)


def _noisy(kinds: Sequence[Steadiness], flips: NDArray[np.int64], bus: ColourBus | None) -> Finding:
    """Name the bits that flip, how often, and whether where the bus is read has to do with it."""
    read = sum(s.fields * s.reference.size for s in kinds)
    marginal = sum(s.marginal for s in kinds)
    parts = []
    for bit in np.argsort(-flips)[:LISTED]:
        if flips[bit]:
            often = read / int(flips[bit])
            parts.append(
                f"Bit {_numbered(int(bit), bus)} flips for one field in 1 of {often:.0f} pixels"
                f" ({plural(flips[bit], 'time')})"
            )
    count, unsure = int(flips.sum()), int(np.sum(marginal))
    text = ", ".join(parts) + "; the other bits are steady."
    if unsure == count:
        text += (
            " All of it where the bus changes within a sampling step of where it is read: a higher sample "
            "rate would tell whether the bus or the reading is at fault."
        )
        return Finding("picture.unstable_pixels", "warn", text, count, 0.0, "0", "flips", PRACTICE)
    if unsure > count / 2:
        text += " Mostly where the bus changes close to where it is read: a marginal bus or tap."
    else:
        text += " Scattered single pixels: noise on that tap or bit, not a moving picture."
    return Finding("picture.unstable_pixels", "fail", text, count, 0.0, "0", "flips", PRACTICE)


def _blank(frames: Frames) -> Finding:
    if frames.active is None:
        text = "The colour bus never leaves its code in blanking: no picture at the pins."
        return Finding("picture.blank", "fail", text, 0, 0.0, "more than one colour", "", PRACTICE)
    codes = frames.shown
    area = frames.active
    text = f"{plural(codes.size, 'colour')} in an active area of {area.width} x {area.height} pixels."
    if codes.size > 1:
        return Finding(
            "picture.blank", "pass", text, codes.size, 0.0, "more than one colour", "colours", PRACTICE
        )
    text += " One colour only: nothing can be told of the picture; show text or a test screen."
    return Finding(
        "picture.blank", "warn", text, codes.size, 0.0, "more than one colour", "colours", PRACTICE
    )


def _colour_set(evidence: Evidence, frames: Frames) -> Finding:
    bus = evidence.colour_bus
    colours = bus.colours if bus is not None else None
    if bus is None or colours is None:
        reason = "The colours of the codes are not known: no board file states them"
        return not_measured("picture.colour_set", f"{reason} and the number of bits fits no usual set.")
    outside = frames.used[~colours.contains(frames.used)].tolist()
    limit = f"0 .. {colours.size - 1}"
    if outside:
        listed = ", ".join(map(str, outside[:LISTED])) + (" ..." if len(outside) > LISTED else "")
        text = (
            f"{plural(len(outside), 'code')} outside the colour set: {listed}. Either the set is wrong, or a "
            "bit is: stuck, swapped or noisy."
        )
        return Finding(
            "picture.colour_set", "fail", text, len(outside), 0.0, limit, "codes", bus.colours_from
        )
    text = f"All codes are in the set ({bus.colours_from})."
    return Finding("picture.colour_set", "pass", text, 0, 0.0, limit, "codes", bus.colours_from)
