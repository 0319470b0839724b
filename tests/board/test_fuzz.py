"""Whatever the file holds, loading gives a board or one `BoardError` that is safe to print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rastertap.board.load import parse_board
from rastertap.board.model import Timing
from rastertap.errors import BoardError

if TYPE_CHECKING:
    import random

WORDS = st.sampled_from(
    [
        "schema",
        "name",
        "pins",
        "timing",
        "colours",
        "set",
        "list",
        "role",
        "bit",
        "hsync",
        "colour",
        "D0",
        "[",
        "]",
        "[[",
        "]]",
        "{",
        "}",
        "=",
        ".",
        ",",
        '"',
        "'",
        '"""',
        "#",
        "\n",
        "1",
        "-1",
        "0.5",
        "nan",
        "inf",
        "true",
        "1e400",
        "99999999999999999999",
        "312/50",
        "rgb",
        "[pins.D0]",
        "\x1b",
        "\x00",
        "\u00e9",
    ]
)
TIMING_KEYS = st.sampled_from((*Timing.model_fields, "wrong"))


def load(text: str) -> None:
    try:
        parse_board(text)
    except BoardError as error:
        caught = error
    else:
        return
    assert caught.problems
    assert all(problem.line <= text.count("\n") + 1 for problem in caught.problems)
    assert str(caught).replace("\n", "").isprintable()


@settings(deadline=None)  # the cores may be shared
@given(st.text())
def test_any_text_gives_only_a_board_error(text: str) -> None:
    load(text)


@settings(deadline=None)  # the cores may be shared
@given(st.lists(WORDS, max_size=40), st.sampled_from(["", " "]))
def test_toml_like_text_gives_only_a_board_error(words: list[str], gap: str) -> None:
    load(gap.join(words))


@settings(deadline=None)  # the cores may be shared
@given(st.randoms(use_true_random=False), st.integers(1, 6))
def test_a_damaged_board_gives_only_a_board_error(good_text: str, rng: random.Random, damages: int) -> None:
    text = good_text
    for _ in range(damages):
        at, until = sorted(rng.sample(range(len(text)), 2))
        if rng.random() < 0.5:
            text = text[:at] + text[min(until, at + rng.randint(1, 20)) :]
        else:
            text = (
                text[:at] + rng.choice(['"', "=", "[", "\n", "7", ".", "\x1b", "\\u001b", "true"]) + text[at:]
            )
    load(text)


VALUES = st.recursive(
    st.one_of(st.integers(), st.floats(), st.booleans(), st.text(max_size=8)),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=6,
)


def toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(value)


@settings(deadline=None)  # the cores may be shared
@given(st.dictionaries(TIMING_KEYS, VALUES))
def test_any_value_of_any_timing_key_gives_only_a_board_error(timing: dict[str, Any]) -> None:
    keys = "".join(f"{key} = {toml(value)}\n" for key, value in timing.items())
    load(f'schema = "rastertap.board/1"\nname = "x"\n[timing]\n{keys}')
