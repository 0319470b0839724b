"""The history of a session in a browser: hostile names, and news that come by themselves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rastertap.watch.serve import served
from rastertap.watch.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Browser

HOSTILE = "<img src=x onerror=window.hacked=1>.vcd"


def named(analysis: Any, name: str) -> Any:
    return replace(analysis, capture=replace(analysis.capture, label=name))


def test_verdicts_stand_side_by_side_and_lead_to_their_pages(
    checked: Callable[..., Any], opened: Callable[..., Any], tmp_path: Path
) -> None:
    session = Session(tmp_path)
    session.add(checked("marlow85-50-clock-drops").analysis)
    session.add_unreadable(Path(HOSTILE), "no reader knows </style><script>window.hacked=1</script>")
    session.add(named(checked("marlow85-50").analysis, HOSTILE))
    sheet = opened(tmp_path / "index.html")
    verdicts = sheet.page.locator(".session tbody tr >> nth=0").locator("td").all_inner_texts()
    assert verdicts == ["after the pins", "unreadable", "the clock"]
    assert "missing_cycles: fault → in limits" in sheet.text(".newest .changes")
    assert HOSTILE in sheet.text("h1")
    assert sheet.page.evaluate("window.hacked") is None
    assert sheet.all_troubles() == []
    sheet.page.locator("thead a").last.click()
    assert sheet.text("header .file") == "marlow85-50-clock-drops.vcd.gz"
    assert sheet.all_troubles() == []


def test_a_history_that_is_open_shows_the_next_capture_by_itself(
    checked: Callable[..., Any], chromium: Browser, tmp_path: Path
) -> None:
    session = Session(tmp_path, served=True)
    session.write()
    with served(tmp_path, 0) as address:
        page = chromium.new_page()
        troubles: list[str] = []
        page.on("console", lambda message: troubles.append(message.text))
        page.goto(address)
        assert "No capture yet" in page.inner_text("h1")
        session.add(checked("marlow85-50-lost-lines").analysis)
        page.wait_for_selector(".session td strong", timeout=10_000)
        assert page.inner_text(".session td strong") == "the video chip"
        assert troubles == []
    page.get_by_text("The session has ended").wait_for(timeout=10_000)
    page.close()
