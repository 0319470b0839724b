"""Bytes from files and pipes, compressed or not, whole or damaged."""

from __future__ import annotations

import builtins
import gzip
import hashlib
import os
import threading
import zlib
from contextlib import suppress
from pathlib import Path
from typing import Any, Never

import numpy as np
import pytest
import zstandard

from rastertap.capture.source import HEAD_BYTES, Source
from rastertap.errors import CaptureError

from .conftest import HEADER, read_file

DATA = np.random.default_rng(1).integers(48, 58, 300_000, dtype=np.uint8).tobytes()


def text_of(path: Path, piece: int = 100_000, **options: Any) -> tuple[bytes, Source]:
    out = bytearray()
    view = memoryview(bytearray(piece))
    with Source(path, **options) as source:
        while got := source.readinto(view):
            out += view[:got]
    return bytes(out), source


PACKINGS = {
    "plain": lambda data: data,
    "gzip": gzip.compress,
    "gzip members": lambda data: gzip.compress(data[:1000]) + gzip.compress(b"") + gzip.compress(data[1000:]),
    "gzip padded": lambda data: gzip.compress(data) + b"\0" * 512,
    "zstd": zstandard.compress,
    "zstd frames": lambda data: zstandard.compress(data[:1000]) + zstandard.compress(data[1000:]),
}


@pytest.mark.parametrize("packing", PACKINGS)
@pytest.mark.parametrize("size", [0, 1, 1000, HEAD_BYTES, len(DATA)])
@pytest.mark.parametrize("piece", [999, HEAD_BYTES, 1 << 20])
def test_the_text_comes_whole_whatever_the_packing(
    tmp_path: Path, packing: str, size: int, piece: int
) -> None:
    path = tmp_path / "data"
    stored = PACKINGS[packing](DATA[:size])
    path.write_bytes(stored)
    text, source = text_of(path, piece)
    assert text == DATA[:size]
    assert source.cut == ""
    assert source.size == len(stored) == source.consumed


def test_looking_at_the_head_consumes_nothing(tmp_path: Path) -> None:
    for stored in (DATA, gzip.compress(DATA), DATA[:10]):
        (tmp_path / "data").write_bytes(stored)
        with Source(tmp_path / "data") as source:
            whole = DATA if len(stored) > 10 else DATA[:10]
            assert source.head() == source.head() == whole[:HEAD_BYTES]
            view = memoryview(bytearray(len(DATA) + 1))
            assert bytes(view[: source.readinto(view)]) == whole


@pytest.mark.parametrize("packing", ["plain", "gzip", "zstd"])
def test_the_hash_is_of_the_stored_bytes_read_or_not(tmp_path: Path, packing: str) -> None:
    stored = PACKINGS[packing](DATA)
    (tmp_path / "data").write_bytes(stored)
    with Source(tmp_path / "data", hashed=True) as source:
        source.readinto(memoryview(bytearray(10)))
        assert source.sha256() == hashlib.sha256(stored).hexdigest()


def test_a_pipe_is_read_and_hashed(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    stored = gzip.compress(DATA)
    writer = threading.Thread(target=pipe.write_bytes, args=(stored,))
    writer.start()
    with Source(pipe, hashed=True) as source:
        view = memoryview(bytearray(len(DATA) + 1))
        assert bytes(view[: source.readinto(view)]) == DATA
        assert source.size is None
        assert source.sha256() == hashlib.sha256(stored).hexdigest()
    writer.join()


@pytest.mark.parametrize("packing", ["gzip", "zstd"])
def test_data_that_ends_early_gives_what_came_before(tmp_path: Path, packing: str) -> None:
    stored = PACKINGS[packing](DATA)
    (tmp_path / "data").write_bytes(stored[: len(stored) * 2 // 3])
    text, source = text_of(tmp_path / "data")
    assert len(text) > len(DATA) / 3
    assert DATA.startswith(text)
    assert "ends early" in source.cut


def test_a_wrong_check_sum_loses_nothing(tmp_path: Path) -> None:
    stored = bytearray(gzip.compress(DATA))
    stored[-6] ^= 1
    (tmp_path / "data").write_bytes(stored)
    text, source = text_of(tmp_path / "data")
    assert text == DATA
    assert "incorrect data check" in source.cut


def test_gzip_damaged_in_the_middle_gives_all_that_is_whole(tmp_path: Path) -> None:
    """Against zlib itself, fed byte by byte up to the place where it fails."""
    stored = bytearray(gzip.compress(DATA))
    middle = len(stored) // 2
    stored[middle : middle + 50] = b"\xff" * 50
    whole, inflater = bytearray(), zlib.decompressobj(31)
    with suppress(zlib.error):
        for byte in stored:
            whole += inflater.decompress(bytes([byte]))
    (tmp_path / "data").write_bytes(stored)
    text, source = text_of(tmp_path / "data")
    assert text == bytes(whole)
    assert len(text) > len(DATA) / 3
    assert "damaged" in source.cut


def test_bytes_after_gzip_data_are_left_out_and_said(tmp_path: Path) -> None:
    (tmp_path / "data").write_bytes(gzip.compress(DATA) + b"more")
    text, source = text_of(tmp_path / "data")
    assert text == DATA
    assert source.notes


def test_damaged_zstd_data_is_said(tmp_path: Path) -> None:
    stored = bytearray(zstandard.ZstdCompressor(write_checksum=True).compress(DATA))
    stored[-2] ^= 1
    (tmp_path / "data").write_bytes(stored)
    text, source = text_of(tmp_path / "data")
    assert DATA.startswith(text)
    assert "damaged" in source.cut


def test_zstd_without_its_package_names_the_install_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "zstandard":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    (tmp_path / "data").write_bytes(PACKINGS["zstd"](DATA))
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(CaptureError, match="zstd") as caught:
        text_of(tmp_path / "data")
    assert "pip install zstandard" in caught.value.hint


def test_too_much_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "bomb.gz").write_bytes(gzip.compress(b"0" * 10**7))
    with pytest.raises(CaptureError, match="more than 1000000 bytes") as caught:
        text_of(tmp_path / "bomb.gz", text_limit=10**6)
    assert caught.value.hint
    assert len(text_of(tmp_path / "bomb.gz", text_limit=10**7)[0]) == 10**7


def test_a_capture_in_cut_gzip_is_read_up_to_the_cut(tmp_path: Path) -> None:
    text = HEADER + b"".join(b"#%d\n%d!\n" % (i * 7, i & 1) for i in range(20_000))
    stored = gzip.compress(text)
    (tmp_path / "cut.vcd.gz").write_bytes(stored[: len(stored) // 2])
    capture = read_file(tmp_path / "cut.vcd.gz")
    ticks = capture.channels[0].ticks
    assert "the gzip data ends early" in capture.truncated
    assert 1000 < len(ticks) < 20_000
    assert (ticks == 7 * np.arange(1, len(ticks) + 1)).all()


def test_gzip_cut_before_anything_is_an_error(tmp_path: Path) -> None:
    stored = gzip.compress(HEADER + b"#0 0!")
    (tmp_path / "cut.vcd.gz").write_bytes(stored[:15])
    with pytest.raises(CaptureError):
        read_file(tmp_path / "cut.vcd.gz")


def test_a_file_without_permission_is_explained(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_args: Any, **_kwargs: Any) -> Never:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(CaptureError, match="no permission") as caught:
        Source(tmp_path / "x.vcd")
    assert caught.value.hint


def test_place_counts_lines_and_columns(tmp_path: Path) -> None:
    text = b"ab\ncd\r\n\nxyz"
    for packed in (text, gzip.compress(text)):
        (tmp_path / "t").write_bytes(packed)
        with Source(tmp_path / "t") as source:
            assert [source.place(at) for at in (0, 2, 3, 7, 8, 10)] == [
                (1, 1),
                (1, 3),
                (2, 1),
                (3, 1),
                (4, 1),
                (4, 3),
            ]
