"""Draw what a sheet carries: one grey picture per ink, with margin and drift, for any page of any work."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from demo_archive.designs_forms import (
    birds,
    chart,
    columns,
    contours,
    discs,
    landscape,
    photo,
    plants,
    running_text,
    tiles,
    type_sheet,
)
from demo_archive.designs_places import busstop, facade, harbour, lamp, sky, tides, weather
from demo_archive.drawing import BARE, FULL, MIDDLE, PALE, Board, dots, shifted
from demo_archive.press import luck
from demo_archive.values import Printed

Codes = NDArray[np.uint8]

FAMILIES: dict[str, Callable[[Board, str], None]] = {
    "tides": tides,
    "lamp": lamp,
    "busstop": busstop,
    "harbour": harbour,
    "facade": facade,
    "weather": weather,
    "sky": sky,
    "type": type_sheet,
    "discs": discs,
    "tiles": tiles,
    "plants": plants,
    "birds": birds,
    "contours": contours,
    "photo": photo,
    "columns": columns,
    "chart": chart,
}
SPREADS = (
    ("text", "plate"),
    ("design", "text"),
    ("word", "design"),
    ("plate", "text"),
    ("text", "word"),
    ("design", "plate"),
)  # what faces what
MARGIN = 0.045  # bare edge, as a share of the short side; a stencil duplicator never prints to the edge
SAME_PASS_MM, NEXT_PASS_MM = 0.6, 1.6  # drift, standard deviations; common practice


def draw_sheet(sheet: Printed, width: int, height: int, *, with_drift: bool = True) -> list[Image.Image]:
    """Return the tint pictures (0-255 = 0-100 % of the file) of a sheet, one per layer in printing order.

    Parameters
    ----------
    width, height : int
        Pixels of the whole sheet; a wide one is drawn as a spread of two pages.
    with_drift : bool
        False puts every layer exactly where it was meant.
    """
    rng = luck("draw", sheet.title, sheet.design, sheet.page, sheet.seed)
    margin = max(4, round(MARGIN * min(width, height)))
    roles = _roles(sheet)
    board = Board(width - 2 * margin, height - 2 * margin, [sheet.tints[i] for i in roles], rng)
    _draw_page(board, sheet)
    mm = max(width, height) / max(sheet.size_mm)
    finished = board.finished()
    layers = []
    for index in range(len(roles)):
        drawn = finished[roles.index(index)]
        whole = Image.new("L", (width, height), 0)
        whole.paste(drawn, (margin, margin))
        layers.append(shifted(whole, *_drift(sheet, index, mm, margin)) if with_drift and index else whole)
    return layers


def _roles(sheet: Printed) -> list[int]:
    """Return the layer of each role: the key layer is role 1, for lines and type."""
    others = [index for index in range(len(sheet.layers)) if index != sheet.key]
    return [*others[:1], sheet.key, *others[1:]]


def _drift(sheet: Printed, index: int, mm: float, margin: int) -> tuple[int, int]:
    is_later = sheet.layers[index].print_pass != sheet.layers[0].print_pass
    size = (NEXT_PASS_MM if is_later else SAME_PASS_MM) * mm
    dx, dy = luck("drift", sheet.run, sheet.page, index).normal(size=2) * size
    limit = margin - 2
    return int(np.clip(round(dx), -limit, limit)), int(np.clip(round(dy), -limit, limit))


def _draw_page(board: Board, sheet: Printed) -> None:
    family = FAMILIES[sheet.design]
    if sheet.page == 0:
        family(board, sheet.title)
    elif board.width > board.height:
        _spread(board, sheet)
    else:
        _inner_page(board, sheet, sheet.page, SPREADS[sheet.page % len(SPREADS)][0])


def _spread(board: Board, sheet: Printed) -> None:
    """Draw two facing pages with the gutter bare between them."""
    half = (board.width - round(5 * board.unit)) // 2
    kinds = SPREADS[(sheet.page + sheet.seed) % len(SPREADS)]
    for side, kind in enumerate(kinds):
        page = board.part(half, board.height)
        _inner_page(page, sheet, sheet.page * 2 + side, kind)
        board.insert(page, side * (board.width - half), 0)


def _inner_page(board: Board, sheet: Printed, number: int, kind: str) -> None:
    """Draw one page of a zine or book."""
    if kind == "design":
        FAMILIES[sheet.design](board, _phrase(sheet, number))
        return
    if kind == "text":
        _text_page(board, number)
    elif kind == "plate":
        _plate(board)
    else:
        _word_page(board, sheet, number)
    board.text(1, FULL, (board.width / 2, board.height - 0.2 * board.unit), str(number), 2.4 * board.unit, anchor="ms")


def _word_page(board: Board, sheet: Printed, number: int) -> None:
    """Fill the page with one ink and set one word and two bars over it with the other."""
    w, h, u = board.width, board.height, board.unit
    board.rect(0, (FULL, MIDDLE)[number % 2], (0, 0, w, h * 0.965))
    word = max(sheet.title.replace(",", "").split(), key=len)
    board.headline(1, FULL, (4 * u, 20 * u, w - 4 * u, h * 0.62), word.lower())
    board.rect(1, MIDDLE, (0, h * 0.70, w, h * 0.78))
    board.rect(1, PALE, (0, h * 0.82, w, h * 0.90))


def _phrase(sheet: Printed, number: int) -> str:
    words = sorted(sheet.title.replace(",", "").split(), key=len)[-2:]
    return f"{words[number % len(words)].lower()}, {number}"


def _text_page(board: Board, number: int) -> None:
    w, h, u = board.width, board.height, board.unit
    first = running_text(board, 3).split()
    board.text(0, FULL, (6 * u, 22 * u), first[0], 17 * u, bold=0.03)
    board.paragraph(1, FULL, (6 * u, 28 * u, w - 10 * u, h * 0.72), running_text(board, 12), 3.9 * u)
    board.rect(0, MIDDLE, (6 * u, h * 0.77, w - 6 * u, h * 0.79))
    for mark in range(5):
        board.disc(mark % 2, (FULL, MIDDLE, PALE)[(mark + number) % 3], 10 * u + 13 * mark * u, h * 0.87, 5 * u)


def _plate(board: Board) -> None:
    w, h, u = board.width, board.height, board.unit
    tall = round(h * 0.72)
    tone = landscape(board, w, tall)
    board.field(1, dots(tone, max(5.0, 1.2 * u), 45))
    board.rect(0, MIDDLE, (0, 0, w, tall))
    board.disc(0, FULL, w * 0.72, tall * 0.24, 13 * u)
    board.disc(1, BARE, w * 0.72, tall * 0.24, 9 * u)
    board.paragraph(1, FULL, (0, tall + 4 * u, w * 0.75, h - 6 * u), running_text(board, 3), 3.2 * u)


def flat_colours(sheet: Printed, *, least: float = 0.004) -> list[tuple[tuple[float, ...], float]]:
    """Return the flat recipes on a sheet: (tints in percent per layer, share of the sheet), largest first.

    Only areas of one of each ink's own three tints count, halftone dots and edges don't; bare paper is left out.
    """
    height, width = sheet.size_mm
    scale = 300 / max(sheet.size_mm)
    layers = draw_sheet(sheet, round(width * scale), round(height * scale), with_drift=False)
    flat: list[tuple[tuple[float, ...], float]] = []
    for codes, share in code_shares([np.asarray(layer) for layer in layers]):
        if share < least:
            continue
        tints = [_tint_of(code, options) for code, options in zip(codes, sheet.tints, strict=True)]
        if None not in tints and any(tints):
            flat.append((tuple(t for t in tints if t is not None), share))
    return sorted(flat, key=lambda item: (-item[1], item[0]))


def code_shares(layers: Sequence[Codes]) -> list[tuple[tuple[int, ...], float]]:
    """Return each combination of 8-bit codes that layers (arrays of one shape) make, with its share of the area."""
    packed = np.zeros(layers[0].shape, dtype=np.int64)
    for layer in layers:
        packed = packed * 256 + layer
    found, counts = np.unique(packed, return_counts=True)
    return [
        (tuple(int(value) >> 8 * shift & 255 for shift in reversed(range(len(layers)))), int(count) / packed.size)
        for value, count in zip(found, counts, strict=True)
    ]


def _tint_of(code: int, options: tuple[float, float, float]) -> float | None:
    """Return the tint that an 8-bit code stands for: 0, one of the ink's own, or None for anything else."""
    if code == 0:
        return 0.0
    return next((tint for tint in options if round(tint * 2.55) == code), None)
