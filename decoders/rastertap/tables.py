"""Results as tables: pandas DataFrames whose column names end in their unit, and files of them.

A column's unit is in its name (``start_s`` is in seconds) and is written into the files: into the fields'
metadata of Parquet, and beside CSV as ``NAME.csv-metadata.json`` in the form of the W3C's "Metadata
Vocabulary for Tabular Data" (from memory).
"""

from __future__ import annotations

import json
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from rastertap.capture.model import Capture
    from rastertap.checks.interface import Finding
    from rastertap.frames.model import FrameNote
    from rastertap.streams.interface import Pin
    from rastertap.streams.model import Lines, Sync

UNITS = {"_s": "s", "_hz": "Hz", "_lines": "lines", "_pixels": "pixels", "_mv": "mV", "_ppm": "ppm"}
"""Unit of a column by the end of its name."""
LEVELS = ("0", "1", "x", "z")
Format = Literal["csv", "parquet"]


def unit_of(column: str) -> str:
    """Give the unit of a column; empty for one without (names, counts, parts)."""
    return next((unit for end, unit in UNITS.items() if column.endswith(end)), "")


def edges(capture: Capture, channels: Sequence[str] | None = None) -> pd.DataFrame:
    """Every change of every channel, in order of time: ``channel``, ``time_s``, ``level``.

    Parameters
    ----------
    capture : Capture
    channels : sequence of str, optional
        Only these.

    Raises
    ------
    UsageError
        When a channel is not in the capture.
    """
    import pandas as pd

    names = [c.name for c in capture.channels]
    wanted = list(names if channels is None else channels)
    if unknown := [n for n in wanted if n not in names]:
        raise UsageError(f"no channel is called {unknown[0]!r}", hint=f"there are: {', '.join(names)}")
    chosen = [capture.channel(name) for name in wanted]
    ticks = np.concatenate([c.ticks for c in chosen]) if chosen else np.empty(0, np.int64)
    which = np.repeat(np.arange(len(chosen)), [c.ticks.size for c in chosen])
    level = np.concatenate([c.levels for c in chosen]) if chosen else np.empty(0, np.uint8)
    order = np.argsort(ticks, kind="stable")
    return pd.DataFrame(
        {
            "channel": pd.Categorical.from_codes(which[order], categories=pd.Index(wanted)),
            "time_s": (ticks[order] - capture.start) * float(capture.tick),
            "level": pd.Categorical.from_codes(level[order], categories=pd.Index(LEVELS)),
        }
    )


def lines(found: Lines, sync: Sync, capture: Capture) -> pd.DataFrame:
    """Every scan line: ``start_s``, ``duration_s``, ``sync_width_s``, ``measured``, ``field``, ``line``.

    ``field`` counts from the first field that begins in the capture (-1 before it), ``line`` from its first
    line; widths and durations that were not measured are NaN.
    """
    import pandas as pd

    tick = float(capture.tick)
    begins = np.searchsorted(found.starts, sync.fields.starts - sync.line_period.value / 4)
    index = np.arange(found.starts.size)
    field = np.searchsorted(begins, index, side="right") - 1
    first = begins[np.clip(field, 0, None)] if begins.size else np.zeros(index.size, np.int64)
    return pd.DataFrame(
        {
            "start_s": (found.starts - capture.start) * tick,
            "duration_s": np.append(np.diff(found.starts) * tick, np.nan)[: found.starts.size],
            "sync_width_s": np.where(found.measured, found.widths * tick, np.nan),
            "measured": found.measured,
            "field": field,
            "line": np.where(field >= 0, index - first, index),
        }
    )


def fields(notes: Sequence[FrameNote], sync: Sync, capture: Capture) -> pd.DataFrame:
    """Every field, cut ones included, and what was rebuilt of it.

    ``kind``, ``complete``, ``start_s``, ``duration_s``, ``length_lines``, ``sync_width_s``, ``width_pixels``
    and ``height_lines`` of the active area, ``unsure`` (number of pixels).
    """
    import pandas as pd

    tick = float(capture.tick)
    known = {int(s): i for i, s in enumerate(sync.fields.starts)}
    durations = np.append(np.diff(sync.fields.starts) * tick, np.nan)
    rows = []
    for note in notes:
        if note.field == "woven":
            continue
        at = known.get(note.start)
        width = 0 if at is None else int(sync.fields.widths[at])
        rows.append(
            {
                "kind": note.field,
                "complete": note.complete,
                "start_s": capture.seconds(note.start),
                "duration_s": np.nan if at is None else float(durations[at]),
                "length_lines": np.nan if at is None else float(sync.fields.lines[at]),
                "sync_width_s": width * tick if width else np.nan,
                "width_pixels": note.area.width if note.area else 0,
                "height_lines": note.area.height if note.area else 0,
                "unsure": note.unsure,
            }
        )
    return pd.DataFrame(rows)


def findings(found: Sequence[Finding]) -> pd.DataFrame:
    """Every finding: ``id``, ``result``, ``measured`` and ``uncertainty`` in ``unit``, ``limit`` ...

    ``measured`` is NaN where a finding has words instead, which are in ``said``; ``at_s`` is a list of times.
    """
    import pandas as pd

    def number(value: object) -> float:
        return float(value) if isinstance(value, (int, float, np.number)) else np.nan

    return pd.DataFrame(
        [
            {
                "id": f.id,
                "result": f.result,
                "measured": number(f.measured),
                "said": f.measured if isinstance(f.measured, str) else "",
                "uncertainty": number(f.uncertainty),
                "unit": f.unit,
                "limit": f.limit,
                "source": f.source,
                "text": f.text,
                "at_s": list(f.at_s),
            }
            for f in found
        ]
    )


def pins(found: Sequence[Pin]) -> pd.DataFrame:
    """Every channel and what it carries: ``channel``, ``role``, ``bit``, ``polarity``, ``score``, ``why``."""
    import pandas as pd

    return pd.DataFrame(
        {
            "channel": [p.channel for p in found],
            "role": [p.role for p in found],
            "bit": pd.array([p.bit for p in found], dtype="Int64"),
            "polarity": [p.polarity or "" for p in found],
            "score": [p.score for p in found],
            "why": ["; ".join(p.why) for p in found],
        }
    )


def save(
    tables: Mapping[str, pd.DataFrame], folder: Path, form: Format, about: Mapping[str, str]
) -> list[Path]:
    """Write tables into a folder, each with its units.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        By the name that the file gets.
    folder : Path
        Made when it is not there.
    form : "csv" or "parquet"
        Parquet needs the extra ``rastertap[parquet]``.
    about : mapping of str to str
        Where it all comes from.

    Raises
    ------
    UsageError
        For another format, or without pyarrow; gives the install command.
    """
    if form not in {"csv", "parquet"}:
        raise UsageError(f"tables can be written as csv or parquet, not {form!r}")
    folder.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    for name, table in tables.items():
        path = folder / f"{name}.{form}"
        (_save_csv if form == "csv" else _save_parquet)(path, table, about)
        made.append(path)
    return made


def _save_csv(path: Path, table: pd.DataFrame, about: Mapping[str, str]) -> None:
    flat = table.copy()
    for column in flat.columns:
        if flat[column].map(lambda v: isinstance(v, list)).any():
            flat[column] = flat[column].map(lambda v: " ".join(f"{t:.9g}" for t in v))
    flat.to_csv(path, index=False)
    columns = []
    for column in table.columns:
        described: dict[str, Any] = {"name": column, "titles": column}
        if unit := unit_of(column):
            described["schema:unitText"] = unit
        columns.append(described)
    told = {
        "@context": ["http://www.w3.org/ns/csvw", {"schema": "http://schema.org/"}],
        "url": path.name,
        "tableSchema": {"columns": columns},
        "notes": [dict(about)],
    }
    path.with_name(f"{path.name}-metadata.json").write_text(
        json.dumps(told, indent=1) + "\n", encoding="utf-8"
    )


def _save_parquet(path: Path, table: pd.DataFrame, about: Mapping[str, str]) -> None:
    try:
        pa: Any = import_module("pyarrow")  # an extra, without types
        pq: Any = import_module("pyarrow.parquet")
    except ImportError:
        raise UsageError("Parquet needs pyarrow", hint="pip install 'rastertap[parquet]'") from None
    made = pa.Table.from_pandas(table, preserve_index=False)
    described = [f.with_metadata({"unit": unit_of(f.name)}) if unit_of(f.name) else f for f in made.schema]
    metadata = {**(made.schema.metadata or {}), **{k.encode(): v.encode() for k, v in about.items()}}
    pq.write_table(made.cast(pa.schema(described, metadata=metadata)), path)
