"""Every way a file can be wrong: the message, the line, the column and the byte."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from rastertap.errors import CaptureError

from .conftest import HEADER, Read

if TYPE_CHECKING:
    from pathlib import Path

GOOD = (
    '$timescale 1 ns $end\n$var wire 1 ! a $end\n$var wire 4 " v $end\n$var real 64 r t $end\n'
    "$enddefinitions $end\n"
)


def place_of(text: bytes, marker: bytes) -> tuple[int, int, int]:
    """Line, column and byte of the marker, which is taken out of the text."""
    at = text.index(marker)
    return text.count(b"\n", 0, at) + 1, at - text.rfind(b"\n", 0, at), at


def check(read: Read, text: bytes, says: str, hint: str = "", **options: Any) -> None:
    """Read a text in which @ stands before the place that the error must name."""
    line, column, byte = place_of(text, b"@")
    with pytest.raises(CaptureError) as caught:
        read(text.replace(b"@", b"", 1), **options)
    error = caught.value
    assert says in error.message
    assert (error.line, error.column, error.byte) == (line, column, byte)
    assert error.hint
    assert hint in error.hint
    assert str(error).startswith(f"{error.path}:{line}:{column} (byte {byte}): ")


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("#0\n0!\n#5\n1@%\n", "'%' is not declared"),
        ("#0\n0!\n#5\n1@%%\n", "'%%' is not declared"),
        ("#0\n0!\n#5\n1@long_one\n", "'long_one' is not declared"),
        ("#0 b0101 @%% #5\n", "'%%' is not declared"),
        ("#0 r1.5 @%%%% #5\n", "'%%%%' is not declared"),
        ("#10\n1!\n@#9\n", "time goes back from 10 to 9"),
        ("#10\n1!\n@#000000000000000000000000009\n", "time goes back from 10"),
        ("#0\n@#-5\n1!\n", "time '#-5' is negative"),
        ("#0\n@#1.5\n1!\n", "time '#1.5' is not a whole number"),
        ("#0\n@#1e3\n1!\n", "time '#1e3' is not a whole number"),
        ("#0\n@#9223372036854775808\n", "does not fit in 64 bits"),
        ("#0\n@#\n1!\n", "'#' is not a time"),
        ("#0\n@#x\n1!\n", "'#x' is not a time"),
        ("#0\n@goodbye\n", "'goodbye' is neither a time nor a change"),
        ("#0\n@! 1\n", "'!' is neither a time nor a change"),
        ("#0\n@1\n0!\n", "'1' is neither a time nor a change"),
        ("#0\n@\x01\n", "neither a time nor a change"),
        ("#0\n@\x00\x00\n", "binary data"),
        ('#0\nb01@2 " #1\n', "'b012' is not a vector value"),
        ('#0\nb@ " #1\n', "'b' is not a vector value"),
        ("#0\nr1.0 @! #1\n", "a real value for the digital signal '!'"),
        ("#0\n@$var wire 1 % b $end\n", "'$var' among the changes"),
        ("#0\n@$frobnicate $end\n", "'$frobnicate' among the changes"),
        ("#0\n@pDD 0 0 !\n", "port changes"),
        ("#0\n@$dumpportsoff\n", "port changes"),
    ],
)
def test_a_wrong_change_is_named_with_its_place(read: Read, body: str, says: str) -> None:
    check(read, (GOOD + body).encode(), says)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("@", "the file is empty"),
        ("@ \n\n", "the file is empty"),
        ("@hello world\n", "not a VCD file: 'hello'"),
        ("\n\n  @hello world\n", "not a VCD file: 'hello'"),
        ("@time,D0,D1\n0,1,0\n", "not a VCD file: 'time,D0,D1'"),
        ("@#0\n1!\n", "not a VCD file: '#0'"),
        ("$timescale 1 ns $end\n@$enddefinitions $end\n#0\n", "no signals are declared"),
        ("@$timescale 3 parsecs $end\n", "is not a time"),
        ("@$timescale ns $end\n", "is not a time"),
        ("@$timescale 0 ns $end\n", "is not a time"),
        ("@$timescale 1.5 ns $end\n", "is not a time"),
        ("\n@$var wire $end\n$enddefinitions $end\n", "$var needs a type"),
        ("\n@$var wire one ! a $end\n", "size 'one' is not a number of bits"),
        ("\n@$var wire 0 ! a $end\n", "size '0' is not a number of bits"),
        ("\n@$var wire -1 ! a $end\n", "size '-1' is not a number of bits"),
        ("\n@$var wire 1000000000 ! a $end\n", "1000000000 bits; at most 65536"),
        ("\n@$var port 1 <0 a $end\n", "port variables"),
        ("@$dumpports $end\n", "port changes ($dumpports)"),
        ("\n@$var wire 1 \x01 a $end\n", "not printable"),
        ("$timescale 1 ns $end\n$var wire 1 ! a $end@", "the file ends in its declarations"),
        ("$timescale 1 ns $end\n$var wire 1 ! @", "the file ends inside '$var'"),
        ("$comment never ended\n$var wire 1 ! a $end@", "the file ends before any signal is declared"),
        ("$date today@", "the file ends inside '$date'"),
        (
            "$timescale 1 ns $end\n$var wire 1 ! a $end\n@rubbish\n$enddefinitions $end",
            "neither a declaration nor a change",
        ),
        (GOOD + "@", "the file ends before its first time"),
        (GOOD + "$dumpvars x! $end\n@", "the file ends before its first time"),
    ],
)
def test_wrong_declarations_are_named_with_their_place(read: Read, text: bytes, says: str) -> None:
    check(read, text.encode("latin-1"), says)


def test_one_code_with_two_sizes_is_an_error(read: Read) -> None:
    text = "$timescale 1 ns $end\n$var wire 1 ! a $end\n$var wire 2 ! b $end\n$enddefinitions $end@\n#0\n"
    check(read, text.encode(), "b: identifier code '!' has two sizes: 1 and 2")


def test_utf16_text_is_explained(read: Read) -> None:
    text = (GOOD + "#0\n").encode("utf-16")
    with pytest.raises(CaptureError, match="UTF-16") as caught:
        read(text)
    assert (caught.value.line, caught.value.column, caught.value.byte) == (1, 1, 0)


def test_binary_data_is_explained(read: Read) -> None:
    check(read, b"\x7fELF\x02\x01\x01@\x00\x00\x00", "binary data")


def test_too_many_signals_are_refused(read: Read) -> None:
    many = "".join(f"$var wire 65536 c{i} n{i} $end\n" for i in range(17))
    with pytest.raises(CaptureError, match="too many signals: 196608 bits"):
        read((many + "$enddefinitions $end #0\n").encode())


def test_a_token_longer_than_a_block_is_refused(read: Read) -> None:
    text = HEADER + b"#0 " + b"b" + b"0" * 5000 + b" ! #1\n"
    assert read(text).end == 1
    with pytest.raises(CaptureError, match="a token of more than 4096 bytes") as caught:
        read(text, block_bytes=4096)
    assert caught.value.byte == text.index(b"b0000")


def test_the_place_is_right_far_into_a_file_of_many_blocks(read: Read) -> None:
    body = b"".join(b"#%d\n%d!\n" % (i, i & 1) for i in range(20_000))
    check(read, HEADER + body + b"#20000\n1@?\n#20001\n", "'?' is not declared", block_bytes=8192)


def test_an_error_in_the_second_half_of_a_block_is_found_by_the_second_thread(read: Read) -> None:
    body = b"".join(b"#%d\n%d!\n" % (i, i & 1) for i in range(200_000))
    more = b"".join(b"#%d\n%d!\n" % (i, i & 1) for i in range(200_000, 210_000))
    check(read, HEADER + body + b"1@?\n" + more, "'?' is not declared")


def test_of_two_errors_the_earlier_is_reported(read: Read) -> None:
    body = b"".join(b"#%d\n%d!\n" % (i, i & 1) for i in range(100_000))
    early = body.index(b"#20000")
    check(read, HEADER + body[:early] + b"1@?\n" + body[early:] + b"1%\n", "'?' is not declared")


def test_a_time_that_goes_back_at_a_block_edge_is_seen(read: Read) -> None:
    first = b"".join(b"#%d\n%d!\n" % (i, i & 1) for i in range(1000, 3000))
    for size in range(4096, 4200, 7):
        check(
            read,
            HEADER + first + b"@#17\n1!\n" + b"0!" * 2000,
            "time goes back from 2999 to 17",
            block_bytes=size,
        )


def test_a_directory_a_missing_file_and_a_closed_one_are_explained(tmp_path: Path) -> None:
    from .conftest import read_file

    for path, says in ((tmp_path, "this is a folder"), (tmp_path / "none.vcd", "no such file")):
        with pytest.raises(CaptureError, match=says) as caught:
            read_file(path)
        assert caught.value.hint
        assert caught.value.path == str(path)
