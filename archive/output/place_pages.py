"""Labels for places, and the cards that are photographed before what lies in a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from archive.errors import InputError
from archive.output.codes import code_text, qr_svg
from archive.output.typeset import Pages, typeset

_LABEL_MM = (95, 54)  # wide and high: two by five on A4, and on the front of a drawer
_COLUMNS, _ROWS = 2, 5
_LISTED = 3  # refs that are named one by one; more are a range
_HINT = "Photograph this card first. What you photograph after it lies here, until the next card."


@dataclass(frozen=True, slots=True)
class PlacePage:
    """What a label or card says of a place.

    Parameters
    ----------
    inside : str
        The places round it, from the outermost: "Storeroom / Plan chest 2".
    refs : sequence of str
        The works that lie in it, in their order.
    copies : int
        How many sheets and books lie in it.
    holds : sequence of str
        Names of the places right in it.
    warning : str
        Why it is kept apart, or nothing.
    """

    uid: str
    name: str
    kind: str
    inside: str = ""
    refs: Sequence[str] = ()
    copies: int = 0
    holds: Sequence[str] = ()
    warning: str = ""


def place_labels(places: Sequence[PlacePage], *, day: date) -> Pages:
    """Return labels to cut apart, ten on an A4 sheet.

    Raises
    ------
    InputError
        There is no place.
    """
    _some(places)
    shown, codes = _shown(places)
    sheets = [shown[start : start + _COLUMNS * _ROWS] for start in range(0, len(shown), _COLUMNS * _ROWS)]
    width, height = _LABEL_MM
    values = {
        "title": "Labels of places",
        "day": day.isoformat(),
        "sheets": sheets,
        "columns": _COLUMNS,
        "width": width,
        "height": height,
        "x": (210 - _COLUMNS * width) / 2,
        "y": (297 - _ROWS * height) / 2,
    }
    return typeset("place_labels", values, day=day, pages=len(sheets), pictures=codes)


def place_cards(places: Sequence[PlacePage], *, day: date) -> Pages:
    """Return cards to photograph, each an A5 page.

    Raises
    ------
    InputError
        There is no place.
    """
    _some(places)
    cards, codes = _shown(places)
    values = {"title": "Cards of places", "cards": cards, "hint": _HINT}
    return typeset("place_cards", values, day=day, pages=len(cards), pictures=codes)


def _some(places: Sequence[PlacePage]) -> None:
    if not places:
        raise InputError("no place to print", mend="Add one: inkchest place add 'Storeroom / drawer 5'")


def _shown(places: Sequence[PlacePage]) -> tuple[list[dict[str, Any]], dict[str, bytes]]:
    shown, codes = [], {}
    for number, place in enumerate(places, start=1):
        says, file = code_text("place", place.uid), f"code-{number}.svg"
        codes[file] = qr_svg(says)
        shown.append(
            {
                "name": place.name,
                "kind": place.kind,
                "inside": place.inside,
                "refs": _range(place.refs),
                "counts": _counts(place),
                "warning": f"Kept apart: {place.warning}" if place.warning else "",
                "code": file,
                "says": says,
            }
        )
    return shown, codes


def _range(names: Sequence[str]) -> str:
    """Return names as a label has room for them: all of a few, the first and last of many."""
    return ", ".join(names) if len(names) <= _LISTED else f"{names[0]} to {names[-1]}"


def _counts(place: PlacePage) -> str:
    parts = []
    if place.copies:
        works = f"{len(place.refs)} work{'' if len(place.refs) == 1 else 's'}"
        parts.append(f"{works}, {place.copies} {'copy' if place.copies == 1 else 'copies'}")
    if place.holds:
        parts.append(_range(place.holds))
    return "; ".join(parts)
