"""Pixels of an opened picture: rows as plain arrays of 8 or 16 bits, transparency laid on white."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from archive.errors import InputError
from archive.imaging.containers import (
    Kind,
    bits_of,
    broken_file_as_input_error,
    is_white_zero,
    kind_of,
    open_header,
)

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

STRIP_PIXELS = 1 << 20  # pixels worked on at a time: a few tens of MB of floats, whatever the picture's size


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Decoded:
    """A decoded picture as the file stores it, not yet turned upright.

    `width` and `height` are those of the decoded pixels, half the file's when it was decoded at half size.
    """

    kind: Kind
    width: int
    height: int
    _whole: Image.Image | Pixels = field(repr=False)

    def rows(self, top: int, bottom: int) -> Pixels:
        """Return rows top to bottom: (n, width) grey, (n, width, 3) rgb, (n, width, 4) cmyk ink amounts."""
        return self.part((0, top, self.width, bottom))

    def part(self, box: tuple[int, int, int, int]) -> Pixels:
        """Return the pixels from left and top to right and bottom, as `rows` does; the box lies in the picture."""
        left, top, right, bottom = box
        if isinstance(self._whole, np.ndarray):
            return _on_white(self._whole[top:bottom, left:right], self.kind)
        strip = self._whole.crop(box)
        has_alpha = strip.mode in ("LA", "PA", "RGBA", "RGBa") or "transparency" in strip.info
        mode = {"grey": "LA" if has_alpha else "L", "rgb": "RGBA" if has_alpha else "RGB", "cmyk": "CMYK"}
        wanted = mode[self.kind]
        return _on_white(np.asarray(strip if strip.mode == wanted else strip.convert(wanted)), self.kind)

    def halved(self) -> Decoded:
        """Return it with squares of two by two averaged as they are encoded, as a JPEG decoded at half size is."""
        if isinstance(self._whole, np.ndarray):
            return self
        small = self._whole.reduce(2)
        return Decoded(self.kind, small.width, small.height, small)

    def strips(self, step: int = 1) -> list[tuple[int, int]]:
        """Return (top, bottom) of strips of about a megapixel that together are the picture.

        All but the last hold a multiple of `step` rows.
        """
        rows = max(STRIP_PIXELS // self.width // step, 1) * step
        return [(top, min(top + rows, self.height)) for top in range(0, self.height, rows)]


def decode(source: Path | bytes, media_type: str, *, name: str, halved: bool = False) -> Decoded:
    """Return the decoded picture.

    Parameters
    ----------
    halved : bool
        Let a JPEG decode at half its width and height, which takes about half the time; others ignore it.

    Raises
    ------
    InputError
        The pixels are damaged or cut short, or 16 bits lie in a layout that OpenCV does not read.
    """
    with open_header(source, media_type, name=name) as picture:
        kind = kind_of(picture)
        if bits_of(picture) == 16:
            deep = _decode_16_bits(source, kind, name=name)
            if kind == "grey" and is_white_zero(picture):
                deep = 65535 - deep
            return Decoded(kind, deep.shape[1], deep.shape[0], deep)
        with broken_file_as_input_error(name):
            if halved:
                picture.draft(None, (picture.width // 2, picture.height // 2))
            picture.load()
        return Decoded(kind, picture.width, picture.height, picture)


def stored_box(box: tuple[int, int, int, int], size: tuple[int, int], turn: int) -> tuple[int, int, int, int]:
    """Return where the file stores a box of the upright picture, whose (width, height) is `size`."""
    left, top, right, bottom = box
    if turn in (2, 3, 6, 7):
        left, right = size[0] - right, size[0] - left
    if turn in (3, 4, 7, 8):
        top, bottom = size[1] - bottom, size[1] - top
    return (top, left, bottom, right) if turn >= 5 else (left, top, right, bottom)


def turn_upright(pixels: NDArray[Any], turn: int) -> NDArray[Any]:
    """Return (h, w) or (h, w, 3 or 4) pixels with the EXIF orientation `turn` (1-8) undone.

    Source: Exif 2.32 (CIPA DC-008), tag Orientation.
    """
    import cv2

    # OpenCV copies block by block; numpy takes five times as long over a transposed picture.
    if turn >= 5:
        pixels = np.asarray(cv2.transpose(pixels))
    if turn in (3, 4, 7, 8):
        pixels = np.asarray(cv2.flip(pixels, 0))
    if turn in (2, 3, 6, 7):
        pixels = np.asarray(cv2.flip(pixels, 1))
    return pixels


def _decode_16_bits(source: Path | bytes, kind: Kind, *, name: str) -> NDArray[np.uint16]:
    """Return rows of 16 bits through OpenCV: Pillow cuts RGB to 8 bits without a word."""
    import cv2

    data = np.fromfile(source, np.uint8) if isinstance(source, Path) else np.frombuffer(source, np.uint8)
    # OpenCV talks to stderr about every private tag of a TIFF, and answers None when it cannot read on.
    level = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        found = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    except cv2.error:
        found = None
    finally:
        cv2.utils.logging.setLogLevel(level)
    if found is None or found.dtype != np.uint16:
        raise InputError(
            "its 16-bit pixels are damaged or lie in an unusual layout",
            where=name,
            mend="Copy it again, or save it as TIFF with interleaved channels.",
        )
    deep: NDArray[np.uint16] = found
    if kind == "grey":
        return deep if deep.ndim == 2 else deep[..., [0, -1]] if deep.shape[2] in (2, 4) else deep[..., 0]
    if deep.ndim == 2:
        deep = np.repeat(deep[..., None], 3, axis=-1)
    return deep[..., [2, 1, 0, 3][: deep.shape[2]]]


def _on_white(pixels: Pixels, kind: Kind) -> Pixels:
    """Return the pixels without their last channel, a transparency, laid on white."""
    has_alpha = pixels.ndim == 3 and pixels.shape[2] == {"grey": 2, "rgb": 4, "cmyk": 5}[kind]
    if not has_alpha:
        return pixels
    colour, alpha = pixels[..., :-1], pixels[..., -1:]
    top = np.iinfo(pixels.dtype).max
    if not (alpha == top).all():
        share = alpha.astype(np.float32) / top
        laid = np.round(top - (top - colour.astype(np.float32)) * share)
        colour = laid.astype(np.uint8) if pixels.dtype == np.uint8 else laid.astype(np.uint16)
    return colour[..., 0] if kind == "grey" else colour
