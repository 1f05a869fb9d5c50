"""From a picture's channel values to XYZ under D50: which way its colours are read, and the reading itself.

Three ways, told apart in words that are stored with every value: an embedded matrix or grey profile in float;
a table profile through LittleCMS in 8 bits; no usable profile, so sRGB is assumed and adapted by Bradford.
Relative colorimetric, without black-point compensation, throughout.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from archive.colour.spaces import lab_to_xyz, srgb_to_xyz_d50
from archive.errors import InputError, Notice
from archive.imaging.containers import Kind
from archive.imaging.icc import MatrixProfile, ToneTable, matrix_profile, read_profile
from archive.imaging.pixels import Pixels

MATRIX_PATH = "embedded matrix profile, float"
GREY_PATH = "embedded grey profile, float"
TABLE_PATH = "table profile through LittleCMS, 8 bit"
SRGB_PATH = "sRGB assumed, Bradford"
BROKEN_PATH = "sRGB assumed, Bradford (its own profile cannot be read)"
PLAIN_CMYK_PATH = "CMYK without a profile, mixed plainly to sRGB"

Light = NDArray[np.float32]

_FITTING: dict[Kind, tuple[str, ...]] = {"grey": ("GRAY", "RGB"), "rgb": ("RGB",), "cmyk": ("CMYK",)}


class ColourReader(Protocol):
    """Reads rows of one picture; averaging is right on what `light` returns, before `xyz`."""

    def light(self, rows: Pixels) -> Light:
        """Return (h, w, n) values proportional to light."""

    def xyz(self, light: Light) -> Light:
        """Return (h, w, 3) XYZ under D50, Y = 1 for white."""


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class ColourPath:
    """How a picture's colours are read, in words, and what builds the reader."""

    words: str
    kind: Kind
    notices: tuple[Notice, ...] = ()
    _matrix: MatrixProfile | None = field(default=None, repr=False)
    _table_profile: bytes = field(default=b"", repr=False)

    def reader(self, bits: int) -> ColourReader:
        """Return a reader for rows of 8 or 16 bits."""
        if self._matrix is None:
            return TableReader(_lab_transform(self._table_profile, self.kind))
        levels = np.linspace(0.0, 1.0, 1 << bits)
        table = self._matrix.linear(np.repeat(levels[:, None], len(self._matrix.curves), axis=1))
        matrix = self._matrix.matrix.astype(np.float32)
        return MatrixReader(table.astype(np.float32), matrix, is_plain_cmyk=self.kind == "cmyk")


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class MatrixReader:
    """Curves as a table of (levels, n), then a matrix (n, 3), in float."""

    table: Light
    matrix: Light
    is_plain_cmyk: bool = False

    def light(self, rows: Pixels) -> Light:
        """Return linear channel values of grey (h, w), rgb (h, w, 3) or plain cmyk (h, w, 4) rows."""
        if self.is_plain_cmyk:
            rows = np.asarray(_as_image(rows, "CMYK").convert("RGB"), dtype=np.uint8)
        if rows.ndim == 2:
            return self.table[rows]
        if rows.dtype == np.uint8:
            import cv2

            found: Light = cv2.LUT(np.ascontiguousarray(rows), self.table[None])
            return found
        return np.stack([self.table[rows[..., i], i] for i in range(3)], axis=-1)

    def xyz(self, light: Light) -> Light:
        """Return XYZ of linear channel values."""
        return light @ self.matrix


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class TableReader:
    """LittleCMS to Lab in 8 bits, then XYZ so that averages are of light."""

    transform: ImageCms.ImageCmsTransform

    def light(self, rows: Pixels) -> Light:
        """Return XYZ of grey, rgb or cmyk rows; 16 bits are cut to 8."""
        if rows.dtype == np.uint16:
            rows = (rows >> 8).astype(np.uint8)
        mode = self.transform.input_mode
        is_grey_read_as_rgb = rows.ndim == 2 and mode == "RGB"
        strip = _as_image(np.stack([rows] * 3, axis=-1) if is_grey_read_as_rgb else rows, mode)
        encoded = np.asarray(ImageCms.applyTransform(strip, self.transform))
        lab = encoded.astype(np.float32)
        lab[..., 0] *= 100 / 255
        lab[..., 1:] = encoded[..., 1:].view(np.int8)  # Pillow hands a* and b* out as signed bytes
        return lab_to_xyz(lab).astype(np.float32)

    def xyz(self, light: Light) -> Light:
        """Return the light as it is: it is XYZ already."""
        return light


def choose_path(kind: Kind, icc: bytes, *, name: str) -> ColourPath:
    """Return the way a picture's colours are to be read.

    A profile that is broken, or is for other channels than the picture has, is passed over with a notice.
    """
    if not icc:
        return _without_profile(kind, name)
    try:
        profile = read_profile(icc, where=name)
        if profile.colour_space not in _FITTING[kind]:
            raise InputError("it is for {space} pixels", space=profile.colour_space, where=name)
        matrix = matrix_profile(profile)
        if matrix is not None:
            words = GREY_PATH if matrix.colour_space == "GRAY" else MATRIX_PATH
            return ColourPath(words, kind, _matrix=matrix)
        _lab_transform(icc, kind)
    except (InputError, ImageCms.PyCMSError) as exc:
        reason = exc.what if isinstance(exc, InputError) else "LittleCMS refuses it"
        notice = Notice(
            "profile_broken",
            "its colour profile is passed over ({reason}): colours are a guess",
            {"reason": reason},
            name,
        )
        plain = _without_profile(kind, name)
        words = plain.words if kind == "cmyk" else BROKEN_PATH
        return ColourPath(words, kind, (notice,), plain._matrix)
    return ColourPath(TABLE_PATH, kind, _table_profile=icc)


def _without_profile(kind: Kind, name: str) -> ColourPath:
    if kind != "cmyk":
        return ColourPath(SRGB_PATH, kind, _matrix=srgb_profile())
    notice = Notice("cmyk_without_profile", "it is CMYK without a profile: colours are a rough guess", where=name)
    return ColourPath(PLAIN_CMYK_PATH, kind, (notice,), srgb_profile())


@cache
def srgb_profile() -> MatrixProfile:
    """Return sRGB as a matrix profile under D50, its curve sampled at every 16-bit level."""
    greys = np.repeat(np.linspace(0.0, 1.0, 1 << 16)[:, None], 3, axis=1)
    curve = ToneTable(srgb_to_xyz_d50(greys)[:, 1])
    return MatrixProfile("RGB", (curve, curve, curve), srgb_to_xyz_d50(np.eye(3)))


def _lab_transform(icc: bytes, kind: Kind) -> ImageCms.ImageCmsTransform:
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    is_grey = kind == "grey" and profile.profile.xcolor_space.strip() == "GRAY"
    mode: dict[Kind, Any] = {"grey": "L" if is_grey else "RGB", "rgb": "RGB", "cmyk": "CMYK"}
    return ImageCms.buildTransform(
        profile,
        ImageCms.createProfile("LAB"),
        mode[kind],
        "LAB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        # Unasked, LittleCMS would turn a press's paper, the white of its CMYK, into Lab's perfect white.
        flags=ImageCms.Flags.NOWHITEONWHITEFIXUP | ImageCms.Flags.HIGHRESPRECALC,
    )


def _as_image(rows: NDArray[Any], mode: str) -> Image.Image:
    """Return 8-bit rows as Pillow's image; `fromarray` would take four channels for transparency."""
    return Image.frombytes(mode, (rows.shape[1], rows.shape[0]), np.ascontiguousarray(rows).tobytes())
