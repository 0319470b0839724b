"""The shipped JSON Schema, by an independent validator: it takes what is written and refuses what is not."""

from __future__ import annotations

import json
from copy import deepcopy
from importlib import resources
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator

from rastertap.report.document import dumps

if TYPE_CHECKING:
    from collections.abc import Callable

GOOD = "marlow85-50"
NAMES = (GOOD, "marlow85-60", "marlow85-50-shifted", "marlow85-50-clock-drops", "marlow85-50-lost-lines")


@pytest.fixture(scope="module")
def schema() -> Draft202012Validator:
    text = resources.files("rastertap.report").joinpath("schema/check-1.json").read_text("utf-8")
    Draft202012Validator.check_schema(json.loads(text))
    return Draft202012Validator(json.loads(text))


def as_written(document: dict[str, Any]) -> dict[str, Any]:
    """The document as a reader of the JSON gets it."""
    return json.loads(dumps(document))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("with_board", [True, False])
def test_the_result_of_every_demo_capture_is_valid(
    schema: Draft202012Validator, checked: Callable[..., Any], name: str, *, with_board: bool
) -> None:
    found = as_written(checked(name, with_board=with_board).document)
    assert [f"{e.json_path}: {e.message}" for e in schema.iter_errors(found)] == []


def test_the_result_of_a_capture_without_clock_and_sync_is_valid(
    schema: Draft202012Validator, tmp_path: Any
) -> None:
    from rastertap.analyse import analyse_path
    from rastertap.report.document import document

    path = tmp_path / "quiet.vcd"
    path.write_text(
        "$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end\n#0\n0!\n#5\n1!\n#900\n0!\n"
    )
    found = as_written(document(analyse_path(str(path))))
    assert [f"{e.json_path}: {e.message}" for e in schema.iter_errors(found)] == []
    assert found["clock"]["source"] == "none"
    assert found["timing"] is None


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), "rastertap.check/2"),
        (("verdict", "place"), "the clock"),
        (("verdict", "confidence"), 1.2),
        (("verdict", "next"), []),
        (("findings", 0, "result"), "ok"),
        (("findings", 0, "id"), "no group"),
        (("clock", "frequency_hz"), "9 MHz"),
        (("capture", "tick_s"), "1e-9"),
        (("pins", 0, "role"), "pixelclock"),
        (("timing", "lines_per_field"), [312.3]),
        (("frames", 0, "active", "width"), -1),
    ],
)
def test_a_wrong_value_is_refused(
    schema: Draft202012Validator, checked: Callable[..., Any], path: tuple[str | int, ...], value: object
) -> None:
    found: Any = deepcopy(as_written(checked(GOOD).document))
    *outer, last = path
    inside = found
    for key in outer:
        inside = inside[key]
    inside[last] = value
    assert not schema.is_valid(found)


@pytest.mark.parametrize("path", [("verdict",), ("findings",), ("capture", "sha256"), ("sampling", "phase")])
def test_a_missing_key_is_refused(
    schema: Draft202012Validator, checked: Callable[..., Any], path: tuple[str, ...]
) -> None:
    found: Any = deepcopy(as_written(checked(GOOD).document))
    *outer, last = path
    inside = found
    for key in outer:
        inside = inside[key]
    del inside[last]
    assert not schema.is_valid(found)
