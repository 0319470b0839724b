"""Channel names as a user knows them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rastertap.capture.model import Capture


def short_names(capture: Capture) -> Capture:
    """Leave out the scope where all channels sit in one outermost scope.

    Analysers put their inputs into a single scope that means nothing (``logic.D3``): the user knows ``D3``. A
    simulator's nested scopes (``tb.dut.hsync``) are kept, for they tell signals apart.
    """
    names = [c.name for c in capture.channels]
    scopes = {name.partition(".")[0] for name in names}
    nested = any(name.count(".") != 1 for name in names)
    if not names or nested or len(scopes) != 1:
        return capture
    cut = len(scopes.pop()) + 1
    return replace(capture, channels=tuple(replace(c, name=c.name[cut:]) for c in capture.channels))
