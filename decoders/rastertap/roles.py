"""What a channel can carry."""

from __future__ import annotations

from typing import Literal, get_args

Role = Literal[
    "pixel_clock",
    "hsync",
    "vsync",
    "csync",
    "blank",
    "display_enable",
    "colour",
    "subcarrier",
    "other",
]
ROLES: tuple[Role, ...] = get_args(Role)

Polarity = Literal["positive", "negative"]
"""``negative``: the pulse (sync, blanking, display enable) is the low level."""
