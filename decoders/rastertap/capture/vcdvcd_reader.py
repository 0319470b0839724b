"""The second opinion: VCD through the vcdvcd library.

vcdvcd reads by line and keeps Python lists (about 10 MB/s), and it passes over what it does not understand.
So every line is checked first to be of the shape that it reads rightly; another shape is refused, with
the fast reader named. The declarations are read by rastertap and compared with what vcdvcd made of them.
"""

from __future__ import annotations

import re
import signal
import threading
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from rastertap.capture.interface import CONTRACT
from rastertap.capture.model import UNKNOWN, Capture, Channel
from rastertap.capture.vcd import match_vcd
from rastertap.errors import CaptureError, PluginError, UsageError
from rastertap.match import Match

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from rastertap.capture.interface import Window
    from rastertap.capture.source import Source
    from rastertap.capture.vcd_header import Header, Variable
    from rastertap.progress import Progress

_LEVELS = {"0": 0, "1": 1, "x": 2, "z": 3}
LATEST = np.iinfo(np.int64).max
_OTHER_READER = "read it with --reader vcd, which reads token by token"
_LINE = re.compile(
    rb"(?:#[0-9]+(?:[ \t]+[01xXzZ][!-~]+)*"
    rb"|[01xXzZ]([!-~]+)"
    rb"|[bB][01xXzZ]+[ \t]+([!-~]+)|[rR][!-~]+[ \t]+([!-~]+)"
    rb"|\$(?:dumpvars|dumpall|dumpon|dumpoff|end)"
    rb"|\$comment(?:[ \t](?:(?!\$(?:end|var|scope|upscope|timescale|enddefinitions)).)*)?[ \t]\$end"
    rb"|)[ \t\r]*"
)


class VcdvcdReader:
    """Reads VCD through vcdvcd, in one block."""

    name: ClassVar[str] = "vcdvcd"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = (
        "value change dump (VCD) through the vcdvcd library: slow, for a second opinion"
    )

    def match(self, head: bytes, label: str) -> Match:
        """Say how well the first bytes look like VCD; half as sure as the fast reader, to be preferred."""
        fast = match_vcd(head, label)
        return Match(fast.score / 2, (*fast.why, "the fast reader is preferred"))

    def blocks(self, source: Source, *, window: Window, progress: Progress) -> Iterator[Capture]:
        """Yield the whole recording as one block; see `rastertap.capture.interface.Reader`."""
        from rastertap.capture.vcd_header import read_header
        from rastertap.capture.vcd_text import Problem, Text

        library = _library()
        progress.start(f"reading {source.label} with vcdvcd", source.size)
        data = _all_text(source)
        text = Text(_Again(source, data), max(len(data) + 1, 1 << 12))  # type: ignore[arg-type]
        try:
            header = read_header(text)
            body = text.base + text.position
            data, truncated = _checked(source, data, body, {v.code for v in header.variables})
        except Problem as problem:
            raise text.error(problem) from None
        try:
            parsed = library(vcd_string=data.decode("latin-1"))
        except Exception as error:  # whatever the library raises on a file it does not read
            raise _refusal(source, f"vcdvcd fails on this file ({type(error).__name__}: {error})") from error
        _compare(source, header, parsed)
        progress.advance(source.consumed)
        yield _capture(source, header, parsed, window, truncated or source.cut)
        progress.finish()


class _Again:
    """Gives text that is already in memory to the header's reader."""

    rereadable = False

    def __init__(self, source: Source, data: bytes) -> None:
        self.label, self.cut = source.label, source.cut
        self._left = memoryview(data)

    def readinto(self, view: memoryview) -> int:
        """Fill ``view``; 0 at the end."""
        count = min(len(view), len(self._left))
        view[:count] = self._left[:count]
        self._left = self._left[count:]
        return count


def _library() -> Any:
    """Import vcdvcd, and put back the signal handler that it changes when imported."""
    try:
        before = signal.getsignal(signal.SIGPIPE) if hasattr(signal, "SIGPIPE") else None
        from vcdvcd import VCDVCD
    except (ImportError, ValueError) as error:
        raise PluginError(f"vcdvcd cannot be used: {error}", hint="pip install vcdvcd") from error
    if before is not None and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGPIPE, before)
    return VCDVCD


def _all_text(source: Source) -> bytes:
    pieces: list[bytes] = []
    while True:
        piece = bytearray(1 << 20)
        got = source.readinto(memoryview(piece))
        if not got:
            return b"".join(pieces)
        pieces.append(bytes(memoryview(piece)[:got]))


def _refusal(source: Source, message: str, **place: int) -> CaptureError:
    return CaptureError(message, path=source.label, hint=_OTHER_READER, **place)


def _checked(source: Source, data: bytes, body: int, codes: set[bytes]) -> tuple[bytes, str]:
    """Refuse a line that vcdvcd would misread or pass over, and cut off an unfinished last one."""
    line_number = data.count(b"\n", 0, body) + 1
    at, now = body, -1
    while at < len(data):
        newline = data.find(b"\n", at)
        end = newline if newline >= 0 else len(data)
        found = _LINE.fullmatch(data, at, end)
        line = data[at:end]
        wrong = "vcdvcd would misread this line" if found is None else _undeclared(line, codes)
        if not wrong and line.startswith(b"#"):
            before, now = now, _time(line)
            wrong = f"time goes back from {before} to {now}" if now < before else ""
            wrong = "this time does not fit in 64 bits" if now > LATEST else wrong
        if wrong:
            if newline < 0:
                return data[
                    :at
                ], f"the file ends inside {data[at:end][:40].decode('ascii', 'backslashreplace')!r}"
            column = at - data.rfind(b"\n", 0, at)
            raise _refusal(source, wrong, line=line_number, column=column, byte=at)
        at, line_number = end + 1, line_number + 1
    return data, ""


def _time(line: bytes) -> int:
    """Time of a line that begins with one; anything beyond `LATEST` for one that is longer."""
    digits = line.split()[0][1:].lstrip(b"0")
    return int(digits or b"0") if len(digits) <= len(str(LATEST)) else LATEST + 1


def _undeclared(line: bytes, codes: set[bytes]) -> str:
    words = line.split()
    if not words or words[0].startswith(b"$"):
        return ""
    used = [words[1]] if words[0][:1] in b"bBrR" else [w[1:] for w in words if not w.startswith(b"#")]
    for code in used:
        if code not in codes:
            return f"identifier code {code.decode('ascii', 'backslashreplace')!r} is not declared"
    return ""


def _compare(source: Source, header: Header, parsed: Any) -> None:
    """Refuse a file whose declarations vcdvcd read otherwise."""
    for variable in header.variables:
        signal_read = parsed.data.get(variable.code.decode("latin-1"))
        if signal_read is None or (variable.bits and int(signal_read.size) != variable.width):
            raise _refusal(source, f"vcdvcd misreads the declaration of {variable.name}")
    scale = parsed.timescale.get("timescale")
    if scale is not None and header.tick is not None and scale != _decimal(header):
        raise _refusal(source, f"vcdvcd misreads the $timescale as {scale} s")


def _decimal(header: Header) -> Any:
    from decimal import Decimal

    tick = header.tick
    return Decimal(tick.numerator) / Decimal(tick.denominator) if tick is not None else None


def _capture(source: Source, header: Header, parsed: Any, window: Window, truncated: str) -> Capture:
    start, end = int(parsed.begintime), int(parsed.endtime)
    tick = header.tick
    if tick is None:
        raise _refusal(source, "no time unit")
    low, high = window.in_ticks(start, tick)
    if low > end:
        raise UsageError(
            f"the part to read begins at {window.start_s} s, after the end of the recording",
            hint=f"the recording is {float((end - start) * tick):g} s long",
        )
    channels: dict[bytes, list[tuple[int, NDArray[np.int64], NDArray[np.uint8]]]] = {}
    for variable in header.variables:
        if variable.bits and variable.code not in channels:
            channels[variable.code] = _bits(variable, parsed.data[variable.code.decode("latin-1")].tv)
    made = tuple(
        Channel(name, *channels[variable.code][i]).between(max(low, start), high)
        for variable in header.variables
        for i, name in enumerate(variable.bits)
    )
    return Capture(
        label=source.label,
        tick=tick,
        start=low,
        end=end if high is None else min(end, high),
        channels=made,
        ignored=tuple(f"{v.name} ({v.kind})" for v in header.variables if not v.bits),
        truncated=truncated,
        notes=(*header.notes, *source.notes),
    )


def _bits(
    variable: Variable, pairs: list[tuple[int, str]]
) -> list[tuple[int, NDArray[np.int64], NDArray[np.uint8]]]:
    """Split a signal's (time, value) pairs into its bits, the most significant first."""
    times = np.fromiter((time for time, _ in pairs), np.int64, len(pairs))
    values = [_extended(value.lower(), variable.width) for _, value in pairs]
    made = []
    for bit in range(variable.width):
        levels = np.fromiter((_LEVELS[value[bit]] for value in values), np.uint8, len(values))
        made.append(_changes(times, levels))
    return made


def _extended(value: str, width: int) -> str:
    """Left-extend a shortened value (IEEE 1800-2023 Table 21-8, as in references.md 7)."""
    fill = "0" if value[0] == "1" else value[0]
    return value.rjust(width, fill)[-width:]


def _changes(
    times: NDArray[np.int64], levels: NDArray[np.uint8]
) -> tuple[int, NDArray[np.int64], NDArray[np.uint8]]:
    """Keep the last level at each time, and of those the ones that differ from the level before."""
    last = np.append(np.diff(times) > 0, True)[: len(times)]
    times, levels = times[last], levels[last]
    changed = levels != np.concatenate((np.array([UNKNOWN], np.uint8), levels[:-1]))
    return UNKNOWN, times[changed], levels[changed]
