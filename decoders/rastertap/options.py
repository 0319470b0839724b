"""Options of plug-ins: ``key = value`` pairs checked against the dataclass that declares them."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin, get_type_hints

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping


def options_of(owner: str, kind: type, given: Mapping[str, Any]) -> Any:
    """Make an options dataclass from ``key = value`` pairs.

    Parameters
    ----------
    owner : str
        Whose options they are, for errors: ``decoder sync-separate``.
    kind : type
        A dataclass, every field with a default; another class has no options.
    given : mapping
        Values; one that is a text, as from the command line, is turned into the field's type.

    Raises
    ------
    UsageError
        For a key it does not have, a value of the wrong type, or one that the dataclass refuses.
    """
    known = [f.name for f in fields(kind)] if is_dataclass(kind) else []
    hints = get_type_hints(kind) if known and given else {}
    checked = {}
    for key, value in given.items():
        if key not in known:
            there = ", ".join(sorted(known)) or "none"
            raise UsageError(f"{owner} has no option '{key}'", hint=f"it has: {there}")
        checked[key] = _typed(f"{owner.rpartition(' ')[2]}.{key}", value, hints[key])
    try:
        return kind(**checked)
    except ValueError as error:
        raise UsageError(f"{owner}: {error}") from None


def _typed(name: str, value: Any, hint: Any) -> Any:
    from pydantic import TypeAdapter, ValidationError

    try:
        return TypeAdapter(hint).validate_python(value, strict=not isinstance(value, str))
    except ValidationError as error:
        wrong = error.errors()[0]["msg"].lower()
        raise UsageError(f"option {name}: {value!r}: {wrong}", hint=f"it is {_described(hint)}") from None


def _described(hint: Any) -> str:
    if get_origin(hint) is Literal:
        return "one of: " + ", ".join(map(str, get_args(hint)))
    return f"a {hint if get_args(hint) else hint.__name__}"
