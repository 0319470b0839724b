"""The options shared by the commands that read a capture."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

MS = 1e-3


def test_from_and_to_bound_what_is_read(rastertap: Callable[..., Any], good: str) -> None:
    result = rastertap("check", good, "--from", "10ms", "--to", "0.035s", "--json", "-")
    capture = json.loads(result.out)["capture"]
    assert capture["span_s"] == pytest.approx(25 * MS, abs=2 * capture["sample_period_s"])


def test_what_lies_outside_the_window_is_not_counted(rastertap: Callable[..., Any], good: str) -> None:
    whole = json.loads(rastertap("check", good, "--json", "-").out)
    part = json.loads(rastertap("check", good, "--to", "20ms", "--json", "-").out)
    clock = {c["name"]: c["edges"] for c in part["capture"]["channels"]}["D0"]
    # 9 MHz, two edges a cycle, 20 ms.
    assert clock == pytest.approx(360_000, rel=1e-4)
    assert len(part["frames"]) < len(whole["frames"])


@pytest.mark.parametrize("unit", ["30ms", "0.03", "0.03s", "30000us", " 30e6 ns"])
def test_a_time_may_have_any_unit(rastertap: Callable[..., Any], good: str, unit: str) -> None:
    result = rastertap("pins", good, "--from", unit, "--json", "-")
    assert json.loads(result.out)["capture"]["span_s"] == pytest.approx(11.33 * MS, abs=0.01 * MS)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--from", "-5ms"), "'-5ms' is before the start of the capture"),
        (("--to", "20 parsecs"), "'20 parsecs' is no time; write it like 20ms or 1.5s"),
        (("--to", "nan"), "'nan' is no time"),
        (("--to", "inf"), "'inf' is no time"),
        (("--to", ""), "'' is no time"),
        (("--from", "20ms", "--to", "10ms"), "--to must be later than --from"),
        (("--from", "20ms", "--to", "20ms"), "--to must be later than --from"),
        (("--from", "1s"), "begins at 1.0 s, after the end of the recording"),
        (("--timebase-ppm", "-1"), "--timebase-ppm"),
        (("--timebase-ppm", "nan"), "--timebase-ppm"),
        (("--limits", "lenient"), "no such limit set: 'lenient'"),
        (("--reader", "tape"), "no such reader: 'tape'"),
        (("--reader", "vcd:drop"), "--reader 'vcd:drop' is not NAME:KEY=VALUE,KEY=VALUE"),
        (("--reader", "vcd:=drop"), "--reader 'vcd:=drop' is not NAME:KEY=VALUE,KEY=VALUE"),
        (("--reader", "vcd:rewind=yes"), "reader vcd has no option 'rewind'"),
        (("--reader", "vcd:time_back=perhaps"), "option vcd.time_back: 'perhaps'"),
        (("--reader", "vcd:block_bytes=many"), "option vcd.block_bytes: 'many'"),
        (("--reader", "vcd:block_bytes=7"), "reader vcd: block_bytes must be at least 4096"),
        (("--reader", "vcdvcd:time_back=drop"), "reader vcdvcd has no option 'time_back'"),
        (("--text-limit", "-1"), "'-1' is no size; write it like 500M or 20G"),
        (("--text-limit", "0"), "'0' is no size"),
        (("--text-limit", "1.5G"), "'1.5G' is no size"),
        (("--set", "tolerance"), "--set 'tolerance' is not DECODER.KEY=VALUE"),
        (("--set", "tolerance=1"), "--set 'tolerance=1' is not DECODER.KEY=VALUE"),
        (("--set", "sync-septic.tolerance=1"), "no such decoder: 'sync-septic'"),
        (("--set", "sync-separate.looseness=1"), "sync-separate has no option 'looseness'"),
        (("--set", "sync-separate.tolerance=wide"), "option sync-separate.tolerance: 'wide'"),
    ],
)
def test_a_wrong_value_is_refused_with_what_would_be_right(
    rastertap: Callable[..., Any], good: str, arguments: tuple[str, ...], said: str
) -> None:
    result = rastertap("check", good, *arguments)
    assert (result.code, result.out) == (2, "")
    assert said in result.err


@pytest.mark.parametrize(
    ("arguments", "hint"),
    [
        (("--limits", "lenient"), "hint: there are: home-computer"),
        (("--reader", "tape"), "hint: there are: "),
        (("--reader", "vcd:rewind=yes"), "hint: it has: block_bytes, rate, time_back"),
        (("--reader", "vcd:time_back=perhaps"), "hint: it is one of: error, drop"),
        (("--reader", "vcdvcd:time_back=drop"), "hint: it has: none"),
        (("--set", "sync-septic.tolerance=1"), "hint: there are: "),
        (("--set", "sync-separate.looseness=1"), "hint: it has: "),
        (("--set", "sync-separate.tolerance=wide"), "hint: it is a float"),
        (("--from", "1s"), "hint: the recording is 0.0413"),
    ],
)
def test_the_hint_lists_what_there_is(
    rastertap: Callable[..., Any], good: str, arguments: tuple[str, ...], hint: str
) -> None:
    assert hint in rastertap("check", good, *arguments).err


def test_an_option_of_a_decoder_reaches_it(rastertap: Callable[..., Any], good: str) -> None:
    """The sampling point is given, so it is not looked for."""
    result = rastertap("check", good, "--set", "colour-coded.delay_ns=70", "--json", "-")
    chosen = json.loads(result.out)
    family = next(d["name"] for d in chosen["decoders"] if d["gives"] == "colour_bus" and d["ran"])
    result = rastertap("check", good, "--set", f"{family}.delay_ns=70", "--json", "-")
    assert json.loads(result.out)["sampling"]["delay_s"] == pytest.approx(70e-9)
    assert chosen["sampling"]["delay_s"] != pytest.approx(70e-9)


def test_an_option_of_a_reader_reaches_it(rastertap: Callable[..., Any], tmp_path: Path) -> None:
    path = tmp_path / "back.vcd"
    path.write_bytes(
        b"$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end\n#5 0! #9 1! #7 0! #20 0!\n"
    )
    refused = rastertap("pins", str(path))
    assert refused.code == 3
    assert "--reader vcd:time_back=drop" in refused.err
    read = rastertap("pins", str(path), "--reader", "vcd:time_back=drop,block_bytes=5000", "--json", "-")
    assert json.loads(read.out)["capture"]["span_s"] == pytest.approx(15e-9)


def test_a_capture_unpacks_up_to_the_limit(rastertap: Callable[..., Any], good: str) -> None:
    refused = rastertap("pins", good, "--text-limit", "1M")
    assert (refused.code, refused.out) == (3, "")
    assert "unpacks to more than 1000000 bytes" in refused.err
    assert "--text-limit" in refused.err
    assert rastertap("pins", good, "--text-limit", "1g").code == 0


def test_the_command_line_wins_over_the_board_file(
    rastertap: Callable[..., Any], good: str, tmp_path: Path
) -> None:
    board = tmp_path / "board.toml"
    family = "colour-rgbi"
    board.write_text(
        'schema = "rastertap.board/1"\nname = "Marlow 85"\n[colours]\nset = "rgbi"\n'
        f"[decoders.{family}]\ndelay_ns = 60.0\n"
    )
    by_board = json.loads(rastertap("check", good, "--board", str(board), "--json", "-").out)
    assert by_board["sampling"]["delay_s"] == pytest.approx(60e-9)
    setting = ("--set", f"{family}.delay_ns=80")
    by_line = json.loads(rastertap("check", good, "--board", str(board), *setting, "--json", "-").out)
    assert by_line["sampling"]["delay_s"] == pytest.approx(80e-9)


def test_the_second_reader_gives_the_same_result(rastertap: Callable[..., Any], good: str) -> None:
    window = ("--from", "16ms", "--to", "24ms", "--json", "-")
    ours, theirs = (
        json.loads(rastertap("check", good, *window, *reader).out) for reader in ((), ("--reader", "vcdvcd"))
    )
    assert ours["clock"] == theirs["clock"]
    assert ours["timing"] == theirs["timing"]
    assert ours["findings"] == theirs["findings"]


@pytest.mark.parametrize("command", ["check", "frames", "pins"])
def test_a_board_file_with_errors_shows_all_of_them_with_their_lines(
    rastertap: Callable[..., Any], good: str, tmp_path: Path, command: str
) -> None:
    board = tmp_path / "bad.toml"
    board.write_text(
        'schema = "rastertap.board/1"\nname = "Marlow 85"\n[pins.D0]\nrole = "pixelclock"\n'
        "[timing]\npixels_per_line = -4\n"
    )
    result = rastertap(command, good, "--board", str(board))
    assert (result.code, result.out) == (2, "")
    assert f"{board}:4: pins.D0.role" in result.err
    assert "pixel_clock" in result.err
    assert f"{board}:6: timing.pixels_per_line" in result.err


def test_a_board_file_that_is_not_there_is_named(rastertap: Callable[..., Any], good: str) -> None:
    result = rastertap("check", good, "--board", "nowhere.toml")
    assert result.code == 2
    assert "nowhere.toml" in result.err
    assert "check the path" in result.err
