"""Every construct of the format, in files written by hand.

Expected values follow from IEEE 1364/1800 as restated in references.md section 7.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from rastertap.capture.model import FLOATING, HIGH, LOW, UNKNOWN
from rastertap.errors import CaptureError

from .conftest import Read, changes


def test_tokens_may_all_stand_on_one_line(read: Read) -> None:
    capture = read(b'#0 1! 0" #5 0!\t1"\v#7\f1!\r\n#9\n', body=True)
    assert changes(capture, "a") == (HIGH, [(5, LOW), (7, HIGH)])
    assert changes(capture, "b") == (LOW, [(5, HIGH)])
    assert (capture.start, capture.end) == (0, 9)


def test_tokens_may_stand_one_to_a_line_with_blank_lines(read: Read) -> None:
    assert changes(read(b"#0\n0!\n\n\n  #4\n\t1!\n", body=True), "a") == (LOW, [(4, HIGH)])


@pytest.mark.parametrize("newline", [b"\n", b"\r\n", b"\r"])
def test_any_line_end_is_white_space(read: Read, newline: bytes) -> None:
    text = b"$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n#3\n1!\n"
    assert changes(read(text.replace(b"\n", newline)), "a") == (LOW, [(3, HIGH)])


def test_initial_levels_come_from_the_first_time(read: Read) -> None:
    capture = read(b'#10 $dumpvars 1! x" $end #20 0! #30', body=True)
    assert (capture.start, capture.end) == (10, 30)
    assert changes(capture, "a") == (HIGH, [(20, LOW)])
    assert changes(capture, "b") == (UNKNOWN, [])


def test_levels_before_the_first_time_are_initial(read: Read) -> None:
    capture = read(b'$dumpvars 1! 0" $end #3 #4 0!', body=True)
    assert capture.start == 3
    assert changes(capture, "a") == (HIGH, [(4, LOW)])


def test_a_change_at_the_first_time_overrides_one_before_it(read: Read) -> None:
    assert changes(read(b"$dumpvars 1! $end #3 0! #4", body=True), "a") == (LOW, [])


def test_a_time_inside_a_dump_block_counts(read: Read) -> None:
    capture = read(b"#0 1! $dumpvars #5 0! $end #6 1! #7", body=True)
    assert changes(capture, "a") == (HIGH, [(5, LOW), (6, HIGH)])


def test_a_channel_is_unknown_until_it_is_first_set(read: Read) -> None:
    assert changes(read(b'#0 0! #5 1" #6', body=True), "b") == (UNKNOWN, [(5, HIGH)])


def test_x_and_z_are_levels_in_either_case(read: Read) -> None:
    capture = read(b"#0 0! #1 x! #2 Z! #3 X! #4 z! #5 1! #6", body=True)
    expected = [(1, UNKNOWN), (2, FLOATING), (3, UNKNOWN), (4, FLOATING), (5, HIGH)]
    assert changes(capture, "a") == (LOW, expected)


def test_a_level_that_is_repeated_is_no_change(read: Read) -> None:
    assert changes(read(b"#0 0! #1 0! #2 1! #3 1! #4 0!", body=True), "a") == (LOW, [(2, HIGH), (4, LOW)])


def test_of_two_changes_at_one_time_the_last_counts_and_a_note_says_so(read: Read) -> None:
    capture = read(b"#0 0! #5 1! 0! #6 1! x! #7", body=True)
    assert changes(capture, "a") == (LOW, [(6, UNKNOWN)])
    assert any(note.startswith("2 changes were undone") for note in capture.notes)


def test_the_same_time_may_be_stated_twice(read: Read) -> None:
    assert changes(read(b"#0 0! #5 1! #5 0! #6", body=True), "a") == (LOW, [])


def test_a_comment_may_hold_anything_anywhere(read: Read) -> None:
    text = b"""$comment $var wire 1 % no $endish #4 $enddefinitions $end $timescale 1 ns $end
    $var wire 1 ! a $end $enddefinitions $end
    #0 0! $comment #1 1! $dumpvars $var $end #2 1! $comment $end #3"""
    assert changes(read(text), "a") == (LOW, [(2, HIGH)])


def test_dumpoff_dumpon_and_dumpall_are_checkpoints(read: Read) -> None:
    capture = read(b"#0 0! #1 $dumpoff x! $end #5 $dumpon 1! $end #6 $dumpall 1! $end #7 0!", body=True)
    assert changes(capture, "a") == (LOW, [(1, UNKNOWN), (5, HIGH), (7, LOW)])


def test_aliases_each_get_a_channel_with_the_same_arrays(read: Read) -> None:
    text = b"""$timescale 1 ns $end $scope module tb $end $var wire 1 ! one $end $scope module dut $end
    $var wire 1 ! two $end $upscope $end $upscope $end $enddefinitions $end #0 0! #1 1!"""
    capture = read(text)
    assert [c.name for c in capture.channels] == ["tb.one", "tb.dut.two"]
    assert changes(capture, "tb.one") == changes(capture, "tb.dut.two") == (LOW, [(1, HIGH)])


def test_names_without_a_scope_are_bare(read: Read) -> None:
    assert [c.name for c in read(b"#0", body=True).channels] == ["a", "b"]


def test_upscope_leaves_a_scope(read: Read) -> None:
    text = b"""$timescale 1 ns $end $scope module m $end $upscope $end $var wire 1 ! a $end
    $enddefinitions $end #0 0!"""
    assert [c.name for c in read(text).channels] == ["a"]


@pytest.mark.parametrize(
    ("declared", "names"),
    [
        (b"3 ! bus [2:0]", ["bus[2]", "bus[1]", "bus[0]"]),
        (b"3 ! bus[2:0]", ["bus[2]", "bus[1]", "bus[0]"]),
        (b"3 ! bus [0:2]", ["bus[0]", "bus[1]", "bus[2]"]),
        (b"3 ! bus [-1:-3]", ["bus[-1]", "bus[-2]", "bus[-3]"]),
        (b"3 ! bus", ["bus[2]", "bus[1]", "bus[0]"]),
        (b"3 ! bus [ 2 : 0 ]", ["bus[2]", "bus[1]", "bus[0]"]),
        (b"3 ! mem[7]", ["mem[7][2]", "mem[7][1]", "mem[7][0]"]),
        (b"1 ! bus [5]", ["bus[5]"]),
        (b"1 ! bus[5]", ["bus[5]"]),
        (b"1 ! bus [0:0]", ["bus[0]"]),
    ],
)
def test_a_vector_becomes_one_channel_for_each_bit(read: Read, declared: Any, names: list[str]) -> None:
    text = b"$timescale 1 ns $end $var wire " + declared + b" $end $enddefinitions $end #0 b0 ! #1 b1 !"
    capture = read(text)
    assert [c.name for c in capture.channels] == names
    assert changes(capture, names[-1]) == (LOW, [(1, HIGH)])
    assert all(changes(capture, name) == (LOW, []) for name in names[:-1])


def test_a_range_that_does_not_fit_is_said_and_counted_from_0(read: Read) -> None:
    capture = read(b"$timescale 1 ns $end $var wire 2 ! v [7:0] $end $enddefinitions $end #0 b10 !")
    assert [c.name for c in capture.channels] == ["v [7:0][1]", "v [7:0][0]"]
    assert any("does not fit" in note for note in capture.notes)


@pytest.mark.parametrize(
    ("written", "meant"),
    [("b1", "0001"), ("b10", "0010"), ("bx10", "xx10"), ("bzx0", "zzx0"), ("b0x10", "0x10"), ("b0", "0000"),
     ("bz", "zzzz"), ("BX", "xxxx"), ("b1010", "1010"), ("1", "0001"),
     ("x", "xxxx"), ("z", "zzzz"), ("b11010", "1010")],
)  # fmt: skip
def test_a_short_vector_is_extended_to_the_left(read: Read, written: str, meant: str) -> None:
    """IEEE 1800-2023 Tables 21-8 and 21-9, as in references.md 7; a one-digit change is extended too."""
    change = written + (" !" if written[0] in "bB" else "!")
    text = f"$timescale 1 ns $end $var wire 4 ! v $end $enddefinitions $end #0 {change} #1"
    levels = ["01xz"[read(text.encode()).channel(f"v[{i}]").initial] for i in (3, 2, 1, 0)]
    assert "".join(levels) == meant


def test_a_vector_change_may_set_a_scalar(read: Read) -> None:
    assert changes(read(b"#0 b0 ! #1 b1 ! #2 b0\n!", body=True), "a") == (LOW, [(1, HIGH), (2, LOW)])


def test_reals_strings_events_and_unknown_kinds_are_listed_and_skipped(read: Read) -> None:
    text = b"""$timescale 1 ns $end $var real 64 r temp $end $var event 1 e fired $end
    $var string 0 s text $end
    $var wire 1 ! a $end $enddefinitions $end #0 r1.5e-3 r 0! sab#c s 1e #1 rNaN r 1! s s #2 R0 r"""
    capture = read(text)
    assert capture.ignored == ("temp (real)", "fired (event)", "text (string)")
    assert [c.name for c in capture.channels] == ["a"]
    assert changes(capture, "a") == (LOW, [(1, HIGH)])


@pytest.mark.parametrize(
    "code",
    [b"#", b"$", b"$end", b"#5", b"b0", b"0#", b"0", b"x", b"!!", b"abc", b"longer_code~", b"%%%%"],
)
def test_an_identifier_code_may_be_any_printable_characters(read: Read, code: bytes) -> None:
    text = (
        b"$timescale 1 ns $end $var wire 1 " + code + b" a $end $var wire 2 ~ v $end $enddefinitions $end "
        b"#0 0" + code + b" b00 ~ #1 1" + code + b" #2 b0 " + code + b" #3 x" + code + b" #4\n"
    )
    assert changes(read(text), "a") == (LOW, [(1, HIGH), (2, LOW), (3, UNKNOWN)])


def test_many_codes_of_every_length_are_told_apart(read: Read) -> None:
    printable = [bytes([c]) for c in range(33, 127)]
    codes = printable + [a + b for a in printable[:20] for b in printable[:20]]
    codes += [b"%d_long" % i for i in range(500)] + [b"abc%d" % i for i in range(500)]
    variables = b"".join(b"$var wire 1 %b n%d $end\n" % (code, i) for i, code in enumerate(codes))
    body = b"".join(b"#%d 1%b\n" % (i + 1, code) for i, code in enumerate(codes))
    capture = read(b"$timescale 1 ns $end\n" + variables + b"$enddefinitions $end #0\n" + body)
    for i in range(len(codes)):
        assert changes(capture, f"n{i}") == (UNKNOWN, [(i + 1, HIGH)]), codes[i]


@pytest.mark.parametrize("count", [1, 10, 100])
@pytest.mark.parametrize(
    ("unit", "power"), [("s", 0), ("ms", 3), ("us", 6), ("ns", 9), ("ps", 12), ("fs", 15)]
)
@pytest.mark.parametrize("between", ["", " ", "\n"])
def test_every_timescale_is_exact(read: Read, count: int, unit: str, power: int, between: str) -> None:
    text = f"$timescale {count}{between}{unit} $end $var wire 1 ! a $end $enddefinitions $end #0"
    assert read(text.encode()).tick == Fraction(count, 10**power)


def test_a_missing_timescale_is_taken_as_1_ns_and_said(read: Read) -> None:
    capture = read(b"$var wire 1 ! a $end $enddefinitions $end #0 0!")
    assert capture.tick == Fraction(1, 10**9)
    assert any("no $timescale" in note for note in capture.notes)


def test_an_odd_timescale_is_taken_as_it_stands_and_said(read: Read) -> None:
    capture = read(b"$timescale 20 ns $end $var wire 1 ! a $end $enddefinitions $end #0 0!")
    assert capture.tick == Fraction(20, 10**9)
    assert any("20 ns" in note for note in capture.notes)


@pytest.mark.parametrize("first", [b"#0 0!", b"$dumpvars 0! $end #0", b"0! #0", b"b0 ! #0"])
def test_enddefinitions_may_be_missing(read: Read, first: bytes) -> None:
    """As migen 0.10.0 writes without a module name (references.md 7)."""
    assert changes(read(b"$var wire 1 ! a $end\n" + first + b" #5 1!\n"), "a") == (LOW, [(5, HIGH)])


def test_unknown_commands_in_the_declarations_are_passed_over(read: Read) -> None:
    text = b"""$attrbegin misc 02 #0 1! $end $date today $end $version x $end $timescale 1 ns $end
    $var wire 1 ! a $end $enddefinitions $end #0 0!"""
    assert changes(read(text), "a") == (LOW, [])


def test_a_utf8_byte_order_mark_is_passed_over(read: Read) -> None:
    assert read(b"\xef\xbb\xbf$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end #0 0!").end == 0


def test_times_use_all_64_bits_and_leading_zeros(read: Read) -> None:
    capture = read(b"#000000000000000000000000000001 0! #9223372036854775807 1!\n", body=True)
    assert (capture.start, capture.end) == (1, 2**63 - 1)
    assert changes(capture, "a") == (LOW, [(2**63 - 1, HIGH)])


def test_times_of_every_length_are_read(read: Read) -> None:
    """Up to eight digits are read at once: each length, and each digit in each place."""
    times = [10**length + int("1234567890123456789"[:length]) for length in range(1, 18)]
    times += [int(str(digit) * length) for length in range(1, 19) for digit in range(1, 10)]
    times = sorted(set(times))
    text = b"".join(b"#%d %d!\n" % (time, number & 1) for number, time in enumerate(times))
    assert read(b"#0 1! " + text, body=True).channel("a").ticks.tolist() == times


@pytest.mark.parametrize(
    "wrong", [b"#1234567:", b"#123456/8", b"#12345678a", b"#1234\xff678", b"#12345678:9"]
)
def test_a_time_with_a_wrong_character_is_an_error(read: Read, wrong: bytes) -> None:
    with pytest.raises(CaptureError, match="is not a time"):
        read(b"#0 0! " + wrong + b" 1! #99999999999 0!\n", body=True)


def test_levels_without_any_time_are_a_recording_of_no_length(read: Read) -> None:
    capture = read(b"$dumpvars 1! $end\n", body=True)
    assert (capture.start, capture.end, changes(capture, "a")) == (0, 0, (HIGH, []))
    assert any("no time" in note for note in capture.notes)


def test_a_time_that_goes_back_can_be_dropped_and_is_said(read: Read) -> None:
    capture = read(b"#0 0! #10 1! #5 0! #7 1! #11 0! #12 1!", body=True, time_back="drop")
    assert changes(capture, "a") == (LOW, [(10, HIGH), (11, LOW), (12, HIGH)])
    assert any("went back 2 times" in note for note in capture.notes)
