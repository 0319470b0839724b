"""The CSV reader: tables with a row for each sample or each change, and a column for each channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from rastertap.capture.interface import CONTRACT
from rastertap.match import Match

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.capture.interface import Window
    from rastertap.capture.model import Capture
    from rastertap.capture.source import Source
    from rastertap.progress import Progress

BLOCK_BYTES = 4 << 20
LEAST_BLOCK_BYTES = 1 << 12


@dataclass(frozen=True)
class CsvReader:
    """Reads times (or sample numbers) and levels, divided by commas, semicolons, tabs, bars or blanks.

    Parameters
    ----------
    rate : str
        The first column has sample numbers at this rate: ``24M``, ``100MHz``.
    unit : str
        The times are in this unit: ``us``.
    block_bytes : int
        Text in one block, 4096 or more; memory is a small multiple of it, and a row must fit in it.
    """

    name: ClassVar[str] = "csv"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = (
        "table of times or sample numbers, one column of levels a channel (CSV), plain or compressed"
    )

    rate: str = ""
    unit: str = ""
    block_bytes: int = BLOCK_BYTES

    def __post_init__(self) -> None:
        """Refuse a rate or a unit that is none."""
        from rastertap.capture.csv_words import parse_rate, parse_unit

        if self.rate and self.unit:
            raise ValueError("a rate is for sample numbers, a unit for times: give one of them")
        if self.rate:
            parse_rate(self.rate)
        if self.unit:
            parse_unit(self.unit)
        if self.block_bytes < LEAST_BLOCK_BYTES:
            raise ValueError(f"block_bytes must be at least {LEAST_BLOCK_BYTES}")

    def match(self, head: bytes, label: str) -> Match:
        """Say how well the first bytes look like a table of samples."""
        if head.lstrip()[:1] == b"$" or b"\0" in head:
            return Match(0.0, ("begins with a $ keyword, or is not text",))
        from rastertap.capture.csv_layout import sniff
        from rastertap.capture.csv_words import read_heading
        from rastertap.capture.source import HEAD_BYTES

        sniffed = sniff(head, whole=len(head) < HEAD_BYTES)
        if sniffed is None:
            return Match(0.0, ("no row with a time and levels in the first lines",))
        why = [f"{len(sniffed.rows)} rows of {len(sniffed.rows[0])} columns in the first lines"]
        score = 0.7 * sniffed.share
        if any(read_heading(name).kind for name in sniffed.heading):
            score += 0.2
            why.append("a column is called time or sample")
        if label.lower().removesuffix(".gz").removesuffix(".zst").endswith((".csv", ".tsv")):
            score += 0.1
            why.append("is named .csv")
        return Match(score, tuple(why))

    def blocks(self, source: Source, *, window: Window, progress: Progress) -> Iterator[Capture]:
        """Yield consecutive blocks; see `rastertap.capture.interface.Reader`.

        The arrays of a block are used again for the next: copy what is kept.
        """
        from rastertap.capture.csv_blocks import Table
        from rastertap.capture.csv_words import parse_rate, parse_unit
        from rastertap.capture.vcd_text import Problem, Text

        text = Text(source, self.block_bytes)
        progress.start(f"reading {source.label}", source.size)
        try:
            table = Table(
                text,
                rate=parse_rate(self.rate) if self.rate else None,
                unit=parse_unit(self.unit) if self.unit else None,
                window=window,
            )
            for block in table.blocks():
                progress.advance(source.consumed)
                yield block
        except Problem as problem:
            raise text.error(problem) from None
        finally:
            progress.finish()
