"""Demo captures for sessions."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def captures() -> Path:
    return Path(__file__).parents[2] / "captures"
