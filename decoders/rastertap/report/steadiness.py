"""How the fields of a capture agree, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


def steadiness_document(analysis: Analysis) -> list[dict[str, Any]]:
    """Give, for each kind of field, the fields compared, the pixels that differ, and each bit's flips.

    ``flip_rate`` counts flips in each pixel of each field; ``marginal_flips`` are those at unsure pixels.
    """
    frames, bus = analysis.evidence.frames, analysis.evidence.colour_bus
    if frames is None or bus is None:
        return []
    found = []
    for kind, steady in frames.steadiness.items():
        flips = steady.flips.sum(axis=(1, 2))
        bits = [
            {
                "bit": bit,
                "channel": channel.name or None,
                "flips": int(flips[bit]),
                "marginal_flips": int(steady.marginal[bit]),
                "flip_rate": float(steady.rates[bit]),
            }
            for bit, channel in enumerate(bus.bits)
        ]
        found.append(
            {
                "field": kind,
                "fields": steady.fields,
                "fields_of_other_size": steady.other_size,
                "differing_pixels": steady.differing,
                "moving_pixels": steady.moving,
                "bits": bits,
            }
        )
    return found
