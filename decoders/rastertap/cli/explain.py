"""``rastertap explain``: the page of a finding."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rastertap.cli.options import emit, text_width

if TYPE_CHECKING:
    from collections.abc import Iterator


@click.command("explain", epilog="\b\nExamples:\n  rastertap explain\n  rastertap explain clock.jitter")
@click.argument("finding", required=False)
def command(finding: str | None) -> int:
    """Explain FINDING: what it measures, its limit and source, what it means at the bench, what to do.

    Without FINDING, list all of them.
    """
    emit("\n".join(_all() if finding is None else _page(finding)) + "\n")
    return 0


def _page(finding: str) -> Iterator[str]:
    from rastertap.docs.explain import explain
    from rastertap.report.text import wrapped

    parts = explain(finding)
    yield finding
    for title, text in parts.items():
        yield wrapped(text, text_width(), f"  {title:<13} ")


def _all() -> Iterator[str]:
    from rastertap.docs.explain import pages
    from rastertap.report.text import wrapped

    for name, page in pages().items():
        yield wrapped(page["measures"], text_width(), f"  {name:<30} ")
