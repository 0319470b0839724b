"""A result that fits on a label: at most four lines of 32 characters, ASCII."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rastertap.batch.task import Row

COLUMNS, LINES = 32, 4
"""A label of 57 mm at 12 characters an inch, with margins: common practice, no source."""
WORDS = {"pass": "PASS", "look": "LOOK", "fail": "FAIL"}


def label_text(row: Row, board: str = "") -> str:
    """Give result, board, serial number (or file) and what decided, or by which file it was decided."""
    serial = f"S/N {row['serial']}" if row["serial"] else Path(row["path"]).name
    failed = dict.fromkeys(f["id"] for f in row["findings"] if f["result"] == "fail")
    why = " ".join(failed) or f"sha256 {row['sha256'][:16]}"
    lines = (WORDS.get(row["result"], "NOT TESTED"), board, serial, why)
    return "".join(f"{_fitted(line)}\n" for line in lines if line)


def _fitted(text: str) -> str:
    plain = "".join(c if " " <= c <= "~" else "?" for c in text)
    return plain if len(plain) <= COLUMNS else f"{plain[: COLUMNS - 1]}>"
