"""Every finding that a check can give has its page."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from rastertap.cli.main import main
from rastertap.docs.explain import explain, pages
from rastertap.report.meanings import MEANINGS

CHECKS = Path(__file__).parents[2] / "decoders" / "rastertap" / "checks"
FINDING = re.compile(r"(capture|taps|clock|sampling|sync|timing|picture)\.[a-z_]*[a-z]")


def ids_in_checks() -> set[str]:
    """All texts in the checks' code that are ids of findings."""
    constants = (
        node.value
        for path in CHECKS.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    )
    return {text for text in constants if FINDING.fullmatch(text)}


def test_every_id_that_a_check_can_give_is_explained() -> None:
    assert len(ids_in_checks()) > 50
    assert ids_in_checks() - pages().keys() == set()


def test_no_page_is_left_of_a_finding_that_nothing_means() -> None:
    assert pages().keys() - ids_in_checks() - MEANINGS.keys() == set()


@pytest.mark.parametrize("finding", sorted(pages()))
def test_each_page_has_all_of_its_parts(finding: str) -> None:
    parts = explain(finding)
    assert [title for title, text in parts.items() if not text.strip()] == []


@pytest.mark.parametrize("finding", [f for f in sorted(pages()) if "no source" in pages()[f]["limit"]])
def test_a_limit_without_a_source_says_what_it_is(finding: str) -> None:
    assert "common practice, no source" in explain(finding)["Limit"]


def test_the_command_prints_a_page_lists_all_and_names_what_is_near() -> None:
    run = CliRunner().invoke
    assert "At the bench" in run(main, ["explain", "clock.jitter"]).output
    assert all(name in run(main, ["explain"]).output for name in pages())
    wrong = run(main, ["explain", "clock.jiter"])
    assert "clock.jitter" in str(getattr(wrong.exception, "hint", ""))
