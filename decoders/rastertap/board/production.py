"""What a board file says about testing boards that are made: serial numbers, and limits of its own."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, Field

from rastertap.board.strict import Strict, Text


def _regular(text: str) -> str:
    try:
        re.compile(text)
    except re.error as error:
        raise ValueError(f"is no regular expression: {error}") from None
    return text


def _finding_id(text: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9_]*(\.[a-z0-9_]+)+", text, re.ASCII):
        raise ValueError("is no finding id; write it like clock.frequency, in quotes")
    return text


def _in_order(values: tuple[float, float]) -> tuple[float, float]:
    if values[0] > values[1]:
        raise ValueError("must be [low, high]")
    return values


FindingId = Annotated[str, Field(max_length=100), AfterValidator(_finding_id)]
Interval = Annotated[tuple[float, float], Field(strict=False), AfterValidator(_in_order)]


class Production(Strict):
    """How boards of this kind are tested."""

    serial: Annotated[Text, AfterValidator(_regular)] | None = Field(
        default=None,
        description="Regular expression that finds the serial number in a capture's file name: its group "
        "'serial', else its first group, else all of it.",
    )
    limits: dict[FindingId, Interval] = Field(
        default_factory=dict,
        description="[low, high] by finding id, in the finding's unit; what cannot be measured fails.",
    )
