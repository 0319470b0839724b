"""Writing the page, for the commands that do; what makes it is imported only then."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rastertap.cli.options import writing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.analyse import Analysis


def write_page(path: str, analysis: Analysis, files: Mapping[int, tuple[Path, Path]] | None = None) -> None:
    """Write the page of an analysis; makes parent folders."""
    from rastertap.files import write_whole
    from rastertap.report.page.build import page

    with writing(path):
        write_whole(Path(path), page(analysis, files).encode())
