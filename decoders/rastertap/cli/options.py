"""Options shared by the commands that read a capture, and what they turn into."""

from __future__ import annotations

import functools
import math
import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rastertap.errors import UsageError
from rastertap.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from rastertap.analyse import Analysis
    from rastertap.cli.saving import Saver

UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
SIZES = {"K": 10**3, "M": 10**6, "G": 10**9, "T": 10**12}
WIDTH = (60, 110)
"""Narrowest and widest text written; in between the terminal decides."""


class Time(click.ParamType[float]):
    """A time with its unit: ``20ms``, ``1.5s``; a bare number is seconds."""

    name = "TIME"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Turn the text into seconds."""
        if isinstance(value, float):
            return value
        text = str(value).strip()
        unit = next((u for u in sorted(UNITS, key=len, reverse=True) if text.endswith(u)), "")
        try:
            seconds = float(text.removesuffix(unit)) * UNITS.get(unit, 1.0)
        except ValueError:
            seconds = math.nan
        if not math.isfinite(seconds):
            self.fail(f"{text!r} is no time; write it like 20ms or 1.5s", param, ctx)
        if seconds < 0:
            self.fail(f"{text!r} is before the start of the capture", param, ctx)
        return seconds


class Size(click.ParamType[int]):
    """A number of bytes: ``20G``, ``500M``; a bare number is bytes."""

    name = "SIZE"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Turn the text into bytes."""
        text = str(value).strip().upper().removesuffix("B")
        factor = SIZES.get(text[-1:], 1)
        digits = text[:-1] if factor > 1 else text
        if not (digits.isascii() and digits.isdigit()) or not int(digits):
            self.fail(f"{value!r} is no size; write it like 500M or 20G", param, ctx)
        return int(digits) * factor


class PartsPerMillion(click.FloatRange):
    """A number in a range; click's own lets NaN pass, which is in no range."""

    name = "PPM"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Turn the text into a number."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is not a number", param, ctx)
        return number


def text_width() -> int:
    """Columns to write in."""
    return min(max(shutil.get_terminal_size((100, 24)).columns, WIDTH[0]), WIDTH[1])


def capture_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add CAPTURE and the options of every command that reads one; the command gets an `Analysis`."""
    decorators = [
        click.argument("capture"),
        click.option(
            "--board", "board_path", metavar="FILE", help="Board file: pin map, expected timing, colours."
        ),
        click.option(
            "--reader",
            metavar="NAME[:KEY=VALUE,..]",
            help="Reader to use (`rastertap decoders` lists them) and its options, e.g. csv:rate=24M.",
        ),
        click.option(
            "--text-limit",
            type=Size(),
            default=None,
            help="Let a compressed capture unpack to this many bytes, e.g. 20G.  "
            "[default: 1G, or 500 times its own size]",
        ),
        click.option("--from", "start", type=Time(), default=0.0, help="Read from this time on, e.g. 20ms."),
        click.option("--to", "end", type=Time(), default=None, help="Read up to this time, e.g. 80ms."),
        click.option(
            "--limits", metavar="NAME", default=None, help="Limit set (`rastertap standards` lists them)."
        ),
        click.option(
            "--timebase-ppm",
            type=PartsPerMillion(0, 10_000),
            default=50.0,
            show_default=True,
            help="Tolerance of the analyser's own clock.",
        ),
        click.option(
            "--set",
            "settings",
            multiple=True,
            metavar="DECODER.KEY=VALUE",
            help="Option of a decoder; may be repeated.",
        ),
        click.option(
            "--json", "json_path", metavar="FILE", help="Write the result as JSON; - is standard output."
        ),
        click.option("--quiet", "-q", is_flag=True, help="Write no text; the exit code tells."),
    ]

    @functools.wraps(command)
    def with_analysis(
        *,
        capture: str,
        board_path: str | None,
        reader: str | None,
        text_limit: int | None,
        start: float,
        end: float | None,
        limits: str | None,
        timebase_ppm: float,
        settings: Sequence[str],
        saver: Saver | None = None,
        **rest: Any,
    ) -> Any:
        from rastertap.analyse import DEFAULT_LIMITS, Request, analyse_path
        from rastertap.capture.interface import Window
        from rastertap.cli.progress import bar

        if end is not None and end <= start:
            raise UsageError("--to must be later than --from")
        request = Request(
            board=load_board_option(board_path),
            limits=_limits(limits or DEFAULT_LIMITS),
            timebase_ppm=timebase_ppm,
            settings=parse_settings(settings),
        )
        name, options = parse_reader(reader)
        with bar(quiet=bool(rest.get("quiet"))) as progress:
            analysis = analyse_path(
                capture,
                request,
                reader=name,
                options=options,
                window=Window(start, end),
                progress=progress,
                text_limit=text_limit,
                sink=saver,
            )
        if saver is not None:
            saver.finish(analysis)
            rest["saver"] = saver
        if not rest.get("quiet"):
            _warn_of_broken_plugins()
        return command(analysis=analysis, **rest)

    for decorator in reversed(decorators):
        with_analysis = decorator(with_analysis)
    return with_analysis


def _warn_of_broken_plugins() -> None:
    """Say what did not run: a check that is not there finds nothing."""
    from rastertap.plugins import load_all

    broken = [p for group in ("rastertap.decoders", "rastertap.checks") for p in load_all(group) if p.error]
    for plugin in broken:
        kind = plugin.group.rpartition(".")[2].removesuffix("s")
        click.echo(printable(f"warning: {kind} '{plugin.name}' cannot be used: {plugin.error}"), err=True)


def load_board_option(path: str | None) -> Any:
    """Read the board file when one is given."""
    if path is None:
        return None
    from rastertap.board.load import load_board

    return load_board(path)


def _limits(name: str) -> str:
    from rastertap.standards.limits import limits_for

    limits_for(name, None)
    return name


def parse_reader(text: str | None) -> tuple[str | None, dict[str, str]]:
    """Split ``name:key=value,key=value``."""
    if text is None:
        return None, {}
    name, _, rest = text.partition(":")
    options = {}
    for pair in rest.split(",") if rest else ():
        key, equals, value = pair.partition("=")
        if not equals or not key.strip():
            raise UsageError(
                f"--reader {text!r} is not NAME:KEY=VALUE,KEY=VALUE",
                hint="e.g. --reader csv:rate=24M,unit=us",
            )
        options[key.strip()] = value
    return name, options


def parse_settings(settings: Sequence[str]) -> dict[str, dict[str, str]]:
    """Split ``decoder.key=value`` texts."""
    found: dict[str, dict[str, str]] = {}
    for text in settings:
        name, equals, value = text.partition("=")
        decoder, dot, key = name.rpartition(".")
        if not equals or not dot:
            raise UsageError(
                f"--set {text!r} is not DECODER.KEY=VALUE", hint="e.g. --set sync-separate.tolerance=0.05"
            )
        found.setdefault(decoder, {})[key] = value
    return found


def write_json(path: str, value: Mapping[str, Any]) -> None:
    """Write JSON to a file or standard output."""
    from rastertap.files import write_whole
    from rastertap.report.document import dumps

    text = dumps(value)
    if path == "-":
        emit(text)
        return
    with writing(path):
        write_whole(Path(path), text.encode())


def draw_option(what: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add ``--draw DIR``; the command gets it as ``folder``."""
    return click.option("--draw", "folder", metavar="DIR", help=f"Write {what} there as drawings (SVG).")


def write_drawings(folder: str, drawings: Mapping[str, str]) -> None:
    """Write each drawing, by its name; one that is empty could not be made."""
    from rastertap.files import write_whole

    with writing(folder):
        Path(folder).mkdir(parents=True, exist_ok=True)
        for name, drawn in drawings.items():
            if drawn:
                write_whole(Path(folder) / f"{name}.svg", drawn.encode())


class writing:  # noqa: N801 - reads as a statement: with writing(path)
    """Turn an error of the file system into one that says which file and what to do."""

    def __init__(self, path: str | Path) -> None:
        self.path = path

    def __enter__(self) -> None:
        """Do nothing."""

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        """Name the file."""
        if isinstance(error, OSError):
            reason = error.strerror or str(error)
            raise UsageError(
                f"cannot write {self.path}: {reason.lower()}", hint="choose another place"
            ) from error


def say(text: str, *, quiet: bool, json_path: str | None) -> None:
    """Write the text result, unless the user wants none or JSON has standard output."""
    if not quiet and json_path != "-":
        emit(text)


def emit(text: str) -> None:
    """Write to standard output."""
    try:
        click.echo(text, nl=False)
    except BrokenPipeError:  # `| head` has read enough; the exit code is still to tell
        drop_output()


def drop_output() -> None:
    """Send standard output nowhere from here on: what is still buffered must not fail when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def exit_code(analysis: Analysis) -> int:
    """1 when something is out of limits, else 0."""
    return int(any(f.result == "fail" for f in analysis.findings))


def is_terminal() -> bool:
    """Whether someone watches standard error."""
    return sys.stderr.isatty()
