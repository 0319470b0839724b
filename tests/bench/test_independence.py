"""The bench makes the truth: it shares no code with what is tested against it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[2] / "decoders" / "rastertap" / "bench"
ALLOWED = ("rastertap.bench", "rastertap.errors", "rastertap.roles")


@pytest.mark.parametrize("path", sorted(BENCH.rglob("*.py")), ids=lambda path: str(path.relative_to(BENCH)))
def test_the_bench_imports_no_code_under_test(path: Path) -> None:
    imported = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom):
            imported.add(node.module or "")
            assert node.level == 0
        elif isinstance(node, ast.Import):
            imported.update(alias.name for alias in node.names)
    own = {name for name in imported if name.startswith("rastertap")}
    assert all(name.startswith(ALLOWED) for name in own), own
