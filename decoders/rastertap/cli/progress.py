"""The bar on standard error, shown only to someone who watches and waits for over a second."""

from __future__ import annotations

import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rastertap.progress import Progress, Silent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.progress import Progress as RichProgress
    from rich.progress import TaskID

PATIENCE_S = 1.0


class _Bar:
    """Bytes read, drawn by rich from the first second on."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._what, self._total = "reading", None  # type: str, int | None
        self._rich: RichProgress | None = None
        self._task: TaskID | None = None

    def start(self, what: str, total_bytes: int | None) -> None:
        self._what, self._total = what, total_bytes

    def advance(self, done_bytes: int) -> None:
        if self._rich is None and time.monotonic() - self._began > PATIENCE_S:
            from rich.console import Console
            from rich.markup import escape
            from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

            columns = (TextColumn("{task.description}"), BarColumn(), DownloadColumn(), TimeRemainingColumn())
            self._rich = Progress(*columns, console=Console(stderr=True), transient=True)
            self._rich.start()
            self._task = self._rich.add_task(escape(self._what), total=self._total)
        if self._rich is not None and self._task is not None:
            self._rich.update(self._task, completed=done_bytes)

    def finish(self) -> None:
        if self._rich is not None:
            self._rich.stop()
            self._rich = None


@contextmanager
def bar(*, quiet: bool) -> Iterator[Progress]:
    """Give a progress to report to, and take the bar away at the end, whatever happens."""
    from rastertap.cli.options import is_terminal

    if quiet or not is_terminal():
        yield Silent()
        return
    drawn = _Bar()
    try:
        yield drawn
    finally:
        drawn.finish()
