"""Workers on this machine: one process a core."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from typing import TYPE_CHECKING

from rastertap.batch.task import Row, Settings, check_shard

if TYPE_CHECKING:
    from collections.abc import Sequence
    from multiprocessing.process import BaseProcess
    from typing import Self


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _begin() -> None:
    """Leave Ctrl-C to the host, and end with it, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: BaseProcess) -> None:
    """End this process when its parent has ended, were it killed."""
    parent.join()
    os._exit(1)


class LocalPool:
    """Processes of this machine.

    Parameters
    ----------
    workers : int
        How many.
    """

    shard = 1
    lost: tuple[type[BaseException], ...] = (BrokenExecutor,)

    def __init__(self, workers: int) -> None:
        self.depth = 2 * workers
        self._workers = workers
        self._executor = self._started()

    def _started(self) -> ProcessPoolExecutor:
        # Fresh processes: a fork of one that has threads (numba's, the hasher's) may hang.
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(self._workers, mp_context=context, initializer=_begin)

    def submit(self, settings: Settings, paths: Sequence[str]) -> Future[list[Row]]:
        """Start a shard."""
        return self._executor.submit(check_shard, settings, paths)

    def renew(self) -> None:
        """Start new processes."""
        self._executor.shutdown(wait=True, cancel_futures=True)
        self._executor = self._started()

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        """End the processes; at once when something went wrong."""
        if kind is not None:
            for child in list(self._executor._processes.values()):  # noqa: SLF001 - 3.14 has kill_workers()
                child.kill()
        self._executor.shutdown(wait=True, cancel_futures=True)
