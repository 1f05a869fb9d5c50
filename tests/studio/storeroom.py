"""A copy stand in a storeroom, for tests: the shots of a sitting, each with the truth of what lies on the table.

Everything is rendered from spectra through a published camera (`camera`, `cards`) and a lens (`lens`); nothing of the
archive is imported, so that it is not checked against itself. One stand keeps lamp, white balance and tone curve.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.studio import camera, cards, lens

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

TABLE = 0.2  # reflectance of the grey table
CARD_MM = (140.0, 140.0 * cards.DESIGNS[0].size[1] / cards.DESIGNS[0].size[0])
PATCHES = 12  # of a test print
_FINE = 4.0  # pixels a millimetre of flat things


PHONE = lens.Shot(loss=0.15, tone=0.5, gains=(1.02, 1.0, 0.97), quality=92)


@dataclass(frozen=True, slots=True)
class Print:
    """A sheet with twelve flat patches: their reflectances (12, bands), and the number of its layout."""

    reflectance: Floats
    size_mm: tuple[float, float] = (210.0, 297.0)
    layout: int = 0

    @property
    def labs(self) -> Floats:
        """The patches' true colours, (12, 3)."""
        return camera.true_lab(self.reflectance)


def random_print(layout: int, pair: int = 0) -> Print:
    """Return a print of one ink pair in twelve mixes of tints; the layout decides which mix lies where."""
    rng = np.random.default_rng(layout)
    pairs = camera.ink_pairs()
    mixes = camera.pair_reflectance(*pairs[(layout + pair) * 7 % len(pairs)])[1:]
    return Print(mixes[rng.permutation(len(mixes))[:PATCHES]], layout=layout)


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A file, and where the sheet and the card lie in it, in pixels clockwise from the upper left."""

    jpeg: bytes = field(repr=False)
    sheet: Floats | None
    card: Floats | None
    patches: Floats | None  # (12, 2) middles


@dataclass(frozen=True, slots=True)
class Stand:
    """Camera, lamps and table of one sitting."""

    lamp: str = "D65"
    size: tuple[int, int] = (1600, 1200)
    px_per_mm: float = 2.6
    lens: lens.Shot = PHONE
    seed: int = 1

    @property
    def seen(self) -> Floats:
        """From reflectance to the sensor's light."""
        return cards.seen_as(self.lamp)

    def white(self, *, exposure: float = 1.0, mark: bool = False) -> bytes:
        """Return the shot of a white sheet that fills the picture; `mark` draws something on it."""
        canvas = self._flat(0.92)
        if mark:
            canvas[300:700, 400:1000] *= 0.4
        return self.taken(canvas * exposure)

    def card(self, *, turn_deg: float = 0.0, covered: float = 0.0, count: int = 1, tilt_deg: float = 0.0) -> Shot:
        """Return the shot of the colour card alone."""
        canvas = self._flat(TABLE)
        corners = np.empty((4, 2))
        for number in range(count):
            at = (0.0, 0.0) if count == 1 else (-120.0 + 240.0 * number, 0.0)
            corners = self._view(tilt_deg).project(lens.rectangle(*CARD_MM, at=at, turn_deg=turn_deg))
            flat = cards.flat_card(self.seen)
            flat[:, : round(covered * flat.shape[1])] = np.full(len(self.seen), TABLE) @ self.seen
            canvas = lens.place(canvas, flat, corners)
        return Shot(self.taken(canvas), None, corners, None)

    def sheet(
        self, print_: Print, *, turn_deg: float = 0.0, tilt_deg: float = 0.0, has_card: bool = True, blur: float = 0.0,
        exposure: float = 1.0, shot: int = 0, bend: float = 0.0,
    ) -> Shot:  # fmt: skip
        """Return the shot of a print on the table, the card beside it."""
        view = self._view(tilt_deg)
        sheet = view.project(lens.rectangle(*print_.size_mm, at=(-70.0, 0.0), turn_deg=turn_deg))
        canvas = lens.place(self._flat(TABLE), self._flat_print(print_, bend), sheet)
        card = None
        if has_card:
            card = view.project(lens.rectangle(*CARD_MM, at=(190.0, 0.0), turn_deg=90.0))
            canvas = lens.place(canvas, cards.flat_card(self.seen), card)
        taken = self.taken(canvas * exposure, blur=blur, number=shot + 10 * print_.layout + 3)
        return Shot(taken, sheet, card, _middles(sheet, print_))

    def page(self, page: Image.Image, *, turn_deg: float = 0.0, width_mm: float = 210.0) -> bytes:
        """Return the shot of a printed page, such as a place card."""
        grey = np.asarray(page.convert("L"), np.float32) / 255
        flat = (0.03 + 0.85 * grey**2.2)[..., None] * (np.ones(len(self.seen)) @ self.seen)
        height_mm = width_mm * page.height / page.width
        corners = self._view(0.0).project(lens.rectangle(width_mm, height_mm, turn_deg=turn_deg))
        return self.taken(lens.place(self._flat(TABLE), flat.astype(np.float32), corners))

    def _flat(self, reflectance: float) -> Light:
        light = (np.full(len(self.seen), reflectance) @ self.seen).astype(np.float32)
        return np.broadcast_to(light, (self.size[1], self.size[0], 3)).copy()

    def _view(self, tilt_deg: float) -> lens.View:
        return lens.View(*self.size, px_per_mm=self.px_per_mm, tilt_deg=tilt_deg)

    def _flat_print(self, print_: Print, bend: float) -> Light:
        width, height = (round(side * _FINE) for side in print_.size_mm)
        flat = np.empty((height, width, 3), np.float32)
        flat[:] = camera.PAPER @ self.seen
        for (left, top, right, bottom), light in zip(_boxes(print_), print_.reflectance @ self.seen, strict=True):
            flat[round(top * _FINE) : round(bottom * _FINE), round(left * _FINE) : round(right * _FINE)] = light
        if bend:  # a cockled sheet: waves of light
            flat *= (1 + bend * np.sin(np.arange(width) / 45))[None, :, None].astype(np.float32)
        return flat

    def taken(self, light: Light, *, blur: float = 0.0, number: int = 0) -> bytes:
        rng = np.random.default_rng([self.seed, number])
        exif = Image.Exif()
        exif[0x0110] = "a camera"  # Model, Exif 2.32: a photograph, not a scan
        return replace(self.lens, defocus_px=blur).jpeg(light, rng, exif=exif)


def _boxes(print_: Print) -> list[tuple[float, float, float, float]]:
    """Return left, top, right and bottom of the twelve patches in mm: the sheet cut across again and again."""
    rng = np.random.default_rng(1000 + print_.layout)
    width, height = print_.size_mm
    boxes = [(18.0, 22.0, width - 18, height - 22)]
    while len(boxes) < PATCHES:
        boxes.sort(key=lambda box: (box[2] - box[0]) * (box[3] - box[1]))
        left, top, right, bottom = boxes.pop()
        at = float(rng.uniform(0.35, 0.65))
        if right - left > bottom - top:
            middle = left + at * (right - left)
            boxes += [(left, top, middle, bottom), (middle, top, right, bottom)]
        else:
            middle = top + at * (bottom - top)
            boxes += [(left, top, right, middle), (left, middle, right, bottom)]
    return [(left + 2, top + 2, right - 2, bottom - 2) for left, top, right, bottom in sorted(boxes)]


def _middles(sheet: Floats, print_: Print) -> Floats:
    width, height = print_.size_mm
    matrix = lens.homography([[0, 0], [width, 0], [width, height], [0, height]], sheet)
    return lens.moved(matrix, [((left + right) / 2, (top + bottom) / 2) for left, top, right, bottom in _boxes(print_)])


def written(path: Path, jpeg: bytes, *, taken: str | None = None) -> Path:
    """Write a file as a camera does, with the moment it was taken, "2025-03-14 10:00:00"."""
    picture = Image.open(io.BytesIO(jpeg))
    exif = picture.getexif()
    if taken is not None:
        exif[0x0132] = taken.replace("-", ":")  # DateTime
        exif.get_ifd(0x8769)[0x9003] = taken.replace("-", ":")  # DateTimeOriginal
    head = jpeg[:2]
    path.write_bytes(jpeg if taken is None else head + _app1(exif) + _without_app1(jpeg)[2:])
    return path


def _app1(exif: Image.Exif) -> bytes:
    data = exif.tobytes()
    data = data if data.startswith(b"Exif\0\0") else b"Exif\0\0" + data
    return b"\xff\xe1" + (len(data) + 2).to_bytes(2, "big") + data


def _without_app1(jpeg: bytes) -> bytes:
    """Return a JPEG without its Exif: the pixels stay as they are."""
    at, kept = 2, [jpeg[:2]]
    while jpeg[at] == 0xFF and jpeg[at + 1] != 0xDA:
        length = int.from_bytes(jpeg[at + 2 : at + 4], "big") + 2
        if jpeg[at + 1] != 0xE1:
            kept.append(jpeg[at : at + length])
        at += length
    return b"".join([*kept, jpeg[at:]])
