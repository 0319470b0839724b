"""A folder in place of a capture: every capture in it, one after the other."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rastertap.cli.options import emit
from rastertap.errors import CaptureError, UsageError
from rastertap.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rastertap.analyse import Analysis

SUFFIXES = (".vcd", ".csv", ".tsv")
"""A file so named is meant as a capture even when no reader knows what is in it."""
COMPRESSED = (".gz", ".zst")


def captures_in(folder: Path) -> Iterator[Path]:
    """Give the captures in a folder by name; hidden files and folders in it are left out."""
    from rastertap.capture.read import is_capture

    for path in sorted(folder.iterdir()):
        named = path.suffix if path.suffix not in COMPRESSED else Path(path.stem).suffix
        if path.is_file() and not path.name.startswith(".") and (named in SUFFIXES or is_capture(path)):
            yield path


def for_each_capture(command: Callable[..., int]) -> Callable[..., int]:
    """Let a command take a folder; goes above `capture_options`.

    The command gets ``brief``: whether it is one of several captures, and should write one line. What cannot
    be read is said in a line of its own and stops none of the others; the highest exit code is that of all.
    """

    @functools.wraps(command)
    def each(*, capture: str, **rest: Any) -> int:
        if not Path(capture).is_dir():
            return command(capture=capture, brief=False, **rest)
        if rest["json_path"] or rest.get("report_path") or rest["saver"].wanted.folder is not None:
            hint = "check one capture at a time, or leave out --json, --report and --frames"
            raise UsageError("results of several captures do not go into one place", hint=hint)
        codes = [_code_of(command, path, rest) for path in captures_in(Path(capture))]
        if not codes:
            raise CaptureError(
                "no capture in this folder", path=capture, hint="name the folder that has them"
            )
        return max(codes)

    return each


def _code_of(command: Callable[..., int], path: Path, rest: dict[str, Any]) -> int:
    own = {**rest, "saver": type(rest["saver"])(rest["saver"].wanted)}
    try:
        return command(capture=str(path), brief=True, **own)
    except CaptureError as error:
        if not rest["quiet"]:
            emit(f"{'unreadable':12}{printable(str(error))}\n")
        return error.exit_code


def brief_text(analysis: Analysis, code: int) -> str:
    """Give the verdict on one of several captures in one line."""
    from rastertap.report.text import PLACES

    verdict = analysis.verdict
    result = "FAULT" if code else "ok"
    place = PLACES[verdict.place]
    return f"{result:12}{printable(analysis.capture.label)}: {place}: {printable(verdict.text)}\n"
