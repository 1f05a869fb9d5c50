"""Reading inks as people tell them: "blue? over yellow, about half".

A `?` behind a name is a doubt. "A over B" was printed B first; "A then B" A first; "A and B", "A + B" leave the
order open. Amounts: "60 %", "40-60 %", "solid", "half", "about a third", "light", "dark"; behind a name they
belong to that ink, behind a comma to the ink named first. What cannot be read stays in the words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from archive.errors import InputError
from archive.services.fields import readable

_ABOUT = 10.0  # percent to both sides of "about", common practice: an eye tells tints to about that
_AMOUNTS = {  # common practice, no source
    "three quarters": (75.0, 75.0),
    "two thirds": (67.0, 67.0),
    "a quarter": (25.0, 25.0),
    "quarter": (25.0, 25.0),
    "a third": (33.0, 33.0),
    "third": (33.0, 33.0),
    "half": (50.0, 50.0),
    "very light": (4.0, 20.0),
    "light": (5.0, 35.0),
    "pale": (5.0, 35.0),
    "dark": (60.0, 100.0),
    "solid": (100.0, 100.0),
    "full": (100.0, 100.0),
}
_VAGUE = r"(?:about|around|roughly|ca\.?|circa|maybe|perhaps|some)"
_NUMBER = re.compile(
    rf"(?P<vague>{_VAGUE}\s+)?(?P<low>\d+(?:\.\d+)?)\s*(?:(?:-|–|to)\s*(?P<high>\d+(?:\.\d+)?))?\s*"
    r"(?:%|percent|per cent)",
    re.IGNORECASE,
)
_WORD = re.compile(rf"(?P<vague>{_VAGUE}\s+)?\b(?P<word>{'|'.join(_AMOUNTS)})\b", re.IGNORECASE)
_OVER = re.compile(r"\s+(?:over|on top of|printed over)\s+", re.IGNORECASE)
_THEN = re.compile(r"\s*(?:->|→|\bthen\b|\bunder\b)\s*", re.IGNORECASE)
_BESIDE = re.compile(r"\s*(?:\+|&|\band\b|\bwith\b|;|/)\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class ToldLayer:
    """One ink as it was said; its tint is a range in percent, or unknown."""

    ink: str
    is_sure: bool
    tint_low: float | None = None
    tint_high: float | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """Layers in printing order as far as it is known, and the words themselves."""

    layers: tuple[ToldLayer, ...]
    order_known: bool
    words: str


def read_told(text: str, *, known_inks: tuple[str, ...] = ()) -> Told:
    """Return what the words say of the inks, in printing order.

    `known_inks` are house names that may hold a word such as "and" or "light", and are kept whole.

    Raises
    ------
    InputError
        No ink is named, a tint is over 100, or it is no text.
    """
    words = " ".join(readable(text, "the inks").split())
    shielded, names = _shield(words, known_inks)
    try:
        layers, order_known = _read(shielded)
    except InputError as error:
        raise InputError(
            error.template, where=_unshield(error.where, names), mend=error.mend, **error.values
        ) from error
    if not layers:
        raise InputError("no ink is named in {text!r}", text=text, mend='Write it as "blue? over yellow, about half"')
    named = tuple(replace(layer, ink=_unshield(layer.ink, names)) for layer in layers)
    return Told(named, order_known or len(named) == 1, words)


def _read(shielded: str) -> tuple[list[ToldLayer], bool]:
    """Return layers in printing order, and whether the order was said."""
    main, *behind = [part.strip() for part in shielded.split(",") if part.strip()] or [""]
    if any(_OVER.search(f" {part}") or _THEN.match(part) for part in behind):  # "Ferrywake, about half, over Dockrope"
        main, behind = " ".join([main, *behind]), []
    amounts, more = [], []
    for part in behind:
        if _names_an_ink(part):
            more.append(part)
        else:
            amounts.append(part)
    parts, order_known = _in_printing_order(main)
    if more:
        parts, order_known = [*parts, *more], False
    layers = [layer for layer in map(_layer, parts) if layer.ink]
    for amount in amounts if layers else ():
        top = len(layers) - 1 if _OVER.search(main) else 0
        low, high, _ = _amount(amount)
        layers[top] = replace(layers[top], tint_low=low, tint_high=high)
    return layers, order_known


def _shield(words: str, known: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    names: dict[str, str] = {}
    for name in sorted(known, key=len, reverse=True):
        pattern = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", re.IGNORECASE)
        token = f"\x00{len(names)}\x00"
        words, count = pattern.subn(token, words)
        if count:
            names[token] = name
    return words, names


def _unshield(text: str, names: dict[str, str]) -> str:
    for token, name in names.items():
        text = text.replace(token, name)
    return " ".join(text.split())


def _names_an_ink(part: str) -> bool:
    return "\x00" in part or _amount(part)[2].strip(" ?") != ""


def _in_printing_order(main: str) -> tuple[list[str], bool]:
    if _OVER.search(main):
        return list(reversed(_OVER.split(main))), True
    if _THEN.search(main):
        return _THEN.split(main), True
    parts = _BESIDE.split(main)
    return parts, len(parts) == 1


def _layer(part: str) -> ToldLayer:
    low, high, rest = _amount(part)
    is_sure = "?" not in rest
    ink = " ".join(rest.replace("?", " ").split())
    return ToldLayer(ink, is_sure, low, high)


def _amount(part: str) -> tuple[float | None, float | None, str]:
    """Return the tint range that a part names, and the part without it."""
    found = _NUMBER.search(part)
    if found:
        low = float(found["low"])
        high = float(found["high"] or low)
    else:
        found = _WORD.search(part)
        if not found:
            return None, None, part
        low, high = _AMOUNTS[found["word"].casefold()]
    if max(low, high) > 100:
        raise InputError("a tint of {tint:g} %", tint=max(low, high), where=part, mend="A tint is 0 to 100 percent")
    low, high = min(low, high), max(low, high)
    if found["vague"] and low == high:
        low, high = max(0.0, low - _ABOUT), min(100.0, high + _ABOUT)
    return low, high, part[: found.start()] + " " + part[found.end() :]
