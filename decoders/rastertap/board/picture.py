"""The known picture in a board file: what the screen shows when the capture is taken.

From it each colour bit is told from the others, and the picture at the pins from the one it should be. It
is given as regions with the colour codes they should have, or as a reference: an image, an ``.npy`` of codes,
or a capture from a good board.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from rastertap.board.strict import Strict, Text

MAX_CODE = 2**32 - 1
"""Colour codes are kept in at most 32 bits."""
MAX_REGIONS = 200
REFERENCES = (".png", ".npy", ".vcd", ".vcd.gz", ".vcd.zst", ".vcd.xz", ".vcd.bz2", ".csv")
"""How the name of a reference may end: image or codes; anything that can be read as a capture."""

Code = Annotated[int, Field(ge=0, le=MAX_CODE)]
Codes = Annotated[tuple[Code, ...], Field(strict=False, min_length=1, max_length=4096)]
Place = Annotated[int, Field(ge=0, le=100_000)]
Size = Annotated[int, Field(ge=1, le=100_000)]
Box = Annotated[tuple[Place, Place, Size, Size], Field(strict=False)]


class Region(Strict):
    """A rectangle of the active area whose colour codes are known."""

    name: Text | None = Field(default=None, description="What it is, for messages.")
    at: Box = Field(description="[x, y, width, height] in pixels and lines of one field's active area.")
    code: Code | None = Field(default=None, description="The one colour code that fills it.")
    bars: Codes | None = Field(default=None, description="Equal upright bars, the codes from left to right.")
    either: Codes | None = Field(
        default=None, description="Each pixel has one of these codes (text: paper and ink)."
    )

    @model_validator(mode="after")
    def _one_filling(self) -> Region:
        stated = [key for key in ("code", "bars", "either") if getattr(self, key) is not None]
        if len(stated) != 1:
            said = " and ".join(stated) or "none"
            raise ValueError(f"needs one of code, bars or either, and has {said}")
        return self


class Picture(Strict):
    """What the screen shows."""

    note: Text | None = Field(default=None, description="How to get it on the screen.")
    active: Box | None = Field(
        default=None,
        description=(
            "[x, y, width, height] of the active area: pixel clocks from the leading edge of line sync, "
            "lines from field sync. Without it the picture is looked for."
        ),
    )
    blanking: Code | None = Field(default=None, description="Colour code outside the active area.")
    reference: Text | None = Field(
        default=None,
        description="Image (indexed PNG), .npy of codes or capture from a good board, beside this file.",
    )
    regions: tuple[Region, ...] = Field(default=(), strict=False, max_length=MAX_REGIONS)

    @model_validator(mode="after")
    def _says_something(self) -> Picture:
        if self.reference is None and not self.regions:
            raise ValueError("needs a reference or at least one [[picture.regions]]")
        if self.reference is not None and not self.reference.lower().endswith(REFERENCES):
            raise ValueError(f"reference must end in {', '.join(REFERENCES)}: '{self.reference}'")
        return self

    @property
    def is_capture(self) -> bool:
        """Whether the reference is a capture rather than a picture."""
        return self.reference is not None and not self.reference.lower().endswith((".png", ".npy"))
