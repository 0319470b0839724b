"""``rastertap bench`` on the command line."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from rastertap.bench.faults import FAULTS
from rastertap.cli.main import main
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["bench", *(str(a) for a in arguments)], catch_exceptions=True)


def test_a_capture_is_made_with_its_truth(tmp_path: Path) -> None:
    result = run("make", tmp_path / "a.vcd.gz", "--fields", "0.1", "--fault", "swap:D1,D3", "--rate", "24M")
    assert result.exit_code == 0, result.output
    assert "fault: swap:first=D1,second=D3" in result.output
    truth = json.loads((tmp_path / "a.truth.json").read_text())
    assert truth["analyser"]["rate_hz"] == "24000000"
    assert truth["channels"]["D1"]["carries"]["signal"] == "colour0"
    for line in result.output.splitlines()[-3:]:
        assert (tmp_path / line).is_file()


def test_the_source_can_be_given_in_numbers(tmp_path: Path) -> None:
    options = (
        "--fields 0.1 --pixel-clock 94500000/7 --pixels-per-line 864 --lines-per-field 312.5 --hsync 0,63 "
        "--vsync 0.5,2.5 --active 142,22,700,280 --composite equalised-625 --colour-bits 8 --picture noise "
        "--rate 20k --no-separate --wire D3=tone"
    )
    result = run("make", tmp_path / "a.vcd", *options.split())
    assert result.exit_code == 0, result.output
    truth = json.loads((tmp_path / "a.truth.json").read_text())
    source = truth["source"]
    assert source["name"] == "INVENTED SOURCE"
    assert source["pixel_clock_hz"] == "13500000"
    assert source["lines_per_field"] == "625/2"
    assert source["interlaced"] is True
    assert source["csync"]["style"] == "equalised"
    assert truth["active"] == {"x_from_hsync": 142, "width": 700, "height": 280}
    assert truth["channels"]["D3"]["meant"]["signal"] == "tone"
    assert {c["meant"]["role"] for c in truth["channels"].values()} == {
        "pixel_clock",
        "csync",
        "colour",
        "other",
    }


def test_the_channels_can_be_dealt_at_random(tmp_path: Path) -> None:
    assert run("make", tmp_path / "a.vcd", "--fields", "0.01", "--scramble", "3").exit_code == 0
    channels = json.loads((tmp_path / "a.truth.json").read_text())["channels"]
    assert [c["meant"]["signal"] for c in channels.values()][:3] != ["pixel_clock", "hsync", "vsync"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--fault", "swp:D1,D2"), "no such fault"),
        (("--fault", "clock-missing:every=x"), "not a whole number"),
        (("--machine", "marlow99"), "no such machine"),
        (("--wire", "D3"), "not CHANNEL=SIGNAL"),
        (("--wire", "D3=chroma"), "no signal 'chroma'"),
        (("--active", "500,40,320,200"), "leaves the line"),
        (("--rate", "100000G"), "too many to simulate"),
        (("--pixel-clock", "1/1000"), "too many to simulate"),
        (("--stamps", "exact", "--rate", "24M"), "no VCD timescale"),
    ],
)
def test_what_cannot_be_made_is_a_usage_error(
    tmp_path: Path, arguments: tuple[str, ...], message: str
) -> None:
    result = run("make", tmp_path / "a.vcd", "--fields", "0.01", *arguments)
    assert isinstance(result.exception, UsageError)
    assert message in result.exception.message
    assert result.exception.hint


def test_a_place_that_cannot_be_written_is_a_usage_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    result = run("make", tmp_path / "file" / "a.vcd", "--fields", "0.01")
    assert isinstance(result.exception, UsageError)
    assert "cannot write" in result.exception.message


@pytest.mark.parametrize(
    "arguments",
    [("--rate", "fast"), ("--rate", "1/0"), ("--hsync", "1"), ("--hsync", "0,1.5"), ("--seed", "-1")],
)
def test_a_number_written_wrongly_names_the_option(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    result = run("make", tmp_path / "a.vcd", *arguments)
    assert result.exit_code == 2
    assert arguments[0] in result.output


def test_every_fault_is_listed_with_its_usage() -> None:
    output = run("faults").output
    assert all(kind.usage() in output for kind in FAULTS.values())


@pytest.mark.parametrize("arguments", [(), ("make",), ("faults",)])
def test_help_shows_an_example(arguments: tuple[str, ...]) -> None:
    output = run(*arguments, "--help").output
    assert "Example" in output
    assert "rastertap bench " in output
