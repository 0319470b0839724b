"""The host of the decoders: which one runs for each product, in which order, with which options."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rastertap import plugins
from rastertap.errors import DecodeError, UsageError
from rastertap.options import options_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.match import Match
    from rastertap.streams.interface import Context, Decoder


@dataclass(frozen=True)
class Tried:
    """One decoder that was looked at: its match, whether it ran, and the reason if it could not."""

    name: str
    gives: str
    match: Match | None
    ran: bool
    reason: str


@dataclass(frozen=True, eq=False)
class Decoded:
    """What the decoders gave, what they could not and why, and how it went."""

    streams: Mapping[str, Any]
    missing: Mapping[str, str]
    tried: tuple[Tried, ...]


def _given(name: str, context: Context, settings: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Join the board file's options with those of the command line, which win."""
    board = context.board.decoders.get(name, {}) if context.board is not None else {}
    return {**board, **settings.get(name, {})}


def check_settings(settings: Mapping[str, Mapping[str, Any]], where: str) -> None:
    """Refuse options for a decoder that is not there, before any work is done."""
    for name, given in settings.items():
        plugin = plugins.load("rastertap.decoders", name)
        if plugin.error:
            raise UsageError(f"{where}: decoder {name} cannot be used: {plugin.error}")
        options_of(f"decoder {name}", plugin.factory.Options, given)


def decode(context: Context, settings: Mapping[str, Mapping[str, Any]] | None = None) -> Decoded:
    """Run the best matching decoder for every product.

    A product that none of the decoders ready for it can give is tried again by those that become ready later:
    a pixel clock that no channel carries can be recovered once the sync is there.

    Parameters
    ----------
    context : Context
        Capture, pins and board; its streams are filled in here.
    settings : mapping of str to mapping
        Options by decoder name, over those of the board file.
    """
    given = settings or {}
    waiting: list[Decoder] = [p.factory() for p in plugins.load_all("rastertap.decoders") if not p.error]
    missing: dict[str, str] = {}
    tried: list[Tried] = []
    while ready := [d for d in waiting if d.needs <= context.streams.keys()]:
        gives = ready[0].gives
        rivals = [d for d in ready if d.gives == gives]
        waiting = [d for d in waiting if d not in rivals]
        if gives in context.streams:
            tried += [Tried(d.name, gives, None, ran=False, reason="not needed") for d in rivals]
            continue
        outcome = _best(rivals, context, given, tried)
        if isinstance(outcome, str):
            missing[gives] = f"{missing[gives]}; {outcome}" if gives in missing else outcome
        else:
            context = replace(context, streams={**context.streams, gives: outcome[0]})
            missing.pop(gives, None)
    for decoder in waiting:
        lacking = ", ".join(sorted(decoder.needs - context.streams.keys()))
        tried.append(Tried(decoder.name, decoder.gives, None, ran=False, reason=f"needs {lacking}"))
        if decoder.gives not in context.streams:
            missing.setdefault(decoder.gives, f"needs {lacking}")
    return Decoded(context.streams, missing, tuple(tried))


def _best(
    rivals: list[Decoder], context: Context, settings: Mapping[str, Mapping[str, Any]], tried: list[Tried]
) -> str | tuple[Any]:
    """Run the rivals from the best match down until one works; give its product, or why none did."""
    judged = sorted(((d.match(context), d) for d in rivals), key=lambda pair: -pair[0].score)
    reason = "; ".join(judged[0][0].why) or "no decoder fits"
    product: tuple[Any] | None = None
    for match, decoder in judged:
        if product is not None or match.score <= 0:
            tried.append(Tried(decoder.name, decoder.gives, match, ran=False, reason=""))
            continue
        try:
            given = _given(decoder.name, context, settings)
            options = options_of(f"decoder {decoder.name}", decoder.Options, given)
            product = (decoder.decode(context, options),)
            tried.append(Tried(decoder.name, decoder.gives, match, ran=True, reason=""))
        except DecodeError as error:
            reason = error.message
            tried.append(Tried(decoder.name, decoder.gives, match, ran=True, reason=reason))
    return reason if product is None else product


def join(earlier: Decoded, later: Decoded, at: int) -> Decoded:
    """Join what was decoded from two overlapping pieces of a long capture.

    Parameters
    ----------
    earlier : Decoded
        Of all pieces up to ``at``.
    later : Decoded
        Of the piece that counts from ``at`` on.
    at : int
        Tick.

    Returns
    -------
    Decoded
        A product that only one of the two has, or that another decoder gave, or whose decoder cannot join, is
        that of the earlier (else of the later); what decoders were tried is that of the first piece.
    """
    ran = {t.gives: t.name for t in earlier.tried if t.ran and not t.reason}
    streams = dict(earlier.streams)
    for gives, product in later.streams.items():
        if gives not in streams:
            streams[gives] = product
            continue
        again = any(t.gives == gives and t.ran and t.name == ran.get(gives) for t in later.tried)
        decoder: Any = plugins.load("rastertap.decoders", ran[gives]).factory() if again else None
        if hasattr(decoder, "join"):
            streams[gives] = decoder.join(streams[gives], product, at)
    missing = {gives: why for gives, why in earlier.missing.items() if gives not in streams}
    tried = earlier.tried + tuple(t for t in later.tried if t.ran and not t.reason and t.gives not in ran)
    return Decoded(streams, missing, tried)
