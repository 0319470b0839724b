"""A server for the session's pages: on this machine only, for reading only, from one folder only."""

from __future__ import annotations

import functools
import threading
from contextlib import contextmanager
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    import io
    from collections.abc import Iterator
    from pathlib import Path

LOOPBACK = "127.0.0.1"
TYPES = {".html": "text/html; charset=utf-8", ".txt": "text/plain; charset=utf-8"}


class Handler(SimpleHTTPRequestHandler):
    """Gives the pages; refuses every other file, listings, and requests under another host's name."""

    def send_head(self) -> io.BytesIO | Any:
        """Refuse what is not a page before anything of it is read."""
        # A page elsewhere could be given our address as its own (DNS rebinding); its host name tells.
        host = (self.headers.get("Host") or "").partition(":")[0]
        if host not in {LOOPBACK, "localhost"}:
            self.send_error(HTTPStatus.FORBIDDEN, "only for this machine")
            return None
        path = self.path.partition("?")[0]
        if path != "/" and ("/" in path[1:] or not path.endswith(tuple(TYPES))):
            self.send_error(HTTPStatus.NOT_FOUND, "no such page")
            return None
        return super().send_head()

    def list_directory(self, path: Any) -> None:  # noqa: ARG002 - the folder is not shown
        """Refuse."""
        self.send_error(HTTPStatus.NOT_FOUND, "no capture yet")

    def guess_type(self, path: Any) -> str:
        """Give the type of a page."""
        return next((kind for end, kind in TYPES.items() if str(path).endswith(end)), "text/plain")

    def end_headers(self) -> None:
        """Let nothing be kept, guessed or framed."""
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("X-Frame-Options", "DENY")
        super().end_headers()

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the base class's name
        """Say nothing: standard error is the session's."""


@contextmanager
def served(folder: Path, port: int) -> Iterator[str]:
    """Serve a folder on the loopback address while the block runs; give the address of its history.

    Parameters
    ----------
    folder : Path
    port : int
        0 takes a free one.

    Raises
    ------
    OSError
        When the port is taken.
    """
    handler = functools.partial(Handler, directory=str(folder))
    server = ThreadingHTTPServer((LOOPBACK, port), cast("type[Handler]", handler))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://{LOOPBACK}:{server.server_address[1]}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
