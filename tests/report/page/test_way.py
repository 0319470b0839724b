"""The stages of the signal's way, from findings and a verdict."""

from __future__ import annotations

import pytest

from rastertap.checks.interface import Finding
from rastertap.checks.verdict import Place, Verdict
from rastertap.report.page.way import signal_way

PASSED = tuple(
    Finding(name, "pass", "All right.")
    for name in ("taps.open", "taps.shifted", "clock.jitter", "sync.present", "picture.blank")
)


def states(place: Place, *more: Finding) -> dict[str, str]:
    """State of each stage; ``more`` takes the place of findings with the same id."""
    ids = {f.id for f in more}
    found = [*(f for f in PASSED if f.id not in ids), *more]
    return {s.key: s.state for s in signal_way(found, Verdict(place, 1.0, "", (), ()))}


def test_all_is_in_order_up_to_the_pins() -> None:
    assert states("after_the_pins") == {
        "clock": "sound",
        "video_chip": "sound",
        "taps": "sound",
        "connector": "sound",
        "after_the_pins": "look",
    }


@pytest.mark.parametrize(
    ("finding", "stage"),
    [("taps.open", "taps"), ("taps.shifted", "connector"), ("taps.swapped", "connector")],
)
def test_while_the_wiring_is_wrong_chip_and_clock_are_judged_later(finding: str, stage: str) -> None:
    found = states(
        "taps",
        Finding(finding, "fail", "Wrong."),
        Finding("clock.jitter", "fail", "Much."),
        Finding("sync.present", "fail", "None."),
    )
    assert found[stage] == "fault"
    assert (found["clock"], found["video_chip"]) == ("later", "later")


def test_a_faulty_clock_leaves_the_chip_for_later_and_the_taps_in_order() -> None:
    found = states(
        "clock", Finding("clock.jitter", "fail", "Much."), Finding("sync.present", "fail", "None.")
    )
    assert (found["clock"], found["video_chip"], found["taps"]) == ("fault", "later", "sound")


def test_what_nobody_measured_is_said_so() -> None:
    unmeasured = [Finding(f.id, "not_measured", "No picture.") for f in PASSED if f.id.startswith("clock")]
    (clock,) = [s for s in signal_way(unmeasured, Verdict("undecided", 0.3, "", (), ())) if s.key == "clock"]
    assert (clock.state, clock.word, clock.text) == ("unknown", "not measured", "No picture.")


def test_a_doubt_is_a_look_and_more_than_one_fault_is_counted() -> None:
    assert states("undecided", Finding("clock.jitter", "warn", "Near."))["clock"] == "look"
    more = [Finding("sync.present", "fail", "None."), Finding("picture.blank", "fail", "Dark.")]
    stage = next(s for s in signal_way(more, Verdict("video_chip", 1.0, "", (), ())) if s.key == "video_chip")
    assert stage.text == "None. And 1 more, below."
