"""Whether the picture that leaves the chip is right."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, not_measured, plural

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.frames.model import Frames

IDS = ("picture.unstable_pixels", "picture.blank", "picture.known_picture", "picture.colour_set")
LISTED = 8
"""Codes named in a finding's text."""
MOVING = 0.5
"""Part of the differing pixels with a differing neighbour in their line, from which it is no longer noise."""


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
        yield _unstable(frames)
        yield _blank(frames)
        yield not_measured("picture.known_picture", "The board file states no known picture.")
        yield _colour_set(evidence, frames)


def _unstable(frames: Frames) -> Finding:
    still = frames.still
    if not still.pairs:
        return not_measured("picture.unstable_pixels", "There are no two complete fields to compare.")
    count, alone = still.worst, still.alone
    if not count:
        text = f"All pixels are the same in every one of {frames.fields_complete} complete fields."
        return Finding("picture.unstable_pixels", "pass", text, 0, 0.0, "0", "pixels", PRACTICE)
    share = count / still.pixels
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
    palette = bus.palette if bus is not None else None
    if bus is None or palette is None:
        reason = "The colours of the codes are not known: no board file states them"
        return not_measured("picture.colour_set", f"{reason} and the number of bits fits no usual set.")
    outside = [code for code in frames.used.tolist() if code >= len(palette)]
    limit = f"0 .. {len(palette) - 1}"
    if outside:
        listed = ", ".join(map(str, outside[:LISTED])) + (" ..." if len(outside) > LISTED else "")
        text = f"{plural(len(outside), 'code')} outside the colour set: {listed}."
        return Finding(
            "picture.colour_set", "fail", text, len(outside), 0.0, limit, "codes", bus.palette_source
        )
    text = f"All codes are in the set ({bus.palette_source})."
    return Finding("picture.colour_set", "pass", text, 0, 0.0, limit, "codes", bus.palette_source)
