"""Texts for people are cut where a sentence ends."""

from __future__ import annotations

import pytest

from rastertap.printable import sentences

TEXT = "6 lines too short by 0.670 us. All moves there. 576 clocks a line."


@pytest.mark.parametrize(
    ("most", "kept"),
    [
        (0, "6 lines too short by 0.670 us."),
        (46, "6 lines too short by 0.670 us."),
        (47, "6 lines too short by 0.670 us. All moves there."),
        (65, "6 lines too short by 0.670 us. All moves there."),
        (66, TEXT),
        (999, TEXT),
    ],
)
def test_as_many_sentences_are_kept_as_fit(most: int, kept: str) -> None:
    assert sentences(TEXT, most) == kept


def test_a_text_without_a_full_stop_is_kept_whole() -> None:
    assert sentences("no end") == "no end"
    assert sentences("") == ""
