"""The decorator for compiled kernels: numba's ``njit`` with a cache that cannot stop the program.

Numba compiles a kernel the first time it runs and keeps the machine code on disk. Where that is not
possible (read-only installation, no home folder, full disk, damaged cache file) plain ``njit(cache=True)``
raises; here the code is kept in a private folder under the temporary folder instead, or not kept at all.

Usage::

    from rastertap.jit import kernel

    @kernel
    def count_edges(levels): ...
"""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numba
from numba.core.caching import FunctionCache

if TYPE_CHECKING:
    from collections.abc import Callable

F = TypeVar("F", bound="Callable[..., Any]")

_settings: Any = numba.config  # numba makes its settings at run time, unseen by a type checker


class _ForgivingCache(FunctionCache):
    """Numba's cache on disk, in which a file that cannot be read or written is no error."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Load compiled code, or None when there is none that can be used."""
        try:
            return super().load_overload(sig, target_context)  # type: ignore[no-untyped-call]
        except Exception:  # noqa: BLE001 - a damaged pickle raises anything; compiling anew mends it
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Save compiled code where there is room for it."""
        with contextlib.suppress(Exception):  # a damaged index raises anything when it is read to be extended
            super().save_overload(sig, data)  # type: ignore[no-untyped-call]


def private_folder() -> Path | None:
    """Make a folder under the temporary folder that nobody else can write (cache files are pickles).

    Returns
    -------
    Path or None
        None when there is no such place.
    """
    user = os.getuid() if hasattr(os, "getuid") else 0
    try:
        folder = Path(tempfile.gettempdir()) / f"rastertap-kernels-{user}"
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
    except OSError:
        return None
    if os.name == "nt":
        return folder
    mine = stat.S_ISDIR(found.st_mode) and found.st_uid == user and not found.st_mode & 0o077
    return folder if mine else None


def _cache_for(function: Callable[..., Any]) -> _ForgivingCache | None:
    """Find a place for the compiled code: numba's own choice, then the private folder, then none."""
    try:
        return _ForgivingCache(function)
    except (RuntimeError, OSError):
        pass
    with contextlib.suppress(RuntimeError, OSError):
        folder = private_folder()
        if folder is not None:
            before, _settings.CACHE_DIR = _settings.CACHE_DIR, str(folder)
            try:
                return _ForgivingCache(function)
            finally:
                _settings.CACHE_DIR = before
    return None


def kernel(function: F) -> F:
    """Compile a function on its first call, without the interpreter lock, the result cached if possible.

    Division follows numpy (no exception by zero), array indices are not checked: a kernel raises nothing
    and must keep within its arrays.

    Parameters
    ----------
    function : callable
        Takes and returns numpy arrays and scalars. Each new combination of argument types (also
        read-only against writable arrays) costs another compilation: keep to one.

    Returns
    -------
    callable
        The compiled function, with the same signature.
    """
    compiled: Any = numba.njit(nogil=True, error_model="numpy")(function)
    if not _settings.DISABLE_JIT:
        place = _cache_for(function)
        if place is not None:
            compiled._cache = place  # noqa: SLF001 - numba offers no public way to give it a cache
    result: F = compiled
    return result
