"""What every part of a board file shares: strictness, and texts that are safe to print."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field


def _printable(text: str) -> str:
    if any(not character.isprintable() and character != "\n" for character in text):
        raise ValueError("holds a control character; write printable text only")
    return text


Text = Annotated[str, Field(min_length=1, max_length=2000), AfterValidator(_printable)]
ChannelName = Annotated[str, Field(min_length=1, max_length=500), AfterValidator(_printable)]


class Strict(BaseModel):
    """Frozen; no key that is not known, no value of another type."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False
    )
