"""The seam for decoders: what a plug-in sees, and what it must say of itself.

A decoder is a class registered in the entry-point group ``rastertap.decoders``. The host makes one with no
arguments, and for each product (``gives``) runs the decoder that matches best among those whose ``needs`` are
there. A third party may give a product of a new name; it lands beside the others in `Context.streams`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.board.model import Board
    from rastertap.capture.model import Capture, Channel
    from rastertap.match import Match
    from rastertap.roles import Polarity, Role

CONTRACT = 1
"""Version of this interface; a decoder states the one it was written for."""


@dataclass(frozen=True)
class Pin:
    """What one channel was found to carry.

    Parameters
    ----------
    channel : str
        Channel name.
    role : Role
        What it carries.
    bit : int or None
        Bit of the colour code, 0 the least significant, for ``colour``.
    polarity : Polarity or None
        For sync, blank and display enable.
    score : float, 0..1
        How well the role fits.
    why : tuple of str
        The evidence.
    kind : str
        For ``other``: what it looks like, e.g. ``floating`` (see `rastertap.streams.role_other`).
    scores : mapping of Role to float
        Score of every role that fits at all; more than one good one means that behaviour cannot decide.
    """

    channel: str
    role: Role
    bit: int | None
    polarity: Polarity | None
    score: float
    why: tuple[str, ...]
    kind: str = ""
    scores: Mapping[Role, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Context:
    """All that a decoder may look at.

    Parameters
    ----------
    capture : Capture
        Its channels hold two-state levels only.
    pins : tuple of Pin
        The role found for every channel.
    board : Board or None
        What was expected, when a board file was given.
    streams : mapping of str to object
        What earlier decoders gave, by product name.
    span : (int, int) or None
        A long capture is decoded in overlapping pieces; what happens from the first of these ticks up to,
        not including, the second counts in this piece, the rest is there for continuity. None: all counts.
    before : mapping of str to object
        Joined products of the pieces before this one, empty in the first: what was decided then, such as
        the sampling point, holds on.
    """

    capture: Capture
    pins: tuple[Pin, ...]
    board: Board | None = None
    streams: Mapping[str, Any] = field(default_factory=dict)
    span: tuple[int, int] | None = None
    before: Mapping[str, Any] = field(default_factory=dict)

    @property
    def counted(self) -> tuple[int, int]:
        """First tick that counts, and the first that does not any more."""
        return self.span if self.span is not None else (self.capture.start, self.capture.end + 1)

    def pins_with(self, role: Role) -> tuple[Pin, ...]:
        """Return the pins of a role; colour bits in the order of their bit."""
        return tuple(sorted((p for p in self.pins if p.role == role), key=lambda p: p.bit or 0))

    def channel_with(self, role: Role) -> Channel | None:
        """Return the channel of a role that only one channel has, or None."""
        found = self.pins_with(role)
        return self.capture.channel(found[0].channel) if found else None

    @property
    def step(self) -> float:
        """The analyser's own step in ticks; one tick when it is not known."""
        return self.capture.step


class Decoder(Protocol):
    """Turns a capture, and what earlier decoders gave, into one product."""

    name: ClassVar[str]
    contract: ClassVar[int]
    describes: ClassVar[str]
    needs: ClassVar[frozenset[str]]
    """Products that must be there first."""
    gives: ClassVar[str]
    """Product: ``pixel_clock``, ``sync``, ``colour_bus``, ``frames``, or a new word."""
    Options: ClassVar[type]
    """A frozen dataclass, every field with a default; they become ``--set`` keys and board-file keys."""

    def match(self, context: Context) -> Match:
        """Say how well this decoder fits what is in the context."""

    def decode(self, context: Context, options: Any) -> Any:
        """Return the product.

        Raises
        ------
        DecodeError
            When it cannot be had from this capture; the message becomes the reason for "not measured".
        """

    def join(self, earlier: Any, later: Any, at: int) -> Any:
        """Join the products of two overlapping pieces of a long capture.

        What lies before tick ``at`` is taken from ``earlier``, the rest from ``later``. Statistics become
        those of both; edges and other per-cycle arrays may be dropped, for memory must not grow with the
        capture.
        """
