"""Workers of a dask.distributed scheduler that is already there."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Any

from rastertap.batch.key import differing, versions
from rastertap.batch.task import Row, Settings, check_shard
from rastertap.errors import PluginError, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from concurrent.futures import Future
    from typing import Self

CONNECT_S = 20
RETRIES = 3
"""Workers that may be lost with a shard before the shard is suspected of killing them."""
MOST_IN_SHARD = 16


class ClusterPool:
    """Workers that a scheduler knows; they see the captures under the same paths as the host.

    Parameters
    ----------
    address : str
        Of the scheduler, e.g. ``tcp://10.0.0.5:8786``.
    captures : int
        How many there are to check; decides how many go in a shard.

    Raises
    ------
    UsageError
        When dask.distributed is missing, nothing answers, or there is no worker.
    PluginError
        When a worker has other versions of rastertap or of a plug-in.
    """

    def __init__(self, address: str, captures: int) -> None:
        try:
            import distributed
        except ImportError:
            raise UsageError(
                "--cluster needs dask.distributed", hint="pip install 'rastertap[cluster]'"
            ) from None
        _silence("distributed")
        client: Any = distributed.Client  # it has no types
        try:
            self._client: Any = client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            hint = "start one with: dask scheduler; then: dask worker tcp://HOST:8786"
            raise UsageError(f"no scheduler at {address}: {error}", hint=hint) from None
        self.lost: tuple[type[BaseException], ...] = (distributed.KilledWorker,)
        try:
            workers = self._checked(address)
        except BaseException:
            self._client.close()
            raise
        self.depth = 4 * workers
        self.shard = max(1, min(MOST_IN_SHARD, captures // (8 * workers)))
        self._executor: Any = self._client.get_executor(pure=False, retries=RETRIES)

    def _checked(self, address: str) -> int:
        """Count the threads of the workers, all of which must have our versions."""
        here = versions()
        found = self._client.run(versions)
        if not found:
            raise UsageError(f"the scheduler at {address} has no worker", hint=f"dask worker {address}")
        for worker, there in found.items():
            wrong = differing(here, there)
            if wrong:
                hint = "install the same versions on all workers"
                raise PluginError(f"worker {worker} has other versions: {wrong}", hint=hint)
        return sum(self._client.nthreads().values())

    def submit(self, settings: Settings, paths: Sequence[str]) -> Future[list[Row]]:
        """Start a shard."""
        started: Future[list[Row]] = self._executor.submit(check_shard, settings, paths)
        return started

    def renew(self) -> None:
        """Do nothing: the scheduler goes on with the workers that are left."""

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Drop what is not done, and leave scheduler and workers running."""
        self._executor.shutdown(wait=False)
        self._client.close()


def _silence(package: str) -> None:
    """Keep a package's log off the terminal: what matters is said in our words, not buried in tracebacks."""
    names = [n for n in logging.root.manager.loggerDict if n.partition(".")[0] == package]
    for name in (package, *names):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
