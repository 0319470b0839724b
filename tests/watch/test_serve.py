"""The server gives the session's pages to this machine, and nothing else to anybody."""

from __future__ import annotations

import http.client
import socket
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from rastertap.watch.serve import served

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def address(tmp_path: Path) -> Iterator[tuple[str, int]]:
    (tmp_path / "secret.html").write_text("outside")
    pages = tmp_path / "pages"
    (pages / "inner").mkdir(parents=True)
    (pages / "index.html").write_text("<p>history")
    (pages / "version.txt").write_text("3\n")
    (pages / "notes.key").write_text("private")
    (pages / "inner" / "page.html").write_text("deeper")
    with served(pages, 0) as url:
        parts = urlsplit(url)
        yield str(parts.hostname), int(parts.port or 0)


def asked(
    address: tuple[str, int], path: str, *, method: str = "GET", host: str | None = None
) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection(*address, timeout=5)
    connection.putrequest(method, path, skip_host=True)
    connection.putheader("Host", host or f"{address[0]}:{address[1]}")
    connection.endheaders()
    answer = connection.getresponse()
    found = (answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
    connection.close()
    return found


def test_the_pages_are_given_and_not_kept(address: tuple[str, int]) -> None:
    status, headers, body = asked(address, "/")
    assert (status, body) == (200, b"<p>history")
    assert headers["content-type"] == "text/html; charset=utf-8"
    assert headers["cache-control"] == "no-store"
    assert headers["x-content-type-options"] == "nosniff"
    assert asked(address, "/version.txt")[2] == b"3\n"


@pytest.mark.parametrize(
    "path",
    [
        "/../secret.html",
        "/%2e%2e/secret.html",
        "/..%2fsecret.html",
        "//etc/passwd",
        "/notes.key",
        "/inner/",
        "/inner/page.html",
        "/missing.html",
        "/inner",
    ],
)
def test_nothing_else_is_given(address: tuple[str, int], path: str) -> None:
    status, _, body = asked(address, path)
    assert status == 404
    assert b"outside" not in body
    assert b"private" not in body


def test_another_hosts_name_is_refused(address: tuple[str, int]) -> None:
    assert asked(address, "/", host="example.org")[0] == 403
    assert asked(address, "/", host=f"localhost:{address[1]}")[0] == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_it_is_for_reading_only(address: tuple[str, int], method: str) -> None:
    assert asked(address, "/", method=method)[0] == 501


def test_it_listens_on_the_loopback_address_only(address: tuple[str, int]) -> None:
    """Every address 127/8 leads to this machine, but only the one that was bound is answered."""
    assert address[0] == "127.0.0.1"
    with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.2", address[1]), 2):
        pass


def test_it_stops_with_its_block(tmp_path: Path) -> None:
    with served(tmp_path, 0) as url:
        port = int(urlsplit(url).port or 0)
    with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.1", port), 2):
        pass
