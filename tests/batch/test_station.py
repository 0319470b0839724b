"""What a test station gets: own limits, JUnit XML, labels."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

from rastertap.batch.junit import write_junit
from rastertap.batch.label import label_text
from rastertap.board.load import load_board, parse_board
from rastertap.checks.interface import Finding
from rastertap.errors import BoardError
from rastertap.production import own_limits

BOARD = (Path(__file__).parents[2] / "captures" / "marlow85-50.toml").read_text().partition("[picture]")[0]
LIMITS = '\n[production.limits]\n"clock.frequency" = [99.0, 101.0]\n'


def finding(measured: float | None, uncertainty: float = 0.1, name: str = "clock.frequency") -> Finding:
    result = "not_measured" if measured is None else "pass"
    return Finding(name, result, "Said.", measured, uncertainty, "0 .. 1000 Hz", "Hz", "elsewhere")


@pytest.mark.parametrize(
    ("measured", "result"),
    [
        (100.0, "pass"),
        (100.79, "pass"),
        (100.9, "warn"),
        (101.1, "warn"),
        (101.21, "fail"),
        (98.79, "fail"),
        (None, "fail"),
    ],
)
def test_a_boards_own_limits_decide_with_two_uncertainties_to_either_side(
    measured: float | None, result: str
) -> None:
    (held,) = own_limits([finding(measured)], parse_board(BOARD + LIMITS))
    assert held.result == result
    assert "99 .. 101 Hz" in held.limit
    assert held.source == "board file, production limits"


def test_what_cannot_be_less_than_nothing_is_not_too_close_to_it() -> None:
    limits = BOARD + LIMITS.replace("[99.0,", "[0,")
    assert "[0, 101.0]" in limits
    (held,) = own_limits([finding(0.05)], parse_board(limits))
    assert held.result == "pass"
    (above,) = own_limits([finding(101.5)], parse_board(limits))
    assert above.result == "fail"


def test_other_findings_and_boards_without_limits_are_left_alone() -> None:
    other = finding(5.0, name="clock.duty")
    assert next(iter(own_limits([other, finding(100)], parse_board(BOARD + LIMITS)))) is other
    assert list(own_limits([other], parse_board(BOARD))) == [other]
    assert list(own_limits([other], None)) == [other]


def test_a_limit_on_what_no_check_gives_fails() -> None:
    (held,) = own_limits([], parse_board(BOARD + LIMITS))
    assert (held.id, held.result) == ("clock.frequency", "fail")


def test_own_limits_reach_the_verdict(tmp_path: Path) -> None:
    from rastertap.analyse import Request, analyse_path

    board = tmp_path / "board.toml"
    board.write_text(f'{BOARD}\n[production.limits]\n"clock.frequency" = [8999999, 9000000]\n')
    good = Path(__file__).parents[2] / "captures" / "marlow85-50.vcd.gz"
    verdict = analyse_path(str(good), Request(load_board(board), timebase_ppm=0.0)).verdict
    assert (verdict.place, verdict.because) == ("clock", ("clock.frequency",))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[production]\nserial = "("', "no regular expression"),
        ('[production.limits]\n"clock.frequency" = [2, 1]', r"\[low, high\]"),
        ("[production.limits]\nclock = [1, 2]", "no finding id"),
        ('[production]\ncolour = "red"', "colour"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_the_table_is_said_with_its_line(text: str, said: str) -> None:
    with pytest.raises(BoardError, match=said) as wrong:
        parse_board(f"{BOARD}\n{text}\n")
    assert wrong.value.problems[0].line > BOARD.count("\n")


def hostile() -> dict[str, Any]:
    text = "\x00\x1b[2J<&\"']]>\ud800"
    found = {"id": "taps.open", "result": "fail", "measured": 1.0, "unit": "<", "limit": "&", "text": text}
    return {
        "path": f"/{text}",
        "serial": text,
        "result": "fail",
        "text": text,
        "findings": [found],
        "sha256": "0" * 64,
    }


def test_junit_is_xml_whatever_a_capture_is_called() -> None:
    file = io.StringIO()
    write_junit(file, [hostile()])
    root = ET.fromstring(file.getvalue().encode())  # noqa: S314 - our own text
    assert root.find("testsuite/testcase/failure") is not None


def test_a_label_is_printable_and_small_whatever_a_capture_is_called() -> None:
    label = label_text(hostile(), "Ä" * 99)
    assert label.isascii()
    assert len(label.splitlines()) == 4
    assert all(len(line) <= 32 and line.isprintable() for line in label.splitlines())
    assert label.startswith("FAIL\n")


def test_what_was_not_tested_never_says_pass() -> None:
    for result in ("unreadable", "error", "crashed"):
        assert label_text(hostile() | {"result": result}).startswith("NOT TESTED\n")
