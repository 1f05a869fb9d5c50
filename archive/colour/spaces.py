"""Colour spaces: XYZ, CIE L*a*b*, L*C*h and sRGB, and a colour seen against its paper.

One scale each: Y = 1 for white, L* 0-100, encoded sRGB 0-1, hue in degrees 0-360. Every function works over
leading axes, in float64, and never writes into its argument.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.errors import ColourError

Floats = NDArray[np.float64]

D50_WHITE: Floats = np.array([0.9642, 1.0, 0.8249])  # XYZ, ICC.1:2022 (ISO 15076-1) profile connection space
D65_XY = (0.3127, 0.3290)  # white chromaticity of sRGB, IEC 61966-2-1
SRGB_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # primaries of sRGB, IEC 61966-2-1
BRADFORD: Floats = np.array(  # cone responses, ICC.1:2022
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
LAB_EPSILON = 216 / 24389  # where the cube root takes over, ISO/CIE 11664-4
LAB_KAPPA = 24389 / 27  # slope below it, ISO/CIE 11664-4
LIGHTEST = 115.0  # L*, the most a brightened paper or a fluorescent ink is believed [own choice]
WIDEST = 200.0  # |a*| and |b*|, well outside all real surfaces [own choice]
BRIGHTEST = 2.0  # XYZ, a share of white: beyond it somebody wrote percent [own choice]
DARKEST_PAPER = 5.0  # L*: a darker sheet cannot serve as anyone's white [own choice]
_ROUNDING = 1e-6  # what arithmetic may leave below zero or above one

for _constant in (D50_WHITE, BRADFORD):
    _constant.setflags(write=False)


def _triples(values: ArrayLike, what: str) -> Floats:
    """Return the values as float64 triples, or say why they are none."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise ColourError("{what} must be numbers", what=what, mend="Give three numbers a colour.") from exc
    if array.ndim == 0 or array.shape[-1] != 3:
        raise ColourError(
            "{what} needs three numbers a colour, not shape {shape}",
            what=what,
            shape=array.shape,
            mend="Put the three numbers on the last axis.",
        )
    if not np.isfinite(array).all():
        raise ColourError("{what} holds an empty or infinite number", what=what, mend="Leave such readings out.")
    return array


def check_lab(lab: ArrayLike) -> Floats:
    """Return the colours as float64 when they can be real surfaces.

    Parameters
    ----------
    lab : (..., 3) array_like
        L* in [0, 115], a*, b* in [-200, 200]. L* above 100 passes (brightened papers, fluorescent inks);
        the caller flags it.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        The last axis is not 3 long, a number is missing or infinite, or the scale is wrong.
    """
    array = _triples(lab, "Lab")
    L = array[..., 0]
    if array.size and (L.min() < -_ROUNDING or L.max() > LIGHTEST):
        raise ColourError(
            "L* must lie between 0 and {most}, and goes from {low} to {high}",
            most=LIGHTEST,
            low=float(L.min()),
            high=float(L.max()),
            mend="Give L* on its scale of 0 to 100, a* and b* as they are measured.",
        )
    widest = float(np.abs(array[..., 1:]).max()) if array.size else 0.0
    if widest > WIDEST:
        raise ColourError(
            "a* and b* must lie within {most} of zero, and one is {widest} off",
            most=WIDEST,
            widest=widest,
            mend="Check the columns: no surface reads like this.",
        )
    return array


def check_xyz(xyz: ArrayLike) -> Floats:
    """Return the tristimulus values as float64 when they are on the scale Y = 1 for white.

    Parameters
    ----------
    xyz : (..., 3) array_like
        At most 2; slightly negative values, as a camera's correction leaves them, pass.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        The last axis is not 3 long, a number is missing or infinite, or the scale is wrong.
    """
    array = _triples(xyz, "XYZ")
    if array.size and array.max() > BRIGHTEST:
        raise ColourError(
            "XYZ goes up to {high}, but white has Y = 1",
            high=float(array.max()),
            mend="Divide values in percent by 100.",
        )
    return array


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike = D50_WHITE) -> Floats:
    """Return CIE L*a*b*.

    Parameters
    ----------
    xyz : (..., 3) array_like
        Y = 1 for white.
    white : (..., 3) array_like
        XYZ of the white, the D50 of the ICC unless said.

    Returns
    -------
    (..., 3) ndarray of float64, L* in 0-100 for surfaces

    Raises
    ------
    ColourError
        See `check_xyz`.

    Source: ISO/CIE 11664-4.
    """
    return _xyz_to_lab(check_xyz(xyz), check_xyz(white))


def _xyz_to_lab(xyz: Floats, white: Floats) -> Floats:
    share = xyz / white
    f = np.where(share > LAB_EPSILON, np.cbrt(share), (LAB_KAPPA * share + 16) / 116)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def lab_to_xyz(lab: ArrayLike, white: ArrayLike = D50_WHITE) -> Floats:
    """Return XYZ, Y = 1 for white; the way back from `xyz_to_lab`.

    Parameters
    ----------
    lab : (..., 3) array_like
        See `check_lab`.
    white : (..., 3) array_like
        XYZ of the white, the D50 of the ICC unless said.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        See `check_lab`.

    Source: ISO/CIE 11664-4.
    """
    return _lab_to_xyz(check_lab(lab), check_xyz(white))


def _lab_to_xyz(lab: Floats, white: Floats) -> Floats:
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    cube = f**3
    return np.asarray(np.where(cube > LAB_EPSILON, cube, (116 * f - 16) / LAB_KAPPA) * white)


def lab_to_lch(lab: ArrayLike) -> Floats:
    """Return L*, chroma C* and hue h in degrees, 0 <= h < 360.

    Parameters
    ----------
    lab : (..., 3) array_like
        See `check_lab`. An exact neutral gets hue 0.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        See `check_lab`.

    Source: ISO/CIE 11664-4.
    """
    L, a, b = np.moveaxis(check_lab(lab), -1, 0)
    hue = np.degrees(np.arctan2(b, a)) % 360
    # A hue a hair below zero rounds up to 360 itself.
    return np.stack([L, np.hypot(a, b), np.where(hue >= 360, 0.0, hue)], axis=-1)


def lch_to_lab(lch: ArrayLike) -> Floats:
    """Return L*a*b* from L*, chroma and hue in degrees.

    Parameters
    ----------
    lch : (..., 3) array_like
        C* >= 0; the hue may lie outside 0-360.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        Chroma is negative; else see `check_lab`.

    Source: ISO/CIE 11664-4.
    """
    L, C, h = np.moveaxis(_triples(lch, "LCh"), -1, 0)
    if C.size and C.min() < 0:
        raise ColourError("chroma cannot be negative", mend="Turn the hue by 180 degrees instead.")
    h = np.radians(h)
    return check_lab(np.stack([L, C * np.cos(h), C * np.sin(h)], axis=-1))


def _bradford_matrix(white_from: Floats, white_to: Floats) -> Floats:
    gains = (BRADFORD @ white_to) / (BRADFORD @ white_from)
    return np.linalg.inv(BRADFORD) @ (gains[:, None] * BRADFORD)


def bradford_adapt(xyz: ArrayLike, white_from: ArrayLike, white_to: ArrayLike) -> Floats:
    """Return the XYZ that look under one white as the given ones do under another.

    Parameters
    ----------
    xyz : (..., 3) array_like
        Y = 1 for white.
    white_from, white_to : (3,) array_like
        XYZ of the two whites.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        See `check_xyz`.

    Source: linear Bradford transform, ICC.1:2022.
    """
    matrix = _bradford_matrix(check_xyz(white_from), check_xyz(white_to))
    return check_xyz(xyz) @ matrix.T


def _srgb_matrix() -> Floats:
    """Return linear sRGB to XYZ under D50, from the standard's chromaticities."""
    x, y = np.array([*SRGB_XY, D65_XY]).T
    columns = np.stack([x / y, np.ones(4), (1 - x - y) / y])
    primaries, white = columns[:, :3], columns[:, 3]
    to_d65 = primaries * np.linalg.solve(primaries, white)
    return np.asarray(_bradford_matrix(white, D50_WHITE) @ to_d65)


_SRGB_TO_XYZ = _srgb_matrix()
_XYZ_TO_SRGB = np.linalg.inv(_SRGB_TO_XYZ)


def srgb_to_xyz_d50(srgb: ArrayLike) -> Floats:
    """Return XYZ under D50 of a screen colour.

    Parameters
    ----------
    srgb : (..., 3) array_like
        Encoded sRGB, 0-1.

    Returns
    -------
    (..., 3) ndarray of float64, Y = 1 for white

    Raises
    ------
    ColourError
        Values leave 0-1, as those on a scale of 255 do.

    Source: IEC 61966-2-1, then Bradford from D65 to D50.
    """
    encoded = _triples(srgb, "sRGB")
    if encoded.size and (encoded.min() < -_ROUNDING or encoded.max() > 1 + _ROUNDING):
        raise ColourError("sRGB must lie between 0 and 1", mend="Divide values of 0 to 255 by 255.")
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((np.maximum(encoded, 0) + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ _SRGB_TO_XYZ.T)


def xyz_d50_to_srgb(xyz: ArrayLike, *, clip: bool = True) -> Floats:
    """Return the encoded sRGB of a colour under D50.

    Parameters
    ----------
    xyz : (..., 3) array_like
        Y = 1 for white.
    clip : bool
        Cut to 0-1, for showing. Else a colour that no screen shows keeps values outside; the curve goes on
        below zero as its mirror image.

    Returns
    -------
    (..., 3) ndarray of float64

    Raises
    ------
    ColourError
        See `check_xyz`.

    Source: IEC 61966-2-1, after Bradford from D50 to D65.
    """
    linear = check_xyz(xyz) @ _XYZ_TO_SRGB.T
    size = np.abs(linear)
    curve = np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    encoded = np.copysign(curve, linear)
    return np.clip(encoded, 0.0, 1.0) if clip else encoded


def in_gamut(xyz: ArrayLike) -> NDArray[np.bool_]:
    """Return which colours under D50 an sRGB screen can show.

    Parameters
    ----------
    xyz : (..., 3) array_like
        Y = 1 for white.

    Returns
    -------
    (...) ndarray of bool

    Raises
    ------
    ColourError
        See `check_xyz`.
    """
    linear = check_xyz(xyz) @ _XYZ_TO_SRGB.T
    return np.asarray(((linear >= -_ROUNDING) & (linear <= 1 + _ROUNDING)).all(axis=-1))


_HEX = re.compile(r"#(?:[0-9a-fA-F]{3}|[0-9a-fA-F]{6})")


def parse_hex(text: str) -> Floats:
    """Return the encoded sRGB, 0-1, of `#rrggbb` or `#rgb`.

    Raises
    ------
    ColourError
        The text is neither.
    """
    text = text.strip()
    if not _HEX.fullmatch(text):
        raise ColourError(
            "{text} is no screen colour", text=text, mend="Write # and six digits, as in #c8553d, or three."
        )
    digits = text[1:] if len(text) == 7 else "".join(digit * 2 for digit in text[1:])
    return np.array([int(digits[at : at + 2], 16) for at in (0, 2, 4)]) / 255


def lab_to_hex(lab: ArrayLike) -> str:
    """Return `#rrggbb` for showing one colour, clipped to what a screen can show.

    Parameters
    ----------
    lab : (3,) array_like
        D50.

    Raises
    ------
    ColourError
        See `check_lab`; more than one colour.
    """
    array = check_lab(lab)
    if array.ndim != 1:
        raise ColourError("one colour makes one hex text", mend="Give one colour at a time.")
    srgb = xyz_d50_to_srgb(_lab_to_xyz(array, D50_WHITE))
    return "#" + "".join(f"{round(float(part) * 255):02x}" for part in srgb)


def _paper_white(paper_lab: ArrayLike) -> Floats:
    paper = check_lab(paper_lab)
    if paper.size and paper[..., 0].min() < DARKEST_PAPER:
        raise ColourError(
            "a paper with L* {lightness} is too dark to count as white",
            lightness=float(paper[..., 0].min()),
            mend="Ask for absolute colours on this paper.",
        )
    return _lab_to_xyz(paper, D50_WHITE)


def relative_to_paper(lab: ArrayLike, paper_lab: ArrayLike) -> Floats:
    """Return the colours with their paper as white: XYZ times D50 over the paper.

    Parameters
    ----------
    lab : (..., 3) array_like
        Absolute, D50.
    paper_lab : (..., 3) array_like
        The bare paper, absolute, D50.

    Returns
    -------
    (..., 3) ndarray of float64; the paper itself becomes 100, 0, 0

    Raises
    ------
    ColourError
        See `check_lab`; the paper is almost black.

    Source: media-relative colorimetry, ICC.1:2022.
    """
    return _xyz_to_lab(_lab_to_xyz(check_lab(lab), D50_WHITE), _paper_white(paper_lab))


def on_paper(lab_relative: ArrayLike, paper_lab: ArrayLike) -> Floats:
    """Return the absolute colours that look on a paper as the given ones do on white.

    Parameters
    ----------
    lab_relative : (..., 3) array_like
        With the paper as white. L* may pass 115: an opaque ink can be far lighter than its paper.
    paper_lab : (..., 3) array_like
        The bare paper, absolute, D50.

    Returns
    -------
    (..., 3) ndarray of float64, absolute, D50

    Raises
    ------
    ColourError
        The input is malformed, or the paper is almost black.

    Source: media-relative colorimetry, ICC.1:2022.
    """
    return _xyz_to_lab(_lab_to_xyz(_triples(lab_relative, "Lab"), _paper_white(paper_lab)), D50_WHITE)
