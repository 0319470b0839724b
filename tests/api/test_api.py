"""The public interface, and the tables and files it gives, against the bench's truth and other readers."""

from __future__ import annotations

import csv
import doctest
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
from PIL import Image

import rastertap
import rastertap.api
from rastertap.analyse import Request, analyse
from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.card import card_for
from rastertap.bench.machines import MACHINES
from rastertap.bench.make import make_capture

if TYPE_CHECKING:
    from rastertap import Result

ROOT = Path(__file__).parents[2]
CAPTURES = ROOT / "captures"


@pytest.fixture(scope="module")
def result() -> Result:
    return rastertap.check(CAPTURES / "marlow85-50.vcd.gz", board=CAPTURES / "marlow85-50.toml")


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((CAPTURES / "marlow85-50.truth.json").read_text())
    return found


def test_the_documented_examples_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    done = doctest.testmod(rastertap.api)
    assert done.attempted >= 12
    assert done.failed == 0


def test_importing_the_package_imports_nothing_slow() -> None:
    slow = ["typing", "numpy", "pandas", "numba", "pydantic", "PIL", "scipy", "click"]
    code = "import sys; before = set(sys.modules); import rastertap; new = set(sys.modules) - before; "
    code += f"print(sorted(new & set({slow})))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_public_name_is_there_and_no_other() -> None:
    assert set(rastertap.__all__) <= set(dir(rastertap))
    for name in rastertap.__all__:
        assert getattr(rastertap, name).__doc__
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        rastertap.nonsense  # noqa: B018 - the look-up is the test


def test_edges_are_those_that_another_parser_reads() -> None:
    capture = rastertap.read(CAPTURES / "marlow85-50.vcd.gz", end_s=0.0005)
    table = rastertap.edges(capture, ["D1", "D7"])
    assert list(table.columns) == ["channel", "time_s", "level"]
    assert table.time_s.is_monotonic_increasing
    import gzip

    # The lines of the file itself: `#time` and `<level><code>`, the codes from its header.
    codes, expected, now = {}, [], 0
    with gzip.open(CAPTURES / "marlow85-50.vcd.gz", "rt") as file:
        body = False
        for line in file:
            words = line.split()
            if words[:1] == ["$var"]:
                codes[words[3]] = words[4]
            elif words[:1] == ["$dumpvars"]:
                body = False
            elif line.startswith("#"):
                now, body = int(line[1:]), True
                if now > 500_000:
                    break
            elif body and now and words and codes.get(words[0][1:]) in {"D1", "D7"}:
                expected.append((codes[words[0][1:]], now, words[0][0]))
    found = [(c, round(t * 1e9), v) for c, t, v in table.itertuples(index=False)]
    assert sorted(found) == sorted(expected)
    assert len(found) > 20


def test_an_unknown_channel_is_an_error_that_lists_those_there() -> None:
    capture = rastertap.read(CAPTURES / "marlow85-50.vcd.gz", end_s=0.0005)
    with pytest.raises(rastertap.UsageError, match="no channel is called 'D99'"):
        rastertap.edges(capture, ["D99"])


def test_lines_are_the_sources(result: Result, truth: dict[str, Any]) -> None:
    lines, source = result.lines, truth["source"]
    assert lines.duration_s.dropna().median() == pytest.approx(
        1 / float(eval_fraction(source["line_rate_hz"])), rel=1e-4
    )
    assert lines.sync_width_s.dropna().median() == pytest.approx(source["hsync"]["width_s"], abs=10e-9)
    assert lines.start_s.iloc[0] == pytest.approx(truth["first_hsync_s"], abs=20e-9)
    assert (lines[lines.field == 0].line.to_numpy() == np.arange(312)).all()


def eval_fraction(text: str) -> float:
    top, _, bottom = text.partition("/")
    return int(top) / int(bottom or 1)


def test_fields_are_the_sources(result: Result, truth: dict[str, Any]) -> None:
    fields = result.fields
    whole = fields[fields.complete]
    starts = [f["vsync_s"] for f in truth["fields"] if f["vsync_s"] is not None]
    assert whole.start_s.to_numpy() == pytest.approx(starts[: len(whole)], abs=1e-6)
    assert (whole.length_lines == 312).all()
    assert (whole.width_pixels == truth["active"]["width"]).all()
    assert (whole.height_lines == truth["active"]["height"]).all()


def test_frames_are_the_pictures_of_the_truth(result: Result) -> None:
    picture = np.load(CAPTURES / "marlow85-50.pictures.npy")[0]
    for frame in result.frames:
        if frame.frame.complete:
            assert (frame.codes == picture).all()
            with Image.open(io.BytesIO(frame._repr_png_())) as image:
                assert (np.asarray(image.convert("RGB"))[::2, ::2] == frame.rgb).all()


def test_a_notebook_shows_verdict_picture_and_findings(result: Result) -> None:
    html = result._repr_html_()
    assert "after_the_pins" in html
    assert "data:image/png;base64," in html
    assert "clock.frequency" in html


def test_hostile_names_do_not_reach_a_notebook_as_markup(tmp_path: Path) -> None:
    text = (
        "$timescale 1 ns $end\n$var wire 1 ! <script>alert(1)</script> $end\n$enddefinitions $end\n"
        + "".join(f"#{i * 50}\n{i % 2}!\n" for i in range(2000))
    )
    path = tmp_path / "a.vcd"
    path.write_text(text)
    assert "<script>" not in rastertap.check(path)._repr_html_()


def test_findings_are_the_documents(result: Result) -> None:
    told = result.as_dict()["findings"]
    assert result.findings.id.tolist() == [f["id"] for f in told]
    assert result.findings.result.tolist() == [f["result"] for f in told]


def test_csv_holds_the_table_and_its_units(result: Result, tmp_path: Path) -> None:
    paths = result.save_tables(tmp_path / "new" / "folder")
    assert [p.name for p in paths] == ["pins.csv", "findings.csv", "lines.csv", "fields.csv"]
    with (tmp_path / "new/folder/lines.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(result.lines)
    assert [float(r["start_s"]) for r in rows] == pytest.approx(result.lines.start_s.to_numpy(), rel=1e-12)
    told = json.loads((tmp_path / "new/folder/lines.csv-metadata.json").read_text())
    units = {c["name"]: c.get("schema:unitText") for c in told["tableSchema"]["columns"]}
    assert (units["start_s"], units["sync_width_s"], units["line"]) == ("s", "s", None)
    assert told["notes"][0]["Source"] == "marlow85-50.vcd.gz"


def test_parquet_holds_the_table_and_its_units(result: Result, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="needs the extra rastertap[parquet]")
    result.save_tables(tmp_path, "parquet")
    read = parquet.read_table(tmp_path / "fields.parquet")
    pd.testing.assert_frame_equal(read.to_pandas(), result.fields, check_dtype=False)
    assert read.schema.field("start_s").metadata == {b"unit": b"s"}
    assert read.schema.field("length_lines").metadata == {b"unit": b"lines"}
    assert len(read.schema.metadata[b"Source SHA-256"]) == 64
    assert parquet.read_table(tmp_path / "findings.parquet").num_rows == len(result.findings)


def test_another_format_is_refused(result: Result, tmp_path: Path) -> None:
    with pytest.raises(rastertap.UsageError, match="csv or parquet"):
        result.save_tables(tmp_path, "xlsx")  # type: ignore[arg-type]


def test_a_long_capture_gives_every_frame_and_line_once(tmp_path: Path) -> None:
    from dataclasses import replace

    source = MACHINES["marlow85-50"].source
    path = tmp_path / "long.vcd"
    made = make_capture(source, replace(Analyser(plug(source)), fields=13.2), (), card_for(source), seed=4)
    made.write_vcd(path)
    long = rastertap.check(path)
    whole = analyse(rastertap.read(path), Request())
    assert whole.evidence.sync is not None
    assert len(long.lines) == whole.evidence.sync.lines.starts.size
    assert long.lines.duration_s.dropna().to_numpy() == pytest.approx(64e-6, abs=0.05e-6)
    assert [f.frame.index for f in long.frames] == list(range(len(long.frames)))
    assert len(long.frames) == len(long.fields) >= 13
    brief = rastertap.check(path, keep_all=False)
    assert len(brief.frames) < len(long.frames)
    with pytest.raises(rastertap.UsageError, match="not kept"):
        _ = brief.lines


@pytest.mark.parametrize(
    ("kind", "arguments"),
    [
        (rastertap.CaptureError, {"path": "nowhere.vcd"}),
        (rastertap.BoardError, {"path": CAPTURES / "marlow85-50.vcd.gz", "board": "nowhere.toml"}),
        (rastertap.UsageError, {"path": CAPTURES / "marlow85-50.vcd.gz", "limits": "none"}),
        (rastertap.UsageError, {"path": CAPTURES / "marlow85-50.vcd.gz", "options": {"frames": {"x": 1}}}),
    ],
)
def test_what_is_wrong_raises_the_kind_it_is(kind: type[Exception], arguments: dict[str, Any]) -> None:
    with pytest.raises(kind):
        rastertap.check(arguments.pop("path"), **arguments)
