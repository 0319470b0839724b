"""The host's loop: what is still to do, a bounded number of shards at work, each row written as it comes."""

from __future__ import annotations

from concurrent.futures import FIRST_COMPLETED, Future, wait
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rastertap.batch.task import Row, Settings, failed_row, has_page, hash_of, page_name, stamp_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from rastertap.batch.journal import Journal

AGAIN = {"crashed", "error"}
"""Results that another run tries again: they may have come from the machine, not from the capture."""


class Pool(Protocol):
    """Workers, local or far away.

    Attributes
    ----------
    depth : int
        Shards to have at work at once.
    shard : int
        Captures in each.
    lost : tuple of exception types
        Raised by a future whose worker died.
    """

    depth: int
    shard: int
    lost: tuple[type[BaseException], ...]

    def submit(self, settings: Settings, paths: Sequence[str]) -> Future[list[Row]]:
        """Start a shard."""

    def renew(self) -> None:
        """Make the pool usable again after a worker was lost."""


def still_good(row: Row | None, settings: Settings, path: str, *, rehash: bool = False) -> bool:
    """Whether a row says what checking the capture now would say."""
    if row is None or row["result"] in AGAIN or not row["sha256"]:
        return False
    if has_page(settings, row["result"]) and not (Path(settings.folder) / page_name(path)).is_file():
        return False
    if not rehash and row["stamp"] is not None and row["stamp"] == stamp_of(path):
        return True
    return bool(row["sha256"] == hash_of(path))


def run(
    paths: Sequence[str],
    settings: Settings,
    journal: Journal,
    pool: Pool,
    *,
    rehash: bool = False,
    told: Callable[[int], None] = lambda _: None,
) -> int:
    """Check what has no good row yet.

    Parameters
    ----------
    paths : sequence of str
        Captures, each once.
    told : callable
        Called with the number of captures that are done, old ones included.

    Returns
    -------
    int
        How many were checked now.
    """
    done = 0

    def to_do() -> Iterator[str]:
        nonlocal done
        for path in paths:
            if still_good(journal.get(path), settings, path, rehash=rehash):
                done += 1
                told(done)
            else:
                yield path

    checked = 0
    for row in rows_of(to_do(), settings, pool):
        journal.add(row)
        checked, done = checked + 1, done + 1
        told(done)
    return checked


def rows_of(paths: Iterable[str], settings: Settings, pool: Pool) -> Iterator[Row]:
    """Give the row of every capture as it is finished; of those whose worker dies even when alone, too."""
    rest = iter(paths)
    working: dict[Future[list[Row]], tuple[str, ...]] = {}
    suspects: list[str] = []
    while True:
        while not suspects and len(working) < pool.depth and (shard := tuple(islice(rest, pool.shard))):
            try:
                working[pool.submit(settings, shard)] = shard
            except pool.lost:
                suspects += shard
        if not working and not suspects:
            return
        if working:
            ready, _ = wait(working, return_when=FIRST_COMPLETED)
            for future in ready:
                shard = working.pop(future)
                try:
                    yield from future.result()
                except pool.lost:
                    suspects += shard
        elif suspects:
            pool.renew()
            yield from _alone(suspects, settings, pool)
            suspects = []


def _alone(suspects: Iterable[str], settings: Settings, pool: Pool) -> Iterator[Row]:
    """Check captures one at a time, so that a worker that dies tells on which."""
    for path in suspects:
        try:
            yield from pool.submit(settings, (path,)).result()
        except pool.lost:
            pool.renew()
            yield failed_row(
                settings, path, "crashed", "the worker died on this capture, twice; out of memory?"
            )
