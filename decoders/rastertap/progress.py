"""How long work reports how far it is, without touching a terminal."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Told about bytes read; the command line draws a bar from it."""

    def start(self, what: str, total_bytes: int | None) -> None:
        """Begin a piece of work; ``total_bytes`` is None when it is not known (stdin)."""

    def advance(self, done_bytes: int) -> None:
        """Say how many bytes are done since the start."""

    def finish(self) -> None:
        """End the piece of work."""


class Silent:
    """Progress that goes nowhere."""

    def start(self, what: str, total_bytes: int | None) -> None:
        """Do nothing."""

    def advance(self, done_bytes: int) -> None:
        """Do nothing."""

    def finish(self) -> None:
        """Do nothing."""
