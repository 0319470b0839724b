"""Tables that Python's csv module and pandas write; one recording as a table and as VCD."""

from __future__ import annotations

import csv
import json
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from rastertap.analyse import analyse_path
from rastertap.capture.read import read_capture
from rastertap.report.document import document

from .peers import of_capture

if TYPE_CHECKING:
    from rastertap.capture.model import Capture

CAPTURES = Path(__file__).parents[2] / "captures"
LEVELS = {"0": 0, "1": 1, "x": 2, "z": 3, "": 2}
Rows = list[tuple[int, list[str]]]


@st.composite
def recordings(draw: st.DrawFn) -> tuple[list[str], Rows]:
    """Names, and rows of a time in ns and levels."""
    count = draw(st.integers(1, 5))
    names = draw(
        st.lists(st.text("abc ,;|\"'[]\u00e9", min_size=1, max_size=8), min_size=count, max_size=count)
    )
    gaps = draw(st.lists(st.integers(1, 10**7), min_size=1, max_size=40))
    cell = st.sampled_from(["0", "1", "0", "1", "x", "z", ""])
    rows = [(int(t), draw(st.lists(cell, min_size=count, max_size=count))) for t in np.cumsum(gaps)]
    rows[0][1][0] = "1"  # by which the reader knows a row
    return [f"{i}{name}" for i, name in enumerate(names)], rows


def expected(names: list[str], rows: Rows) -> dict[str, tuple[int, list[tuple[int, int]]]]:
    view = {}
    for column, name in enumerate(names):
        levels = [(t, LEVELS[row[column]]) for t, row in rows]
        pairs = [b for a, b in pairwise(levels) if a[1] != b[1]]
        view[name.strip()] = (levels[0][1], pairs)
    return view


@given(
    recordings(),
    st.sampled_from(",;\t|"),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.sampled_from(["s", "ns"]),
)
@settings(max_examples=150, deadline=None)
def test_what_the_csv_module_writes_is_read_back(
    tmp_path_factory: Any, recording: tuple[list[str], Rows], delimiter: str, quoting: int, unit: str
) -> None:
    names, rows = recording
    path = tmp_path_factory.mktemp("csv") / "table.csv"
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, delimiter=delimiter, quoting=quoting)  # type: ignore[arg-type]
        writer.writerow([f"Time [{unit}]", *names])
        for t, levels in rows:
            writer.writerow([f"{t // 10**9}.{t % 10**9:09d}" if unit == "s" else t, *levels])
    capture = read_capture(path)
    assert float(capture.tick) == 1e-9
    assert of_capture(capture) == expected(names, rows)


def test_what_pandas_writes_is_read_back(tmp_path: Path) -> None:
    """Floats as short as they go, exponents among them, and booleans as words."""
    rng = np.random.default_rng(11)
    ticks = np.cumsum(rng.integers(1, 5000, 3000))
    levels = rng.integers(0, 2, (3000, 4)).astype(bool)
    frame = pd.DataFrame(levels, columns=list("abcd"))
    frame.insert(0, "time_s", ticks / 1e9)
    frame.to_csv(tmp_path / "pandas.csv", index=False)
    capture = read_capture(tmp_path / "pandas.csv")
    for column, name in enumerate("abcd"):
        where = np.flatnonzero(np.diff(levels[:, column])) + 1
        scale = int(1 / capture.tick) // 10**9
        assert (np.round(capture.channel(name).ticks / scale) == ticks[where]).all()
        assert (capture.channel(name).levels == levels[where, column]).all()


def write_changes(capture: Capture, path: Path) -> None:
    """Write a row for each time at which anything changes."""
    times = np.unique(np.concatenate([c.ticks for c in capture.channels]))
    times = np.concatenate(([capture.start], times, [capture.end]))
    columns = {"Time [ns]": times * round(float(capture.tick) * 1e9)}
    for channel in capture.channels:
        levels = np.concatenate(([channel.initial], channel.levels))
        columns[channel.name] = levels[np.searchsorted(channel.ticks, times, "right")]
    pd.DataFrame(columns).drop_duplicates("Time [ns]").to_csv(path, index=False, sep=";")


def test_a_recording_gives_the_same_result_as_table_and_as_vcd(tmp_path: Path) -> None:
    original = CAPTURES / "marlow85-50-lost-lines.vcd.gz"
    capture = read_capture(original)
    write_changes(capture, tmp_path / "export.csv")
    results = [document(analyse_path(str(path))) for path in (original, tmp_path / "export.csv")]
    for result in results:
        del result["capture"]["path"], result["capture"]["sha256"]
        result["capture"].pop("notes", None)
    as_vcd, as_table = (json.dumps(result, sort_keys=True) for result in results)
    assert as_table == as_vcd
