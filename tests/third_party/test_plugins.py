"""A third party's package, really installed, does its work; one that cannot is named with what to do."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Callable
    from pathlib import Path

    Run = Callable[..., subprocess.CompletedProcess[str]]

TONE_HZ = 440.0
"""As `rastertap bench make --wire D8=tone` says."""
BEEPER = ("beeper",)
BOARD = 'schema = "rastertap.board/1"\nname = "Marlow 85"\n[decoders.beeper]\n'


def line_of(text: str, start: str) -> str:
    return next(line for line in text.splitlines() if line.strip().startswith(start))


def entry_of(text: str, name: str) -> str:
    """An entry of a list with its further lines, whatever the width of the terminal."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith(f"  {name} "))
    rest = itertools.takewhile(lambda line: line.startswith("   "), lines[first + 1 :])
    return " ".join(" ".join([lines[first], *rest]).split())


def beeper_finding(output: str) -> dict[str, object]:
    return next(f for f in json.loads(output)["findings"] if f["id"] == "beeper.silent")


def test_an_installed_plugin_is_listed_with_its_package(rastertap: Run) -> None:
    result = rastertap("decoders", packages=BEEPER)
    assert result.returncode == 0, result.stderr
    decoders, checks = result.stdout.split("CHECKS")
    entry = entry_of(decoders, "beeper")
    assert entry == "beeper one-bit sound output: the rate of its tone [rastertap-beeper 1.0]"
    assert "[rastertap-beeper 1.0]" in entry_of(checks, "beeper")


def test_its_product_stands_among_what_was_found(rastertap: Run, sounding: Path) -> None:
    result = rastertap("check", str(sounding), packages=BEEPER)
    assert result.returncode == 0, result.stderr
    found = result.stdout.split("FOUND")[1].split("PINS")[0]
    said = line_of(found, "beeper").split()
    assert said[1:] == [said[1], "Hz", "on", "D8"]
    assert float(said[1]) == pytest.approx(TONE_HZ, rel=1e-3)


def test_its_finding_is_in_the_json_and_right_within_its_uncertainty(rastertap: Run, sounding: Path) -> None:
    result = rastertap("check", str(sounding), "--json", "-", packages=BEEPER)
    finding = beeper_finding(result.stdout)
    assert finding["result"] == "pass"
    assert finding["unit"] == "Hz"
    uncertainty = finding["uncertainty"]
    assert 0 < uncertainty < 0.1
    assert finding["measured"] == pytest.approx(TONE_HZ, abs=3 * uncertainty)


def test_without_it_neither_product_nor_finding_is_there(rastertap: Run, sounding: Path) -> None:
    result = rastertap("check", str(sounding), packages=())
    assert result.returncode == 0, result.stderr
    assert "beeper" not in result.stdout


def test_its_option_can_be_set_on_the_command_line(rastertap: Run, sounding: Path) -> None:
    """D9 is silent, so the check that fails shows that the option was heard."""
    result = rastertap("check", str(sounding), "--set", "beeper.channel=D9", "--json", "-", packages=BEEPER)
    assert result.returncode == 1
    finding = beeper_finding(result.stdout)
    assert (finding["result"], finding["measured"]) == ("fail", 0.0)
    assert "D9" in str(finding["text"])


def test_its_option_can_stand_in_a_board_file(rastertap: Run, sounding: Path, tmp_path: Path) -> None:
    board = tmp_path / "board.toml"
    board.write_text(
        'schema = "rastertap.board/1"\nname = "Marlow 85"\n[decoders.beeper]\nlowest_hz = 500.0\n'
    )
    result = rastertap("check", str(sounding), "--board", str(board), "--json", "-", packages=BEEPER)
    finding = beeper_finding(result.stdout)
    assert finding["result"] == "not_measured"
    assert "no spare channel carries a tone" in str(finding["text"])
    louder = ("--set", "beeper.lowest_hz=400")
    result = rastertap("check", str(sounding), "--board", str(board), *louder, "--json", "-", packages=BEEPER)
    assert beeper_finding(result.stdout)["result"] == "pass"


@pytest.mark.parametrize(
    ("setting", "error", "hint"),
    [
        ("beeper.loud=1", "decoder beeper has no option 'loud'", "it has: channel, highest_hz, lowest_hz"),
        ("beeper.lowest_hz=low", "option beeper.lowest_hz: 'low'", "it is a float"),
        ("beeper.channel=D99", "the capture has no channel 'D99'", "it has: D0, D1"),
        ("buzzer.channel=D8", "no such decoder: 'buzzer'", "there are: beeper"),
    ],
)
def test_a_wrong_option_is_refused_with_a_hint(
    rastertap: Run, sounding: Path, setting: str, error: str, hint: str
) -> None:
    result = rastertap("check", str(sounding), "--set", setting, packages=BEEPER)
    assert result.returncode == 2
    assert result.stdout == ""
    assert f"error: {error}" in result.stderr
    assert f"hint: {hint}" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_value_that_the_plugin_itself_refuses_is_a_wrong_option(rastertap: Run, sounding: Path) -> None:
    result = rastertap("check", str(sounding), "--set", "beeper.lowest_hz=20000", packages=BEEPER)
    assert result.returncode == 2
    assert "error: decoder beeper: lowest_hz must be above 0 and below highest_hz" in result.stderr


def test_a_wrong_option_in_a_board_file_is_refused_too(
    rastertap: Run, sounding: Path, tmp_path: Path
) -> None:
    board = tmp_path / "board.toml"
    board.write_text(
        'schema = "rastertap.board/1"\nname = "Marlow 85"\n[decoders.beeper]\nlowest_hz = "low"\n'
    )
    result = rastertap("check", str(sounding), "--board", str(board), packages=BEEPER)
    assert result.returncode == 2
    assert "beeper.lowest_hz" in result.stderr


def test_a_broken_plugin_stays_listed_with_its_error_and_the_command_that_mends_it(rastertap: Run) -> None:
    result = rastertap("decoders", packages=("broken",))
    assert result.returncode == 1
    # Wrapped to the terminal's width, so the words are compared.
    words = " ".join(result.stdout.split("DECODERS")[1].split())
    assert "broken BROKEN: ModuleNotFoundError: No module named 'a_library_that_is_not_installed'" in words
    assert "try: pip install --force-reinstall rastertap-broken [rastertap-broken 1.0]" in words


def test_check_works_beside_a_broken_plugin_and_warns_of_it(rastertap: Run, sounding: Path) -> None:
    result = rastertap("check", str(sounding), packages=("broken", "beeper"))
    assert result.returncode == 0, result.stderr
    assert "Hz on D8" in line_of(result.stdout, "beeper")
    assert "decoder 'broken' cannot be used" in result.stderr
    assert "a_library_that_is_not_installed" in result.stderr


def test_an_option_for_a_broken_plugin_is_refused(rastertap: Run, sounding: Path) -> None:
    result = rastertap("check", str(sounding), "--set", "broken.key=1", packages=("broken",))
    assert result.returncode == 2
    assert "decoder broken cannot be used: ModuleNotFoundError" in result.stderr


@pytest.mark.parametrize("command", [("decoders",), ("check",)])
def test_a_name_taken_twice_is_an_error_that_names_both_packages(
    rastertap: Run, sounding: Path, command: tuple[str, ...]
) -> None:
    capture = (str(sounding),) if command == ("check",) else ()
    result = rastertap(*command, *capture, packages=("beeper", "duplicate"))
    assert result.returncode == 2
    assert "two packages register rastertap.decoders 'beeper'" in result.stderr
    assert "rastertap-beeper" in result.stderr
    assert "rastertap-duplicate" in result.stderr
    assert "hint: uninstall one of them" in result.stderr


def test_a_plugin_for_another_contract_is_listed_but_not_used(rastertap: Run, sounding: Path) -> None:
    listed = rastertap("decoders", packages=("old_contract",))
    assert listed.returncode == 1
    words = " ".join(listed.stdout.split())
    assert (
        "old BROKEN: written for contract 0, this rastertap has 1; try: pip install -U rastertap-old" in words
    )
    assert rastertap("check", str(sounding), "--quiet", packages=("old_contract",)).returncode == 0
