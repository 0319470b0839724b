"""Turn what pydantic found wrong into sentences with a suggestion."""

from __future__ import annotations

import reprlib
from difflib import get_close_matches
from typing import TYPE_CHECKING

from rastertap.board.model import SCHEMA, Board, Colours, Pin, Timing
from rastertap.board.picture import Picture, Region
from rastertap.errors import BoardProblem
from rastertap.printable import printable
from rastertap.standards.modes import MODES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

Place = tuple[str | int, ...]

TABLES: dict[str, type[BaseModel]] = {
    "[pins.CHANNEL]": Pin,
    "[timing]": Timing,
    "[colours]": Colours,
    "[picture]": Picture,
    "[[picture.regions]]": Region,
}

EXAMPLES = {
    "schema": f'schema = "{SCHEMA}"',
    "name": 'name = "Marlow 85"',
    "pins": '[pins.D0] and below it role = "hsync"',
    "timing": '[timing] and below it standard = "312/50"',
    "colours": '[colours] and below it set = "rgbi"',
    "decoders": "[decoders.sync-separate] and below it an option of that decoder",
    "role": 'role = "hsync"',
    "bit": "bit = 0",
    "polarity": 'polarity = "negative"',
    "chip_pin": "chip_pin = 12",
    "connector": "connector = 3",
    "wire": 'wire = "brown"',
    "note": 'note = "seen from the component side"',
    "standard": 'standard = "312/50"',
    "pixel_clock_hz": 'pixel_clock_hz = 9000000 or "13500000*2/3"',
    "pixel_clock_tolerance_ppm": "pixel_clock_tolerance_ppm = 100",
    "pixels_per_line": "pixels_per_line = 576",
    "lines_per_field": "lines_per_field = [312]",
    "interlaced": "interlaced = false",
    "line_rate_hz": 'line_rate_hz = 15625 or "2250000/143"',
    "line_rate_tolerance_ppm": "line_rate_tolerance_ppm = 500",
    "field_rate_hz": 'field_rate_hz = 50 or "15625/312"',
    "hsync_width_us": "hsync_width_us = [4.5, 4.9]",
    "vsync_width_lines": "vsync_width_lines = [2.5, 3.5]",
    "set": 'set = "rgbi"',
    "dark_yellow": "dark_yellow = true",
    "list": 'list = ["#000000", "#FFFFFF"]',
    "palette": 'palette = "board.pal"',
    "component_mv": "component_mv = [[0, 0, 0], [700, 0, 0]]",
    "luma_chroma": "luma_chroma = [[0, 0, 0], [700, 0, 0], [350, 150, 103.5]]",
    "picture": '[picture] and below it reference = "good.vcd.gz"',
    "active": "active = [136, 46, 384, 240]",
    "blanking": "blanking = 0",
    "reference": 'reference = "good.vcd.gz"',
    "regions": "[[picture.regions]] and below it at = [0, 0, 384, 20] and code = 1",
    "at": "at = [0, 0, 384, 20]",
    "code": "code = 1",
    "bars": "bars = [0, 1, 2, 3, 4, 5, 6, 7]",
    "either": "either = [1, 14]",
}
"""How each key is written."""

_KINDS = {
    "int_type": "a whole number",
    "float_type": "a number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list in [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def problem_of(error: ErrorDetails, line: int) -> BoardProblem:
    """Describe one pydantic error of a `Board` on a line of its file."""
    place = place_of(error)
    message = _message(error, place)
    return board_problem(line, place, message, _hint(error, place))


def board_problem(line: int, place: Place, message: str, hint: str) -> BoardProblem:
    """Make a problem whose texts are safe to print."""
    return BoardProblem(line, printable(_dotted(place)), printable(message), printable(hint))


def place_of(error: ErrorDetails) -> Place:
    """Key path of a pydantic error."""
    return tuple(part for part in error["loc"] if part != "[key]")


def _dotted(place: Place) -> str:
    text = ""
    for part in place:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text or "board"


def _message(error: ErrorDetails, place: Place) -> str:
    kind, value = error["type"], error["input"]
    if kind in ("extra_forbidden", "missing"):
        return "is missing" if kind == "missing" else "is not a known key"
    if kind in _KINDS:
        return f"must be {_KINDS[kind]}, not {_shown(value)}"
    if kind == "value_error":
        return f"{error['ctx']['error']}" if place[-1:] == ("standard",) else _with_value(error)
    if kind == "string_pattern_mismatch":
        return f"must be a colour like #FF8000, not {_shown(value)}"
    if kind == "too_long":
        return (
            f"has {error['ctx']['actual_length']} values, at most {error['ctx']['max_length']} are possible"
        )
    wanted = error["msg"].replace("Input should", "must").replace("String should", "must")
    return f"{wanted}, not {_shown(value)}"


def _with_value(error: ErrorDetails) -> str:
    said = f"{error['ctx']['error']}"
    return said if isinstance(error["input"], dict) else f"{said}: {_shown(error['input'])}"


def _shown(value: object) -> str:
    short = reprlib.Repr()
    short.maxstring = short.maxother = 60
    if isinstance(value, bool):
        return "true" if value else "false"
    return short.repr(value)


def _hint(error: ErrorDetails, place: Place) -> str:
    key = next((part for part in reversed(place) if isinstance(part, str)), "")
    if error["type"] == "extra_forbidden":
        return _hint_for_unknown(key, place)
    if error["type"] == "literal_error":
        return _closest(str(error["input"]), _allowed(place)) or f"e.g. {EXAMPLES[key]}"
    if place == ("timing", "standard"):
        return _closest(str(error["input"]), MODES) or f"one of: {', '.join(MODES)}"
    if len(place) == 2 and place[0] in ("pins", "decoders"):  # noqa: PLR2004 - the table of one channel or decoder
        return EXAMPLES[str(place[0])]
    return f"e.g. {EXAMPLES[key]}" if key in EXAMPLES else ""


def _hint_for_unknown(key: str, place: Place) -> str:
    known = _keys(_model_at(place))
    near = _closest(key, known)
    if near:
        return near
    for table, model in TABLES.items():
        if key in _keys(model):
            return f"it belongs under {table}"
    return f"known here: {', '.join(known)}"


def _closest(word: str, words: Iterable[str]) -> str:
    near = get_close_matches(word[:100].lower(), list(words), n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else ""


def _model_at(place: Sequence[str | int]) -> type[BaseModel]:
    if place[:2] == ("picture", "regions") and len(place) > 3:  # noqa: PLR2004 - a key of one region
        return Region
    if len(place) > 1:
        models: dict[str, type[BaseModel]] = {
            "pins": Pin,
            "timing": Timing,
            "colours": Colours,
            "picture": Picture,
        }
        return models.get(str(place[0]), Board)
    return Board


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _allowed(place: Place) -> list[str]:
    """Values that a key with fixed words takes, read from the model's own JSON Schema."""
    schema = _model_at(place).model_json_schema()
    entry = schema["properties"].get(str(place[-1]), {})
    choices = [entry, *entry.get("anyOf", [])]
    return [str(value) for choice in choices for value in choice.get("enum", [choice.get("const")]) if value]
