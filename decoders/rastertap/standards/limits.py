"""The named limit sets, and the limits that apply to a measured timing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rastertap.errors import UsageError
from rastertap.standards.broadcast import BROADCAST_525, BROADCAST_625, STUDIO_525, STUDIO_625
from rastertap.standards.home_computer import home_computer
from rastertap.standards.limit import Limit
from rastertap.standards.modes import MODES, Mode

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["DEFAULT_SET", "LIMIT_SETS", "Limit", "LimitSet", "limits_for"]

DEFAULT_SET = "home-computer"
_DEFAULT_MODE = "312/50"


@dataclass(frozen=True)
class LimitSet:
    """A named set of limits.

    Parameters
    ----------
    name, title, note : str
        The name on the command line; the name in words; when it fits.
    modes : tuple of str
        Keys of the modes it is meant for.
    of_mode : callable
        Gives the limits for a mode; a broadcast set gives the same for any.
    """

    name: str
    title: str
    note: str
    modes: tuple[str, ...]
    of_mode: Callable[[Mode], tuple[Limit, ...]]

    def limits(self, mode: Mode | None = None) -> tuple[Limit, ...]:
        """Return the limits for ``mode``, or for the first mode the set is meant for."""
        return self.of_mode(mode or MODES[self.modes[0]])


def _always(limits: tuple[Limit, ...]) -> Callable[[Mode], tuple[Limit, ...]]:
    return lambda _mode: limits


_HOME_NOTE = "Default. Whole lines, a crystal divided by whole numbers: near a standard, seldom on it."
_BROADCAST_NOTE = "For a source that claims the standard; hardly any home computer meets it."

_ALL = (
    LimitSet(
        "home-computer",
        "home computers, wide",
        _HOME_NOTE,
        (_DEFAULT_MODE, *(key for key in MODES if key != _DEFAULT_MODE)),
        home_computer,
    ),
    LimitSet(
        "625-broadcast",
        "625 lines on air (BT.470-6 B/G, colour)",
        _BROADCAST_NOTE,
        ("625/50",),
        _always(BROADCAST_625),
    ),
    LimitSet(
        "625-studio",
        "625 lines in the studio (BT.1700 PAL)",
        _BROADCAST_NOTE,
        ("625/50",),
        _always(STUDIO_625),
    ),
    LimitSet(
        "525-broadcast",
        "525 lines on air (BT.470-6 M, colour)",
        _BROADCAST_NOTE,
        ("525/60",),
        _always(BROADCAST_525),
    ),
    LimitSet(
        "525-studio",
        "525 lines in the studio (SMPTE 170M)",
        _BROADCAST_NOTE,
        ("525/60",),
        _always(STUDIO_525),
    ),
)

LIMIT_SETS: dict[str, LimitSet] = {entry.name: entry for entry in _ALL}
"""Every limit set by name; the default first."""


def limits_for(name: str, mode: Mode | None) -> dict[str, Limit]:
    """Return the limits of the set ``name`` for a timing near ``mode``, by quantity.

    Parameters
    ----------
    name : str
        A key of `LIMIT_SETS`.
    mode : Mode or None
        What the timing was recognised as. Without one, ``home-computer`` has no limits; the broadcast sets
        do not depend on it.

    Raises
    ------
    UsageError
        When there is no such set.
    """
    if name not in LIMIT_SETS:
        raise UsageError(f"no such limit set: {name!r}", hint=f"there are: {', '.join(LIMIT_SETS)}")
    if mode is None and name == DEFAULT_SET:
        return {}
    return {entry.key: entry for entry in LIMIT_SETS[name].limits(mode)}
