"""What the words in a table of samples mean: levels, units of time, sampling rates, headings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from rastertap.capture.model import FLOATING, HIGH, LOW, UNKNOWN

LEVELS = {
    **dict.fromkeys(("0", "l", "lo", "low", "f", "false", "off"), LOW),
    **dict.fromkeys(("1", "h", "hi", "high", "t", "true", "on"), HIGH),
    **dict.fromkeys(("x", "u", "?", "-", "unknown"), UNKNOWN),
    "z": FLOATING,
}
"""Words for levels, in small letters, eight at most; an empty field is `UNKNOWN`."""

_NUMBER_AS_LEVEL = re.compile(r"[+]?([01])(?:[.,]0*)?(?:[eE][+-]?0+)?|[+-]?(0)(?:[.,]0*)?[eE][+-]?[0-9]+")

UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), Fraction(1)),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), Fraction(1, 10**3)),
    **dict.fromkeys(("us", "usec", "microsecond", "microseconds"), Fraction(1, 10**6)),
    **dict.fromkeys(("ns", "nsec", "nanosecond", "nanoseconds"), Fraction(1, 10**9)),
    **dict.fromkeys(("ps", "psec", "picosecond", "picoseconds"), Fraction(1, 10**12)),
    **dict.fromkeys(("fs", "fsec", "femtosecond", "femtoseconds"), Fraction(1, 10**15)),
}
"""Words for units of time, in seconds."""

_TIME_WORDS = {"time", "times", "timestamp", "t"}
_INDEX_WORDS = {"sample", "samples", "index", "idx", "n", "no", "nr", "row", "#"}
_PREFIXES = {"": 1, "k": 10**3, "K": 10**3, "M": 10**6, "G": 10**9}
_NUMBER = r"([0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?)"
_PER_SECOND = r"(?i:hz|s/s|sa/s|sps|samples?/s(?:ec(?:ond)?)?|samples? per second)"
_WHOLE_RATE = re.compile(rf"\s*{_NUMBER}\s*([kKMG]?)\s*(?:{_PER_SECOND})?\s*")
_RATE = re.compile(rf"(?<![\w.]){_NUMBER}\s*([kKMG]?){_PER_SECOND}(?![A-Za-z])")
_BARE_RATE = re.compile(
    rf"(?i:(?:\b|_|sample|sampling)rate)\s*[:=,;]?\s*{_NUMBER}\s*([kKMG]?)"
    rf"(?!\s*(?:[kKMG]\s*)?{_PER_SECOND})(?![\w./])"
)
_STEP = re.compile(rf"(?i:\b(?:period|interval|step))\s*[:=,;]?\s*{_NUMBER}\s*([munpf]?s)\b")


def level_of(word: str) -> int | None:
    """Level code of a field, or None when it is none."""
    if not word:
        return UNKNOWN
    found = _NUMBER_AS_LEVEL.fullmatch(word)
    if found is not None:
        return HIGH if found.group(1) == "1" else LOW
    return LEVELS.get(word.lower())


def parse_unit(text: str) -> Fraction:
    """Seconds in a unit of time; ValueError when it is none."""
    unit = UNITS.get(_plain(text).strip())
    if unit is None:
        raise ValueError(f"{text!r} is no unit of time: s, ms, us, ns, ps or fs")
    return unit


def parse_rate(text: str) -> Fraction:
    """Give the samples a second of ``24M``, ``100 MHz``, ``2.5 MS/s``; ValueError when it is none."""
    found = _WHOLE_RATE.fullmatch(text)
    rate = _rate(found) if found is not None else Fraction(0)
    if rate <= 0:
        raise ValueError(f"{text!r} is no sampling rate; write it like 24M or 100MHz")
    return rate


def _rate(found: re.Match[str]) -> Fraction:
    return Fraction(found.group(1)) * _PREFIXES[found.group(2)]


def rates_in(text: str) -> set[Fraction]:
    """Find the sampling rates that a heading or a comment states."""
    text = text.replace("µ", "u").replace("μ", "u")
    rates = {_rate(found) for pattern in (_RATE, _BARE_RATE) for found in pattern.finditer(text)}
    steps = {Fraction(found.group(1)) * UNITS[found.group(2)] for found in _STEP.finditer(text)}
    return {rate for rate in rates if rate} | {1 / step for step in steps if step}


_BRACKETED = re.compile(rf"[\[(]\s*({'|'.join(UNITS)})\s*[\])]")
"""A unit in brackets tells a column of times in any language: ``Zeit [us]``."""


@dataclass(frozen=True)
class Heading:
    """What a column's name says of it.

    Parameters
    ----------
    kind : "time", "index" or ""
        Times, sample numbers, or something else.
    unit : Fraction or None
        Seconds in one unit of the times, when stated.
    sure : bool
        The name alone tells; else only that of the first column is believed.
    """

    kind: Literal["time", "index", ""]
    unit: Fraction | None = None
    sure: bool = False


def read_heading(name: str) -> Heading:
    """Tell columns of times and of sample numbers by their names: ``Time [us]``, ``time_ns``, ``Sample``."""
    words = [word for word in re.split(r"[^a-z#]+", _plain(name)) if word]
    if not words:
        return Heading("")
    unit = next((UNITS[word] for word in words[1:] if word in UNITS), None)
    if words[0] in _TIME_WORDS or "time" in words:
        return Heading("time", unit, sure=words[0] != "t")
    if words[0] in UNITS and len(words) == 1:
        return Heading("time", UNITS[words[0]])
    if words[0] in _INDEX_WORDS:
        return Heading("index", sure=words[0] in {"sample", "samples", "index"})
    stated = _BRACKETED.search(_plain(name))
    return Heading("time", UNITS[stated.group(1)]) if stated is not None else Heading("")


def _plain(text: str) -> str:
    return text.replace("µ", "u").replace("μ", "u").lower()
