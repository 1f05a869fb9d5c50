"""Small ways of saying things that every command shares."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from archive.errors import InputError

_IRREGULAR = {
    "person": "people",
    "copy": "copies",
    "criterion": "criteria",
    "patch": "patches",
    "more patch": "more patches",
    "this": "these",
    "is": "are",
    "was": "were",
}


def counted(number: int, noun: str) -> str:
    """Return "1 file", "2 files"."""
    return f"{number} {noun if number == 1 else plural(noun)}"


def plural(noun: str) -> str:
    """Return a noun for several."""
    return _IRREGULAR.get(noun, f"{noun}s")


def local_time(text: str | None) -> str:
    """Return a stored moment as the clock on the wall shows it."""
    if not text:
        return ""
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone().strftime("%Y-%m-%d %H:%M")


def lab_words(lab: Sequence[float]) -> str:
    """Return L*, a*, b* with one decimal, as they are typed behind `lab:`."""
    return ", ".join(f"{part:.1f}" for part in lab).replace("-0.0", "0.0")


def fact_words(value: Any) -> str:
    """Return a fact as a person reads it; the unknown is empty."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, dict):
        name, extra = value.values()
        return f"{name} ({fact_words(extra)})"
    if isinstance(value, list | tuple):
        return ", ".join(fact_words(each) for each in value)
    return str(value)


def point(text: str, where: str) -> tuple[float, float]:
    """Return a point in pixels as a person types it: "640,420".

    Raises
    ------
    InputError
        It is none; `where` names the option.
    """
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError as exc:
        raise InputError("{text} is no point", text=text, where=where, mend="Give X,Y in pixels: 640,420") from exc
    return x, y
