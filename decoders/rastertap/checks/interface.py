"""The seam for checks: what a plug-in sees, and the finding it gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rastertap.board.model import Board
    from rastertap.capture.model import Capture
    from rastertap.frames.model import Frames
    from rastertap.standards.modes import Mode
    from rastertap.streams.interface import Pin
    from rastertap.streams.model import ColourBus, PixelClock, Sync

CONTRACT = 1
"""Version of this interface; a check states the one it was written for."""

Result = Literal["pass", "warn", "fail", "not_measured"]
MAX_TIMES = 20
"""Times kept in a finding; the text says how many there were."""


@dataclass(frozen=True)
class Finding:
    """One check's result.

    Parameters
    ----------
    id : str
        From the fixed list in the design; a third party's begins with its own word.
    result : Result
        ``not_measured`` comes with the reason in ``text``.
    text : str
        One or two sentences a repairer understands.
    measured, uncertainty : float or None
        Value and its standard uncertainty, in ``unit``.
    limit : str
        The permitted interval in words, e.g. ``"4.5 .. 4.9"``.
    unit, source : str
        Of value and limit; where the limit comes from.
    at_s : tuple of float
        Where in the capture, seconds from its start; the first `MAX_TIMES`.
    """

    id: str
    result: Result
    text: str
    measured: float | str | None = None
    uncertainty: float | None = None
    limit: str = ""
    unit: str = ""
    source: str = ""
    at_s: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Evidence:
    """All that a check may look at.

    Parameters
    ----------
    capture, pins, board, streams
        As the decoders saw and left them.
    missing : mapping of str to str
        Products that are not there, each with the reason.
    limits : str
        Name of the limit set.
    mode : Mode or None
        The standard nearest to the sync's timing.
    mode_close : bool
        Whether it is near enough to be called that.
    timebase_ppm : float
        Tolerance of the analyser's timebase.
    edges : mapping of str to int
        Changes of each channel in the whole recording; the capture holds those of its first piece.
    unknown : mapping of str to list of int
        Times at which a channel goes to an unknown level, ticks, the first ones.
    """

    capture: Capture
    pins: tuple[Pin, ...]
    board: Board | None
    streams: Mapping[str, Any]
    missing: Mapping[str, str]
    limits: str
    mode: Mode | None
    mode_close: bool
    timebase_ppm: float
    edges: Mapping[str, int] = field(default_factory=dict)
    unknown: Mapping[str, list[int]] = field(default_factory=dict)

    @property
    def pixel_clock(self) -> PixelClock | None:
        """The pixel clock, when there is one."""
        return self.streams.get("pixel_clock")

    @property
    def sync(self) -> Sync | None:
        """The sync, when there is one."""
        return self.streams.get("sync")

    @property
    def colour_bus(self) -> ColourBus | None:
        """The colour bus, when there is one."""
        return self.streams.get("colour_bus")

    @property
    def frames(self) -> Frames | None:
        """The rebuilt frames, when there are any."""
        return self.streams.get("frames")

    def at_s(self, ticks: Iterable[int | float]) -> tuple[float, ...]:
        """Seconds from the start of the capture of the first `MAX_TIMES` times."""
        return tuple(self.capture.seconds(float(t)) for _, t in zip(range(MAX_TIMES), ticks, strict=False))


class Check(Protocol):
    """Looks at the evidence and gives findings."""

    name: ClassVar[str]
    contract: ClassVar[int]
    describes: ClassVar[str]

    def run(self, evidence: Evidence) -> Iterable[Finding]:
        """Give the findings; what cannot be judged is ``not_measured``, never left out silently."""
