"""Flat things on a wooden table under a telephone on a stand: where they lie, and where that is in the photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from demo_archive.box_phone import SIZE
from demo_archive.press import luck
from demo_archive.spectra import Floats

PX_PER_MM = 5.9  # of a photo, in its middle: 150 pixels an inch, two to a cell of a 71-lpi screen
FOCAL_PX = 0.72 * max(SIZE)  # about 26 mm on 36 mm, as phones have
WOOD = (118, 99, 80)  # sensor codes
_BOARD_MM = 118.0  # width of the table's boards
_SHADOW_MM = (2.2, 2.8)  # how far the shadow of a sheet reaches
_WIDER = 1.25  # the table than the photo
_SMALL = 8  # shadows are drawn so much smaller


@dataclass(frozen=True, slots=True)
class Placed:
    """Something flat on the table: its middle in millimetres from the photo's middle, and its turn, clockwise."""

    size_mm: tuple[float, float]
    at_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0

    def on_table(self, points_mm: Floats) -> Floats:
        """Return where (n, 2) points of the thing, from its upper left corner, lie on the table."""
        turn = np.deg2rad(self.turn_deg)
        x, y = (points_mm - np.array(self.size_mm) / 2).T
        turned = np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], axis=1)
        return np.asarray(turned + np.array(self.at_mm))

    def corners(self) -> Floats:
        """Return its (4, 2) corners on the table, clockwise from its own upper left."""
        width, height = self.size_mm
        return self.on_table(np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]))


@dataclass(frozen=True, slots=True)
class View:
    """How the phone hangs: tilted sideways and forwards by so many degrees, aimed at the table's middle."""

    sideways_deg: float = 0.0
    forwards_deg: float = 0.0

    def seen(self, points_mm: Floats) -> Floats:
        """Return where (n, 2) points of the table lie in the photo, in pixels."""
        a, b = np.deg2rad(self.sideways_deg), np.deg2rad(self.forwards_deg)
        x, y = points_mm.T
        x, z = x * np.cos(a), x * np.sin(a)
        y, z = y * np.cos(b) - z * np.sin(b), y * np.sin(b) + z * np.cos(b)
        scale = FOCAL_PX / (FOCAL_PX / PX_PER_MM + z)
        return np.stack([SIZE[0] / 2 + x * scale, SIZE[1] / 2 + y * scale], axis=1)


@cache
def _table() -> Image.Image:
    """Return the table: boards of brown wood, their grain along them, in sensor codes."""
    rng = luck("table of box 22")
    width, height = round(SIZE[0] * _WIDER), SIZE[1]
    grain = np.zeros((height, width), dtype=np.float32)
    for across, along, depth in ((900, 14, 0.5), (260, 9, 0.8), (70, 5, 0.7)):  # fine lines and broad bands
        lines = Image.fromarray(rng.random((across, along), dtype=np.float32))
        grain += depth * np.asarray(lines.resize((width, height), Image.Resampling.BICUBIC))
    board = _BOARD_MM * PX_PER_MM
    rows = np.arange(height) + 0.35 * board
    tones = rng.normal(0, 0.03, int(rows[-1] // board) + 1)[(rows // board).astype(int)]
    seam = np.exp(-0.5 * ((rows % board - board) / 2.2) ** 2)  # between two boards
    by_row = np.stack([1 + tones, 1 - 0.35 * seam]).astype(np.float32)[..., None]
    shade = (0.15 * (grain - grain.mean()) + by_row[0]) * by_row[1]
    shade += np.float32(0.012) * rng.standard_normal(shade.shape, dtype=np.float32)
    return Image.merge("RGB", [Image.fromarray(np.clip(shade * code, 0, 255).astype(np.uint8)) for code in WOOD])


def bare_table(shift_px: int) -> Image.Image:
    """Return the table alone, pushed along by some pixels since the first shot, at most a quarter of the photo."""
    return _table().crop((shift_px, 0, shift_px + SIZE[0], SIZE[1]))


def laid(scene: Image.Image, thing: Image.Image, corners_px: Floats) -> Image.Image:
    """Return the scene with a flat thing on it: its soft shadow, then the thing itself between four corners."""
    shadowed = _shadowed(scene, corners_px)
    left, top = np.floor(corners_px.min(axis=0)).astype(int) - 1
    right, bottom = np.ceil(corners_px.max(axis=0)).astype(int) + 1
    size = (int(right - left), int(bottom - top))
    coefficients = _perspective(corners_px - np.array([left, top]), thing.size)
    # One more pixel all round that the mask leaves out, so that the edge is smooth and lies where it should.
    grown = Image.fromarray(np.pad(np.asarray(thing), ((1, 1), (1, 1), (0, 0)), mode="edge"))
    mask = Image.new("L", grown.size, 0)
    mask.paste(255, (1, 1, thing.width + 1, thing.height + 1))
    flat, edge = (
        each.transform(size, Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BILINEAR)
        for each in (grown, mask)
    )
    shadowed.paste(flat, (int(left), int(top)), edge)
    return shadowed


def _shadowed(scene: Image.Image, corners_px: Floats) -> Image.Image:
    """Return the scene with the soft shadow of something between four corners."""
    moved = corners_px + np.array(_SHADOW_MM) * PX_PER_MM
    left, top = (max(0, int(low) // _SMALL - 6) * _SMALL for low in moved.min(axis=0))
    right, bottom = (min(side, int(high) + 6 * _SMALL) for high, side in zip(moved.max(axis=0), SIZE, strict=True))
    width, height = -(-(right - left) // _SMALL), -(-(bottom - top) // _SMALL)
    small = Image.new("L", (width, height), 255)
    ImageDraw.Draw(small).polygon([((x - left) / _SMALL, (y - top) / _SMALL) for x, y in moved.tolist()], fill=176)
    soft = small.filter(ImageFilter.GaussianBlur(1.6)).resize((width * _SMALL, height * _SMALL))
    box = (left, top, right, bottom)
    mask = soft.crop((0, 0, right - left, bottom - top))
    dark = scene.copy()
    dark.paste(ImageChops.multiply(scene.crop(box), Image.merge("RGB", [mask] * 3)), box)
    return dark


def _perspective(corners_px: Floats, size: tuple[int, int]) -> Sequence[float]:
    """Return the eight numbers that lead from the photo to a picture of this size with one more pixel all round."""
    width, height = size
    goals = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float) + 1
    rows, wanted = [], []
    for (x, y), (u, v) in zip(corners_px, goals, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        wanted += [u, v]
    solved: list[float] = np.linalg.solve(np.array(rows), np.array(wanted)).tolist()
    return solved


def with_fold(spread: Image.Image, px_per_mm: float) -> Image.Image:
    """Return an open book's two pages, darker where they go down into the fold."""
    away = np.abs(np.arange(spread.width) - spread.width / 2) / px_per_mm
    shade = 1 - 0.34 * np.exp(-((away / 3.0) ** 2)) - 0.1 * np.exp(-away / 7.0)
    row = Image.fromarray(np.rint(shade * 255).astype(np.uint8)[None])
    return ImageChops.multiply(spread, Image.merge("RGB", [row.resize(spread.size)] * 3))
