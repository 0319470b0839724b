"""How a plug-in says whether it fits: a score with its evidence, never a bare bool."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Match:
    """A guess.

    Parameters
    ----------
    score : float, 0..1
        0 does not fit at all, 1 certain.
    why : tuple of str
        The evidence for and against, in words.
    """

    score: float
    why: tuple[str, ...] = ()
