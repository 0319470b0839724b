"""Every error rastertap raises on purpose.

::

    RastertapError            anything a user can mend; carries what, where and what to do
    +-- UsageError            wrong option or argument                          exit code 2
    |   +-- BoardError        the board file: all of its problems at once       exit code 2
    |   +-- PluginError       a reader, decoder or check that cannot be used    exit code 2
    +-- CaptureError          the capture cannot be read                        exit code 3
    +-- DecodeError           a decoder cannot work on this capture; the host turns it into "not measured"

Anything else that reaches the command line is a bug (exit code 70).
"""

from __future__ import annotations

from dataclasses import dataclass


class RastertapError(Exception):
    """Base of all errors raised on purpose.

    Parameters
    ----------
    message : str
        What is wrong, one sentence.
    hint : str
        What to do about it; may be empty.
    """

    exit_code = 1

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class UsageError(RastertapError):
    """A wrong option or argument."""

    exit_code = 2


class PluginError(UsageError):
    """A plug-in that cannot be used: unknown, broken, or named twice."""


@dataclass(frozen=True)
class BoardProblem:
    """One thing wrong in a board file: the line (1-based, 0 when unknown), the key, what, and what to do."""

    line: int
    key: str
    message: str
    hint: str = ""


class BoardError(UsageError):
    """A board file with problems, all of them listed."""

    def __init__(self, path: str, problems: tuple[BoardProblem, ...]) -> None:
        lines = [
            f"{path}:{p.line}: {p.key}: {p.message}" + (f" ({p.hint})" if p.hint else "") for p in problems
        ]
        super().__init__("\n".join(lines), hint="")
        self.path = path
        self.problems = problems


class CaptureError(RastertapError):
    """A capture that cannot be read.

    Parameters
    ----------
    message, hint : str
        What is wrong; what to do.
    path : str
        The file, or ``-``.
    line, column, byte : int or None
        Where: line and column from 1, byte from 0; None when there is no such place.
    """

    exit_code = 3

    def __init__(
        self,
        message: str,
        *,
        path: str,
        line: int | None = None,
        column: int | None = None,
        byte: int | None = None,
        hint: str = "",
    ) -> None:
        super().__init__(message, hint=hint)
        self.path = path
        self.line = line
        self.column = column
        self.byte = byte

    def __str__(self) -> str:
        """Return ``path:line:column (byte n): message``, leaving out what is unknown."""
        place = ":".join(str(p) for p in (self.path, self.line, self.column) if p is not None)
        at_byte = f" (byte {self.byte})" if self.byte is not None else ""
        return f"{place}{at_byte}: {self.message}"


class DecodeError(RastertapError):
    """A decoder that cannot work on this capture; its message is the reason shown as "not measured"."""
