"""Choosing a reader and reading whole captures."""

from __future__ import annotations

import gzip
import hashlib
from typing import TYPE_CHECKING

import pytest

from rastertap.capture.model import join
from rastertap.capture.read import open_blocks, read_capture
from rastertap.errors import CaptureError, PluginError

from .conftest import HEADER

if TYPE_CHECKING:
    from pathlib import Path

TEXT = HEADER + b"".join(b"#%d\n%d!\n" % (i * 10, i // 3 & 1) for i in range(3000))


class Watched:
    """Keeps what progress is told."""

    def __init__(self) -> None:
        self.total, self.done, self.finished = None, [], 0

    def start(self, what: str, total_bytes: int | None) -> None:
        self.what, self.total = what, total_bytes

    def advance(self, done_bytes: int) -> None:
        self.done.append(done_bytes)

    def finish(self) -> None:
        self.finished += 1


@pytest.mark.parametrize("name", ["capture.vcd", "capture.vcd.gz", "no_suffix"])
def test_the_fast_reader_is_chosen_by_content(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    stored = gzip.compress(TEXT) if name.endswith("gz") else TEXT
    path.write_bytes(stored)
    capture = read_capture(path)
    assert len(capture.channel("a").ticks) == 999
    assert capture.sha256 == hashlib.sha256(stored).hexdigest()
    assert capture.sample_period is not None
    assert capture.label == str(path)


def test_blocks_and_the_whole_agree(tmp_path: Path) -> None:
    path = tmp_path / "c.vcd"
    path.write_bytes(TEXT)
    joined = join(open_blocks(path, reader="vcd", options={"block_bytes": 4096}))
    whole = read_capture(path)
    assert joined.channel("a").ticks.tolist() == whole.channel("a").ticks.tolist()
    assert (joined.start, joined.end) == (whole.start, whole.end)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"PK\x03\x04rest", "zip archive"),
        (b"BZh91AY", "bzip2"),
        (b"\xfd7zXZ\0", "xz"),
        ("$var".encode("utf-16"), "UTF-16"),
        (b"\x00\x01\x02", "binary data"),
        (b"part,price\nram,3\n", "begins with 'part,price"),
    ],
)
def test_a_file_no_reader_knows_is_described(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "what"
    path.write_bytes(data)
    with pytest.raises(CaptureError) as caught:
        read_capture(path)
    assert says in caught.value.message
    assert "(vcd)" in caught.value.hint


def test_an_unknown_reader_is_an_error_that_lists_the_known(tmp_path: Path) -> None:
    path = tmp_path / "c.vcd"
    path.write_bytes(TEXT)
    with pytest.raises(PluginError, match="nonsense") as caught:
        read_capture(path, reader="nonsense")
    assert "vcdvcd" in caught.value.hint


def test_options_reach_the_named_reader(tmp_path: Path) -> None:
    path = tmp_path / "back.vcd"
    path.write_bytes(HEADER + b"#10 1! #5 0! #20 0!\n")
    with pytest.raises(CaptureError, match="goes back"):
        read_capture(path, reader="vcd")
    assert read_capture(path, reader="vcd", options={"time_back": "drop"}).end == 20


def test_progress_is_told_stored_bytes(tmp_path: Path) -> None:
    path = tmp_path / "c.vcd"
    path.write_bytes(TEXT)
    watched = Watched()
    read_capture(path, progress=watched, reader="vcd", options={"block_bytes": 8192})
    assert watched.total == len(TEXT)
    assert watched.done == sorted(watched.done)
    assert len(watched.done) > 2
    assert watched.done[-1] <= len(TEXT)
    assert watched.finished == 1


def test_the_text_limit_reaches_the_source(tmp_path: Path) -> None:
    path = tmp_path / "c.vcd.gz"
    path.write_bytes(gzip.compress(TEXT))
    with pytest.raises(CaptureError, match="unpacks to more than 1000 bytes"):
        read_capture(path, text_limit=1000)
