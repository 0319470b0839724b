"""The demo captures are the ones that their README says, to the byte."""

from __future__ import annotations

import gzip
import hashlib
import json
import shlex
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from rastertap.cli.main import main

CAPTURES = Path(__file__).parents[2] / "captures"
LISTED = dict(line.split()[::-1] for line in (CAPTURES / "SHA256SUMS").read_text().splitlines())
COMMANDS = [
    shlex.split(line)
    for line in (CAPTURES / "README.md").read_text().splitlines()
    if line.startswith("rastertap bench make ")
]
MOST_BYTES = 1_500_000


def test_every_simulated_file_is_listed_with_its_checksum() -> None:
    made = {
        p.name for p in CAPTURES.iterdir() if p.name.endswith((".vcd.gz", ".truth.json", ".pictures.npy"))
    }
    assert made == set(LISTED)
    for name, checksum in LISTED.items():
        assert hashlib.sha256((CAPTURES / name).read_bytes()).hexdigest() == checksum, name


def test_every_capture_has_its_command_and_stays_small() -> None:
    captures = sorted(CAPTURES.glob("*.vcd.gz"))
    assert sorted(f"captures/{p.name}" for p in captures) == sorted(words[3] for words in COMMANDS)
    assert all(p.stat().st_size <= MOST_BYTES for p in captures)


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: Path(words[3]).name)
def test_the_command_in_the_readme_makes_the_capture_again(words: list[str], tmp_path: Path) -> None:
    name = Path(words[3]).name
    result = CliRunner().invoke(main, ["bench", "make", str(tmp_path / name), *words[4:]])
    assert result.exit_code == 0, result.output
    # Another build of zlib may pack differently, so the recording itself is compared.
    assert gzip.decompress((tmp_path / name).read_bytes()) == gzip.decompress((CAPTURES / name).read_bytes())
    stem = name.removesuffix(".vcd.gz")
    assert json.loads((tmp_path / f"{stem}.truth.json").read_text()) == json.loads(
        (CAPTURES / f"{stem}.truth.json").read_text()
    )
    np.testing.assert_array_equal(
        np.load(tmp_path / f"{stem}.pictures.npy"), np.load(CAPTURES / f"{stem}.pictures.npy")
    )


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: Path(words[3]).name)
def test_every_capture_starts_inside_a_field_and_holds_two_whole_ones(words: list[str]) -> None:
    truth = json.loads((CAPTURES / Path(words[3]).name.replace(".vcd.gz", ".truth.json")).read_text())
    assert truth["fields"][0]["vsync_s"] is None
    assert sum(field["active_complete"] for field in truth["fields"]) == 2
    assert sum(field["vsync_s"] is not None for field in truth["fields"]) >= 3


@pytest.mark.parametrize("key", ["marlow85-50", "marlow85-60"])
def test_the_board_files_describe_the_machine_that_was_recorded(key: str) -> None:
    board = tomllib.loads((CAPTURES / f"{key}.toml").read_text())
    truth = json.loads((CAPTURES / f"{key}.truth.json").read_text())
    carried = {label: channel["carries"] for label, channel in truth["channels"].items()}
    for label, pin in board["pins"].items():
        assert (pin["role"], pin.get("bit")) == (carried[label]["role"], carried[label]["bit"])
        assert pin.get("polarity") == truth["source"].get(pin["role"], {}).get("polarity")
    assert {label for label, carries in carried.items() if carries["role"] != "other"} == set(board["pins"])
    timing, source = board["timing"], truth["source"]
    assert timing["pixel_clock_hz"] == source["pixel_clock_hz"]
    assert timing["pixels_per_line"] == source["pixels_per_line"]
    assert timing["lines_per_field"] == [int(source["lines_per_field"])]
    low, high = timing["hsync_width_us"]
    assert low < source["hsync"]["width_s"] * 1e6 < high
