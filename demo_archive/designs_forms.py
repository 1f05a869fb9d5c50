"""Compositions of forms: type, discs, tiles, plants, birds, contours, photographs, columns, charts."""

from __future__ import annotations

import numpy as np

from demo_archive.designs_places import footer, small_line
from demo_archive.drawing import BARE, FULL, MIDDLE, PALE, Board, Box, Grey, Point, cloud, code_of, dots, grain

SENTENCES = (
    "We counted the steps again and there was one more than before.",
    "Nobody had told the lamp that the room was empty, so it went on.",
    "The second pass always knows what the first one meant.",
    "Keep the lid on, she said, and let it think for an hour.",
    "Between the wall and the water there is a strip of ground that belongs to whoever is standing on it.",
    "He wrote the weather on the back of his hand and forgot it there.",
    "A drum that rests for a week prints the first twenty sheets for the drawer.",
    "Under the stairs were nine boxes and a smell of rain.",
    "It is not the same yellow, but it is the yellow we had.",
    "When the ferry turned, every window on the quay turned with it.",
)


def running_text(board: Board, count: int) -> str:
    """Return a few sentences to fill a column."""
    picks = board.rng.permutation(len(SENTENCES))
    return " ".join(SENTENCES[int(pick)] for pick in np.resize(picks, count))


def type_sheet(board: Board, title: str) -> None:
    """The words themselves, as large as the sheet, printed twice and not quite in the same place."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    words = title.upper().split()
    rows = min(max(len(words), 2), 4)
    if rng.random() < 0.5:
        board.disc(
            0, FULL, w * float(rng.uniform(0.3, 0.7)), h * float(rng.uniform(0.3, 0.6)), float(rng.uniform(28, 38)) * u
        )
    else:
        for band in range(6):
            board.rect(0, (FULL, PALE, MIDDLE)[band % 3], (0, h * band / 7, w, h * (band + 0.62) / 7))
    tall = h * 0.86 / rows
    for index in range(rows):
        word = words[index % len(words)] if index < rows - 1 or rows >= len(words) else " ".join(words[index:])
        size = min(tall * 1.28, 0.97 * w / max(board.text_width(word, 1000, 0.05) / 1000, 0.01))
        y = h * 0.015 + tall * (index + 0.5) + size * 0.36
        board.text(1, FULL, (w / 2, y), word, size, anchor="ms", bold=0.05)
        board.text(
            board.ink(2),
            MIDDLE if board.ink(2) == 0 else FULL,
            (w / 2 + 1.6 * u, y + 1.6 * u),
            word,
            size,
            anchor="ms",
            bold=0.05,
        )
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.945, w, h))
    board.text(1, FULL, (0, h - 1.2 * u), small_line(board), 2.8 * u)


def discs(board: Board, title: str) -> None:
    """A few large circles that overlap: what the two inks make together is the subject."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    board.rect(0, PALE, (0, 0, w, h * 0.8))
    count = int(rng.integers(3, 6))
    for index in range(count):
        x, y = w * (0.2 + 0.6 * (index + 0.5) / count + float(rng.uniform(-0.1, 0.1))), h * float(rng.uniform(0.2, 0.6))
        radius = float(rng.uniform(15, 27)) * u
        ink = board.ink(index)
        board.disc(ink, FULL if index % 3 else MIDDLE, x, y, radius)
        style = int(rng.integers(4))
        if style == 0:
            board.disc(ink, BARE, x, y, radius * 0.45)
        elif style == 1:
            board.slice(ink, PALE, x, y, radius, 90, 270)
        elif style == 2:
            for spoke in range(12):
                board.slice(board.ink(index + 1), FULL, x, y, radius * 0.8, spoke * 30, spoke * 30 + 13)
    yy, xx = np.mgrid[0 : round(h * 0.24), 0:w].astype(np.float32)
    ramp: Grey = (xx / w * 0.9 + 0.05) * np.ones_like(yy)
    board.field(1, dots(ramp, max(8.0, 2.6 * u), 45), at=(0, round(h * 0.56)))
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.8, w, h))
    footer(board, title, 1, top=0.825)


def tiles(board: Board, title: str) -> None:
    """A grid of quarter circles, stripes and squares in every combination of tints."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    columns = int(rng.integers(4, 7))
    cell = w / columns
    rows = max(1, int(h * 0.8 / cell))
    for row in range(rows):
        for column in range(columns):
            _tile(board, (column * cell, row * cell, (column + 1) * cell, (row + 1) * cell))
    edge = rows * cell
    board.headline(1, FULL, (0, edge + 1 * u, w, h - 5 * u), title)
    board.text(1, FULL, (0.3 * u, h - 1 * u), small_line(board), 2.6 * u)


def _tile(board: Board, box: Box) -> None:
    rng = board.rng
    left, top, right, bottom = box
    size = right - left
    ink = board.ink(int(rng.integers(3)))
    ground = int(rng.integers(4)) - 1
    board.rect(board.ink(ink + 1), ground, box)
    level = int(rng.integers(2))
    style = int(rng.integers(6))
    corner = [(left, top), (right, top), (right, bottom), (left, bottom)][int(rng.integers(4))]
    if style <= 1:  # the part of a circle inside this tile
        start = {(left, top): 0, (right, top): 90, (right, bottom): 180, (left, bottom): 270}[corner]
        board.slice(ink, level, *corner, size, start, start + 90)
        if style:
            board.slice(ink, PALE, *corner, size * 0.5, start, start + 90)
    elif style == 2:
        for stripe in range(5):
            board.rect(ink, level, (left, top + size * stripe / 5, right, top + size * (stripe + 0.5) / 5))
    elif style == 3:
        board.disc(ink, level, left + size / 2, top + size / 2, size * 0.38)
    elif style == 4:
        board.polygon(ink, level, [(left, top), (right, top), corner if corner[1] == bottom else (left, bottom)])
    else:
        board.rect(ink, level, box)
        board.rect(ink, BARE, (left + size * 0.3, top + size * 0.3, right - size * 0.3, bottom - size * 0.3))


def plants(board: Board, title: str) -> None:
    """Stems with leaves and seed heads."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    board.disc(0, MIDDLE, w * float(rng.uniform(0.3, 0.7)), h * 0.36, 33 * u)
    if rng.random() < 0.5:
        yy = np.linspace(0, 1, round(h * 0.28), dtype=np.float32)[:, None] * np.ones((1, w), dtype=np.float32)
        board.field(0, dots(yy, max(7.0, 2 * u), 45), at=(0, round(h * 0.52)))
    count = int(rng.integers(4, 7))
    for index in range(count):
        _stem(board, w * (index + 0.5) / count, h * 0.8, h * float(rng.uniform(0.42, 0.7)), index)
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.8, w, h))
    footer(board, title, 1, top=0.825)


def _stem(board: Board, x: float, foot: float, tall: float, index: int) -> None:
    u, rng = board.unit, board.rng
    lean = float(rng.uniform(-0.12, 0.12)) * tall
    ink = 1 if index % 3 else board.ink(2)

    def at(share: float) -> Point:
        return x + lean * share**2, foot - tall * share

    board.line(ink, FULL, [at(s / 10) for s in range(11)], 0.8 * u)
    pairs = int(rng.integers(4, 8))
    size = float(rng.uniform(7, 12)) * u
    for pair in range(pairs):
        start = at(0.15 + 0.7 * pair / pairs)
        for side in (-1, 1):
            _leaf(board, ink, (FULL, MIDDLE)[(pair + index) % 2], start, side * size * (1 - 0.09 * pair), size * 0.55)
    head = at(1.0)
    style = int(rng.integers(3))
    if style == 0:
        for petal in range(9):
            turn = 2 * np.pi * petal / 9
            board.disc(0, FULL, head[0] + 4 * u * np.cos(turn), head[1] + 4 * u * np.sin(turn), 2.2 * u)
        board.disc(1, FULL, *head, 2.4 * u)
    elif style == 1:
        board.slice(0, FULL, *head, 7 * u, 180, 360)
        board.slice(1, PALE, *head, 4 * u, 180, 360)
    else:
        board.disc(0, FULL, *head, 4.5 * u)
        board.disc(ink, MIDDLE, head[0], head[1], 3 * u)


def _leaf(board: Board, ink: int, level: int, start: Point, reach: float, rise: float) -> None:
    s = np.linspace(0, 1, 14)
    upper = [(start[0] + reach * t, start[1] - rise * t - abs(reach) * 0.28 * np.sin(np.pi * t)) for t in s]
    lower = [(start[0] + reach * t, start[1] - rise * t + abs(reach) * 0.12 * np.sin(np.pi * t)) for t in s[::-1]]
    board.polygon(ink, level, upper + lower)


def birds(board: Board, title: str) -> None:
    """A crowd of birds on wires, each its own tint."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    board.field(0, grain(0.1 + 0.35 * cloud(rng, w, round(h * 0.8), coarse=2, octaves=3), rng, size=3))
    for wire in range(5):
        y = h * (0.14 + 0.15 * wire)
        board.line(1, FULL, [(0, y + 1.5 * u), (w * 0.5, y + 3.5 * u), (w, y + 1.5 * u)], 0.5 * u)
        x = float(rng.uniform(4, 14)) * u
        while x < w - 6 * u:
            if rng.random() < 0.8:
                _bird(board, x, y + 2.2 * u, float(rng.uniform(4.5, 7.5)) * u)
            x += float(rng.uniform(12, 19)) * u
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.83, w, h))
    footer(board, title, 1, top=0.845)


def _bird(board: Board, x: float, foot: float, size: float) -> None:
    rng = board.rng
    side = -1 if rng.random() < 0.5 else 1
    ink, level = int(rng.integers(2)), int(rng.integers(2))
    y = foot - size
    for other in range(len(board.tints)):
        board.disc(other, BARE, x, y, size)
    board.disc(ink, level, x, y, size)
    board.polygon(
        ink,
        level,
        [
            (x - side * size * 0.3, y - size * 0.6),
            (x - side * size * 2.1, y + size * 0.9),
            (x - side * size * 0.3, y + size * 0.9),
        ],
    )
    board.disc(ink, level, x + side * size * 0.75, y - size * 0.85, size * 0.62)
    board.polygon(
        1 - ink,
        FULL,
        [
            (x + side * size * 1.25, y - size * 1.05),
            (x + side * size * 2.0, y - size * 0.75),
            (x + side * size * 1.25, y - size * 0.65),
        ],
    )
    board.disc(ink, BARE, x + side * size * 0.9, y - size * 0.95, size * 0.16)
    board.slice(1 - ink, MIDDLE, x - side * size * 0.1, y, size * 0.8, 0, 180)


def contours(board: Board, title: str) -> None:
    """A map of rings, its heights in steps, with a route and places on it."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    tall = round(h * 0.8)
    height = cloud(rng, w, tall, coarse=2, octaves=3)
    share = height * 9
    rings = np.clip(1.6 - np.abs(share - np.round(share)) / (np.hypot(*np.gradient(share)) + 1e-3) / (0.16 * u), 0, 1)
    board.field(1, rings.astype(np.float32))
    _, middle, pale = board.tints[0]
    steps = np.select(
        [height > 0.72, height > 0.52, height > 0.34], [1.0, middle / board.tints[0][0], pale / board.tints[0][0]], 0
    )
    board.field(0, steps.astype(np.float32))
    route: list[Point] = [(w * 0.08, tall * float(rng.uniform(0.2, 0.8)))]
    while route[-1][0] < w * 0.9:
        x, y = route[-1]
        route.append(
            (x + float(rng.uniform(6, 15)) * u, min(max(y + float(rng.uniform(-14, 14)) * u, 6 * u), tall - 6 * u))
        )
    board.line(board.ink(2), FULL, route, 1.5 * u)
    board.line(1, FULL, route, 1.5 * u)
    for stop, (x, y) in enumerate(route[::2]):
        board.disc(0, BARE, x, y, 3 * u)
        board.disc(1, FULL, x, y, 3 * u)
        board.disc(1, BARE, x, y, 1.8 * u)
        board.text(1, FULL, (x + 4 * u, y + 1 * u), f"No. {stop + 1}", 3 * u, bold=0.03)
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.8, w, h))
    footer(board, title, 1, top=0.825)


def landscape(board: Board, width: int, height: int) -> Grey:
    """Return an invented photograph, drawn at half size: a screen goes over it anyway."""
    half = _landscape(board, -(-width // 2), -(-height // 2))
    return np.repeat(np.repeat(half, 2, 0), 2, 1)[:height, :width]


def _landscape(board: Board, width: int, height: int) -> Grey:
    """Return sky, far hills, a shore and a dark thing in front."""
    rng = board.rng
    yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
    yy, xx = yy / height, xx / width
    picture = 0.10 + 0.45 * (1 - yy) * cloud(rng, width, height, coarse=2)
    for hill in range(4):
        line = 0.42 + 0.11 * hill + 0.07 * np.sin(xx * (3 + 2.3 * hill) + rng.uniform(0, 6)) * (1 - 0.15 * hill)
        rough = 0.035 * (cloud(rng, width, height, coarse=6) - 0.5)
        tone = 0.28 + 0.17 * hill + 0.22 * (cloud(rng, width, height, coarse=9) - 0.5)
        picture = np.where(yy > line + rough, tone, picture)
    return np.asarray(np.clip(_foreground(rng, picture, xx, yy), 0, 1), dtype=np.float32)


def _foreground(rng: np.random.Generator, picture: Grey, xx: Grey, yy: Grey) -> Grey:
    """Put a light tower, a bare tree, a shed or two posts in front of a landscape."""
    x0, top, aspect = rng.uniform(0.25, 0.7), rng.uniform(0.2, 0.34), xx.shape[1] / xx.shape[0]
    across, kind = (xx - x0) * aspect, int(rng.integers(4))
    if kind == 0:
        dark = (np.abs(across) < 0.008 + 0.05 * np.clip(yy - top, 0, 1)) & (yy > top) & (yy < 0.86)
        return np.where(np.hypot(across, yy - top) < 0.035, 0.02, np.where(dark, 0.93, picture))
    if kind == 1:
        crown = np.hypot(across, yy - 0.42) + 0.16 * (cloud(rng, xx.shape[1], xx.shape[0], coarse=14) - 0.5)
        dark = (crown < 0.2) | ((np.abs(across) < 0.018) & (yy > 0.42) & (yy < 0.84))
        return np.where(dark, 0.86 + 0.1 * np.sign(0.1 - crown), picture)
    if kind == 2:
        wall = (np.abs(across) < 0.2) & (yy > 0.52) & (yy < 0.82)
        roof = (np.abs(across) < 0.26 * (yy - 0.36) / 0.16) & (yy > 0.36) & (yy <= 0.52)
        window = (np.abs(across - 0.08) < 0.04) & (yy > 0.58) & (yy < 0.68)
        return np.where(window, 0.03, np.where(roof, 0.95, np.where(wall, 0.62, picture)))
    posts = np.minimum(np.abs(across - 0.12), np.abs(across + 0.12))
    rope = np.abs(yy - 0.5 - 0.5 * across**2) < 0.008
    return np.where(((posts < 0.022) & (yy > 0.44) & (yy < 0.9)) | (rope & (np.abs(across) < 0.12)), 0.92, picture)


def photo(board: Board, title: str) -> None:
    """A photograph as a coarse duotone with a caption block."""
    w, h, u = board.width, board.height, board.unit
    tall = round(h * 0.74)
    tone = landscape(board, w, tall)
    board.field(1, dots(np.clip(tone * 1.15 - 0.1, 0, 1), max(5.5, 1.1 * u), 45))
    board.field(0, dots(np.clip(0.85 - 0.75 * np.abs(tone - 0.35), 0, 1), max(6.5, 1.3 * u), 75))
    board.rect(0, BARE, (4 * u, 4 * u, 34 * u, 14 * u))
    board.rect(1, BARE, (4 * u, 4 * u, 34 * u, 14 * u))
    board.rect(0, FULL, (4 * u, 4 * u, 34 * u, 14 * u))
    board.text(1, FULL, (6 * u, 11 * u), f"plate {int(board.rng.integers(2, 40))}", 5.5 * u, bold=0.03)
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, tall, w, h))
    footer(board, title, 1, top=0.77)


def columns(board: Board, title: str) -> None:
    """A page of two columns with a heading, a rule, a picture and a tinted box."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    board.rect(0, MIDDLE, (0, 0, w, h * 0.24))
    for ink in range(1, len(board.tints)):
        board.rect(ink, PALE if rng.random() < 0.5 else BARE, (0, 0, w, h * 0.24))
    board.headline(1, FULL, (3 * u, 2 * u, w * 0.8, h * 0.22), title, biggest=20)
    board.rect(1, FULL, (0, h * 0.26, w, h * 0.266))
    left, right = (0.0, w * 0.47), (w * 0.53, float(w))
    board.paragraph(1, FULL, (left[0], h * 0.29, left[1], h * 0.62), running_text(board, 9), 3.1 * u)
    board.paragraph(1, FULL, (right[0], h * 0.66, right[1], h * 0.99), running_text(board, 9), 3.1 * u)
    wide, tall = round(right[1] - right[0]) - 1, round(h * 0.34)
    tone = landscape(board, wide, tall)
    board.field(1, dots(tone * 0.9, max(5.0, 1.2 * u), 45), at=(round(right[0]), round(h * 0.29)))
    board.rect(0, MIDDLE, (right[0], h * 0.29, right[1], h * 0.29 + tall))
    board.rect(0, PALE, (left[0], h * 0.66, left[1], h * 0.99), radius=2 * u)
    for item in range(6):
        y = h * (0.71 + 0.045 * item)
        board.disc(0, FULL, left[0] + 5 * u, y - 1 * u, 1.4 * u)
        board.text(
            1, FULL, (left[0] + 9 * u, y), SENTENCES[(item * 3) % len(SENTENCES)].split(",")[0][:22].rstrip(), 2.9 * u
        )


def chart(board: Board, title: str) -> None:
    """A test sheet: tint rows of each ink, a grid of the pair, crosses for register."""
    w, h, u = board.width, board.height, board.unit
    count = len(board.tints)
    board.text(1, FULL, (0, 4.5 * u), title, 4.6 * u, bold=0.03)
    board.text(1, FULL, (w, 4.5 * u), "sheet 12, FM", 3 * u, anchor="rs")
    for ink in range(count):
        for step in range(10):
            _patch(
                board,
                {ink: 10.0 * (step + 1)},
                (w * step / 10, (8 + 11 * ink) * u, w * (step + 0.9) / 10, (17 + 11 * ink) * u),
            )
    top, size = (10 + 11 * count) * u, min(w / 5.0, (h - (14 + 11 * count) * u) / 5.0)
    nodes = (0, 20, 40, 70, 100)
    for row, lower in enumerate(nodes):
        for column, upper in enumerate(nodes):
            box = (column * w / 5, top + row * size, (column + 0.92) * w / 5, top + (row + 0.92) * size)
            _patch(board, {0: float(lower), board.ink(1): float(upper)}, box)
    for x, y in ((0.5, 0.99), (0.02, 0.99), (0.98, 0.99)):
        for ink in range(count):
            board.line(ink, FULL, [(w * x - 2 * u, h * y), (w * x + 2 * u, h * y)], 0.3 * u)
            board.line(ink, FULL, [(w * x, h * y - 2 * u), (w * x, h * y + 1 * u)], 0.3 * u)


def _patch(board: Board, tints: dict[int, float], box: Box) -> None:
    left, top, right, bottom = (round(v) for v in box)
    for ink, tint in tints.items():
        share = code_of(tint) / max(board.code(ink, FULL), 1)
        if right > left and bottom > top:
            values = np.full((bottom - top, right - left), share + 0.001, dtype=np.float32)
            board.field(ink, values, at=(left, top))
