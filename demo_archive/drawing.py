"""A drawing board with one grey picture per ink: 0 is bare paper, 255 is 100 % of the file.

Shapes are drawn at twice the size and shrunk, so their edges are smooth and flat tints keep their value.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Grey = NDArray[np.float32]
Point = tuple[float, float]
Box = tuple[float, float, float, float]  # left, top, right, bottom in pixels of the board

FULL, MIDDLE, PALE = 0, 1, 2  # which of an ink's three tints
BARE = -1  # knocked out
SCALE = 2


@lru_cache(maxsize=256)
def font(size: int) -> ImageFont.FreeTypeFont:
    """Return Pillow's built-in typeface at a size in pixels."""
    loaded = ImageFont.load_default(max(size, 6))
    assert isinstance(loaded, ImageFont.FreeTypeFont)  # Pillow is built with FreeType everywhere we run
    return loaded


def code_of(tint: float) -> int:
    """Return the 8-bit code of a tint in percent."""
    return round(tint * 2.55)


def cloud(rng: np.random.Generator, width: int, height: int, *, coarse: int = 3, octaves: int = 5) -> Grey:
    """Return a (height, width) field of soft random shapes, 0-1."""
    total = np.zeros((height, width), dtype=np.float32)
    for octave in range(octaves):
        cells = coarse * 2**octave
        small = rng.random((max(2, cells * height // max(width, 1)), cells)).astype(np.float32)
        grown = Image.fromarray(small).resize((width, height), Image.Resampling.BICUBIC)
        total += np.asarray(grown) * 0.5**octave
    low, high = float(total.min()), float(total.max())
    return (total - low) / (high - low + 1e-6)


class Board:
    """The layers of one design, by role: 0 fills, 1 is the dark one for lines and type, 2 an accent.

    Coordinates are pixels of the final picture.

    Parameters
    ----------
    width, height : int
        Size of the printable area in pixels.
    tints : sequence of (full, middle, pale)
        Per role, in percent.
    """

    def __init__(
        self, width: int, height: int, tints: Sequence[tuple[float, float, float]], rng: np.random.Generator
    ) -> None:
        self.width, self.height, self.rng = width, height, rng
        self.tints = tuple(tints)
        self.unit = min(width, height) / 100
        self.layers = [Image.new("L", (width * SCALE, height * SCALE), 0) for _ in tints]
        self._draws = [ImageDraw.Draw(layer) for layer in self.layers]

    def ink(self, index: int) -> int:
        """Return the layer of a role, going round when there are fewer inks than roles."""
        return index % len(self.tints)

    def code(self, ink: int, level: int) -> int:
        """Return the 8-bit code of an ink's full, middle or pale tint, or of bare paper."""
        return 0 if level == BARE else code_of(self.tints[self.ink(ink)][level])

    def _pen(self, ink: int) -> ImageDraw.ImageDraw:
        return self._draws[self.ink(ink)]

    def polygon(self, ink: int, level: int, points: Sequence[Point]) -> None:
        """Fill a polygon."""
        self._pen(ink).polygon([(x * SCALE, y * SCALE) for x, y in points], fill=self.code(ink, level))

    def rect(self, ink: int, level: int, box: Box, *, radius: float = 0) -> None:
        """Fill a rectangle, its corners rounded by `radius`."""
        left, top, right, bottom = (v * SCALE for v in box)
        if right > left and bottom > top:
            area = (left, top, right, bottom)
            self._pen(ink).rounded_rectangle(area, radius * SCALE, fill=self.code(ink, level))

    def disc(self, ink: int, level: int, x: float, y: float, radius: float) -> None:
        """Fill a circle."""
        area = ((x - radius) * SCALE, (y - radius) * SCALE, (x + radius) * SCALE, (y + radius) * SCALE)
        self._pen(ink).ellipse(area, fill=self.code(ink, level))

    def slice(self, ink: int, level: int, x: float, y: float, radius: float, start: float, end: float) -> None:
        """Fill a slice of a circle between two angles in degrees, clockwise from the right."""
        area = ((x - radius) * SCALE, (y - radius) * SCALE, (x + radius) * SCALE, (y + radius) * SCALE)
        self._pen(ink).pieslice(area, start, end, fill=self.code(ink, level))

    def line(self, ink: int, level: int, points: Sequence[Point], width: float) -> None:
        """Draw a line of round joints."""
        scaled = [(x * SCALE, y * SCALE) for x, y in points]
        pen = self._pen(ink)
        pen.line(scaled, fill=self.code(ink, level), width=max(1, round(width * SCALE)), joint="curve")
        half = width * SCALE / 2
        for x, y in (scaled[0], scaled[-1]):
            pen.ellipse((x - half, y - half, x + half, y + half), fill=self.code(ink, level))

    def text(
        self, ink: int, level: int, at: Point, words: str, size: float, *, anchor: str = "ls", bold: float = 0
    ) -> None:
        """Set one line of type; `bold` thickens it by a share of its size."""
        face, fill, weight = font(round(size * SCALE)), self.code(ink, level), round(size * SCALE * bold)
        x, y = at[0] * SCALE, at[1] * SCALE
        if not weight:
            self._pen(ink).text((x, y), words, fill=fill, font=face, anchor=anchor)
            return
        x -= {"l": 0.0, "m": 0.5, "r": 1.0}[anchor[0]] * self.text_width(words, size, bold) * SCALE
        for letter in words:  # thickened letters need more room than the face gives them
            self._pen(ink).text((x, y), letter, fill=fill, font=face, anchor=f"l{anchor[1]}", stroke_width=weight)
            x += face.getlength(letter) + 1.7 * weight

    def text_width(self, words: str, size: float, bold: float = 0) -> float:
        """Return how wide a line of type comes out."""
        return font(round(size * SCALE)).getlength(words) / SCALE + 1.7 * size * bold * len(words)

    def headline(
        self, ink: int, level: int, box: Box, words: str, *, bold: float = 0.035, biggest: float = 40
    ) -> float:
        """Set words in a box, each line as large as fits; return the top of the type."""
        left, top, right, bottom = box
        lines = _lines(words, right - left, bottom - top)
        size = min(biggest * self.unit, (bottom - top) / len(lines) / 0.98)
        for line in lines:
            size = min(size, size * (right - left) / max(self.text_width(line, size, bold), 1))
        y = bottom
        for line in reversed(lines):
            self.text(ink, level, (left + size * bold, y), line, size, bold=bold)
            y -= size * 0.98
        return y + size * 0.2

    def paragraph(self, ink: int, level: int, box: Box, words: str, size: float) -> None:
        """Set running text, ragged right, cut where the box ends."""
        left, y, right, bottom = box
        line = ""
        for word in words.split():
            longer = f"{line} {word}".strip()
            if self.text_width(longer, size) > right - left and line:
                self.text(ink, level, (left, y + size), line, size)
                y, line = y + size * 1.35, word
                if y + size > bottom:
                    return
            else:
                line = longer
        self.text(ink, level, (left, y + size), line, size)

    def field(self, ink: int, values: Grey, *, at: tuple[int, int] = (0, 0), mask: Image.Image | None = None) -> None:
        """Lay a field of 0-1 (share of the ink's full tint) with its corner at `at`."""
        full = self.code(ink, FULL)
        grey = Image.fromarray(np.clip(values * full, 0, 255).astype(np.uint8))
        size = (grey.width * SCALE, grey.height * SCALE)
        where = (at[0] * SCALE, at[1] * SCALE)
        self.layers[self.ink(ink)].paste(grey.resize(size, Image.Resampling.NEAREST), where, mask)

    def mask(
        self, points: Sequence[Point] | None = None, circle: tuple[float, float, float] | None = None
    ) -> Image.Image:
        """Return a stencil of the board's size: inside a polygon or a circle (x, y, radius)."""
        stencil = Image.new("L", self.layers[0].size, 0)
        pen = ImageDraw.Draw(stencil)
        if points:
            pen.polygon([(x * SCALE, y * SCALE) for x, y in points], fill=255)
        if circle:
            x, y, radius = (v * SCALE for v in circle)
            pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=255)
        return stencil

    def insert(self, part: Board, left: int, top: int) -> None:
        """Paste another board's layers."""
        for own, other in zip(self.layers, part.layers, strict=True):
            own.paste(other, (left * SCALE, top * SCALE))

    def part(self, width: int, height: int) -> Board:
        """Return an empty board with the same inks."""
        return Board(width, height, self.tints, self.rng)

    def finished(self) -> list[Image.Image]:
        """Return the layers at picture size."""
        return [layer.reduce(SCALE) for layer in self.layers]


def _lines(words: str, width: float, height: float) -> list[str]:
    """Break a title so that it fills a box of this shape well."""
    parts = words.split()
    best, best_size = [words], 0.0
    for count in range(1, len(parts) + 1):
        lines = _balanced(parts, count)
        longest = max(len(line) for line in lines)
        size = min(width / (longest * 0.56), height / len(lines))
        if size > best_size * 1.05:
            best, best_size = lines, size
    return best


def _balanced(parts: Sequence[str], count: int) -> list[str]:
    """Break words into `count` lines of about the same length."""
    goal = len(" ".join(parts)) / count
    lines = [""]
    for index, word in enumerate(parts):
        left_over = len(parts) - index
        longer = f"{lines[-1]} {word}".strip()
        is_full = lines[-1] and (len(longer) > goal * 1.15 or left_over <= count - len(lines))
        if is_full and len(lines) < count:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


@lru_cache(maxsize=1)
def _screen_ranks() -> Grey:
    """Return, for each height of a cosine screen in 1024 steps, the share of the area that lies below it.

    Two crossed waves dwell at middle heights; without this a field of 0.2 would cover far less.
    """
    wave = np.cos(np.linspace(0, np.pi, 1500))
    heights = np.sort((0.5 + 0.25 * (wave[:, None] + wave)).ravel())
    return np.asarray(np.searchsorted(heights, np.linspace(0, 1, 1024)) / heights.size, dtype=np.float32)


def dots(values: Grey, pitch: float, angle: float) -> Grey:
    """Return an AM halftone of a field (0-1), its dots `pitch` pixels apart; visible on purpose."""
    height, width = values.shape
    turn = np.deg2rad(angle)
    cos, sin = 2 * np.pi / pitch * np.cos(turn), 2 * np.pi / pitch * np.sin(turn)
    x, y = np.arange(width), np.arange(height)[:, None]
    # A wave over the plane is the product of one wave along x and one along y.
    across = np.exp(1j * cos * x).astype(np.complex64) * np.exp(1j * sin * y).astype(np.complex64)
    down = np.exp(-1j * sin * x).astype(np.complex64) * np.exp(1j * cos * y).astype(np.complex64)
    screen = 0.5 + 0.25 * (across.real + down.real)
    even = _screen_ranks()[np.clip(screen * 1023, 0, 1023).astype(np.int16)]
    return np.asarray(np.clip((values - even) * pitch * 0.9 + 0.5, 0, 1), dtype=np.float32)


def grain(values: Grey, rng: np.random.Generator, *, size: int = 2) -> Grey:
    """Return an FM screening of a field: scattered equal spots of `size` pixels."""
    height, width = values.shape
    noise = rng.random((height // size + 1, width // size + 1)).astype(np.float32)
    # Neighbours share less when the noise has no long waves: blue, not white.
    neighbours = ((np.roll(noise, 1, 0) + np.roll(noise, 1, 1)) / 2).astype(np.float32)
    noise = noise + np.float32(0.5) * (noise - neighbours)
    rank = np.repeat(np.repeat(noise, size, 0), size, 1)[:height, :width]
    low, high = float(rank.min()), float(rank.max())
    return (values > (rank - low) / (high - low)).astype(np.float32)


def shifted(layer: Image.Image, dx: int, dy: int) -> Image.Image:
    """Return a layer moved by whole pixels; what comes in at the edge is bare."""
    moved = Image.new("L", layer.size, 0)
    moved.paste(layer, (dx, dy))
    return moved
