"""The rows as a table: one line a capture, a column for each measured value; CSV or Parquet."""

from __future__ import annotations

import csv
from itertools import islice
from typing import TYPE_CHECKING, Any

from rastertap.errors import UsageError
from rastertap.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from rastertap.batch.task import Row

FIXED = ("path", "serial", "result", "place", "confidence", "text", "because", "sha256", "page")
ROWS_AT_ONCE = 5000
NUMBER = "number"


def columns_of(rows: Iterable[Row]) -> dict[str, str]:
    """Find the columns that findings give, with their type: ``ID`` (result), ``ID [unit]`` (value)."""
    found: dict[str, str] = {}
    for row in rows:
        for finding in row["findings"]:
            found[finding["id"]] = "text"
            if isinstance(finding["measured"], float):
                found[_value_column(finding)] = NUMBER
    return dict(sorted(found.items()))


def _value_column(finding: dict[str, Any]) -> str:
    return f"{finding['id']} [{finding['unit'] or '1'}]"


def flat(row: Row, columns: Iterable[str]) -> dict[str, Any]:
    """Give a row as one line; of several findings with one id the first one's value, the worst result."""
    line: dict[str, Any] = {name: row[name] for name in FIXED}
    line |= {"because": " ".join(row["because"]), "path": printable(row["path"])}
    line |= dict.fromkeys(columns)
    worst = ("not_measured", "pass", "warn", "fail")
    for finding in row["findings"]:
        name, before = finding["id"], line[finding["id"]]
        line[name] = max(before or "not_measured", finding["result"], key=worst.index)
        if isinstance(finding["measured"], float):
            column = _value_column(finding)
            line[column] = finding["measured"] if line[column] is None else line[column]
    return line


def write_csv(path: Path, rows: Callable[[], Iterable[Row]]) -> None:
    """Write CSV (RFC 4180, UTF-8); ``rows`` is called twice, for columns come first."""
    columns = columns_of(rows())
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [*FIXED, *columns])
        writer.writeheader()
        writer.writerows(flat(row, columns) for row in rows())


def write_parquet(path: Path, rows: Callable[[], Iterable[Row]]) -> None:
    """Write Parquet, some thousand rows at once.

    Raises
    ------
    UsageError
        When pyarrow is missing.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise UsageError("Parquet needs pyarrow", hint="pip install 'rastertap[parquet]'") from None
    columns = columns_of(rows())
    numbers = {"confidence"} | {name for name, kind in columns.items() if kind == NUMBER}
    names = [*FIXED, *columns]
    schema = pa.schema([(n, pa.float64() if n in numbers else pa.string()) for n in names])
    rest = iter(rows())
    with pq.ParquetWriter(path, schema) as writer:
        while lines := [flat(row, columns) for row in islice(rest, ROWS_AT_ONCE)]:
            writer.write_table(pa.Table.from_pylist(lines, schema=schema))
