"""Tables of samples in the shapes that programs write them in, and the errors of those that are wrong."""

from __future__ import annotations

import gzip
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest

from rastertap.capture.csv_reader import CsvReader
from rastertap.capture.interface import Window
from rastertap.capture.model import FLOATING, UNKNOWN, Capture, join
from rastertap.capture.read import is_capture, read_capture, read_pieces
from rastertap.capture.source import Source
from rastertap.errors import CaptureError, UsageError
from rastertap.progress import Silent

from .conftest import changes

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Table = Callable[..., Capture]

NS, US = Fraction(1, 10**9), Fraction(1, 10**6)
ROWS = [(0, "01"), (25, "11"), (50, "01"), (75, "01"), (100, "10")]
"""Ticks and levels of two channels; in the fourth row nothing changes."""
FIRST = (0, [(25, 1), (50, 0), (100, 1)])
SECOND = (1, [(100, 0)])


@pytest.fixture
def table(tmp_path: Path) -> Table:
    """Write text to a file and read it with the CSV reader."""

    def read(text: str | bytes, *, window: Window | None = None, **options: Any) -> Capture:
        path = tmp_path / "table.txt"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        with Source(path) as source:
            return join(CsvReader(**options).blocks(source, window=window or Window(), progress=Silent()))

    return read


def rows(form: str, *, sep: str = ",", ends: str = "\n") -> str:
    """The rows of `ROWS`, with their times written by ``form``."""
    return "".join(sep.join([form.format(t=t), *levels]) + ends for t, levels in ROWS)


@pytest.mark.parametrize(
    ("text", "tick"),
    [
        ("Time [us],a,b\n" + rows("{t}"), US),
        ("time_ns,a,b\n" + rows("{t}"), NS),
        ("Time (ms),a,b\n" + rows("{t}"), Fraction(1, 1000)),
        ("t/ps,a,b\n" + rows("{t}"), Fraction(1, 10**12)),
        ("Zeit [\u00b5s],a,b\n" + rows("{t}"), US),
        ("temps (ns);a;b\n" + rows("{t}", sep=";"), NS),
        ("Time [\u00b5s],a,b\n" + rows("{t}"), US),
        ("Time [\u03bcs],a,b\n" + rows("{t}"), US),
        ("Seconds,a,b\n" + rows("0.{t:09d}"), NS),
        ("Time,a,b\n" + rows("0.{t:09d}"), NS),
        ("Time[s],a,b\n" + rows("0.{t:06d}"), US),
        ("Time [ms],a,b\n" + rows("0.{t:03d}"), US),
        ("time_us,a,b\n" + rows("{t}", sep=" , "), US),
        ("time_us;a;b\n" + rows("{t}", sep=";"), US),
        ("Time [ms];a;b\n" + rows("0,{t:03d}", sep=";"), US),
        ("time_us\ta\tb\n" + rows("{t}", sep="\t"), US),
        ("time_us|a|b\n" + rows("{t}", sep="|"), US),
        ("time_us a b\n" + rows("{t}", sep=" "), US),
        ("  Time [us]   a  b\n" + rows("  {t}", sep="   "), US),
        ("time_us a b\n" + rows("{t}", sep=" \t "), US),
        ('"Time [us]","a","b"\r\n' + rows('"{t}"', sep=",", ends="\r\n"), US),
        ("\ufefftime_us,a,b\r\n" + rows("{t}", ends="\r\n"), US),
        ("time_us,a,b\r" + rows("{t}", ends="\r"), US),
        ("time_us,a,b,\n" + rows("{t}", ends=",\n"), US),
        ("time_us,a,b\n" + rows("{t}", ends=",\n"), US),
        ("# time_us,a,b\n" + rows("{t}"), US),
        ("% made on a Monday\n# 24 MS/s\ntime_us,a,b\n\n" + rows("{t}", ends="\n# and so on\n"), US),
        ("// exported\n; twice\ntime_us,a,b\n" + rows("{t}"), US),
        ("Capture of a board\nDate: Monday\n\ntime_us,a,b\n" + rows("{t}"), US),
        ("# Sample rate: 1 MHz\nSample,a,b\n" + rows("{t}"), US),
        ("; rate 1 MS/s\nn,a,b\n" + rows("{t}"), US),
        ("Sample (at 1 MHz),a,b\n" + rows("{t}"), US),
        ("# sample period: 1 us\nindex,a,b\n" + rows("{t}"), US),
        ("# samplerate = 1000000\nindex,a,b\n" + rows("{t}"), Fraction(1, 10**6)),
        ("Time [s],a,b\n" + rows("{t}e-6"), US),
        ("Time [s],a,b\n" + rows("{t}.0E-06"), US / 10),
        ("a,Time [us],b\n" + "".join(f"{v[0]},{t},{v[1]}\n" for t, v in ROWS), US),
        ("a,b,Sample,Time [us]\n" + "".join(f"{v[0]},{v[1]},{i},{t}\n" for i, (t, v) in enumerate(ROWS)), US),
    ],
)
def test_every_shape_of_table_gives_the_same_changes(table: Table, text: str, tick: Fraction) -> None:
    capture = table(text)
    scale = {US / 10: 10}.get(capture.tick, 1)
    assert capture.tick == tick
    assert (capture.start, capture.end) == (0, 100 * scale)
    for name, (initial, pairs) in (("a", FIRST), ("b", SECOND)):
        assert changes(capture, name) == (initial, [(t * scale, level) for t, level in pairs])
    assert capture.truncated == ""


def test_without_names_the_channels_are_numbered(table: Table) -> None:
    capture = table(rows("0.{t:06d}"))
    assert [c.name for c in capture.channels] == ["D0", "D1"]
    assert changes(capture, "D0") == FIRST
    assert any("no names" in note for note in capture.notes)


def test_a_rate_can_be_given_for_sample_numbers(table: Table) -> None:
    capture = table(rows("{t}"), rate="24 MS/s")
    assert capture.tick == Fraction(1, 24_000_000)
    assert changes(capture, "D0") == FIRST
    assert capture.sample_period is not None
    assert (capture.sample_period.ticks, capture.sample_period.uncertainty_ticks) == (1, 0)


def test_a_unit_can_be_given_for_times(table: Table) -> None:
    assert table(rows("{t}"), unit="ns").tick == NS
    assert table("t,a,b\n" + rows("{t}.5"), unit="us").tick == US / 10


def test_rows_without_times_are_samples(table: Table) -> None:
    capture = table("# 2 MHz\na,b\n0,1\n1,1\n0,1\n0,1\n1,0\n")
    assert capture.tick == US / 2
    assert changes(capture, "a") == (0, [(1, 1), (2, 0), (4, 1)])
    assert changes(capture, "b") == (1, [(4, 0)])


def test_the_tick_is_the_finest_decimal_place_and_no_finer_than_a_femtosecond(table: Table) -> None:
    capture = table("Time [s],a\n0,0\n1.5e-3,1\n0.0025000001,0\n")
    assert capture.tick == Fraction(1, 10**10)
    assert changes(capture, "a") == (0, [(15_000_000, 1), (25_000_001, 0)])
    capture = table("Time [s],a\n0.1,0\n0.30000000000000004,1\n1.000000000000000056e+00,0\n")
    assert capture.tick == Fraction(1, 10**15)
    assert changes(capture, "a") == (0, [(3 * 10**14, 1), (10**15, 0)])


def test_later_times_with_more_decimals_are_rounded_and_said(table: Table) -> None:
    text = "time_us,a\n" + "".join(f"{t},{t % 2}\n" for t in range(2000)) + "2000.6,0\n2002.4,1\n2003.5,0\n"
    capture = table(text, block_bytes=4096)
    assert capture.tick == US
    assert changes(capture, "a")[1][-2:] == [(2002, 1), (2004, 0)]
    assert any(note.startswith("3 times have more decimals") for note in capture.notes)


def test_levels_have_many_names(table: Table) -> None:
    words = [
        "0",
        "1",
        "x",
        "HIGH",
        "low",
        "True",
        "false",
        "z",
        "",
        "1.0",
        "0.000e+00",
        '"1"',
        "on",
        "OFF",
        "1e0",
    ]
    levels = [0, 1, UNKNOWN, 1, 0, 1, 0, FLOATING, UNKNOWN, 1, 0, 1, 1, 0, 1]
    text = "time_us,a,b\n" + "".join(f"{t},{word},0\n" for t, word in enumerate(words))
    capture = table(text)
    found = dict([(0, 0), *changes(capture, "a")[1]])
    held = levels[0]
    for t, level in enumerate(levels):
        assert (t in found) == (t == 0 or level != held)
        held = found.get(t, held)
        assert held == level


def test_names_may_hold_delimiters_quotes_and_other_alphabets(table: Table) -> None:
    text = 'time_us,"a, the first","say ""b""",\u03c6\n0,0,1,0\n1,1,0,1\n'
    names = ["a, the first", 'say "b"', "\u03c6"]
    assert [c.name for c in table(text).channels] == names
    assert [c.name for c in table("time_us,\xe9\n0,0\n1,1\n".encode("latin-1")).channels] == ["\xe9"]


def test_columns_without_levels_are_listed(table: Table) -> None:
    capture = table("time_us,a,volts,remark\n0,0,3.31,\n1,1,0.02,ringing\n2,0,3.29,none\n")
    assert [c.name for c in capture.channels] == ["a"]
    assert capture.ignored == ("volts (no levels)", "remark (no levels)")


def test_a_time_may_be_negative(table: Table) -> None:
    capture = table("time_us,a\n-20,0\n-10,1\n0,0\n15,1\n", window=Window(0, 31e-6))
    assert (capture.start, capture.end) == (-20, 11)
    assert changes(capture, "a") == (0, [(-10, 1), (0, 0)])
    assert changes(table("time_us,a\n-0.6,0\n-0.25,1\n0.25,0\n"), "a") == (0, [(-25, 1), (25, 0)])


def test_rows_at_one_time_leave_the_last_level(table: Table) -> None:
    text = "time_us,a,b\n0,0,0\n0,1,0\n5,0,0\n5,1,1\n5,0,1\n7,1,0\n7,0,0\n8,1,1\n8,0,0\n9,0,0\n"
    capture = table(text)
    assert changes(capture, "a") == (1, [(5, 0)])
    assert changes(capture, "b") == (0, [(5, 1), (7, 0)])
    assert any(note.startswith("5 rows have the time of the row before") for note in capture.notes)


@pytest.mark.parametrize("size", [4096, 4099, 5000, 1 << 16])
def test_blocks_join_to_the_whole_wherever_they_are_cut(table: Table, size: int) -> None:
    lines, expected, level, now = ["time_ns,a,b"], [], 0, 0
    for i in range(3000):
        now += (0, 3, 0, 0, 11)[i % 5]  # runs of rows at one time, which cuts fall into
        level = (i * i // 3) % 2
        lines.append(f"{now},{level},{i % 7 == 0:d}")
        expected.append((now, level))
    last = dict(expected)
    whole = table("\n".join(lines) + "\n", block_bytes=size)
    held, pairs = last[0], []
    for t, v in last.items():
        if v != held:
            pairs.append((t, v))
            held = v
    assert changes(whole, "a") == (last[0], pairs)
    part = table("\n".join(lines) + "\n", block_bytes=size, window=Window(1000e-9, 4000e-9))
    assert (part.start, part.end) == (1000, 4000)
    assert changes(part, "a")[1] == [(t, v) for t, v in pairs if 1000 < t <= 4000]


def test_the_step_is_known_where_rows_are_samples(table: Table) -> None:
    text = "".join(f"{round(i * 1000 / 24)},{i // 50 % 2}\n" for i in range(1200))
    period = table("time_ns,a\n" + text).sample_period
    assert period is not None
    assert period.known
    assert abs(period.ticks - 1000 / 24) < 3 * period.uncertainty_ticks < 0.01
    only_changes = "".join(f"{i * 500},{i % 2}\n" for i in range(100))
    assert table("time_ns,a\n" + only_changes).sample_period is None


@pytest.mark.parametrize(
    ("text", "truncated"),
    [
        ("time_us,a,b\n0,0,0\n1,1,1\n2,0", "the file ends inside '2,0', after byte 27 of the text"),
        ("time_us,a,b\n0,0,0\n1,1,1\n2,0,", "the file ends inside '2,0,'"),
        ("time_us,a,b\n0,0,0\n1,1,1\n2", "the file ends inside '2'"),
        ("a,b,time_us\n0,0,0\n1,1,1\n0,0,2", "the file ends inside '0,0,2'"),
    ],
)
def test_a_file_cut_in_a_row_is_read_up_to_the_cut(table: Table, text: str, truncated: str) -> None:
    capture = table(text)
    assert truncated in capture.truncated
    assert changes(capture, "a") == (0, [(1, 1)])


def test_a_last_row_without_a_line_end_counts_when_it_is_whole(table: Table) -> None:
    assert changes(table("time_us,a,b\n0,0,0\n1,1,1\n2,0,0"), "a") == (0, [(1, 1), (2, 0)])
    assert table("0.25,0,1").tick == Fraction(1, 100)


def test_a_table_in_cut_gzip_is_read_up_to_the_cut(tmp_path: Path) -> None:
    text = "time_us,a\n" + "".join(f"{t},{(t * t // 7) % 2}\n" for t in range(20_000))
    stored = gzip.compress(text.encode())
    (tmp_path / "cut.csv.gz").write_bytes(stored[: len(stored) // 2])
    capture = read_capture(tmp_path / "cut.csv.gz")
    assert capture.truncated.startswith("the gzip data ends early, after byte ")
    assert 0 < capture.end < 20_000


@pytest.mark.parametrize(
    ("text", "says", "place"),
    [
        ("time_us,a,b\n0,0,0\n1,1\n2,0,0\n", "this row has 2 columns, the first one 3", (3, 1, 18)),
        ("time_us,a,b\n0,0,0\n1,1,1,1\n2,0,0\n", "this row has 4 columns, the first one 3", (3, 1, 18)),
        ("time_us a b\n0 0 0\n1 1\n2 0 0\n", "this row has 2 columns, the first one 3", (3, 1, 18)),
        ("time_us,a,b,c\n0,0,0\n1,1,1\n", "the heading has 4 columns, the first row 3", (2, 1, 14)),
        ("time_us,a,b\n0,0,0\nlater,1,1\n2,0,0\n", "'later' is no time", (3, 1, 18)),
        ("time_us,a,b\n0,0,0\n,1,1\n2,0,0\n", "'' is no time", (3, 1, 18)),
        ("time_us,a,b\n0,0,0\n1.2.3,1,1\n2,0,0\n", "'1.2.3' is no time", (3, 1, 18)),
        ("time_us,a,b\n0,0,0\n1e,1,1\n2,0,0\n", "'1e' is no time", (3, 1, 18)),
        ("time_us,a,b\n0,0,0\nnan,1,1\n2,0,0\n", "'nan' is no time", (3, 1, 18)),
        ("time_us,a,b\n0,0,0\n5,1,1\n2.5,0,0\n", "time goes back from 5 to '2.5'", (4, 1, 24)),
        ("time_us,a,b\n0,0,0\n1,2,1\n2,0,0\n", "'2' in column 'a' is no level", (3, 3, 20)),
        ("time_us,a,b\n0,0,0\n1,1,0x1\n2,0,0\n", "'0x1' in column 'b' is no level", (3, 5, 22)),
        ('time_us,a,b\n0,0,0\n1,"1"0,1\n2,0,0\n', "'0' follows a closing quote", (3, 6, 23)),
        ("time_s,a,b\n0,0,0\n1e19,1,1\n", "time '1e19' does not fit in 64 bits", (3, 1, 17)),
        ("time_s,a,b\n0,0,0\n99999999999999999999,1,1\n", "does not fit in 64 bits", (3, 1, 17)),
        ("# 1 MHz\nsample,a\n0,0\n1.5,1\n", "sample number '1.5' is not whole", (4, 1, 21)),
        ("sample,a,b\n0,0,0\n1,1,1\n", "the sample numbers have no sampling rate", (2, 1, 11)),
        ("time,a,b\n0,0,0\n1,1,1\n", "the times have no unit", (2, 1, 9)),
        ("0,0,0\n1,1,1\n2,0,0\n", "the times have no unit", (1, 1, 0)),
        ("# 1 MHz or 2 MHz\nn,a\n0,0\n1,1\n", "no sampling rate (the file states several)", (3, 1, 21)),
        ("time_us,a,a\n0,0,0\n1,1,1\n", "two columns are called 'a'", (2, 1, 12)),
        ("when,what\nMonday,nothing\n", "no row with a time and levels", (1, 1, 0)),
        ("", "no row with a time and levels", (1, 1, 0)),
        ("time_us,a,b\n", "no row with a time and levels", (1, 1, 0)),
        ("time_us,a\n0,0\n" + "1,1" * 4000, "a line of more than 4096 bytes", (3, 1, 14)),
    ],
)
def test_a_wrong_table_is_refused_with_its_place(
    table: Table, text: str, says: str, place: tuple[int, int, int]
) -> None:
    with pytest.raises(CaptureError) as caught:
        table(text, block_bytes=4096)
    error = caught.value
    assert says in error.message
    assert (error.line, error.column, error.byte) == place
    assert error.hint


def test_a_wrong_row_far_down_has_its_place(table: Table) -> None:
    text = "time_us,a\n" + "".join(f"{t},{t % 2}\n" for t in range(5000)) + "oops,0\n"
    with pytest.raises(CaptureError) as caught:
        table(text, block_bytes=4096)
    assert (caught.value.line, caught.value.column, caught.value.byte) == (5002, 1, len(text) - 7)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"rate": "fast"}, "'fast' is no sampling rate"),
        ({"rate": "0"}, "'0' is no sampling rate"),
        ({"rate": "100m"}, "'100m' is no sampling rate"),
        ({"unit": "weeks"}, "'weeks' is no unit of time"),
        ({"rate": "1M", "unit": "us"}, "give one of them"),
        ({"block_bytes": 3}, "at least 4096"),
    ],
)
def test_a_wrong_option_is_refused(tmp_path: Path, options: dict[str, Any], says: str) -> None:
    (tmp_path / "a.csv").write_text("0,0\n1,1\n")
    with pytest.raises(UsageError, match=says):
        read_capture(tmp_path / "a.csv", reader="csv", options=options)


def test_a_window_after_the_end_is_refused(table: Table) -> None:
    with pytest.raises(UsageError, match="after the end"):
        table("time_us,a\n0,0\n5,1\n", window=Window(1.0))


@pytest.mark.parametrize(
    "content",
    [
        b"$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n",
        b"#0\n0!\n#1\n1!\n",
        b"name,price\napples,3\npears,4\n",
        b"the quick brown fox\njumps over 1 0 dogs\n",
        b'{"a": 1,\n"b": 0}\n',
        b'schema = "rastertap.board/1"\nx = 1\n',
        b"\x89PNG\r\n\x1a\n\0\0",
        b"12 34 56\n78 90 12\n",
        b"",
    ],
)
def test_other_files_are_not_claimed(content: bytes) -> None:
    assert CsvReader().match(content, "x.csv").score < 0.3


def test_a_table_is_known_by_its_content_whatever_its_name(tmp_path: Path) -> None:
    path = tmp_path / "export"
    path.write_text("time_us;a\n0;0\n1;1\n")
    assert is_capture(path)
    assert read_capture(path).end == 1
    (tmp_path / "mostly.csv").write_text("remarks\n" * 50 + "0.1,0\n" + "end of it, all of it\n" * 50)
    assert not is_capture(tmp_path / "mostly.csv")


def test_a_table_that_never_ends_is_read_in_bounded_memory(tmp_path: Path) -> None:
    """Pieces of a long table have what a known step and a hash belong to."""
    path = tmp_path / "long.csv"
    with path.open("w") as out:
        out.write("# 1 MHz\nsample,a,b\n")
        out.writelines(f"{i},{i // 64 % 2},{i // 312 % 2}\n" for i in range(600_000))
    found = list(read_pieces(path, reader="csv", options={"block_bytes": 1 << 18}))
    assert len(found) > 2
    assert all(piece.capture.sample_period == found[0].capture.sample_period for piece in found)
    assert found[-1].capture.sha256
    assert found[-1].capture.end == 599_999


def test_a_first_column_that_stays_is_a_channel_and_no_time(tmp_path: Path) -> None:
    path = tmp_path / "samples.csv"
    path.write_text("CH0,CH1\n" + "1,0\n" * 3000 + "0,1\n" * 3000)
    capture = read_capture(path, reader="csv", options={"rate": "50M"})
    assert [(c.name, c.initial, c.ticks.tolist()) for c in capture.channels] == [
        ("CH0", 1, [3000]),
        ("CH1", 0, [3000]),
    ]
    with pytest.raises(CaptureError, match="neither times nor a sampling rate"):
        read_capture(path)
