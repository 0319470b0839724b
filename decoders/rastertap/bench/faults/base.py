"""What the three kinds of fault have in common, and the drafts they edit."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction

    from numpy.typing import NDArray

    from rastertap.bench.source import VideoSource
    from rastertap.bench.wave import Wave

SeenBy = Literal["generator", "tap"]
"""``generator``: the fault comes before the chip, which has it too; ``tap``: only the analyser's lead has it.
"""

NOTHING = np.empty(0, np.int64)


def complain(fault: Fault, message: str) -> UsageError:
    """Make the error for a fault that cannot be injected as written."""
    return UsageError(f"fault '{fault.name}': {message}", hint=f"write it as {fault.usage()}")


@dataclass(frozen=True)
class Fault:
    """One injected fault: ``name`` is its word in ``--fault``, the fields are its parameters in order."""

    name: ClassVar[str]
    place: ClassVar[Literal["wiring", "clock", "chip"]]
    strikes: ClassVar[bool] = False
    """Whether it strikes at moments of its own; otherwise it is always there."""

    @classmethod
    def usage(cls) -> str:
        """Give the text form, e.g. ``swap:FIRST,SECOND``."""
        parameters = ",".join(
            f"{f.name}={_shown(f.default)}" if _optional(f) else f.name.upper() for f in fields(cls)
        )
        return f"{cls.name}:{parameters}" if parameters else cls.name

    def text(self) -> str:
        """Give this fault as it is written after ``--fault``."""
        parameters = ",".join(f"{f.name}={getattr(self, f.name)}" for f in fields(self))
        return f"{self.name}:{parameters}" if parameters else self.name

    def require(self, holds: bool, message: str) -> None:  # noqa: FBT001 - reads as "require that ..."
        """Raise UsageError with ``message`` unless ``holds``."""
        if not holds:
            raise complain(self, message)


def _optional(parameter: Any) -> bool:
    return isinstance(parameter.default, (str, int, float))


def _shown(default: object) -> str:
    return str(default) if default != "" else "..."


@dataclass
class Leads:
    """The analyser's leads, under edit: ``waves`` by channel, up to ``span_fs``; the fault's chances."""

    waves: dict[str, Wave]
    span_fs: int
    rng: np.random.Generator


class WiringFault(Fault):
    """A fault between the chip's pins and the analyser."""

    place = "wiring"

    def reconnect(self, wires: dict[str, str]) -> dict[str, str]:
        """Give the channel -> signal map after the fault."""
        return wires

    def distort(self, leads: Leads) -> NDArray[np.int64]:  # noqa: ARG002 - a fault overrides this or `reconnect`
        """Change the leads' waves; gives the times (fs) at which it struck, if it `strikes`."""
        return NOTHING

    def channel(self, channels: Iterable[str], name: str) -> str:
        """Return ``name``; UsageError when the analyser has no such channel."""
        self.require(name in channels, f"there is no channel '{name}'; there are {', '.join(channels)}")
        return name


@dataclass
class ClockDraft:
    """The clock under edit: one entry per cycle of the generator.

    Parameters
    ----------
    frequency_hz : Fraction
        As designed.
    duty : float
        High part of a cycle.
    rise : ndarray of int64, shape (n,)
        Femtoseconds.
    chip_has, tap_has : ndarray of bool, shape (n,)
        Whether the cycle's pulse reaches the chip, and the tap.
    extra : list of (starts, ends, SeenBy)
        Added pulses, femtoseconds.
    rng : Generator
        The chances of the fault whose turn it is.
    """

    frequency_hz: Fraction
    duty: float
    rise: NDArray[np.int64]
    chip_has: NDArray[np.bool_]
    tap_has: NDArray[np.bool_]
    extra: list[tuple[NDArray[np.int64], NDArray[np.int64], SeenBy]]
    rng: np.random.Generator

    def fall(self) -> NDArray[np.int64]:
        """Falling edges, int64, shape (n,)."""
        period = np.diff(self.rise, append=2 * self.rise[-1] - self.rise[-2])
        return self.rise + np.rint(period * self.duty).astype(np.int64)

    def drop(self, cycles: NDArray[np.int64], seen_by: SeenBy) -> NDArray[np.int64]:
        """Take the pulses of some cycles away; gives their times."""
        self.tap_has[cycles] = False
        if seen_by == "generator":
            self.chip_has[cycles] = False
        return self.rise[cycles]


class ClockFault(Fault):
    """A fault of the pixel clock."""

    place = "clock"
    stage: ClassVar[int] = 0
    """Faults of a lower stage come first: 0 moves edges, 1 takes pulses away, 2 adds pulses."""

    def edit(self, clock: ClockDraft) -> NDArray[np.int64]:
        """Change the draft; gives the times (femtoseconds) at which it struck, if it `strikes`."""
        raise NotImplementedError


@dataclass
class LinesDraft:
    """The lines of the endless raster, under edit: ``lengths`` in clocks (0: lost), int64, whole frames."""

    source: VideoSource
    lengths: NDArray[np.int64]
    rng: np.random.Generator


@dataclass
class ChipDraft:
    """What the chip sends, under edit: one entry per clock that the chip saw.

    Parameters
    ----------
    source : VideoSource
    raster_clock : ndarray of int64, shape (n,)
        Position in the endless raster, in clocks from the first frame's start; skips where lines were lost.
    levels : dict of str to ndarray of uint8, shape (n,)
        Control outputs.
    codes : ndarray of uint32, shape (n,)
        Colour bus.
    rng : Generator
        The chances of the fault whose turn it is.
    """

    source: VideoSource
    raster_clock: NDArray[np.int64]
    levels: dict[str, NDArray[np.uint8]]
    codes: NDArray[np.uint32]
    rng: np.random.Generator


class ChipFault(Fault):
    """A fault of the video chip; both methods give the raster clocks at which it struck, if it `strikes`."""

    place = "chip"

    def edit_lines(self, lines: LinesDraft) -> NDArray[np.int64]:  # noqa: ARG002 - a fault overrides this or the next
        """Change the lengths of the raster's lines."""
        return NOTHING

    def edit_outputs(self, chip: ChipDraft) -> NDArray[np.int64]:  # noqa: ARG002 - as above
        """Change the outputs."""
        return NOTHING
