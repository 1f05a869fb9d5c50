"""Which signs a page can show: what its faces lack is told, and never printed as an empty box in silence."""

from __future__ import annotations

import json
import unicodedata
from bisect import bisect_right
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from archive.errors import Notice

FONTS_FOLDER = Path(__file__).with_name("fonts")
STAND_IN = "\u25a1"  # a white square, printed on purpose and told of
_UNSEEN = ("Cc", "Cf", "Zl", "Zp")  # controls and marks of direction: nothing is lost without them


@cache
def _ranges() -> tuple[tuple[int, ...], tuple[int, ...]]:
    found = json.loads((FONTS_FOLDER / "coverage.json").read_text(encoding="ascii"))
    return tuple(first for first, _ in found), tuple(last for _, last in found)


def has_sign(sign: str) -> bool:
    """Return whether every page can show a sign, in every face that it uses."""
    firsts, lasts = _ranges()
    place = bisect_right(firsts, ord(sign)) - 1
    return place >= 0 and ord(sign) <= lasts[place]


def missing_signs(text: str) -> tuple[str, ...]:
    """Return the signs of a text that no page can show, each once, in their order."""
    return tuple(dict.fromkeys(sign for sign in printable(text) if not has_sign(sign)))


def printable(text: str) -> str:
    """Return the text composed (e and an accent become é), with spaces for line ends and without unseen marks."""
    composed = unicodedata.normalize("NFC", text)
    spaced = "".join(" " if sign in "\t\n\r\u2028\u2029" else sign for sign in composed)
    return "".join(sign for sign in spaced if unicodedata.category(sign) not in _UNSEEN)


def shown(value: Any) -> tuple[Any, tuple[Notice, ...]]:
    """Return a page's values with a square for every sign that cannot be shown, and a notice for each such text.

    Parameters
    ----------
    value : dict, list, tuple, str, number, bool or None
        Values as JSON holds them, at any depth; the keys of objects are left alone.
    """
    lacking: dict[str, tuple[str, ...]] = {}
    cleaned = _cleaned(value, lacking)
    return cleaned, tuple(_notices(lacking))


def _cleaned(value: Any, lacking: dict[str, tuple[str, ...]]) -> Any:
    if isinstance(value, str):
        if missing := missing_signs(value):
            lacking.setdefault(printable(value), missing)
        return "".join(sign if has_sign(sign) else STAND_IN for sign in printable(value))
    if isinstance(value, dict):
        return {key: _cleaned(each, lacking) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_cleaned(each, lacking) for each in value]
    return value


def _notices(lacking: dict[str, tuple[str, ...]]) -> Iterator[Notice]:
    for text, missing in lacking.items():
        named = ", ".join(f"{sign} (U+{ord(sign):04X})" for sign in missing)
        yield Notice("missing_sign", "no face of the page has {signs}: a square stands for it", {"signs": named}, text)
