"""Perceptual hashes: candidates for "the same design", never a verdict.

A hash sees shapes in grey, so colourways of one design collide by nature, and blank or pale sheets collide by
accident: those are marked plain and stay out of hash searches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image

from archive.errors import InputError
from archive.imaging.decode import Reduced

HASH_BITS = 64
_GRID = 32  # pixels a side on which structure is judged, the size the hash itself works at
_PLAIN_BELOW = 1.5  # L*, root mean square left after a smooth shading is taken off [own choice]
_MARGIN = _GRID // 8  # pixels: the table around a sheet, or a frame, is no structure of the sheet


@dataclass(frozen=True, slots=True)
class PictureHash:
    """A 64-bit hash as 16 hex digits, and whether the picture has too little structure to go by it."""

    phash: str
    is_plain: bool


def hash_picture(reduced: Reduced) -> PictureHash:
    """Return the perceptual hash of an upright picture, computed from its lightness.

    Source: `imagehash.phash`, the signs of the 8 x 8 lowest cosine terms of a 32 x 32 picture.
    """
    import imagehash

    lightness = reduced.lab(256)[..., 0]
    grey = Image.fromarray(np.round(np.clip(lightness, 0, 100) * 2.55).astype(np.uint8))
    return PictureHash(str(imagehash.phash(grey)), is_plain=_is_plain(reduced))


def hash_words(hashes: list[str]) -> NDArray[np.uint64]:
    """Return hex hashes as 64-bit words, the form `hamming_distances` searches.

    Raises
    ------
    InputError
        One is not 16 hex digits.
    """
    for text in hashes:
        if len(text) != HASH_BITS // 4 or not all(digit in "0123456789abcdefABCDEF" for digit in text):
            raise InputError("{text} is no picture hash", text=repr(text), mend="Give its 16 hex digits.")
    return np.array([int(text, 16) for text in hashes], dtype=np.uint64)


def hamming_distances(wanted: str, words: ArrayLike) -> NDArray[np.uint8]:
    """Return in how many of 64 bits each word differs from the wanted hash.

    Parameters
    ----------
    wanted : str
        16 hex digits.
    words : (n,) array_like of uint64
        From `hash_words`.

    Returns
    -------
    (n,) ndarray of uint8, 0-64
    """
    differing: NDArray[np.uint8] = np.bitwise_count(np.asarray(words, np.uint64) ^ hash_words([wanted])[0])
    return differing


def _is_plain(reduced: Reduced) -> bool:
    """Return whether the whole picture, or its middle, is bare but for uneven light.

    Light over a copy stand falls off like a quadratic, so that much is taken off first.
    """
    whole = reduced.lab((_GRID, _GRID))[..., 0].astype(np.float64)
    middle = whole[_MARGIN:-_MARGIN, _MARGIN:-_MARGIN]
    return any(_structure(lightness) < _PLAIN_BELOW for lightness in (whole, middle))


def _structure(lightness: NDArray[np.float64]) -> float:
    y, x = np.meshgrid(*(np.linspace(-1, 1, side) for side in lightness.shape), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1).reshape(-1, 6)
    values = lightness.ravel()
    shading, *_ = np.linalg.lstsq(terms, values, rcond=None)
    return float(np.sqrt(np.mean((values - terms @ shading) ** 2)))
