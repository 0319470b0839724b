"""How a table of samples is laid out, found from its first lines: delimiter, heading, columns."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from rastertap.capture.csv_words import Heading, level_of, rates_in, read_heading
from rastertap.capture.vcd_text import Problem

if TYPE_CHECKING:
    from collections.abc import Iterator

BOM = b"\xef\xbb\xbf"
BLANKS = " "
"""As a delimiter: any run of blanks and tabs."""
DELIMITERS = (",", ";", "\t", "|", BLANKS)
COMMENTS = "#%;"
"""Characters with which a comment line begins; ``//`` as well. A delimiter is none of them."""
MOST_LINES = 120
MOST_CHANNELS = 4096

_LINE = re.compile(rb"[^\r\n]+")
_BRACKETED = re.compile(r"\s+([\[(][^\])]*[\])])")
_NUMBERS = {
    point: re.compile(
        rf"[+-]?(?:[0-9]+{re.escape(point)}?[0-9]*|{re.escape(point)}[0-9]+)(?:[eE][+-]?[0-9]+)?"
    )
    for point in ".,"
}
_EXPORT = "export times or sample numbers, and one column of 0 and 1 for each channel"


@dataclass(frozen=True)
class Sniffed:
    """The first lines, taken apart.

    Parameters
    ----------
    delimiter, point : str
        Between fields; before decimals.
    heading : tuple of str
        Column names, empty when there are none.
    before : str
        The lines above the table, and all comments.
    rows : list of list of str
        The first rows.
    at : int
        Byte at which the first row begins.
    share : float, 0..1
        Of the lines from there on, those that are such rows.
    """

    delimiter: str
    point: str
    heading: tuple[str, ...]
    before: str
    rows: list[list[str]]
    at: int
    share: float


@dataclass(frozen=True)
class Layout:
    """What each column holds.

    Parameters
    ----------
    delimiter, point : str
        As in `Sniffed`.
    columns, time_column : int
        How many; which has the times or sample numbers (-1: none, every row is one sample).
    indexed : bool
        Sample numbers, not times.
    unit : Fraction
        Seconds in one unit of the times; between two samples when indexed.
    channels : tuple of (int, str)
        Column and name of each.
    ignored : tuple of str
        Columns that hold neither.
    at : int
        Byte at which the first row begins.
    notes : tuple of str
        What the user should know.
    """

    delimiter: str
    point: str
    columns: int
    time_column: int
    indexed: bool
    unit: Fraction
    channels: tuple[tuple[int, str], ...]
    ignored: tuple[str, ...]
    at: int
    notes: tuple[str, ...]


def is_comment(line: str, delimiter: str) -> bool:
    """Whether a line is a comment where fields are divided so."""
    return line.startswith("//") or (line[:1] in COMMENTS and line[:1] not in (delimiter, ""))


def split(line: str, delimiter: str) -> list[str]:
    """Divide a line into its fields, quotes and blanks round them removed."""
    if delimiter == BLANKS:
        return [field.strip('"') for field in line.split()]
    try:
        (fields,) = csv.reader([line], delimiter=delimiter, skipinitialspace=True)
    except (csv.Error, ValueError):
        return []
    return [field.strip() for field in fields]


def _is_row(fields: list[str], point: str) -> bool:
    """Whether there is a number, in front or among levels, and at least one level behind the first field."""
    numbers = [_NUMBERS[point].fullmatch(field) is not None for field in fields]
    levels = [bool(field) and level_of(field) is not None for field in fields]
    if not any(numbers) or not any(levels[1:]):
        return False
    return numbers[0] or all(n or lv or not f for n, lv, f in zip(numbers, levels, fields, strict=True))


def sniff(head: bytes, *, whole: bool) -> Sniffed | None:
    """Take the first lines apart; None when no row of a time and levels is among them.

    Parameters
    ----------
    head : bytes
        The first bytes of the text.
    whole : bool
        They are all there is: the last line counts too.
    """
    skipped = len(BOM) if head.startswith(BOM) else 0
    lines = [(found.start(), found.group().decode("latin-1")) for found in _LINE.finditer(head, skipped)]
    if lines and not whole and head[-1:] not in b"\r\n":
        lines.pop()
    ways = [(d, p) for d in DELIMITERS for p in (".,".replace(d, "") if d == "," else ".,")]
    found = [tried for way in ways if (tried := _sniff(lines[:MOST_LINES], *way)) is not None]
    return max(found, key=_fit, default=None)


def _fit(sniffed: Sniffed) -> tuple[int, bool]:
    return len(sniffed.rows), len(sniffed.heading) == len(sniffed.rows[0])


def _sniff(lines: list[tuple[int, str]], delimiter: str, point: str) -> Sniffed | None:
    taken = [(at, line, split(line, delimiter)) for at, line in lines if not is_comment(line, delimiter)]
    first = next((i for i, (_, _, fields) in enumerate(taken) if _is_row(fields, point)), None)
    if first is None:
        return None
    at, _, row = taken[first]
    rows = [f for _, _, f in taken[first:] if len(f) == len(row) and _is_row(f, point)]
    above = [line for begin, line in lines if begin < at]
    comments = [line for begin, line in lines if begin > at and is_comment(line, delimiter)]
    heading = _heading(above, delimiter, len(row))
    share = len(rows) / (len(taken) - first)
    return Sniffed(delimiter, point, heading, "\n".join(above + comments), rows, at, share)


def _heading(above: list[str], delimiter: str, columns: int) -> tuple[str, ...]:
    """Find the line of names: the last above the rows that has as many; in a comment, the last such one."""
    for line in reversed(above):
        plain = line.lstrip("#%;/ ") if is_comment(line, delimiter) else line
        if delimiter == BLANKS:
            plain = _BRACKETED.sub(r"\1", plain)
        names = split(plain, delimiter)
        if len(names) == columns - 1:
            names.append("")  # every row ends with a delimiter
        if len(names) == columns:
            return tuple(_decoded(name) for name in names)
        if not is_comment(line, delimiter) and len(names) > 1:
            return tuple(names)
    return ()


def _decoded(name: str) -> str:
    stored = name.encode("latin-1")
    try:
        return stored.decode()
    except UnicodeDecodeError:
        return name


def lay_out(sniffed: Sniffed | None, *, rate: Fraction | None, unit: Fraction | None) -> Layout:
    """Say what each column holds.

    Parameters
    ----------
    rate, unit : Fraction or None
        What the user says: the first column has sample numbers at this rate; has times in this unit.

    Raises
    ------
    Problem
        When there is no table of times and levels, or no unit or rate for its first column.
    """
    if sniffed is None:
        raise Problem("no row with a time and levels in the first lines", 0, _EXPORT)
    columns = len(sniffed.rows[0])
    if sniffed.heading and len(sniffed.heading) != columns:
        raise Problem(
            f"the heading has {len(sniffed.heading)} columns, the first row {columns}",
            sniffed.at,
            "the file is damaged here, or names with the delimiter in them are not quoted: export again",
        )
    column, heading = _time_column(sniffed)
    indexed, per_unit, notes = _scale(sniffed, column, heading, rate, unit)
    channels, ignored = _channels(sniffed, column)
    if not sniffed.heading:
        notes += (f"the columns have no names: they are called {channels[0][1]} to {channels[-1][1]}",)
    return Layout(
        delimiter=sniffed.delimiter,
        point=sniffed.point,
        columns=columns,
        time_column=column,
        indexed=indexed,
        unit=per_unit,
        channels=channels,
        ignored=ignored,
        at=sniffed.at,
        notes=notes,
    )


def _time_column(sniffed: Sniffed) -> tuple[int, Heading]:
    """Find the column of times (preferred) or sample numbers; -1 when every column holds levels."""
    headings = [read_heading(name) for name in sniffed.heading]
    for kind in ("time", "index"):
        for column, heading in enumerate(headings):
            if heading.kind == kind and (heading.sure or column == 0):
                return column, heading
    first = [row[0] for row in sniffed.rows]
    levels = [level_of(word) for word in first]
    # Times and sample numbers go up from row to row; levels, of which there are so few, cannot for long.
    if None not in levels and (len(set(first)) < len(first) or first != sorted(first)):
        return -1, Heading("index")
    return 0, Heading("")


def _scale(
    sniffed: Sniffed, column: int, heading: Heading, rate: Fraction | None, unit: Fraction | None
) -> tuple[bool, Fraction, tuple[str, ...]]:
    """Whether there are sample numbers, and seconds in one of them or in one unit of the times."""
    if rate is not None:
        return True, 1 / rate, ()
    unit = unit or heading.unit
    if unit is not None and column >= 0:
        return False, unit, ()
    whole = all(row[column].lstrip("+-").isdigit() for row in sniffed.rows) or column < 0
    if heading.kind != "index" and not whole:
        return False, Fraction(1), ("the times have no unit: they are taken as seconds",)
    stated = sorted(rates_in("\n".join([sniffed.before, *sniffed.heading])))
    if len(stated) == 1 and (heading.kind == "index" or not heading.kind):
        return True, 1 / stated[0], (f"sampling rate {float(stated[0]):.12g} Hz, as the file states",)
    several = " (the file states several)" if len(stated) > 1 else ""
    what = "sample numbers have no sampling rate" if heading.kind == "index" else "times have no unit"
    if column < 0:
        what = "table has neither times nor a sampling rate, only levels"
    raise Problem(
        f"the {what}{several}",
        sniffed.at,
        "give it: --reader csv:rate=24M for sample numbers, --reader csv:unit=us for times",
    )


def _channels(sniffed: Sniffed, column: int) -> tuple[tuple[tuple[int, str], ...], tuple[str, ...]]:
    """Tell the columns that hold levels from the rest."""
    channels: list[tuple[int, str]] = []
    ignored: list[str] = []
    for i, name in _named(sniffed):
        if i == column:
            continue
        words = [row[i] for row in sniffed.rows]
        if not name and not any(words):
            continue  # what lies behind a delimiter that ends every row
        if 2 * sum(level_of(word) is not None for word in words) >= len(words):
            channels.append((i, name or f"D{len(channels)}"))
        else:
            ignored.append(f"{name or f'column {i + 1}'} (no levels)")
    names = [name for _, name in channels]
    twice = next((name for name, count in Counter(names).items() if count > 1), None)
    if not channels or twice is not None or len(names) > MOST_CHANNELS:
        what = f"two columns are called {twice!r}" if twice is not None else f"{len(names)} columns of levels"
        raise Problem(what, sniffed.at, _EXPORT)
    return tuple(channels), tuple(ignored)


def _named(sniffed: Sniffed) -> Iterator[tuple[int, str]]:
    for i in range(len(sniffed.rows[0])):
        yield i, sniffed.heading[i] if sniffed.heading else ""
