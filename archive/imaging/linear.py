"""A photograph in linear light for measuring: upright, what clipped marked before anything is changed."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.spaces import Floats
from archive.errors import Notice
from archive.imaging.decode import Picture, open_picture, resize_light, target_size
from archive.imaging.pixels import Decoded, Pixels
from archive.imaging.profiles import ColourReader, Light, MatrixReader

CLIPPED_FROM = 0.98  # of the largest encoded value, in any channel: beyond it a camera rounds its whites off
_HALF_FROM = 4  # a camera's JPEG that is to be this much smaller is decoded at half size, see `reduce_picture`


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class LinearPicture:
    """A picture's light, before any correction.

    light : (h, w, 3) float32, linear values of the device (`space` "rgb", 1 = the encoding's white), or XYZ under D50
        ("xyz") where a table profile leads to nothing else.
    clipped : (h, w) float32, the share of each pixel in which a channel was clipped in the file.
    to_xyz : (3, 3), `light @ to_xyz` is XYZ under D50 as the file's own profile has it.
    width, height : pixels of the upright original; `path` says in words how its colours were read.
    """

    name: str
    light: Light = field(repr=False)
    clipped: Light = field(repr=False)
    space: str
    to_xyz: Floats = field(repr=False)
    width: int
    height: int
    path: str
    notices: tuple[Notice, ...] = ()

    @property
    def scale(self) -> Floats:
        """(2,), pixels of the original in a pixel of this, along x and y."""
        return np.array([self.width / self.light.shape[1], self.height / self.light.shape[0]])

    def xyz(self) -> Light:
        """Return XYZ under D50, (h, w, 3), as the file's profile has it."""
        return self.light @ self.to_xyz.astype(np.float32)

    def to_original(self, points: ArrayLike) -> Floats:
        """Return points of this picture, counted from its upper left corner, in pixels of the original."""
        return np.asarray(points, dtype=float) * self.scale

    def from_original(self, points: ArrayLike) -> Floats:
        """Return pixels of the original as points of this picture."""
        return np.asarray(points, dtype=float) / self.scale


def read_linear(
    source: Picture | Path | str | bytes,
    longest_px: int | None = None,
    *,
    name: str = "",
    decoded: Decoded | None = None,
) -> LinearPicture:
    """Return a picture's light, made small by averaging light where a long side is given.

    Parameters
    ----------
    source : Picture, or what `open_picture` takes
    longest_px : int, optional
        The long side of what is wanted; never enlarged.
    decoded : Decoded, optional
        The picture's pixels, whole or halved, where they were decoded already.

    Raises
    ------
    NotFoundError, InputError
        As `open_picture`; the pixels are damaged.
    """
    picture = source if isinstance(source, Picture) else open_picture(source, name=name)
    whole = (picture.width, picture.height)
    width, height = whole if longest_px is None else target_size(whole, longest_px)
    factor = min(whole[0] // width, whole[1] // height)
    is_halved = picture.is_photo and picture.media_type == "image/jpeg" and factor >= _HALF_FROM
    decoded, reader = decoded or picture.decoded(halved=is_halved), picture.reader()
    stored_width = height if picture.is_turned else width
    light, clipped = _averaged(decoded, reader, max(decoded.width // stored_width, 1))
    light, clipped = (resize_light(picture.upright(each), (width, height)) for each in (light, clipped))
    space, to_xyz = _space(reader, light.shape[2:] or (1,))
    if light.ndim == 2 or light.shape[2] == 1:
        light = np.repeat(light.reshape(height, width, 1), 3, axis=2)
    return LinearPicture(
        name=picture.name,
        light=light,
        clipped=clipped,
        space=space,
        to_xyz=to_xyz,
        width=picture.width,
        height=picture.height,
        path=picture.profile_path,
        notices=picture.notices,
    )


def clipped_share(rows: Pixels) -> Light:
    """Return 1 where any channel of encoded rows (h, w[, n]) stands at the end of its scale, else 0."""
    limit = round(CLIPPED_FROM * int(np.iinfo(rows.dtype).max))
    brightest = rows if rows.ndim == 2 else np.maximum(np.maximum(rows[..., 0], rows[..., 1]), rows[..., 2])
    return np.asarray(brightest >= limit, np.float32)


def _space(reader: ColourReader, channels: tuple[int, ...]) -> tuple[str, Floats]:
    if not isinstance(reader, MatrixReader):
        return "xyz", np.eye(3)
    matrix = np.asarray(reader.matrix, dtype=float)
    # A grey picture is kept as three equal channels, each of which gives a third.
    return "rgb", np.repeat(matrix, 3, axis=0) / 3 if channels == (1,) and len(matrix) == 1 else matrix


def _averaged(decoded: Decoded, reader: ColourReader, factor: int) -> tuple[Light, Light]:
    """Return light and clipped share averaged over squares of `factor` pixels; the last ones repeat the edge."""
    lights, shares = [], []
    for top, bottom in decoded.strips(factor):
        rows = decoded.rows(top, bottom)
        lights.append(averaged_squares(reader.light(rows), factor))
        is_ink = decoded.kind == "cmyk"  # amounts of ink have no end that light could clip at
        share = np.zeros(rows.shape[:2], np.float32) if is_ink else clipped_share(rows)
        shares.append(averaged_squares(share, factor))
    return np.concatenate(lights), np.concatenate(shares)


def averaged_squares(values: NDArray[Any], factor: int) -> NDArray[Any]:
    """Return (h, w[, n]) values averaged over squares of `factor` pixels; the last ones repeat the edge to be full."""
    import cv2

    if factor == 1:
        return values
    missing = -values.shape[0] % factor, -values.shape[1] % factor
    if any(missing):
        values = cv2.copyMakeBorder(values, 0, missing[0], 0, missing[1], cv2.BORDER_REPLICATE)
    size = values.shape[1] // factor, values.shape[0] // factor
    return np.asarray(cv2.resize(values, size, interpolation=cv2.INTER_AREA), values.dtype)
