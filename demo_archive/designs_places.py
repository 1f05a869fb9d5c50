"""Compositions of places and weather: tides, lamps, bus stops, harbours, house fronts, rain, open sky."""

from __future__ import annotations

import numpy as np

from demo_archive.drawing import BARE, FULL, MIDDLE, PALE, Board, Grey, Point, cloud, dots, grain

SMALL_LINES = (
    "Quay Attic Printroom, third stair, bring a lamp",
    "Friday, eight o'clock, the long room over the quay",
    "Doors at seven. Soup while it lasts.",
    "Come early, leave late, mind the step",
    "Saturday and Sunday, ten until the light goes",
    "Free entry for anyone carrying a chair",
)


def small_line(board: Board) -> str:
    """Return one of the workshop's usual small lines."""
    return str(SMALL_LINES[int(board.rng.integers(len(SMALL_LINES)))])


def footer(board: Board, title: str, ink: int, *, top: float = 0.8) -> float:
    """Set the title over the foot of the sheet with a small line below; return where the type begins."""
    w, h, u = board.width, board.height, board.unit
    foot = h - 5.5 * u
    begin = board.headline(ink, FULL, (3 * u, h * top, w - 3 * u, foot - 2 * u), title)
    board.text(ink, FULL, (3 * u, h - 1.5 * u), small_line(board), 2.6 * u)
    return begin


def _wave(board: Board, level: float, height: float, length: float, phase: float) -> list[Point]:
    x = np.linspace(0, board.width, 90)
    y = (
        level
        + height * np.sin(2 * np.pi * x / length + phase)
        + 0.35 * height * np.sin(2 * np.pi * x / (length * 0.43) + 2.1 * phase)
    )
    return list(zip(x.tolist(), y.tolist(), strict=True))


def tides(board: Board, title: str) -> None:
    """Nine bands of water under a disc that sinks into them."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    count = 9
    horizon = h * float(rng.uniform(0.34, 0.42))
    step = (h * 0.80 - horizon) / (count - 1)
    board.rect(0, PALE, (0, 0, w, h * 0.98))
    radius = float(rng.uniform(19, 25)) * u
    sun = (w * float(rng.uniform(0.35, 0.68)), horizon - radius * float(rng.uniform(-0.1, 0.35)))
    board.disc(0, FULL, *sun, radius)
    for index in range(count):
        edge = _wave(board, horizon + index * step, step * 0.32, w * (0.62 - 0.04 * index), 1.3 * index + sun[0])
        below = [*edge, (w, h), (0, h)]
        board.polygon(1, (MIDDLE, PALE, FULL)[index % 3], below)
        if index % 3 == 2:  # the disc's reflection broken by the bands
            part = radius * (1 - index / count) + 4 * u
            y = horizon + index * step + step * 0.3
            board.rect(0, MIDDLE, (sun[0] - part, y, sun[0] + part, y + step * 0.22), radius=2 * u)
    board.rect(0, BARE, (0, h * 0.845, w, h))
    board.rect(1, BARE, (0, h * 0.845, w, h))
    footer(board, title, 1, top=0.86)


def lamp(board: Board, title: str) -> None:
    """A lamp over a table, its light a halftone that fades into the room."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    x, top = w * float(rng.uniform(0.3, 0.7)), h * float(rng.uniform(0.16, 0.24))
    shade = float(rng.uniform(13, 20)) * u
    yy, xx = np.mgrid[0 : board.height, 0 : board.width].astype(np.float32)
    far = np.hypot((xx - x) / w, (yy - top - shade * 0.5) / h * 1.25)
    glow: Grey = np.clip(1.05 - far * 1.5, 0, 1)
    board.field(0, dots(glow * 0.95, max(7.0, 2.1 * u), 45))
    dark: Grey = np.clip(far * 1.25 - 0.28, 0, 0.85)
    board.field(1, dots(dark, max(6.0, 1.5 * u), 15) * 0.999)
    floor = h * 0.66
    board.polygon(
        0,
        FULL,
        [
            (x - shade * 0.55, top + shade),
            (x + shade * 0.55, top + shade),
            (x + shade * 2.2, floor),
            (x - shade * 2.2, floor),
        ],
    )
    board.polygon(
        1,
        BARE,
        [(x - shade, top + shade), (x + shade, top + shade), (x + shade * 2.2, floor), (x - shade * 2.2, floor)],
    )
    board.line(1, FULL, [(x, 0), (x, top)], 0.9 * u)
    board.polygon(
        1, FULL, [(x - shade * 0.42, top), (x + shade * 0.42, top), (x + shade, top + shade), (x - shade, top + shade)]
    )
    board.polygon(
        0, FULL, [(x - shade * 0.42, top), (x + shade * 0.42, top), (x + shade, top + shade), (x - shade, top + shade)]
    )
    board.disc(0, BARE, x, top + shade * 1.02, shade * 0.3)
    _table(board, floor)
    footer(board, title, 1, top=0.84)


def _table(board: Board, floor: float) -> None:
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.83, w, h))
    accent = board.ink(2)
    board.rect(1, FULL, (w * 0.07, floor, w * 0.93, floor + 3.2 * u), radius=1.2 * u)
    for leg in (0.14, 0.84):
        board.polygon(
            1,
            FULL,
            [(w * leg, floor), (w * leg + 3 * u, floor), (w * leg + 2 * u, h * 0.83), (w * leg + 1 * u, h * 0.83)],
        )
    for place in range(int(rng.integers(3, 6))):
        x = w * (0.17 + 0.66 * place / 4)
        size = float(rng.uniform(3, 5.5)) * u
        kind = int(rng.integers(3))
        if kind == 0:  # a cup
            board.rect(accent, FULL, (x - size, floor - size * 1.3, x + size, floor), radius=size * 0.3)
            board.rect(1, MIDDLE, (x - size, floor - size * 1.3, x + size, floor), radius=size * 0.3)
        elif kind == 1:  # a bottle
            board.rect(1, MIDDLE, (x - size * 0.6, floor - size * 3, x + size * 0.6, floor), radius=size * 0.5)
            board.rect(1, MIDDLE, (x - size * 0.25, floor - size * 4.2, x + size * 0.25, floor - size * 2.6))
        else:  # fruit
            board.disc(accent, MIDDLE, x, floor - size, size)
            board.line(1, FULL, [(x, floor - size * 2), (x + size * 0.4, floor - size * 2.6)], 0.7 * u)


def busstop(board: Board, title: str) -> None:
    """A choir under a shelter, a pole with a round sign, a bus that does not stop."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    ground = h * 0.70
    board.rect(0, PALE, (0, 0, w, ground))
    board.disc(1, MIDDLE, w * 0.74, h * 0.2, 14 * u)
    board.rect(0, MIDDLE, (0, ground, w, h * 0.79))
    for dash in range(7):
        board.rect(0, BARE, (w * dash / 7, h * 0.745, w * dash / 7 + 7 * u, h * 0.752))
    board.rect(0, FULL, (w * 0.08, h * 0.30, w * 0.66, h * 0.335), radius=u)
    for post in (0.10, 0.62):
        board.rect(0, FULL, (w * post, h * 0.33, w * post + 1.6 * u, ground))
    board.rect(1, PALE, (w * 0.12, h * 0.36, w * 0.62, h * 0.62))
    for singer in range(6):
        _singer(board, w * (0.155 + 0.082 * singer), ground, float(rng.uniform(19, 29)) * u, singer)
    pole = w * 0.82
    board.rect(1, MIDDLE, (w * 0.70, h * 0.52, w * 1.1, ground + 2 * u), radius=2.5 * u)
    for window in range(4):
        board.rect(1, BARE, (w * (0.72 + 0.085 * window), h * 0.545, w * (0.785 + 0.085 * window), h * 0.60), radius=u)
    board.disc(1, FULL, w * 0.80, ground + 2 * u, 4 * u)
    board.rect(0, FULL, (pole - 0.9 * u, h * 0.30, pole + 0.9 * u, ground))
    board.disc(1, FULL, pole, h * 0.28, 9 * u)
    board.disc(0, FULL, pole, h * 0.28, 6.4 * u)
    board.disc(0, BARE, pole, h * 0.28, 4.2 * u)
    for ink in (0, 1):
        board.rect(ink, BARE, (0, h * 0.80, w, h))
    footer(board, title, 0, top=0.82)


def _singer(board: Board, x: float, ground: float, tall: float, index: int) -> None:
    u = board.unit
    ink, other = (index % 2, (index + 1) % 2)
    wide = 3.6 * u
    board.rect(ink, FULL, (x - wide, ground - tall * 0.72, x + wide, ground), radius=wide)
    board.disc(1, MIDDLE, x, ground - tall * 0.88, 2.9 * u)
    board.disc(0, FULL, x, ground - tall * 0.85, 0.9 * u)  # every mouth is open
    for note in range(index % 3):
        y = ground - tall - (3 + 5 * note) * u
        board.disc(other, FULL, x + (1 + note) * u, y, 1.1 * u)
        board.line(other, FULL, [(x + (2 + note) * u, y), (x + (2 + note) * u, y - 4 * u)], 0.5 * u)


def harbour(board: Board, title: str) -> None:
    """Boats, masts and a crane with their reflections."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    water = h * float(rng.uniform(0.50, 0.56))
    yy = np.linspace(1, 0, round(water), dtype=np.float32)[:, None] * np.ones((1, w), dtype=np.float32)
    board.field(1, grain(0.08 + 0.5 * yy**1.7, rng, size=3))
    board.rect(1, MIDDLE, (0, water, w, h * 0.80))
    board.disc(1, BARE, w * 0.25, h * 0.18, 10 * u)
    board.disc(0, MIDDLE, w * 0.25, h * 0.18, 10 * u)
    x = -4 * u
    while x < w:  # roofs along the quay
        wide, tall = float(rng.uniform(7, 14)) * u, float(rng.uniform(7, 20)) * u
        _mirrored(
            board,
            0,
            (MIDDLE, PALE, FULL)[int(rng.integers(3))],
            [
                (x, water),
                (x, water - tall),
                (x + wide / 2, water - tall - wide * 0.45),
                (x + wide, water - tall),
                (x + wide, water),
            ],
            water,
        )
        x += wide * 1.02
    for boat in range(int(rng.integers(2, 5))):
        _boat(board, w * (0.12 + 0.24 * boat), water + float(rng.uniform(3, 12)) * u, float(rng.uniform(9, 15)) * u)
    for ripple in range(14):
        y = water + (h * 0.80 - water) * (ripple + 0.5) / 14
        start, long = float(rng.uniform(0, w)), float(rng.uniform(6, 26)) * u
        board.rect(1, BARE, (start, y, start + long, y + 0.7 * u), radius=0.35 * u)
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.81, w, h))
    footer(board, title, 0, top=0.83)


def _mirrored(board: Board, ink: int, level: int, points: list[Point], water: float) -> None:
    board.polygon(ink, level, points)
    board.polygon(ink, PALE, [(x, water + (water - y) * 0.6) for x, y in points])


def _boat(board: Board, x: float, y: float, size: float) -> None:
    board.polygon(
        1, BARE, [(x - size, y), (x + size, y), (x + size * 0.7, y + size * 0.45), (x - size * 0.75, y + size * 0.45)]
    )
    board.polygon(
        0, FULL, [(x - size, y), (x + size, y), (x + size * 0.7, y + size * 0.45), (x - size * 0.75, y + size * 0.45)]
    )
    board.line(1, FULL, [(x, y), (x, y - size * 2.3)], 0.6 * board.unit)
    board.polygon(
        1, FULL, [(x + size * 0.08, y - size * 0.1), (x + size * 0.08, y - size * 2.2), (x + size, y - size * 0.1)]
    )
    board.polygon(
        0,
        MIDDLE,
        [(x - size * 0.1, y - size * 0.1), (x - size * 0.1, y - size * 1.8), (x - size * 0.8, y - size * 0.1)],
    )


def facade(board: Board, title: str) -> None:
    """House fronts, window after window, some lit."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    board.field(0, dots(0.10 + 0.45 * cloud(rng, w, round(h * 0.4), coarse=2, octaves=3), max(6.0, 1.6 * u), 30))
    x, index = 0.0, 0
    while x < w - 6 * u:
        wide = float(rng.uniform(15, 24)) * u
        wide = w - x if w - x - wide < 12 * u else wide
        top = h * float(rng.uniform(0.14, 0.30))
        ink = index % 2
        for other in range(len(board.tints)):
            board.rect(other, BARE, (x, top, x + wide, h * 0.8))
        board.rect(ink, (FULL, MIDDLE)[index // 2 % 2], (x, top, x + wide, h * 0.8))
        board.polygon(1 - ink, FULL, [(x, top), (x + wide / 2, top - 8 * u), (x + wide, top)])
        board.polygon(ink, BARE, [(x, top - 0.2), (x + wide / 2, top - 8 * u), (x + wide, top - 0.2)])
        _windows(board, (x, top, x + wide, h * 0.8), ink)
        x, index = x + wide, index + 1
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.8, w, h))
    footer(board, title, 1, top=0.825)


def _windows(board: Board, wall: tuple[float, float, float, float], ink: int) -> None:
    u, rng = board.unit, board.rng
    left, top, right, bottom = wall
    columns = max(2, round((right - left) / (7 * u)))
    cell = (right - left) / columns
    rows = round((bottom - top) / (cell * 1.35))
    tall = (bottom - top) / rows
    lit = board.ink(int(rng.integers(1, 3)) + ink)
    for row in range(rows):
        for column in range(columns):
            x, y = left + column * cell, top + row * tall
            box = (x + cell * 0.24, y + tall * 0.2, x + cell * 0.76, y + tall * 0.82)
            is_door = row == rows - 1 and column == columns // 2
            if is_door:
                box = (x + cell * 0.2, y + tall * 0.1, x + cell * 0.8, y + tall)
            board.rect(ink, BARE, box, radius=0.3 * u)
            if is_door or rng.random() < 0.45:
                board.rect(lit if lit != ink else 1 - ink, FULL if is_door else MIDDLE, box, radius=0.3 * u)
            elif rng.random() < 0.3:
                board.rect(ink, PALE, box, radius=0.3 * u)


def weather(board: Board, title: str) -> None:
    """Clouds of dots and rain ruled through them; a row of umbrellas below."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    sky = round(h * 0.42)
    heap = np.clip(cloud(rng, w, sky, coarse=3) * 1.5 - 0.35, 0, 1)
    fade = np.linspace(1, 0.15, sky, dtype=np.float32)[:, None]
    board.field(0, dots(heap * fade, max(8.0, 2.4 * u), 20))
    lean = float(rng.uniform(-0.25, 0.25))
    for _ in range(150):
        x, y, long = float(rng.uniform(-0.1, 1.1)) * w, float(rng.uniform(0.1, 0.7)) * h, float(rng.uniform(4, 15)) * u
        board.line(1, (FULL, MIDDLE)[int(rng.integers(2))], [(x, y), (x + lean * long, y + long)], 0.55 * u)
    count = int(rng.integers(4, 7))
    for index in range(count):
        x = w * (index + 0.5) / count
        radius = w / count * 0.62
        y = h * (0.70 + 0.03 * (index % 2))
        for ink in range(len(board.tints)):
            board.slice(ink, BARE, x, y, radius * 1.06, 180, 360)
        board.slice(index % 2, FULL, x, y, radius, 180, 360)
        board.slice((index + 1) % 2, MIDDLE, x, y, radius, 225, 315)
        board.line(1, FULL, [(x, y), (x, y + 9 * u)], 0.7 * u)
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.82, w, h))
    footer(board, title, 1, top=0.84)


def sky(board: Board, title: str) -> None:
    """Hills under a wide sky, kites and flakes in it."""
    w, h, u, rng = board.width, board.height, board.unit, board.rng
    tall = round(h * 0.62)
    shade = np.linspace(0.85, 0.05, tall, dtype=np.float32)[:, None] * np.ones((1, w), dtype=np.float32)
    board.field(1, grain(np.clip(shade + 0.25 * (cloud(rng, w, tall, coarse=2) - 0.5), 0, 1), rng, size=2))
    for hill in range(3):
        edge = _wave(board, h * (0.50 + 0.09 * hill), 5 * u, w * float(rng.uniform(0.6, 1.2)), float(rng.uniform(0, 6)))
        area = [*edge, (w, h * 0.8), (0, h * 0.8)]
        board.polygon(1, (PALE, MIDDLE, BARE)[hill], area)
        board.polygon(0, (PALE, MIDDLE, FULL)[hill], area)
    for _ in range(int(rng.integers(4, 8))):
        x, y = float(rng.uniform(0.1, 0.9)) * w, float(rng.uniform(0.07, 0.42)) * h
        size = float(rng.uniform(3.5, 7.5)) * u
        kite = [(x, y - size * 1.4), (x + size, y), (x, y + size * 1.7), (x - size, y)]
        board.polygon(1, BARE, kite)
        board.polygon(0, FULL, kite)
        board.polygon(1, FULL, [kite[0], kite[1], (x, y)])
        board.polygon(1, FULL, [kite[2], kite[3], (x, y)])
        tail = [(x + size * 0.5 * np.sin(k * 1.3), y + size * (1.7 + 0.5 * k)) for k in range(7)]
        board.line(0, FULL, tail, 0.45 * u)
    for ink in range(len(board.tints)):
        board.rect(ink, BARE, (0, h * 0.8, w, h))
    footer(board, title, 1, top=0.825)
