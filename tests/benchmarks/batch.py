"""Captures a second: a plain loop against 1 and 2 processes; what a file and a shard cost besides.

Prints figures and ratios; never part of the tests. On a machine that does other things too, compare the
processor times.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from rastertap.analyse import Request, analyse_path
from rastertap.batch.journal import Journal
from rastertap.batch.local import LocalPool
from rastertap.batch.run import run
from rastertap.batch.task import Settings, failed_row

if TYPE_CHECKING:
    from collections.abc import Callable

CAPTURE = Path(__file__).parents[2] / "captures" / "marlow85-50.vcd.gz"
SETTINGS = Settings(Request(), "benchmark")


def timed(what: str, count: int, work: Callable[[], object]) -> float:
    """Run, print captures a second by the clock and processor seconds a capture, children included."""
    before, begun = os.times(), time.perf_counter()
    work()
    after, wall = os.times(), time.perf_counter() - begun
    processor = sum(after[:4]) - sum(before[:4])
    print(f"{what:<34} {count / wall:9.2f} captures/s  {1e3 * processor / count:9.2f} ms processor each")
    return wall


def batch(paths: list[str], folder: Path, workers: int) -> None:
    """Check all with so many processes."""
    with Journal(folder / f"{workers}" / "rows.jsonl", SETTINGS.key) as journal, LocalPool(workers) as pool:
        run(paths, SETTINGS, journal, pool)


def main(count: int) -> None:
    """Measure with so many captures."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths = [str(folder / f"{n}.vcd.gz") for n in range(count)]
        for path in paths:
            shutil.copy(CAPTURE, path)
        print(f"{count} captures of {CAPTURE.stat().st_size / 1e6:.2f} MB, {os.cpu_count()} cores")
        analyse_path(paths[0])  # compiled code comes from the cache from here on
        loop = timed("plain loop", count, lambda: [analyse_path(path) for path in paths])
        for workers in (1, 2):
            wall = timed(f"batch, {workers} processes", count, lambda w=workers: batch(paths, folder, w))
            print(f"{'':<34} {loop / wall:9.2f} times the plain loop")
        missing = [str(folder / f"none{n}") for n in range(50 * count)]
        timed("no analysis: host, queue, journal", len(missing), lambda: batch(missing, folder, 2))
        with Journal(folder / "only" / "rows.jsonl", "benchmark") as journal:
            row = failed_row(SETTINGS, "x", "pass", "y" * 3000)
            timed("journal alone (fsync)", 200, lambda: [journal.add(row) for _ in range(200)])
        with Journal(folder / "2" / "rows.jsonl", "benchmark") as journal, LocalPool(1) as pool:
            timed("resume, nothing to do", count, lambda: run(paths, SETTINGS, journal, pool))
            timed("resume, all hashed again", count, lambda: run(paths, SETTINGS, journal, pool, rehash=True))
        rows = (folder / "1" / "rows.jsonl").stat().st_size / count
        print(f"row of a capture: {rows:.0f} bytes")


def scheduler(count: int) -> None:
    """Measure what a shard costs the scheduler, with two workers in processes of their own."""
    import distributed

    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        from rastertap.batch.cluster import ClusterPool
        from rastertap.batch.run import rows_of

        paths = [f"/none/{n}" for n in range(count)]
        for shard in (1, 16):
            with ClusterPool(cluster.scheduler_address, count) as pool:
                pool.shard = shard
                list(rows_of(paths[:64], SETTINGS, pool))
                timed(
                    f"cluster, no analysis, shards of {shard}",
                    count,
                    lambda p=pool: list(rows_of(paths, SETTINGS, p)),
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
    scheduler(1000)
