"""A picture file as the archive sees it: upright, its colours under D50, told with the way they were read.

`open_picture` reads headers only. `reduce_picture` decodes once and keeps a small picture in linear light,
from which thumbnails, hashes and palettes are made: averaged light, not averaged encoded values, is what a
halftone looks like from afar.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from archive.colour.spaces import LIGHTEST, WIDEST, xyz_to_lab
from archive.errors import InputError, NotFoundError, Notice
from archive.imaging.containers import (
    Kind,
    bits_of,
    camera_notes,
    kind_of,
    media_type_of,
    open_header,
)
from archive.imaging.pixels import Decoded, Pixels, decode, stored_box, turn_upright
from archive.imaging.profiles import ColourPath, ColourReader, Light, choose_path

MAX_MEGAPIXELS = 300  # an A1 sheet at 600 dpi has 279; the profile's start value
REDUCED_SIDE = 1280  # pixels, the larger thumbnail


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Picture:
    """An opened picture file; sizes are those of the upright picture."""

    name: str
    width: int
    height: int
    media_type: str
    kind: Kind
    bits: int
    icc: bytes = field(repr=False)
    taken_at: str | None
    is_photo: bool
    profile_path: str
    notices: tuple[Notice, ...]
    _source: Path | bytes = field(repr=False)
    _turn: int = field(repr=False)
    _path: ColourPath = field(repr=False)

    @property
    def is_turned(self) -> bool:
        """Whether the file stores the picture lying on its side."""
        return self._turn >= 5

    def decoded(self, *, halved: bool = False) -> Decoded:
        """Return the pixels as stored, not upright; a JPEG at half size when `halved`."""
        return decode(self._source, self.media_type, name=self.name, halved=halved)

    def reader(self) -> ColourReader:
        """Return what turns rows of this picture into light and XYZ."""
        return self._path.reader(self.bits)

    def upright(self, stored: NDArray[Any]) -> NDArray[Any]:
        """Return an array of stored rows and columns turned as the picture is to be seen."""
        return turn_upright(stored, self._turn)

    def part(self, decoded: Decoded, box: tuple[int, int, int, int]) -> Pixels:
        """Return what lies from left and top to right and bottom of the upright picture, of pixels decoded whole."""
        return turn_upright(decoded.part(stored_box(box, (self.width, self.height), self._turn)), self._turn)

    @property
    def pixels(self) -> Pixels:
        """The upright encoded values: (h, w) grey, (h, w, 3) rgb or (h, w, 4) cmyk, uint8 or uint16.

        Decoded anew each time it is asked for, so that a list of pictures does not fill the memory.
        """
        decoded = self.decoded()
        stored = np.concatenate([decoded.rows(top, bottom) for top, bottom in decoded.strips()])
        return turn_upright(stored, self._turn)


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Reduced:
    """A picture made small by averaging light: XYZ under D50, (h, w, 3) float32, upright."""

    xyz: Light = field(repr=False)

    def lab(self, size: int | tuple[int, int] | None = None) -> NDArray[np.float32]:
        """Return Lab of it, smaller still when a long side or (width, height) is given."""
        return lab_of(self.xyz if size is None else resize_light(self.xyz, size))


def open_picture(
    path_or_bytes: Path | str | bytes, *, max_megapixels: float = MAX_MEGAPIXELS, name: str = ""
) -> Picture:
    """Return the picture with its header, camera's notes and profile read, and no pixel decoded.

    Parameters
    ----------
    path_or_bytes : Path, str or bytes
        The file, or its content. Its type is judged from the content.
    max_megapixels : float
        A larger picture is refused before it is decoded.
    name : str
        What to call it in messages; else the file's name.

    Raises
    ------
    NotFoundError
        There is no such file.
    InputError
        Empty, no picture the archive reads, damaged, or too large. Damage beyond the header is met, with the
        same error, only when the pixels are read.
    """
    source = path_or_bytes if isinstance(path_or_bytes, bytes) else Path(path_or_bytes)
    name = name or (source.name if isinstance(source, Path) else "picture")
    media_type = media_type_of(_head(source, name), name=name)
    with open_header(source, media_type, name=name) as header:
        return _describe(header, source, media_type, name, max_megapixels)


def _describe(header: Image.Image, source: Path | bytes, media_type: str, name: str, max_megapixels: float) -> Picture:
    width, height = header.size
    if width * height > max_megapixels * 1e6:
        raise InputError(
            "it has {megapixels} megapixels, more than the {limit} allowed",
            megapixels=round(width * height / 1e6, 1),
            limit=max_megapixels,
            where=name,
            mend="Save a smaller copy, or raise the largest picture in the workshop's profile.",
        )
    kind, icc = kind_of(header), header.info.get("icc_profile") or b""
    path = choose_path(kind, icc, name=name)
    notes, troubles = camera_notes(header, media_type, name=name)
    if notes.turn >= 5:
        width, height = height, width
    if notes.is_wide and not icc:
        troubles += (
            Notice(
                "wide_without_profile",
                "the camera used wide colours and put no profile: they read duller",
                where=name,
            ),
        )
    if media_type == "image/webp" and getattr(header, "is_animated", False):
        troubles += (Notice("moving_picture", "it moves: only its first picture is taken", where=name),)
    return Picture(
        name=name,
        width=width,
        height=height,
        media_type=media_type,
        kind=kind,
        bits=bits_of(header),
        icc=icc,
        taken_at=notes.taken_at,
        is_photo=notes.is_photo,
        profile_path=path.words,
        notices=path.notices + troubles,
        _source=source,
        _turn=notes.turn,
        _path=path,
    )


def read_lab(picture: Picture, size: int | tuple[int, int] | None = None) -> NDArray[np.float32]:
    """Return the picture's colours.

    Parameters
    ----------
    size : int or (int, int), optional
        A long side (never enlarged) or an exact (width, height), made by averaging light; None: every pixel.

    Returns
    -------
    (h, w, 3) ndarray of float32
        Lab under D50, upright. Encoded colours no surface has are cut to the scale's ends.

    Raises
    ------
    InputError
        The pixels are damaged.
    """
    if size is not None:
        return reduce_picture(picture, size).lab()
    decoded, reader = picture.decoded(), picture.reader()
    strips = decoded.strips()
    return picture.upright(np.concatenate([lab_of(reader.xyz(reader.light(decoded.rows(*s)))) for s in strips]))


def reduce_picture(picture: Picture, size: int | tuple[int, int] = REDUCED_SIDE) -> Reduced:
    """Return the picture decoded once and made small in linear light.

    Parameters
    ----------
    size : int or (int, int)
        The long side, never enlarged, or an exact (width, height).

    Notes
    -----
    A camera's JPEG at least four times too large is decoded at half size, in half the time. That averages 2 x 2
    encoded values, which lens and filter array have mixed already: a screen's dots then read at most 2 dE off,
    mostly below 1. On a scan's hard dots it would be up to 14, so a scan is averaged as light from its first pixel.

    Raises
    ------
    InputError
        The pixels are damaged.
    """
    width, height = target_size((picture.width, picture.height), size)
    factor = min(picture.width // width, picture.height // height)
    is_halved = picture.is_photo and picture.media_type == "image/jpeg" and factor >= 4
    decoded, reader = picture.decoded(halved=is_halved), picture.reader()
    stored = (height, width) if picture.is_turned else (width, height)
    light = _averaged(decoded, reader, max(min(decoded.width // stored[0], decoded.height // stored[1]), 1))
    return Reduced(resize_light(picture.upright(reader.xyz(light)), (width, height)))


def target_size(now: tuple[int, int], size: int | tuple[int, int]) -> tuple[int, int]:
    """Return (width, height) for an exact size, or for a long side that never enlarges."""
    if not isinstance(size, int):
        return size
    scale = min(size / max(now), 1.0)
    return max(round(now[0] * scale), 1), max(round(now[1] * scale), 1)


def resize_light(light: Light, size: int | tuple[int, int]) -> Light:
    """Return values proportional to light at another size, averaged over each new pixel's area."""
    import cv2

    width, height = target_size((light.shape[1], light.shape[0]), size)
    if (height, width) == light.shape[:2]:
        return light
    is_smaller = width <= light.shape[1] and height <= light.shape[0]
    resized: Light = cv2.resize(
        light, (width, height), interpolation=cv2.INTER_AREA if is_smaller else cv2.INTER_LINEAR
    )
    return resized


def lab_of(xyz: Light) -> NDArray[np.float32]:
    """Return Lab of XYZ under D50, cut to the scale of real surfaces, in float32."""
    lab = xyz_to_lab(np.minimum(xyz, 2.0))
    low, high = (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST)
    return np.clip(lab, low, high).astype(np.float32)


def _averaged(decoded: Decoded, reader: ColourReader, factor: int) -> Light:
    """Return light averaged over squares of `factor` pixels; the last ones repeat the edge to be full."""
    import cv2

    strips = []
    for top, bottom in decoded.strips(factor):
        light = reader.light(decoded.rows(top, bottom))
        if factor > 1:
            missing = -light.shape[0] % factor, -light.shape[1] % factor
            if any(missing):
                light = cv2.copyMakeBorder(light, 0, missing[0], 0, missing[1], cv2.BORDER_REPLICATE)
            size = light.shape[1] // factor, light.shape[0] // factor
            # OpenCV drops an axis of one channel.
            light = cv2.resize(light, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0], -1)
        strips.append(light)
    return np.concatenate(strips)


def _head(source: Path | bytes, name: str) -> bytes:
    if isinstance(source, bytes):
        return source[:512]
    try:
        with source.open("rb") as stream:
            return stream.read(512)
    except FileNotFoundError as exc:
        raise NotFoundError("there is no file {path}", path=str(source), mend="Check the name.") from exc
    except OSError as exc:
        raise InputError("the file cannot be read", where=name, mend="Check its rights, or copy it again.") from exc
