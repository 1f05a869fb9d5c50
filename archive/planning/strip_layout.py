"""Where everything on a strip lies, as plain values in millimetres from the sheet's upper left corner.

The values are drawn by whoever prints the masters and kept by whoever reads the print, so that both agree. Every
drum prints marks of its own in all four corners: how far they lie from where they should tells how the drum drifted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import Any

from archive.errors import InputError
from archive.planning.strip_designs import Tints

_VERSION = 1
SIZES_MM = {"A4": (210.0, 297.0), "A3": (297.0, 420.0)}
_MARKS = "4x4_50"  # the published set of square marks that OpenCV finds
_FIRST_MARK = 8  # those before it are the job slip's
_MARK_MM, _STEP_MM = 12.0, 18.0  # six millimetres apart: drums may drift by two towards each other
_CLEAR_MM = 2.0  # inside the margin: a drum that drifts so far still prints all
_CODE_MM = 29.0  # with its quiet zone: 0.7 mm a module
PATCHES_MM = (24.0, 20.0, 16.0, 14.0, 12.0)  # the largest that fits; 12 leaves 4 with 2 mm of drift and more
_GAP_MM, _ROW_GAP_MM = 6.0, 7.0  # free paper between patches, at least: more than drums drift
_MOST_GAP_MM = 12.0
_NUMBER_MM = 6.0  # below a patch, for its number
_FIELD_MM, _FIELD_ROW_MM = 8.0, 13.0
FIELDS = ("Date", "Paper", "Machine", "Density", "Speed", "Screen")


@dataclass(frozen=True, slots=True)
class StripDrum:
    """A drum of a strip: the ink in it, its pass, its place in the pass."""

    ink: str
    print_pass: int
    position: int


@dataclass(frozen=True, slots=True)
class StripHead:
    """What is written on a strip: its name, its code's text, and what is known of the fields already."""

    uid: str
    code: str
    design: str
    fields: dict[str, str]
    screen: str | None = None


def strip_layout(
    head: StripHead,
    patches: Sequence[Tints],
    drums: Sequence[StripDrum],
    *,
    code_drum: int = 0,
    margin_mm: float = 7.0,
    size: str = "A4",
) -> dict[str, Any]:
    """Return a strip's layout as plain values.

    Parameters
    ----------
    patches : sequence of tints
        One tint a drum each; they are laid out in an order drawn from the uid, so that readings given in any other
        order do not fit.
    drums : sequence of StripDrum
        One to four, in printing order.
    code_drum : int
        Which of them prints the code and the words: the darkest.
    margin_mm : float
        What the machine cannot print.
    size : str
        Of `SIZES_MM`.

    Returns
    -------
    dict
        `version`, `uid`, `code`, `design`, `screen`, `width`, `height`, `dictionary`, `qr`, `code_drum`,
        `gap` (of bare paper beside a patch);
        `drums` (`ink`, `pass`, `position`, `marks`: `id`, `x`, `y`, `size`); `patches` (`number`, `x`, `y`,
        `size`, `tints`); `words` (`text`, `x`, `y`, `width`, `style`, `drum`); `boxes` (`x`, `y`, `width`,
        `height`), to be filled in by pen.

    Raises
    ------
    InputError
        The sheet or the margin is unknown, or the patches do not fit.
    """
    if size not in SIZES_MM:
        raise InputError("no sheet {size}", size=size, where="--sheet", mend=f"Use {' or '.join(SIZES_MM)}")
    width, height = SIZES_MM[size]
    edge = margin_mm + _CLEAR_MM
    words = _head_words(head, drums, code_drum, width, edge)
    boxes = _fields(head, code_drum, width, edge, words)
    area = (edge, edge + 63.0, width - edge, height - edge - _MARK_MM - _NUMBER_MM - 2.0)
    places, gap = _places(len(patches), area)
    shuffled = list(patches)
    Random(f"strip {head.uid}").shuffle(shuffled)
    laid: list[dict[str, Any]] = [
        {"number": number, "x": _mm(x), "y": _mm(y), "size": side, "tints": [float(tint) for tint in tints]}
        for number, ((x, y, side), tints) in enumerate(zip(places, shuffled, strict=True), start=1)
    ]
    words += [_word(str(p["number"]), p["x"], p["y"] + p["size"] + 2.6, p["size"], "number", code_drum) for p in laid]
    return {
        "version": _VERSION,
        "uid": head.uid,
        "code": head.code,
        "design": head.design,
        "screen": head.screen,
        "width": width,
        "height": height,
        "dictionary": _MARKS,
        "qr": {"x": _mm(width / 2 - _CODE_MM / 2), "y": _mm(edge - 1), "size": _CODE_MM},
        "code_drum": code_drum,
        "gap": gap,
        "drums": [
            {
                "ink": drum.ink,
                "pass": drum.print_pass,
                "position": drum.position,
                "marks": _marks(n, width, height, edge),
            }
            for n, drum in enumerate(drums)
        ],
        "patches": laid,
        "words": words,
        "boxes": boxes,
    }


def _mm(length: float) -> float:
    return round(length, 3)


def _word(text: str, x: float, y: float, width: float, style: str, drum: int) -> dict[str, Any]:
    return {"text": text, "x": _mm(x), "y": _mm(y), "width": _mm(width), "style": style, "drum": drum}


def _marks(number: int, width: float, height: float, edge: float) -> list[dict[str, Any]]:
    """Return a drum's four corner marks, clockwise from the upper left."""
    left, top = edge + number * _STEP_MM, edge
    right, bottom = width - edge - _MARK_MM - number * _STEP_MM, height - edge - _MARK_MM
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    first = _FIRST_MARK + 4 * number
    return [{"id": first + at, "x": _mm(x), "y": _mm(y), "size": _MARK_MM} for at, (x, y) in enumerate(corners)]


def _head_words(
    head: StripHead, drums: Sequence[StripDrum], code_drum: int, width: float, edge: float
) -> list[dict[str, Any]]:
    half = width / 2 - _CODE_MM / 2 - edge - 2
    right = width / 2 + _CODE_MM / 2 + 2
    words = [
        _word(drum.ink, edge + number * _STEP_MM, edge + _MARK_MM + 1, _STEP_MM - 1, "name", number)
        for number, drum in enumerate(drums)
    ]
    passes = [f"pass {each}: {_and([drum.ink for drum in drums if drum.print_pass == each])}"
              for each in sorted({drum.print_pass for drum in drums})]  # fmt: skip
    words.append(_word(f"Strip: {head.design}", edge, edge + 18, half, "title", code_drum))
    words += [_word(text, edge, edge + 24.5 + 4 * line, half, "plain", code_drum) for line, text in enumerate(passes)]
    hints = ("Print at full size, 100 %.", "Photograph it whole and flat.", f"strip {head.uid[-12:]}")
    return words + [
        _word(text, right, edge + 18 + 4 * line, half, "plain", code_drum) for line, text in enumerate(hints)
    ]


def _and(names: Sequence[str]) -> str:
    return names[0] + "".join(f", then {name}" for name in names[1:])


def _fields(
    head: StripHead, code_drum: int, width: float, edge: float, words: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Return the boxes to be filled in, and put their labels, and what is known already, among the words."""
    across = (width - 2 * edge - 8) / 3
    boxes = []
    for number, name in enumerate(FIELDS):
        x, y = edge + number % 3 * (across + 4), edge + 34.0 + number // 3 * _FIELD_ROW_MM
        words.append(_word(name, x, y, across, "label", code_drum))
        boxes.append({"x": _mm(x), "y": _mm(y + 3.4), "width": _mm(across), "height": _FIELD_MM})
        if head.fields.get(name):
            words.append(_word(head.fields[name], x + 2, y + 5.6, across - 4, "plain", code_drum))
    return boxes


def _places(count: int, area: tuple[float, float, float, float]) -> tuple[list[tuple[float, float, float]], float]:
    """Return left, top and side of so many patches, as large as the area allows, row by row; and the gap in a row."""
    left, top, right, bottom = area
    for side in PATCHES_MM:
        columns = int((right - left + _GAP_MM) // (side + _GAP_MM))
        rows = int((bottom - top + _ROW_GAP_MM) // (side + _ROW_GAP_MM))
        if columns * rows >= count:
            break
    else:
        raise InputError(
            "{count} patches of {side:g} mm do not fit on the sheet",
            count=count,
            side=PATCHES_MM[-1],
            mend="Choose a larger sheet (--sheet A3) or a smaller design",
        )
    wanted = max(round((count * (bottom - top) / (right - left)) ** 0.5), -(-count // columns))
    rows = min(rows, wanted)
    columns = -(-count // rows)
    across = side + _spread_gap(right - left, columns, side, _GAP_MM)
    down = side + _spread_gap(bottom - top, rows, side, _ROW_GAP_MM)
    first = left + (right - left - columns * across + across - side) / 2
    places = [(first + at % columns * across, top + at // columns * down, side) for at in range(count)]
    return places, _mm(across - side)


def _spread_gap(room: float, count: int, side: float, least: float) -> float:
    """Return the gap that fills the room with so many patches, at most twelve millimetres."""
    return max(min((room - count * side) / max(count - 1, 1), _MOST_GAP_MM), least)
