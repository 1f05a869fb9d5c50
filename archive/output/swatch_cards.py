"""Cards of swatches with their recipe: several on a sheet, to be cut and kept with the prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from archive.errors import InputError
from archive.output.typeset import Pages, typeset

_CARD_MM = (95, 90)  # wide and high: two by three on A4
_COLUMNS, _ROWS = 2, 3
_WIDEST_CELL_MM, _ROW_MM = 19.0, 87.0
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_ROUGHLY = "Screen and office printers show colours roughly: the print decides."
Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class CardLayer:
    """One layer of the recipe: its tint in words, the ink alone on this paper and the sheet so far, where measured."""

    ink: str
    tint: str
    print_pass: int | None
    alone: Lab | None = None
    so_far: Lab | None = None


@dataclass(frozen=True, slots=True)
class SwatchCard:
    """What a card says of a swatch.

    Parameters
    ----------
    lab : Lab, optional
        Its standing colour, absolute, D50.
    uncertainty : float, optional
        95 % radius of what is known of it, in CIEDE2000.
    evidence : str
        proven, worked out, seen, told, guess; empty where it does not match by colour.
    drawn : str
        flat; cut (a corner, out of the camera's range); hatched (no colour can be shown).
    measured : str
        How and when, in words.
    notes : sequence of str
        What else to know, in words.
    """

    uid: str
    name: str
    paper: str
    white: Lab | None
    layers: Sequence[CardLayer]
    lab: Lab | None
    uncertainty: float | None
    evidence: str
    drawn: str = "flat"
    measured: str = ""
    work: str = ""
    place: str = ""
    notes: Sequence[str] = ()


def swatch_cards(cards: Sequence[SwatchCard], *, day: date) -> Pages:
    """Return cards to cut apart, six on an A4 sheet.

    Raises
    ------
    InputError
        There is no swatch.
    """
    if not cards:
        raise InputError("no swatch to print", mend="Ask with fewer conditions; `inkchest swatch list` shows them")
    shown = [_shown(card) for card in cards]
    sheets = [shown[start : start + _COLUMNS * _ROWS] for start in range(0, len(shown), _COLUMNS * _ROWS)]
    width, height = _CARD_MM
    values = {
        "title": "Swatch cards",
        "sheets": sheets,
        "columns": _COLUMNS,
        "width": width,
        "height": height,
        "x": (210 - _COLUMNS * width) / 2,
        "y": (297 - _ROWS * height) / 2,
        "roughly": _ROUGHLY,
    }
    return typeset("swatch_cards", values, day=day, pages=len(sheets))


def _shown(card: SwatchCard) -> dict[str, Any]:
    cells = [_cell("", "paper", "", card.white, card.white)]
    for number, layer in enumerate(card.layers, start=1):
        alone = layer.so_far if number == 1 else layer.alone  # the first lies on bare paper: both are one colour
        cells.append(_cell(str(number), layer.ink, layer.tint, alone, layer.so_far))
    return {
        "name": card.name,
        "patch": _hex(card.lab),
        "drawn": card.drawn if card.lab else "hatched",
        "words": _words(card),
        "cells": cells,
        "cell_width": min(_WIDEST_CELL_MM, _ROW_MM / len(cells)),
        "braces": _braces(card.layers),
        "unmeasured": any(cell["alone"] == "" or cell["so_far"] == "" for cell in cells),
        "lab": " ".join(f"{part + 0.0:.1f}" for part in card.lab).replace("-0.0", "0.0") if card.lab else "",
        "plus_minus": f"± {card.uncertainty:.1f}" if card.uncertainty is not None else "",
        "evidence": card.evidence,
        "measured": card.measured,
        "lies": ", ".join(part for part in (card.work, card.place) if part),
        "notes": "; ".join([*card.notes, *_beyond_screen(card)]),
        "uid": card.uid,
    }


def _cell(number: str, ink: str, tint: str, alone: Lab | None, so_far: Lab | None) -> dict[str, str]:
    return {"number": number, "ink": ink, "tint": tint, "alone": _hex(alone), "so_far": _hex(so_far)}


def _words(card: SwatchCard) -> str:
    passes = len({layer.print_pass for layer in card.layers})
    laid = ", then ".join(f"{layer.ink} {layer.tint}" for layer in card.layers)
    if not laid:
        return f"bare paper, {card.paper}"
    known = all(layer.print_pass is not None for layer in card.layers)
    count = f", {_NUMBERS[passes]} pass{'' if passes == 1 else 'es'}" if known else ""
    return f"{laid}, on {card.paper}{count}"


def _braces(layers: Sequence[CardLayer]) -> list[dict[str, Any]]:
    """Return where the brace of each pass begins, in cells, and how many layers it holds."""
    braces, start = [], 1
    for print_pass, together in groupby(layers, key=lambda layer: layer.print_pass):
        count = len(list(together))
        if print_pass is not None:
            braces.append({"start": start, "count": count, "words": f"pass {print_pass}"})
        start += count
    return braces


def _hex(lab: Lab | None) -> str:
    if lab is None:
        return ""
    from archive.colour.spaces import lab_to_hex  # here, so that the module itself loads no numbers' library

    return lab_to_hex([min(max(lab[0], 0.0), 100.0), lab[1], lab[2]])


def _beyond_screen(card: SwatchCard) -> list[str]:
    if card.lab is None or card.drawn == "hatched":
        return []
    from archive.colour.spaces import in_gamut, lab_to_xyz  # as above

    inside = bool(in_gamut(lab_to_xyz([min(max(card.lab[0], 0.0), 100.0), card.lab[1], card.lab[2]])))
    return [] if inside else ["beyond the colours of a screen: drawn as near as it can"]
