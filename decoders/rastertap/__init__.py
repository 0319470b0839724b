"""Read logic-analyser captures of a video chip's pins, rebuild the picture, and say where a fault lies.

The names below are imported when they are first used, so that ``import rastertap`` costs nothing;
`rastertap.api` shows how to use them.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # what a type checker takes for true; importing typing would cost most of the start

if TYPE_CHECKING:
    from rastertap.api import FrameView, Result, check, edges, read
    from rastertap.errors import BoardError, CaptureError, RastertapError, UsageError

__version__ = "0.1.0"
__all__ = [
    "BoardError",
    "CaptureError",
    "FrameView",
    "RastertapError",
    "Result",
    "UsageError",
    "check",
    "edges",
    "read",
]

_ERRORS = {"BoardError", "CaptureError", "RastertapError", "UsageError"}


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module 'rastertap' has no attribute {name!r}")
    found: object = getattr(import_module("rastertap.errors" if name in _ERRORS else "rastertap.api"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """List the public names, those not imported yet included."""
    return sorted({*globals(), *__all__})
