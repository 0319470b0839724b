"""``rastertap batch``: thousands of captures."""

from __future__ import annotations

import re
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rastertap.cli.options import PartsPerMillion, Size, Time, emit, is_terminal, text_width, writing
from rastertap.errors import CaptureError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from rastertap.batch.cluster import ClusterPool
    from rastertap.batch.journal import Journal
    from rastertap.batch.local import LocalPool
    from rastertap.batch.task import Row, Settings

ROWS = "rows.jsonl"
_EXAMPLES = """\b
Examples:
  rastertap batch captures --board board.toml --out results
  rastertap batch tests/*.vcd.gz --board board.toml --out results --pages fault --junit results/junit.xml
  rastertap batch archive --out results --cluster tcp://10.0.0.5:8786
"""


@click.command("batch", epilog=_EXAMPLES)
@click.argument("paths", nargs=-1, metavar="PATHS...")
@click.option(
    "--out", required=True, metavar="DIR", help="Folder for the results; run again with it to resume."
)
@click.option("--board", "board_path", metavar="FILE", help="Board file: pin map, timing, production limits.")
@click.option("--list", "list_path", metavar="FILE", help="Also the captures named in this file, one a line.")
@click.option(
    "--jobs", type=click.IntRange(1, 1024), metavar="N", help="Processes at work.  [default: one a core]"
)
@click.option("--cluster", metavar="ADDRESS", help="Use the workers of this dask.distributed scheduler.")
@click.option(
    "--table",
    "tables",
    type=click.Choice(["csv", "parquet"]),
    multiple=True,
    help="Also write the rows as rows.csv or rows.parquet at the end; may be repeated.",
)
@click.option(
    "--pages",
    type=click.Choice(["none", "fault", "all"]),
    default="none",
    show_default=True,
    help="Write the page of each capture that did not pass, or of all.",
)
@click.option("--junit", "junit_path", metavar="FILE", help="Write JUnit XML for a test station.")
@click.option("--labels", is_flag=True, help="Write a text for a label (4 lines of 32) for each capture.")
@click.option(
    "--serial",
    metavar="REGEX",
    help="Finds the serial number in the file name.  [default: that of the board file]",
)
@click.option("--rehash", is_flag=True, help="Do not trust size and times of a file: hash all when resuming.")
@click.option("--reader", metavar="NAME[:KEY=VALUE,..]", help="Reader to use and its options.")
@click.option("--text-limit", type=Size(), default=None, help="Let a compressed capture unpack to this.")
@click.option("--from", "start", type=Time(), default=0.0, help="Read from this time on, e.g. 20ms.")
@click.option("--to", "end", type=Time(), default=None, help="Read up to this time, e.g. 80ms.")
@click.option("--limits", metavar="NAME", default=None, help="Limit set (`rastertap standards` lists them).")
@click.option(
    "--timebase-ppm",
    type=PartsPerMillion(0, 10_000),
    default=50.0,
    show_default=True,
    help="Tolerance of the analyser's own clock.",
)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="DECODER.KEY=VALUE",
    help="Option of a decoder; may be repeated.",
)
@click.option("--quiet", "-q", is_flag=True, help="Write no text; the exit code tells.")
def command(
    *,
    paths: Sequence[str],
    out: str,
    list_path: str | None,
    jobs: int | None,
    cluster: str | None,
    tables: Sequence[str],
    junit_path: str | None,
    labels: bool,
    rehash: bool,
    quiet: bool,
    **rest: Any,
) -> int:
    """Check every capture in PATHS (files and folders) in parallel; one that is bad stops none of the others.

    Each result goes into DIR/rows.jsonl as it is there. Run again after a stop, it checks only what has no
    result yet: a capture, board file, option or version that changed is checked anew. At the end come
    DIR/rollup.txt, .json and .html.

    Exit code: the highest of all captures: 0 all in limits, 1 something out of limits, 3 a capture
    unreadable, 70 a bug or a lost worker; 2 wrong usage or board file, and nothing was checked.
    """
    from rastertap.batch.find import find_captures
    from rastertap.batch.journal import Journal
    from rastertap.batch.run import run
    from rastertap.cli.folder import captures_in

    if jobs is not None and cluster is not None:
        raise UsageError("--jobs is of this machine, --cluster of others", hint="leave one out")
    folder = Path(out)
    settings = _settings(folder=folder, **rest)
    found = find_captures([*paths, *_listed(list_path)], captures_in, folder)
    if not found:
        raise CaptureError("no capture there", path=" ".join(paths) or "-", hint="name files or folders")
    with writing(folder), Journal(folder / ROWS, settings.key) as journal:
        try:
            with _bar(len(found), quiet=quiet) as told, _pool(jobs, cluster, len(found)) as pool:
                checked = run(found, settings, journal, pool, rehash=rehash, told=told)
        finally:
            text = _written(folder, journal, found, tables)
        _for_stations(folder, journal, found, settings, junit_path, labels=labels)
        if not quiet:
            emit(
                f"{text}\n{checked} checked now, {len(found) - checked} known from before; results in {out}\n"
            )
        return _code(journal.rows(found))


def _settings(
    *,
    folder: Path,
    board_path: str | None,
    serial: str | None,
    pages: str,
    reader: str | None,
    text_limit: int | None,
    start: float,
    end: float | None,
    limits: str | None,
    timebase_ppm: float,
    settings: Sequence[str],
) -> Settings:
    """Check all that can be wrong before any capture is read."""
    from rastertap.analyse import DEFAULT_LIMITS, Request
    from rastertap.batch.key import settings_key, versions
    from rastertap.batch.task import Settings
    from rastertap.capture.interface import Window
    from rastertap.capture.read import reader_by_name
    from rastertap.cli.options import load_board_option, parse_reader, parse_settings
    from rastertap.decode import check_settings
    from rastertap.standards.limits import limits_for

    if end is not None and end <= start:
        raise UsageError("--to must be later than --from")
    limits_for(limits or DEFAULT_LIMITS, None)
    request = Request(
        load_board_option(board_path), limits or DEFAULT_LIMITS, timebase_ppm, parse_settings(settings)
    )
    check_settings(request.settings or {}, "--set")
    if request.board is not None:
        check_settings(request.board.decoders, "board file")
    name, options = parse_reader(reader)
    if name is not None:
        reader_by_name(name, options)
    window = Window(start, end)
    pattern = _pattern(serial, request.board)
    shared: dict[str, Any] = {
        "serial": pattern, "reader": name, "options": options, "window": window, "text_limit": text_limit
    }  # fmt: skip
    key = settings_key(request, board_path=board_path, **shared)
    pages_folder = str((folder / "pages").absolute())
    return Settings(request, key, versions(), pages=pages, folder=pages_folder, **shared)


def _pattern(given: str | None, board: Any) -> str:
    if given is None:
        return board.production.serial or "" if board is not None and board.production is not None else ""
    try:
        re.compile(given)
    except re.error as error:
        raise UsageError(f"--serial {given!r} is no regular expression: {error}") from None
    return given


def _listed(path: str | None) -> list[str]:
    if path is None:
        return []
    try:
        with click.open_file(path, encoding="utf-8", errors="surrogateescape") as file:
            return [line.rstrip("\r\n") for line in file if line.strip()]
    except OSError as error:
        raise UsageError(f"--list {path}: cannot be read: {error.strerror}", hint="check the path") from None


@contextmanager
def _pool(jobs: int | None, cluster: str | None, captures: int) -> Iterator[LocalPool | ClusterPool]:
    """Start workers, or meet those of a cluster; one whose scheduler goes away is told apart from a bug."""
    from concurrent.futures import CancelledError

    if cluster is None:
        from rastertap.batch.local import LocalPool, cores

        with LocalPool(min(jobs or cores(), captures)) as pool:
            yield pool
        return
    from rastertap.batch.cluster import ClusterPool

    try:
        with ClusterPool(cluster, captures) as far:
            yield far
    except CancelledError:
        hint = "start it again and run the same command: what was finished is kept"
        raise UsageError(f"the scheduler at {cluster} went away", hint=hint) from None


@contextmanager
def _bar(total: int, *, quiet: bool) -> Iterator[Callable[[int], None]]:
    """Show how many are done and the time left, to someone who watches."""
    if quiet or not is_terminal():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("checking"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as drawn:
        task = drawn.add_task("checking", total=total)
        yield lambda done: drawn.update(task, completed=done)


def _written(folder: Path, journal: Journal, paths: Sequence[str], tables: Sequence[str]) -> str:
    """Write roll-up and tables of what there is; give the roll-up as text."""
    from rastertap.batch.rollup import document, roll_up
    from rastertap.batch.rollup_text import rollup_page, rollup_text
    from rastertap.batch.tables import write_csv, write_parquet
    from rastertap.files import write_whole
    from rastertap.report.document import dumps

    rollup = roll_up(journal.rows(paths))
    text = rollup_text(rollup, text_width())
    write_whole(folder / "rollup.txt", text.encode())
    write_whole(folder / "rollup.json", dumps(document(rollup)).encode())
    write_whole(folder / "rollup.html", rollup_page(rollup).encode())
    for kind, write in (("csv", write_csv), ("parquet", write_parquet)):
        if kind in tables:
            write(folder / f"rows.{kind}", lambda: journal.rows(paths))
    return text


def _for_stations(
    folder: Path,
    journal: Journal,
    paths: Sequence[str],
    settings: Settings,
    junit_path: str | None,
    *,
    labels: bool,
) -> None:
    """Write JUnit XML and labels."""
    from rastertap.batch.junit import write_junit
    from rastertap.batch.label import label_text
    from rastertap.batch.task import page_name
    from rastertap.files import write_whole

    if junit_path is not None:
        with writing(junit_path):
            Path(junit_path).parent.mkdir(parents=True, exist_ok=True)
            with Path(junit_path).open("w", encoding="utf-8") as file:
                write_junit(file, journal.rows(paths))
    if labels:
        board = settings.request.board
        for row in journal.rows(paths):
            name = page_name(row["path"]).removesuffix(".html")
            text = label_text(row, board.name if board is not None else "")
            write_whole(folder / "labels" / f"{name}.txt", text.encode())


def _code(rows: Iterable[Row]) -> int:
    from rastertap.batch.task import EXIT_CODES

    return max(EXIT_CODES[row["result"]] for row in rows)
