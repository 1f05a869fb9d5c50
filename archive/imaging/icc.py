"""Colour profiles read in float: the matrix and curve kind that cameras, phones and screens embed.

A table profile (scanners, CMYK presses) is recognised here and left to LittleCMS.
Source of every layout and formula: ICC.1:2010 (profile version 4.3) and ICC.1:2001-04 (version 2).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.spaces import D50_WHITE, lab_to_xyz
from archive.errors import InputError

_HEADER_SIZE = 132  # 128 bytes of header and the tag count
_MOST_TAGS = 1000  # the longest tables of real profiles hold about 60 [common practice]
_TABLE_TAGS = ("A2B0", "A2B1", "D2B0", "D2B1")  # what relative colorimetric reading uses when present
_FORMULA_LENGTHS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}  # parameters of parametricCurveType, table 65


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class ToneTable:
    """A sampled tone curve, straight between its samples; input and output 0-1."""

    samples: NDArray[np.float64]

    def __call__(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Return the linear value at `encoded` (any shape, clipped to 0-1)."""
        places = np.linspace(0.0, 1.0, len(self.samples))
        return np.interp(np.asarray(encoded, dtype=np.float64), places, self.samples)


@dataclass(frozen=True, slots=True)
class ToneFormula:
    """A parametric curve: (a x + b)^g + e from x = d up, c x + f below."""

    g: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def __call__(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Return the linear value at `encoded` (any shape, clipped to 0-1)."""
        x = np.clip(np.asarray(encoded, dtype=np.float64), 0.0, 1.0)
        base = np.maximum(self.a * x + self.b, 0.0)
        return np.where(x >= self.d, base**self.g + self.e, self.c * x + self.f)


ToneCurve = ToneTable | ToneFormula


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile's header and the places of its tags, checked against its length."""

    device_class: str
    colour_space: str
    connection_space: str
    tags: dict[str, tuple[int, int]]
    data: bytes = field(repr=False)
    where: str = ""

    @property
    def is_by_tables(self) -> bool:
        """Whether reading goes through lookup tables rather than a matrix or one grey curve."""
        return any(name in self.tags for name in _TABLE_TAGS)

    def tag(self, name: str) -> bytes:
        """Return a tag's bytes, or raise InputError when the profile lacks it."""
        if name not in self.tags:
            raise _broken("it lacks its {tag} part", self.where, tag=name)
        offset, size = self.tags[name]
        return self.data[offset : offset + size]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class MatrixProfile:
    """Curves and, for RGB, a 3x3 matrix to XYZ relative to D50 (Y = 1 for white).

    `matrix` has one row a channel: linear values @ matrix = XYZ. A grey profile has one row, the D50 white.
    `is_lightness` marks a grey curve that gives L*/100 instead of Y.
    """

    colour_space: str
    curves: tuple[ToneCurve, ...]
    matrix: NDArray[np.float64]
    is_lightness: bool = False

    def linear(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Return linear channel values.

        Parameters
        ----------
        encoded : (..., n) array_like
            Encoded channel values, 0-1; n = 3 for RGB, 1 for grey.

        Returns
        -------
        (..., n) ndarray of float64, proportional to light.
        """
        values = np.asarray(encoded, dtype=np.float64)
        channels = [curve(values[..., i]) for i, curve in enumerate(self.curves)]
        if self.is_lightness:
            lightness = 100.0 * channels[0]
            zero = np.zeros_like(lightness)
            channels = [np.asarray(lab_to_xyz(np.stack([lightness, zero, zero], axis=-1)))[..., 1]]
        return np.stack(channels, axis=-1)

    def to_xyz(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Return XYZ relative to D50, Y = 1 for white, from (..., n) encoded values 0-1."""
        return self.linear(encoded) @ self.matrix


def read_profile(data: bytes, *, where: str = "") -> Profile:
    """Return a profile's header and tag places.

    Parameters
    ----------
    data : bytes
        The whole profile; bytes after its declared length are ignored.
    where : str
        The file it was found in, for messages.

    Raises
    ------
    InputError
        Too short, no profile, of an unknown version, or a tag that leaves the profile.
    """
    if len(data) < _HEADER_SIZE:
        raise _broken("it is shorter than a profile's header", where)
    size = int.from_bytes(data[:4], "big")
    if data[36:40] != b"acsp":
        raise _broken("it does not carry a profile's mark", where)
    if not _HEADER_SIZE <= size <= len(data):
        raise _broken("it says {size} bytes and holds {found}", where, size=size, found=len(data))
    if not 2 <= data[8] <= 4:
        raise _broken("its version {version} is not one of 2 to 4", where, version=data[8])
    data = data[:size]
    device_class, colour_space, connection_space = (_text(data[at : at + 4]) for at in (12, 16, 20))
    return Profile(device_class, colour_space, connection_space, _tag_places(data, where), data, where)


def matrix_profile(profile: Profile) -> MatrixProfile | None:
    """Return the profile's matrix and curves, or None when it works by tables or in other channels.

    Raises
    ------
    InputError
        It claims to be a matrix or grey profile, and a curve or colourant is missing or malformed.
    """
    if profile.is_by_tables or profile.colour_space not in ("RGB", "GRAY"):
        return None
    if profile.colour_space == "GRAY":
        curve = _tone_curve(profile, "kTRC")
        is_lightness = profile.connection_space == "Lab"
        return MatrixProfile("GRAY", (curve,), D50_WHITE[None, :], is_lightness)
    if profile.connection_space != "XYZ":
        raise _broken("a matrix needs XYZ, it says {space}", profile.where, space=profile.connection_space)
    curves = tuple(_tone_curve(profile, name) for name in ("rTRC", "gTRC", "bTRC"))
    matrix = np.array([_xyz_tag(profile, name) for name in ("rXYZ", "gXYZ", "bXYZ")])
    if abs(matrix[:, 1].sum() - 1.0) > 0.2:
        raise _broken("its three colourants do not add up to a white", profile.where)
    return MatrixProfile("RGB", curves, matrix)


def _tag_places(data: bytes, where: str) -> dict[str, tuple[int, int]]:
    count = int.from_bytes(data[128:132], "big")
    if count > _MOST_TAGS or _HEADER_SIZE + 12 * count > len(data):
        raise _broken("it names {count} parts, more than it can hold", where, count=count)
    places: dict[str, tuple[int, int]] = {}
    for name, offset, size in struct.iter_unpack(">4sII", data[_HEADER_SIZE : _HEADER_SIZE + 12 * count]):
        if offset < 128 or offset + size > len(data):
            raise _broken("its {tag} part leaves the profile", where, tag=_text(name))
        places[_text(name)] = (offset, size)
    return places


def _xyz_tag(profile: Profile, name: str) -> tuple[float, float, float]:
    data = profile.tag(name)
    if len(data) < 20 or data[:4] != b"XYZ ":
        raise _broken("its {tag} part is no XYZ colour", profile.where, tag=name)
    x, y, z = struct.unpack(">3i", data[8:20])
    return x / 65536, y / 65536, z / 65536


def _tone_curve(profile: Profile, name: str) -> ToneCurve:
    data = profile.tag(name)
    kind = data[:4]
    if len(data) >= 12 and kind == b"curv":
        curve = _sampled_curve(data, profile.where, name)
    elif len(data) >= 12 and kind == b"para":
        curve = _formula_curve(data, profile.where, name)
    else:
        raise _broken("its {tag} part is no tone curve", profile.where, tag=name)
    with np.errstate(all="ignore"):
        values = curve(np.linspace(0.0, 1.0, 256))
    # A real curve stays within 0-1; the slack is for formulas that miss 1 by their rounding.
    if not np.all(np.isfinite(values)) or np.abs(values).max() > 2.0 or np.ptp(values) == 0.0:
        raise _broken("its {tag} curve leads nowhere", profile.where, tag=name)
    return curve


def _sampled_curve(data: bytes, where: str, name: str) -> ToneCurve:
    count = int.from_bytes(data[8:12], "big")
    if 12 + 2 * count > len(data):
        raise _broken("its {tag} curve is cut short", where, tag=name)
    if count == 0:
        return ToneFormula(1.0)
    samples = np.frombuffer(data, dtype=">u2", count=count, offset=12).astype(np.float64)
    if count == 1:
        return ToneFormula(float(samples[0]) / 256)  # u8Fixed8Number: a plain gamma
    return ToneTable(samples / 65535)


def _formula_curve(data: bytes, where: str, name: str) -> ToneFormula:
    kind = int.from_bytes(data[8:10], "big")
    length = _FORMULA_LENGTHS.get(kind)
    if length is None or len(data) < 12 + 4 * length:
        raise _broken("its {tag} curve is of an unknown kind or cut short", where, tag=name)
    numbers = [value / 65536 for value in struct.unpack(f">{length}i", data[12 : 12 + 4 * length])]
    if numbers[0] <= 0:
        raise _broken("its {tag} curve has no exponent above zero", where, tag=name)
    if kind == 0:
        return ToneFormula(numbers[0])
    if kind in (1, 2):  # zero, or c, up to x = -b/a; the power above
        g, a, b = numbers[:3]
        low = numbers[3] if kind == 2 else 0.0
        return ToneFormula(g, a, b, c=0.0, d=-b / a if a else 0.0, e=low, f=low)
    return ToneFormula(*numbers)


def _text(four_bytes: bytes) -> str:
    return four_bytes.decode("latin-1").rstrip(" \0")


def _broken(template: str, where: str, **values: object) -> InputError:
    return InputError(
        "the colour profile cannot be read: " + template,
        where=where,
        mend="Export the picture again with its profile, or as sRGB.",
        **values,
    )
