"""Writing a recording as analysers write VCD: scalar wires, one ``#time`` line and then its changes."""

from __future__ import annotations

import struct
import zlib
from contextlib import contextmanager
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

FIRST_CODE, LAST_CODE = 33, 126
"""Identifier codes are one printable character (IEEE 1800-2023, 21.7.2.1)."""

UNITS = ("s", "ms", "us", "ns", "ps", "fs")
ROWS = 1 << 17
WINDOW_BITS = 11
"""A deflate window of 2 KiB: stamps repeat within a line or two of text, and near matches take fewer bits
(measured on the demo captures: a quarter smaller than with the full 32 KiB)."""


def exact_tick(period: Fraction) -> tuple[str, int]:
    """Give the largest timescale that divides ``period`` (seconds), and how many of it there are in one.

    Raises
    ------
    UsageError
        When no timescale does.
    """
    for exponent in range(-2, 3 * len(UNITS) - 2):
        unit, tens = divmod(exponent + 2, 3)
        count = period * Fraction(10) ** exponent
        if count.denominator == 1:
            return f"{10 ** (2 - tens)} {UNITS[unit]}", int(count)
    raise UsageError(
        f"no VCD timescale divides a sample period of {period} s",
        hint="use times rounded to ns, or another sample rate",
    )


def _stamps(samples: NDArray[np.int64], period: Fraction, ticks: int) -> NDArray[np.int64]:
    """Give the times in the file: ``ticks`` to a sample, or rounded to whole ns when that is 0."""
    if ticks:
        return samples * ticks
    per_sample = period * 10**9
    top, bottom = per_sample.numerator, per_sample.denominator
    return (samples * (2 * top) + bottom) // (2 * bottom)


def _rows(
    stamps: NDArray[np.int64],
    channels: NDArray[np.int64],
    levels: NDArray[np.uint8],
    *,
    new: NDArray[np.bool_],
) -> bytes:
    """Text of a run of changes; ``new`` marks those that need a ``#time`` line before them."""
    digits = len(str(int(stamps[-1])))
    text = np.empty((stamps.size, digits + 5), np.uint8)
    keep = np.ones(text.shape, np.bool_)
    text[:, 0], text[:, digits + 1], text[:, -1] = ord("#"), ord("\n"), ord("\n")
    rest = stamps.copy()
    for column in range(digits, 0, -1):
        rest, digit = np.divmod(rest, 10)
        text[:, column] = digit + ord("0")
        if column > 1:
            keep[:, column - 1] = rest > 0
    keep[~new, : digits + 2] = False
    text[:, -3] = levels + ord("0")
    text[:, -2] = channels + FIRST_CODE
    return text[keep].tobytes()


def _chunks(
    stamps: NDArray[np.int64], channels: NDArray[np.int64], levels: NDArray[np.uint8]
) -> Iterator[bytes]:
    new = np.append(True, stamps[1:] != stamps[:-1])
    for begin in range(0, stamps.size, ROWS):
        part = slice(begin, begin + ROWS)
        yield _rows(stamps[part], channels[part], levels[part], new=new[part])


def _header(labels: Sequence[str], timescale: str, comment: str) -> str:
    variables = "".join(f"$var wire 1 {chr(FIRST_CODE + i)} {label} $end\n" for i, label in enumerate(labels))
    return (
        f"$comment {comment} $end\n$timescale {timescale} $end\n$scope module logic $end\n"
        f"{variables}$upscope $end\n$enddefinitions $end\n"
    )


@contextmanager
def _open(path: Path) -> Iterator[Callable[[bytes], object]]:
    """Give the function that writes to ``path``, through gzip when its name ends so.

    The header (RFC 1952) holds no name, time or system, so that the same recording gives the same bytes.
    """
    with path.open("wb") as file:
        if path.suffix != ".gz":
            yield file.write
            return
        packer = zlib.compressobj(9, zlib.DEFLATED, -WINDOW_BITS)
        check = size = 0

        def write(data: bytes) -> None:
            nonlocal check, size
            check, size = zlib.crc32(data, check), size + len(data)
            file.write(packer.compress(data))

        file.write(b"\x1f\x8b\x08" + bytes(6) + b"\xff")
        yield write
        file.write(packer.flush() + struct.pack("<II", check, size % 2**32))


def write_vcd(
    path: Path,
    channels: Sequence[tuple[str, int, NDArray[np.int64]]],
    *,
    count: int,
    sample_period: Fraction,
    exact: bool,
    comment: str,
) -> None:
    """Write a recording; gzipped when the name ends in ``.gz``.

    Parameters
    ----------
    path : Path
        Its folder is made when missing.
    channels : sequence of (label, initial level, samples)
        As `rastertap.bench.analyser.Sampling.record` gives them.
    count : int
        Samples taken; the file ends with the last one's time.
    sample_period : Fraction
        Seconds, as the analyser states it.
    exact : bool
        Count in an exact tick instead of whole nanoseconds.
    comment : str
        One line for the header.

    Raises
    ------
    UsageError
        When there are more channels than identifier codes, or no exact tick.
    """
    if len(channels) > LAST_CODE - FIRST_CODE + 1:
        raise UsageError(
            f"{len(channels)} channels: at most {LAST_CODE - FIRST_CODE + 1}", hint="use fewer channels"
        )
    timescale, ticks = exact_tick(sample_period) if exact else ("1 ns", 0)
    samples = np.concatenate([s for _, _, s in channels])
    numbers = np.repeat(np.arange(len(channels)), [s.size for _, _, s in channels])
    levels = np.concatenate(
        [(np.arange(1, s.size + 1) + initial & 1).astype(np.uint8) for _, initial, s in channels]
    )
    order = np.argsort(samples, kind="stable")
    stamps = _stamps(samples[order], sample_period, ticks)
    last = int(_stamps(np.array([count - 1]), sample_period, ticks)[0])
    begin = "".join(f"{initial}{chr(FIRST_CODE + i)}\n" for i, (_, initial, _) in enumerate(channels))
    path.parent.mkdir(parents=True, exist_ok=True)
    with _open(path) as write:
        header = _header([label for label, _, _ in channels], timescale, comment)
        write(f"{header}#0\n$dumpvars\n{begin}$end\n".encode("ascii"))
        for text in _chunks(stamps, numbers[order], levels[order]):
            write(text)
        if not stamps.size or stamps[-1] != last:
            write(f"#{last}\n".encode("ascii"))
