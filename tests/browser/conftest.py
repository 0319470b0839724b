"""Pages of captures, opened in a real browser: Debian's chromium, which must be there."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray
    from playwright.sync_api import Browser, Locator, Page

CHROMIUM = "/usr/bin/chromium"
OFFLINE = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
CAPTURES = Path(__file__).parents[2] / "captures"
WIDE = {"width": 1366, "height": 900}
REPORT_VIOLATIONS = """
window.violations = [];
document.addEventListener("securitypolicyviolation",
  (event) => window.violations.push(`${event.violatedDirective} ${event.blockedURI} ${event.sample}`));
"""


@dataclass
class Sheet:
    """A page that was opened, and what went wrong on it."""

    page: Page
    troubles: list[str] = field(default_factory=list)

    def one(self, selector: str) -> Locator:
        """The only element that a selector finds."""
        return self.page.locator(selector)

    def text(self, selector: str) -> str:
        """Its text."""
        return self.one(selector).inner_text()

    def viewer(self) -> Locator:
        """The viewer's canvas, ready."""
        self.page.wait_for_selector("#viewer[data-ready=yes]")
        return self.one("#canvas")

    def pixel(self) -> dict[str, int]:
        """Line, pixel and code that the read-out names."""
        return {key: int(self.text(f"#at-{key}").split()[0]) for key in ("line", "pixel", "code")}

    def all_troubles(self) -> list[str]:
        """Console messages, errors, requests that left the file, and violations of the policy."""
        return self.troubles + self.page.evaluate("window.violations ?? []")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for all tests."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=OFFLINE)
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium: Browser) -> Iterator[Callable[..., Sheet]]:
    """Open a file as a page in a context of its own; keyword arguments are the context's."""
    contexts = []

    def go(path: Path, **settings: Any) -> Sheet:
        context = chromium.new_context(**{"viewport": WIDE, **settings})
        contexts.append(context)
        page = context.new_page()
        sheet = Sheet(page)
        page.on("console", lambda message: sheet.troubles.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: sheet.troubles.append(f"error: {error}"))
        page.on(
            "request",
            lambda request: (
                None
                if request.url.startswith(("file:", "data:"))
                else sheet.troubles.append(f"request: {request.url}")
            ),
        )
        page.add_init_script(REPORT_VIOLATIONS)
        page.goto(path.as_uri())
        return sheet

    yield go
    for context in contexts:
        context.close()


@cache
def _text_of(capture: Path, board: Path | None) -> str:
    from rastertap.analyse import Request, analyse_path
    from rastertap.board.load import load_board
    from rastertap.report.page.build import page

    return page(analyse_path(str(capture), Request(board=load_board(board) if board else None)))


@pytest.fixture
def page_of(tmp_path: Path) -> Callable[..., Path]:
    """Write the page of a capture: a demo capture by its name, or a file."""

    def write(capture: str | Path, board: Path | None = None) -> Path:
        if isinstance(capture, str):
            board = CAPTURES / f"{capture[:11]}.toml"
            capture = CAPTURES / f"{capture}.vcd.gz"
        path = tmp_path / "page.html"
        path.write_text(_text_of(capture, board), encoding="utf-8")
        return path

    return write


@dataclass(frozen=True)
class Made:
    """A capture that the bench made, with what it knows of it."""

    capture: Path
    truth: dict[str, Any]
    pictures: NDArray[np.unsignedinteger]


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Made]:
    """Let the bench make a capture; arguments as those of its command."""
    folder = tmp_path_factory.mktemp("made")

    @cache
    def make(*arguments: str) -> Made:
        from rastertap.cli.main import main

        stem = folder / f"capture-{abs(hash(arguments))}"
        main.main(["bench", "make", f"{stem}.vcd", *arguments], standalone_mode=False)
        truth = json.loads(Path(f"{stem}.truth.json").read_text())
        return Made(Path(f"{stem}.vcd"), truth, np.load(f"{stem}.pictures.npy"))

    return make
