"""The VCD reader: text to change lists, block by block, in memory that does not grow with the file.

A block of text is cut at a time near its middle and two threads read the halves. The second begins without
knowing the levels, and without knowing whether the ``#`` it began at is a time at all and not part of a
comment: both are settled when the first arrives there, and should it have been no time, the first reads on.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar, Literal

from rastertap.capture.csv_words import parse_rate
from rastertap.capture.interface import CONTRACT
from rastertap.capture.model import SamplePeriod
from rastertap.match import Match

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.capture.interface import Window
    from rastertap.capture.model import Capture
    from rastertap.capture.source import Source
    from rastertap.progress import Progress

BLOCK_BYTES = 4 << 20
"""Text in one block: as much as stays in the processor's caches (measured: 16 MiB is slower, and for a small
capture most of the time would go into getting the memory)."""

LEAST_BLOCK_BYTES = 1 << 12


@dataclass(frozen=True)
class VcdReader:
    """Reads VCD as IEEE 1364 and 1800 define it, token by token.

    Parameters
    ----------
    rate : str
        The analyser's sample rate, ``48M`` or ``100MHz``, where the times do not show it; else it is found.
    time_back : "error" or "drop"
        What a time that goes back is: an error, or the start of something left out until the time has
        caught up (said in ``notes``).
    block_bytes : int
        Text in one block, 4096 or more; memory is a small multiple of it, and a token must fit in it.
    """

    name: ClassVar[str] = "vcd"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "value change dump (VCD), plain or compressed: the fast reader"

    rate: str = ""
    time_back: Literal["error", "drop"] = "error"
    block_bytes: int = BLOCK_BYTES

    def __post_init__(self) -> None:
        """Refuse a rate that is none, and a block in which nothing fits."""
        if self.rate:
            parse_rate(self.rate)
        if self.block_bytes < LEAST_BLOCK_BYTES:
            raise ValueError(f"block_bytes must be at least {LEAST_BLOCK_BYTES}")

    def match(self, head: bytes, label: str) -> Match:
        """Say how well the first bytes look like VCD."""
        return match_vcd(head, label)

    def blocks(self, source: Source, *, window: Window, progress: Progress) -> Iterator[Capture]:
        """Yield consecutive blocks; see `rastertap.capture.interface.Reader`.

        The arrays of a block are used again for the next but one: copy what is kept.
        """
        from rastertap.capture.vcd_blocks import Recording
        from rastertap.capture.vcd_text import Problem, Text

        text = Text(source, self.block_bytes)
        progress.start(f"reading {source.label}", source.size)
        try:
            with ThreadPoolExecutor(1, thread_name_prefix="rastertap-vcd") as pool:
                recording = Recording(text, pool, drop_back=self.time_back == "drop", window=window)
                for block in recording.blocks():
                    progress.advance(source.consumed)
                    yield self._stated(block)
        except Problem as problem:
            raise text.error(problem) from None
        finally:
            progress.finish()

    def _stated(self, block: Capture) -> Capture:
        """Give a block the sample period that the user stated."""
        if not self.rate:
            return block
        step = float(1 / parse_rate(self.rate) / block.tick)
        return replace(block, sample_period=SamplePeriod(step, 0.0, known=True))


def match_vcd(head: bytes, label: str) -> Match:
    """Score the first bytes: a VCD file begins with ``$`` and declares with ``$var``."""
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    why: list[str] = []
    score = 0.0
    if text.startswith(b"$"):
        score = 0.5
        why.append("begins with a $ keyword")
    if b"$var" in text or b"$timescale" in text:
        score += 0.4
        why.append("has $var or $timescale")
    if label.lower().removesuffix(".gz").removesuffix(".zst").endswith(".vcd"):
        score += 0.1
        why.append("is named .vcd")
    return Match(score, tuple(why) or ("no VCD keyword in the first bytes",))
