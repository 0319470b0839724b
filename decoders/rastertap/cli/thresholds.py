"""``rastertap thresholds``: telling colours apart by their levels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import say, write_json
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

    from rastertap.handover.thresholds import Marks
    from rastertap.standards.colour_set import ColourSet

AXES = {"ypbpr": ("Y", "Pb", "Pr"), "rgb": ("R", "G", "B")}
NAMES = ("rgb", "rgbi", "rrggbb", "rgb9", "rgb12", "rgb15", "rgb16", "grey")
_EXAMPLES = """\b
Examples:
  rastertap thresholds --colours rgbi --each 2
  rastertap thresholds --colours rgb --at Y=100,400 --at Pb=0 --at Pr=0
  rastertap thresholds --board board.toml --each 3 --distinct --json thresholds.json
"""


@click.command("thresholds", epilog=_EXAMPLES)
@click.option("--board", "board_path", metavar="FILE", help="Take the colours of this board file.")
@click.option("--colours", "name", type=click.Choice(NAMES), help="Take the colours of this set.")
@click.option("--bits", type=click.IntRange(1, 6), default=4, show_default=True, help="Bits of the set grey.")
@click.option("--dark-yellow", is_flag=True, help="Colour 6 of rgbi is dark yellow, not brown.")
@click.option("--codes", metavar="LIST", help="Only these codes of the set, e.g. 0-7,15.")
@click.option(
    "--axes",
    type=click.Choice(list(AXES)),
    default="ypbpr",
    show_default=True,
    help="What the device compares.",
)
@click.option(
    "--each", type=click.IntRange(1, 8), default=2, show_default=True, help="Thresholds on each axis."
)
@click.option(
    "--at",
    "given",
    multiple=True,
    metavar="AXIS=MV,..",
    help="Judge these thresholds instead; may be repeated.",
)
@click.option(
    "--least",
    type=click.FloatRange(0.001, 350),
    default=10.0,
    show_default=True,
    help="Margin in mV that tells two colours apart.",
)
@click.option(
    "--distinct", is_flag=True, help="Also give a set that is easier to tell apart and keeps the hues."
)
@click.option("--json", "json_path", metavar="FILE", help="Write the result as JSON; - is standard output.")
@click.option("--quiet", "-q", is_flag=True, help="Write no text.")
def command(
    *,
    board_path: str | None,
    name: str | None,
    bits: int,
    codes: str | None,
    axes: str,
    each: int,
    given: Sequence[str],
    least: float,
    json_path: str | None,
    dark_yellow: bool,
    distinct: bool,
    quiet: bool,
) -> int:
    """Place the thresholds of a device that tells colours apart by comparing their levels with them.

    Levels are those of BT.601 with white at 700 mV.
    """
    from rastertap.handover.distinct import axis_levels, more_distinct
    from rastertap.handover.thresholds import Judged, best_thresholds
    from rastertap.report.thresholds import Result, thresholds_document, thresholds_text

    colours = _colours(board_path, name, bits, dark_yellow=dark_yellow)
    chosen = _codes(codes, colours.size)
    table = colours.colours(chosen)
    levels = colours.levels(chosen) if axes == "ypbpr" else axis_levels(table, axes)
    marks = _marks(given, AXES[axes])
    judged = Judged(levels, marks, least) if marks else best_thresholds(levels, [each] * 3, least)
    better, again = None, None
    if distinct:
        better = more_distinct(table, axes)
        again = best_thresholds(axis_levels(better.table, axes), [each] * 3, least)
    result = Result(AXES[axes], chosen, table, judged, better, again, given=marks is not None)
    if json_path:
        write_json(json_path, thresholds_document(result))
    say(thresholds_text(result), quiet=quiet, json_path=json_path)
    return 0


def _colours(board_path: str | None, name: str | None, bits: int, *, dark_yellow: bool) -> ColourSet:
    from rastertap.standards.colour_set import named_set

    if (board_path is None) == (name is None):
        raise UsageError("say which colours: --colours NAME or --board FILE", hint="e.g. --colours rgbi")
    if name is not None:
        return named_set(name, bits, dark_yellow=dark_yellow)
    from rastertap.board.load import load_board

    board = load_board(str(board_path))
    if board.colours is None:
        raise UsageError(f"{board_path} states no colours", hint='add [colours] with set = "rgbi" or a list')
    if board.colours.colour_set == "component":
        raise UsageError("the set 'component' has too many colours for thresholds", hint="give --colours")
    listed = max(board.colours.stated.values(), default=2)
    return board.colours.known(len(board.colour_channels) or (listed - 1).bit_length())


def _codes(text: str | None, size: int) -> np.ndarray[tuple[int, ...], np.dtype[np.uint32]]:
    import numpy as np

    if text is None:
        return np.arange(size, dtype=np.uint32)
    found: list[int] = []
    for part in text.split(","):
        first, dash, last = part.strip().partition("-")
        if not first.isdecimal() or (dash and not last.isdecimal()):
            raise UsageError(f"--codes {text!r} is no list of codes", hint="e.g. --codes 0-7,15")
        found += range(int(first), int(last or first) + 1) if int(last or first) < size else [size]
    if not found or max(found) >= size:
        raise UsageError(f"--codes {text!r}: the set has the codes 0 to {size - 1}")
    return np.unique(np.array(found, np.uint32))


def _marks(given: Sequence[str], axes: tuple[str, ...]) -> Marks | None:
    """Thresholds given by hand."""
    if not given:
        return None
    found: dict[str, list[float]] = {axis: [] for axis in axes}
    for text in given:
        axis, equals, values = text.partition("=")
        name = next((a for a in axes if a.lower() == axis.strip().lower()), None)
        if not equals or name is None:
            raise UsageError(
                f"--at {text!r} names none of the axes {', '.join(axes)}", hint=f"e.g. --at {axes[0]}=350"
            )
        try:
            numbers = [float(v) for v in values.split(",")]
        except ValueError:
            raise UsageError(
                f"--at {text!r}: thresholds are numbers in mV", hint=f"e.g. --at {axes[0]}=100,400"
            ) from None
        if not all(-1e6 < v < 1e6 for v in numbers):  # noqa: PLR2004 - also refuses what is no number
            raise UsageError(f"--at {text!r}: that is no level of a video signal")
        found[name] += numbers
    return tuple(tuple(sorted(set(found[axis]))) for axis in axes)
