"""The page of a finding: what it measures, its limit, what it means at the bench, what to do."""

from __future__ import annotations

import functools
import tomllib
from importlib import resources

from rastertap.checks.verdict import SINGLE_CAUSES
from rastertap.errors import UsageError
from rastertap.report.meanings import MEANINGS


@functools.cache
def pages() -> dict[str, dict[str, str]]:
    """Give what is written of each finding, by id."""
    text = resources.files(__package__).joinpath("findings.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def explain(finding: str) -> dict[str, str]:
    """Give the page of a finding as title and text of its parts.

    Raises
    ------
    UsageError
        When there is no such finding; names those that are near.
    """
    known = pages()
    if finding not in known:
        group = finding.partition(".")[0]
        near = [name for name in known if name.partition(".")[0] == group] or list(known)
        raise UsageError(f"no such finding: {finding!r}", hint=f"there are: {', '.join(near)}")
    page = known[finding]
    return {
        "It measures": page["measures"],
        "Limit": page["limit"],
        "At the bench": MEANINGS.get(finding, ""),
        "What to do": SINGLE_CAUSES.get(finding) or page.get("do", ""),
    }
