"""The check: whether the sound output sounds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.measured import Measured

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap_beeper.decoder import Beeper


class BeeperCheck:
    """Gives one finding, whose id begins with a word of the plug-in's own."""

    name: ClassVar[str] = "beeper"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "whether the one-bit sound output is silent"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Pass a tone, fail silence; what cannot be judged is said to be so, never left out."""
        beeper: Beeper | None = evidence.streams.get("beeper")
        if beeper is None:
            reason = evidence.missing.get("beeper", "its decoder cannot be used")
            yield Finding("beeper.silent", "not_measured", f"No sound output: {reason}.")
            return
        rate = _rate(beeper, evidence)
        text = f"Of the sound output: {beeper.summary()}."
        yield Finding(
            "beeper.silent",
            "pass" if rate.value else "fail",
            text,
            rate.value,
            rate.uncertainty,
            limit="above 0 Hz",
            unit="Hz",
            source="common practice, no source",
        )


def _rate(beeper: Beeper, evidence: Evidence) -> Measured:
    """Give the rate with its uncertainty: the analyser's step at both ends of the span, and its timebase."""
    period = evidence.capture.sample_period
    step = period.ticks if period is not None else 1.0
    relative = step / math.sqrt(6) / (beeper.last - beeper.first) if beeper.rate else 0.0
    return Measured(beeper.rate, beeper.rate * relative, "Hz").with_timebase(evidence.timebase_ppm)
