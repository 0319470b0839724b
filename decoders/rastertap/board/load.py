"""Read a board file; on any problem raise one error that lists all of them with their lines."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from rastertap.board.cross_check import LISTS, contradictions, too_few_or_many
from rastertap.board.locate import key_lines, line_of
from rastertap.board.model import Board, Colours, Pin, Timing
from rastertap.board.picture import Picture
from rastertap.board.problems import board_problem, place_of, problem_of
from rastertap.errors import BoardError, BoardProblem
from rastertap.printable import printable
from rastertap.standards.palette_file import parse_palette

if TYPE_CHECKING:
    import os

    from pydantic_core import ErrorDetails

    from rastertap.board.problems import Place

Part = TypeVar("Part", bound=BaseModel)

MAX_BYTES = 1_000_000
"""A board file is a few kilobytes; anything like this is another file."""
MAX_PROBLEMS = 100
"""Listed; the rest is counted."""

_TOML_PLACE = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)
_SYNTAX_HINTS = (
    ("Cannot", "each table and key may be written once only"),
    ("Expected '='", 'a line is: key = value, e.g. role = "hsync"'),
    ("", 'texts stand in quotes (role = "hsync"), lists in [ ], comments after #'),
)


def load_board(path: str | os.PathLike[str]) -> Board:
    """Read and check a board file.

    Raises
    ------
    BoardError
        With every problem found, each with its line (0 where the file has none) and what to do.
    """
    label = printable(str(path))
    try:
        with Path(path).open("rb") as file:
            content = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        problem = BoardProblem(0, "file", f"cannot be read: {printable(reason)}", "check the path")
        raise BoardError(label, (problem,)) from None
    if len(content) > MAX_BYTES:
        problem = BoardProblem(0, "file", f"is longer than {MAX_BYTES} bytes", "this is not a board file")
        raise BoardError(label, (problem,))
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = BoardProblem(line, "file", f"is not UTF-8 at byte {error.start}", "save it as UTF-8 text")
        raise BoardError(label, (problem,)) from None
    return _beside(parse_board(text, label), Path(path), text)


def _beside(board: Board, path: Path, text: str) -> Board:
    """Find what the board file names beside itself: the known picture's reference, the palette."""
    return _with_palette(_with_reference(board, path, text), path, text)


def _with_reference(board: Board, path: Path, text: str) -> Board:
    picture = board.picture
    if picture is None or picture.reference is None:
        return board
    reference = path.parent / picture.reference
    if not reference.is_file():
        raise _not_there(path, text, ("picture", "reference"), reference)
    return board.model_copy(update={"picture": picture.model_copy(update={"reference": str(reference)})})


def _not_there(path: Path, text: str, at: Place, file: Path) -> BoardError:
    message = f"there is no file {printable(str(file))}"
    problem = board_problem(line_of(key_lines(text), at), at, message, "give its path from the board file on")
    return BoardError(printable(str(path)), (problem,))


def _with_palette(board: Board, path: Path, text: str) -> Board:
    """Read the palette into the list of colours."""
    if board.colours is None or board.colours.palette is None:
        return board
    at, file = ("colours", "palette"), path.parent / board.colours.palette
    if not file.is_file():
        raise _not_there(path, text, at, file)
    listed = load_palette(file)
    bits = len(board.colour_channels)
    message = too_few_or_many(len(listed), bits) if bits else ""
    if message:
        problem = board_problem(line_of(key_lines(text), at), at, message, f"correct {file.name}")
        raise BoardError(printable(str(path)), (problem,))
    return board.model_copy(update={"colours": board.colours.model_copy(update={"colours": listed})})


def load_palette(file: Path) -> tuple[str, ...]:
    """Read a palette (a line ``R G B`` for each code) as ``#RRGGBB`` texts.

    Raises
    ------
    BoardError
        With every line that is wrong.
    """
    label = printable(str(file))
    try:
        content = file.read_bytes()[: MAX_BYTES + 1]
        colours, wrong = parse_palette(content.decode("utf-8-sig"))
    except OSError as error:
        problem = BoardProblem(0, "palette", f"cannot be read: {error.strerror}", "check the path")
        raise BoardError(label, (problem,)) from None
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = BoardProblem(
            line, "palette", f"is not UTF-8 at byte {error.start}", "a palette is text, R G B a line"
        )
        raise BoardError(label, (problem,)) from None
    if wrong:
        found = [BoardProblem(p.line, "palette", printable(p.message), p.hint) for p in wrong[:MAX_PROBLEMS]]
        raise BoardError(label, tuple(found))
    return tuple("#{:02X}{:02X}{:02X}".format(*row) for row in colours.tolist())


def parse_board(text: str, label: str = "board") -> Board:
    """Read and check the text of a board file; ``label`` is what errors call it.

    Raises
    ------
    BoardError
        As `load_board`.
    """
    data = _parse_toml(text, label)
    try:
        return Board.model_validate(data)
    except ValidationError as error:
        problems = _all_problems(data, error.errors(), key_lines(text))
    raise BoardError(printable(label), problems)


def _parse_toml(text: str, label: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        problem = BoardProblem(0, "file", "is nested too deeply", "a board file needs two levels")
    except ValueError as error:
        problem = _syntax_problem(str(error), text)
    raise BoardError(printable(label), (problem,))


def _syntax_problem(reason: str, text: str) -> BoardProblem:
    found = _TOML_PLACE.fullmatch(reason)
    message, line, column = found.groups() if found else (reason, None, None)
    hint = next(hint for start, hint in _SYNTAX_HINTS if message.startswith(start))
    at_line = int(line) if line else text.count("\n") + 1 if found else 0
    where = f"column {column}" if column else "end of file" if found else "file"
    return board_problem(at_line, (where,), message, hint)


def _all_problems(
    data: dict[str, Any], errors: list[ErrorDetails], lines: dict[Place, int]
) -> tuple[BoardProblem, ...]:
    # The board's own cross-check reports at the root, without a line: it is done again below, with lines.
    errors = [error for error in errors if error["loc"]]
    # A key that is missing from the top belongs on line 1.
    problems = [problem_of(error, line_of(lines, place_of(error)) or 1) for error in errors]
    problems += _contradictions(data, lines)
    problems.sort(key=lambda problem: problem.line)
    if len(problems) > MAX_PROBLEMS:
        rest = BoardProblem(
            0, "board", f"has {len(problems) - MAX_PROBLEMS} more problems", "mend these first"
        )
        problems = [*problems[:MAX_PROBLEMS], rest]
    return tuple(problems)


def _contradictions(data: dict[str, Any], lines: dict[Place, int]) -> list[BoardProblem]:
    """Cross-check what is right by itself, so that one slip does not hide the others."""
    tables = data.get("pins")
    candidates = {
        str(channel): _valid(Pin, table, needed=("role", "bit"))
        for channel, table in (tables if isinstance(tables, dict) else {}).items()
    }
    pins = {channel: pin for channel, pin in candidates.items() if pin is not None}
    timing = _valid(Timing, data.get("timing")) or Timing()
    colours = _valid(Colours, data.get("colours"), needed=("set", *LISTS))
    picture = _valid(Picture, data.get("picture"), needed=("regions", "reference"))
    found = contradictions(pins, timing, colours, picture, pins_complete=len(pins) == len(candidates))
    return [board_problem(line_of(lines, c.at), c.at, c.message, c.hint) for c in found]


def _valid(model: type[Part], table: object, needed: tuple[str, ...] = ()) -> Part | None:
    """Make the part from those keys of its table that are right; None when a needed one is not."""
    if not isinstance(table, dict):
        return None
    try:
        return model.model_validate(table)
    except ValidationError as error:
        wrong = {detail["loc"][0] if detail["loc"] else "" for detail in error.errors()}
    # An error at the root is one of the part as a whole: no part of it is right by itself.
    if "" in wrong or wrong.intersection(needed):
        return None
    return model.model_validate({key: value for key, value in table.items() if key not in wrong})
