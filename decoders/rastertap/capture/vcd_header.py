"""The declarations of a VCD file: time unit, scopes, variables."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from rastertap.capture.vcd_text import Problem

if TYPE_CHECKING:
    from rastertap.capture.vcd_text import Text

WIDEST = 1 << 16
"""Most bits in one variable; IEEE 1800 asks for at least this many in a vector (from memory)."""

MOST_SIGNALS = 1 << 17
MOST_LETTERS = 1 << 25
"""Most bits in all variables together, and characters in their names: what a capture of pins can need, many
times over. Memory goes with both, and a declaration of some bytes can ask for a lot of it."""

_LONGEST_COMMAND = 1000
_BEFORE_NAME = 3  # words of a $var before its name: an identifier code may be any word, even $end
_UNIT_POWERS = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}
_ASSUMED_TICK = Fraction(1, 10**9)

# IEEE 1364-2001/2005 Syntax 18-8 as in references.md 7; the last line is SystemVerilog's, from memory.
_BIT_KINDS = frozenset(
    (
        *("integer", "parameter", "reg", "supply0", "supply1", "time", "tri", "triand", "trior", "trireg"),
        *("tri0", "tri1", "wand", "wire", "wor"),
        *("bit", "logic", "int", "shortint", "longint", "byte", "enum", "uwire"),
    )
)
_SIMULATION = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff")
_SUBSCRIPT = re.compile(r"^(.*?)\s*\[\s*(-?\d{1,18})\s*(?::\s*(-?\d{1,18})\s*)?\]$", re.DOTALL)
_VALUE = re.compile(rb"#[0-9]|[01xXzZ][!-~]|[bB][01xXzZ]+$|[rR][-+.0-9]")
_TIMESCALE = re.compile(r"^\s*(\d{1,30})\s*([a-z]+)\s*$", re.IGNORECASE)
_DUMPPORTS_HINT = "this is an extended VCD file: dump it again as plain VCD ($dumpvars, not $dumpports)"


@dataclass(frozen=True)
class Variable:
    """One ``$var``: ``bits`` names each of its bits, most significant first; none when it is not decoded."""

    name: str
    kind: str
    width: int
    code: bytes
    bits: tuple[str, ...]


@dataclass
class Header:
    """The declarations; ``tick`` is never None once they are read."""

    tick: Fraction | None = None
    variables: list[Variable] = field(default_factory=list)
    bits: int = 0
    letters: int = 0
    notes: list[str] = field(default_factory=list)


def read_header(text: Text) -> Header:
    """Read the declarations and leave ``text.position`` at what follows them.

    Raises
    ------
    Problem
        When they are wrong, or there are none.
    """
    header, scopes = Header(), list[str]()
    _skip_byte_order_mark(text)
    while True:
        taken = text.token()
        if taken is None:
            raise _ended(text, header)
        word, at = taken
        if word == b"$enddefinitions":
            _command(text, word, at)
            break
        if word in _SIMULATION or (header.variables and _VALUE.match(word)):
            text.position = at
            break
        _declaration(text, header, scopes, word, at)
    if not header.variables:
        raise Problem(
            "no signals are declared", at, "a VCD file lists its signals with $var before $enddefinitions"
        )
    if header.tick is None:
        header.tick = _ASSUMED_TICK
        header.notes.append("no $timescale: 1 ns is assumed, so every time and frequency rests on that")
    return header


def _skip_byte_order_mark(text: Text) -> None:
    text.refill()
    head = bytes(text.data[: min(text.filled, 4096)])
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Problem("the text is UTF-16, VCD is plain ASCII", 0, "save it as UTF-8 or ASCII and read that")
    if head.startswith(b"\xef\xbb\xbf"):
        text.position = 3
    if not head.strip():
        if text.ended:
            raise Problem("the file is empty", 0, "capture again, or check that the export finished")
    elif b"\0" in head:
        raise Problem(
            "binary data, not VCD text", head.index(b"\0"), "export the capture as VCD (value change dump)"
        )


def _ended(text: Text, header: Header) -> Problem:
    cut = f" ({text.source.cut})" if text.source.cut else ""
    if header.variables:
        return Problem(
            f"the file ends in its declarations{cut}", text.filled, "the export was cut short: export again"
        )
    return Problem(
        f"the file ends before any signal is declared{cut}",
        text.filled,
        "check that this is a whole VCD file",
    )


def _command(text: Text, word: bytes, at: int, *, fixed: int = 0) -> list[bytes]:
    """Take the words of a command up to its ``$end``; the first ``fixed`` may be anything, even ``$end``."""
    words: list[bytes] = []
    while len(words) < _LONGEST_COMMAND:
        taken = text.token()
        if taken is None:
            raise Problem(
                f"the file ends inside {_show(word)}", text.filled, "the export was cut short: export again"
            )
        if taken[0] == b"$end" and len(words) >= fixed:
            return words
        words.append(taken[0])
    raise Problem(f"{_show(word)} has no $end", min(at, text.filled), "the declarations are damaged here")


def _skip_command(text: Text, word: bytes) -> None:
    """Pass over a command that may hold anything, of any length."""
    while True:
        taken = text.token()
        if taken is None:
            raise Problem(
                f"the file ends inside {_show(word)}", text.filled, "the export was cut short: export again"
            )
        if taken[0] == b"$end":
            return


def _declaration(text: Text, header: Header, scopes: list[str], word: bytes, at: int) -> None:
    if word == b"$var":
        base = text.base
        words = _command(text, word, at, fixed=_BEFORE_NAME)
        _variable(header, scopes, words, at - (text.base - base))
    elif word == b"$scope":
        words = _command(text, word, at)
        scopes.append(_text(b" ".join(words[1:]) if len(words) > 1 else b" ".join(words)))
    elif word == b"$upscope":
        _command(text, word, at)
        if scopes:
            scopes.pop()
    elif word == b"$timescale":
        base = text.base
        words = _command(text, word, at)
        header.tick = _timescale(header, b" ".join(words), at - (text.base - base))
    elif word.startswith(b"$dumpports"):
        raise Problem("port changes ($dumpports) are not supported", at, _DUMPPORTS_HINT)
    elif word == b"$end":
        return
    elif word.startswith(b"$"):
        _skip_command(text, word)
    else:
        raise _not_vcd(header, word, at)


def _not_vcd(header: Header, word: bytes, at: int) -> Problem:
    if header.variables:
        return Problem(f"{_show(word)} is neither a declaration nor a change", at, "the file is damaged here")
    return Problem(
        f"not a VCD file: {_show(word)} stands where a declaration such as $timescale or $var must",
        at,
        "export the capture as VCD (value change dump)",
    )


def _timescale(header: Header, words: bytes, at: int) -> Fraction:
    found = _TIMESCALE.match(_text(words))
    unit = found.group(2).lower() if found else ""
    if found is None or unit not in _UNIT_POWERS or int(found.group(1)) == 0:
        raise Problem(
            f"$timescale {_show(words)} is not a time",
            at,
            "it must be 1, 10 or 100 and one of s ms us ns ps fs",
        )
    count = int(found.group(1))
    if count not in (1, 10, 100):
        header.notes.append(
            f"$timescale {count} {unit} is not 1, 10 or 100 of a unit; it was taken as it stands"
        )
    return Fraction(count, 10 ** _UNIT_POWERS[unit])


def _variable(header: Header, scopes: list[str], words: list[bytes], at: int) -> None:
    if len(words) <= _BEFORE_NAME or b"$var" in words:
        raise Problem(
            "$var needs a type, a size, an identifier code and a name",
            at,
            "the declarations are damaged here",
        )
    kind, code = _text(words[0]), words[2]
    if kind == "port":
        raise Problem("port variables ($var port) are not supported", at, _DUMPPORTS_HINT)
    if min(code) <= ord(" "):
        raise Problem(
            f"identifier code {_show(code)} is not printable", at, "the declarations are damaged here"
        )
    name = ".".join([*scopes, _text(b" ".join(words[3:]))])
    bits: tuple[str, ...] = ()
    width = 0
    if kind in _BIT_KINDS:
        width = _width(words[1], name, at)
        header.bits += width
        header.letters += width * (len(name) + len("[99]"))
        if header.bits > MOST_SIGNALS or header.letters > MOST_LETTERS:
            raise Problem(
                f"too many signals: {header.bits} bits, {header.letters} characters in their names",
                at,
                "dump only the scope of the pins that are needed",
            )
        name, bits = _bit_names(header, name, width)
    header.variables.append(Variable(name, kind, width, code, bits))


def _width(word: bytes, name: str, at: int) -> int:
    if not word.isdigit() or not word.strip(b"0"):
        raise Problem(
            f"{name[:100]}: size {_show(word)} is not a number of bits",
            at,
            "the declarations are damaged here",
        )
    if len(word) > len(str(WIDEST)) or int(word) > WIDEST:
        raise Problem(
            f"{name[:100]}: {word[:40].decode()} bits; at most {WIDEST} are read",
            at,
            "leave this variable out of the dump",
        )
    return int(word)


def _bit_names(header: Header, name: str, width: int) -> tuple[str, tuple[str, ...]]:
    """Name every bit, most significant first, by the range (``bus [3]``, ``bus[7:0]``, ``bus [0:7]``)."""
    found = _SUBSCRIPT.match(name)
    if found is not None and found.group(3) is not None:
        first, last = int(found.group(2)), int(found.group(3))
        step = 1 if last >= first else -1
        if abs(last - first) + 1 == width:
            stem = found.group(1)
            return stem, tuple(f"{stem}[{i}]" for i in range(first, last + step, step))
        header.notes.append(
            f"{name}: the range does not fit its size of {width}; its bits are counted from 0"
        )
    elif found is not None:
        name = f"{found.group(1)}[{int(found.group(2))}]"
    if width == 1:
        return name, (name,)
    return name, tuple(f"{name}[{i}]" for i in range(width - 1, -1, -1))


def _text(word: bytes) -> str:
    return word.decode("utf-8", "backslashreplace")


def _show(word: bytes) -> str:
    """Show a word in a message, shortened, unprintable bytes escaped."""
    shown = word[:40].decode("ascii", "backslashreplace")
    return repr(shown) if len(word) <= 40 else f"{shown!r}..."  # noqa: PLR2004 - as cut above
