"""``rastertap watch``: a folder, each capture checked as the analyser saves it."""

from __future__ import annotations

import functools
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rastertap.cli.folder import captures_in
from rastertap.cli.options import Time, capture_options, emit, exit_code, text_width, write_json, writing
from rastertap.errors import CaptureError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.analyse import Analysis
    from rastertap.watch.session import Entry, Session

DEFAULT_PORT = 8585
_EXAMPLES = """\b
Examples:
  rastertap watch captures --board board.toml
  rastertap watch captures --board board.toml --serve
"""


def each_that_lands(command: Callable[..., int]) -> Callable[..., int]:
    """Turn a command on a capture into one on a folder that is watched; goes above `capture_options`.

    The highest exit code is that of all, when the session ends by itself.
    """

    @functools.wraps(command)
    def watch(
        *,
        capture: str,
        out: str | None,
        serve: bool,
        port: int,
        every: float,
        existing: bool,
        stop_after: int | None,
        **rest: Any,
    ) -> int:
        from rastertap.watch.folder import Landing, arrivals
        from rastertap.watch.session import Session

        folder = Path(capture)
        if not folder.is_dir():
            raise UsageError(f"{capture} is no folder", hint="name the folder into which the analyser saves")
        pages = Path(out) if out is not None else folder / "rastertap-pages"
        session, codes = Session(pages, served=serve), [0]
        landing = Landing(lambda: captures_in(folder), existing=existing)
        with ExitStack() as stack:
            with writing(pages):
                session.write()
            where = _served(stack, pages, port) if serve else str(pages / "index.html")
            if not rest["quiet"]:
                emit(f"watching {capture}; history: {where}; Ctrl-C ends it\n")
            found = arrivals(landing, every=every, most=stop_after)
            codes.extend(_code_of(command, path, session, rest) for path in found)
        return max(codes)

    return watch


def _served(stack: ExitStack, pages: Path, port: int) -> str:
    """Serve the pages until the stack is left; give their address."""
    from rastertap.watch.serve import served

    try:
        return stack.enter_context(served(pages, port))
    except OSError as error:
        raise UsageError(
            f"port {port} cannot be used: {error.strerror}", hint="choose another --port"
        ) from None


def _code_of(command: Callable[..., int], path: Path, session: Session, rest: dict[str, Any]) -> int:
    try:
        return command(capture=str(path), session=session, **rest)
    except CaptureError as error:
        with writing(session.folder):
            entry = session.add_unreadable(path, str(error))
        if not rest["quiet"]:
            emit(entry_text(entry, text_width()))
        return error.exit_code


def entry_text(entry: Entry, width: int) -> str:
    """Give the verdict on a capture of the session and what changed, for a terminal."""
    from rastertap.report.text import wrapped

    words = {"fault": "FAULT", "look": "look", "sound": "ok", "unknown": "unreadable"}
    head = f"{entry.number:3d}  {words[entry.state]:<10}  "
    lines = ["", wrapped(f"{entry.name}: {entry.place}: {entry.text}", width, head)]
    if entry.changes is not None:
        told = entry.changes or ("nothing changed by more than its uncertainty",)
        lines.append(wrapped(f"since {entry.since}:", width, " " * len(head)))
        lines += [wrapped(change, width, " " * (len(head) + 2)) for change in told]
    return "\n".join(lines) + "\n"


@click.command("watch", epilog=_EXAMPLES)
@click.option(
    "--out", metavar="DIR", help="Folder for the pages.  [default: rastertap-pages in the watched folder]"
)
@click.option("--serve", is_flag=True, help="Show the history at an address of this machine only.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=DEFAULT_PORT,
    show_default=True,
    help="Port for --serve; 0 takes a free one.",
)
@click.option(
    "--every",
    type=Time(),
    default="1s",
    show_default=True,
    help="Time from one look at the folder to the next.",
)
@click.option("--existing", is_flag=True, help="Check what is there already too, the oldest first.")
@click.option("--stop-after", type=click.IntRange(1), metavar="N", help="End after so many captures.")
@each_that_lands
@capture_options
def command(analysis: Analysis, session: Session, json_path: str | None, *, quiet: bool) -> int:
    """Watch folder DIR: check each capture that is saved into it, and say what changed since the one before.

    A page for each capture, and a history with the verdicts side by side, are kept as they come. A file
    counts once it stopped growing. All captures are taken to be made with one analyser, so that the error of
    its timebase cancels.

    Exit code: that of `check`, the highest of all captures, with --stop-after; 130 after Ctrl-C.
    """
    if json_path:
        from rastertap.report.document import document

        write_json(json_path, document(analysis))
    with writing(session.folder):
        entry = session.add(analysis)
    if not quiet:
        emit(entry_text(entry, text_width()))
    return exit_code(analysis)


for _parameter in command.params:
    if _parameter.name == "capture":
        _parameter.metavar = "DIR"
