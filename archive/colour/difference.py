"""Colour differences, and the word for one."""

from __future__ import annotations

from math import cos, radians, sin
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.spaces import Floats, check_lab
from archive.errors import ColourError

Verdict = Literal["same", "close", "related", "far"]

LIMITS = (3.0, 6.0, 12.0)  # dE00, the most for same, close and related [own choice, start values]
R95 = (
    2.80  # radius of a 95 % ball, per standard deviation an axis: root of chi-square's 7.81 at three degrees of freedom
)
AXIS_SHARE = (
    1.6  # a mean dE00 of m counts as a standard deviation of m / 1.6 an axis: three normals of sd 1 lie 1.596 off
)
_BLOCK = 8192  # colours at a time: the working arrays then stay in the processor's cache
_25_TO_7 = 25.0**7  # Sharma, Wu & Dalal 2005, equation 4
_COS_30, _SIN_30 = cos(radians(30)), sin(radians(30))
_COS_6, _SIN_6 = cos(radians(6)), sin(radians(6))
_COS_63, _SIN_63 = cos(radians(63)), sin(radians(63))


def delta_e_76(lab_1: ArrayLike, lab_2: ArrayLike) -> Floats:
    """Return the CIE 1976 colour difference.

    Parameters
    ----------
    lab_1, lab_2 : (..., 3) array_like
        Same white point. Leading axes broadcast.

    Returns
    -------
    (...) ndarray of float64, unitless, >= 0

    Raises
    ------
    ColourError
        See `check_lab`.

    Source: ISO/CIE 11664-4.
    """
    step = check_lab(lab_1) - check_lab(lab_2)
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", step, step)))


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Floats:
    """Return the CIEDE2000 colour difference, kL = kC = kH = 1.

    Parameters
    ----------
    lab_1, lab_2 : (..., 3) array_like
        Same white point. Leading axes broadcast.

    Returns
    -------
    (...) ndarray of float64, unitless, >= 0

    Raises
    ------
    ColourError
        See `check_lab`.

    Source: Sharma, Wu & Dalal 2005, Color Research & Application 30(1), 21-30; ISO/CIE 11664-6.
    """
    first, second = check_lab(lab_1), check_lab(lab_2)
    if first.ndim == 1 and second.ndim == 2:
        return delta_e_2000_from(first, np.moveaxis(second, -1, 0))
    try:
        shape = np.broadcast_shapes(first.shape, second.shape)
    except ValueError as exc:
        raise ColourError(
            "colours of shape {first} do not pair with {second}",
            first=first.shape,
            second=second.shape,
            mend="Give as many on both sides, or one on one side.",
        ) from exc
    one = np.broadcast_to(first, shape).reshape(-1, 3).T
    two = np.broadcast_to(second, shape).reshape(-1, 3).T
    result = np.empty(one.shape[1])
    for at in range(0, len(result), _BLOCK):
        part = slice(at, at + _BLOCK)
        result[part] = _ciede2000(*_columns(one[:, part]), *_columns(two[:, part]))
    return result.reshape(shape[:-1])


def delta_e_2000_from(wanted: Floats, columns: Floats) -> Floats:
    """Return the CIEDE2000 differences from one wanted colour to many, unchecked and fast.

    Parameters
    ----------
    wanted : (3,) ndarray of float64
        Already through `check_lab`.
    columns : (3, n) ndarray of float64
        The L*, a* and b* of the others, each in a row; already through `check_lab`.

    Returns
    -------
    (n,) ndarray of float64

    Source: as `delta_e_2000`, to the last bit.
    """
    L, a, b = (np.float64(part) for part in wanted)
    result = np.empty(columns.shape[1])
    for at in range(0, len(result), _BLOCK):
        part = slice(at, at + _BLOCK)
        result[part] = _ciede2000(L, a, b, *_columns(columns[:, part]))
    return result


def _columns(columns: Floats) -> Floats:
    """Return contiguous rows, so that the processor takes the same path, and rounds alike, everywhere."""
    return np.ascontiguousarray(columns)


def seventh_root_share(C: Floats) -> Floats:
    """Return sqrt(C^7 / (C^7 + 25^7)), which the formula needs twice."""
    C_7 = C * C * C
    C_7 *= C_7
    C_7 *= C
    C_7 /= C_7 + _25_TO_7
    return np.sqrt(C_7)


def _sine(angle: Floats) -> Floats:
    """Return the sine by the tangent of half the angle, which numpy computes several times faster."""
    t = np.tan(angle / 2)
    return np.asarray(2 * t / (1 + t * t))


def hue_weight_t(h: Floats) -> Floats:
    """Return T of CIEDE2000 at a mean hue in radians, from one tangent of the half angle."""
    t = np.tan(h / 2)
    per = 1 / (1 + t * t)
    c, s = 2 * per - 1, 2 * t * per
    c_2, s_2 = 2 * c * c - 1, 2 * s * c
    c_3, s_3 = c_2 * c - s_2 * s, s_2 * c + c_2 * s
    c_4, s_4 = 2 * c_2 * c_2 - 1, 2 * s_2 * c_2
    T: Floats = 1 - (0.17 * _COS_30) * c - (0.17 * _SIN_30) * s + 0.24 * c_2
    T += (0.32 * _COS_6) * c_3 - (0.32 * _SIN_6) * s_3 - (0.20 * _COS_63) * c_4 - (0.20 * _SIN_63) * s_4
    return T


def _ciede2000(
    L_1: Floats | np.float64,
    a_1: Floats | np.float64,
    b_1: Floats | np.float64,
    L_2: Floats,
    a_2: Floats,
    b_2: Floats,
) -> Floats:
    """Return CIEDE2000 by the paper's equations, in its symbols (kept whole, as published)."""
    # Plain roots of sums: numpy's hypot guards against overflow that cannot happen here, and costs tenfold.
    b_1_squared, b_2_squared = b_1 * b_1, b_2 * b_2
    C_bar = (np.sqrt(a_1 * a_1 + b_1_squared) + np.sqrt(a_2 * a_2 + b_2_squared)) / 2
    stretch = 1.5 - 0.5 * seventh_root_share(C_bar)  # 1 + G
    a_1p, a_2p = a_1 * stretch, a_2 * stretch
    C_1p, C_2p = np.sqrt(a_1p * a_1p + b_1_squared), np.sqrt(a_2p * a_2p + b_2_squared)
    h_1p, h_2p = np.arctan2(b_1, a_1p), np.arctan2(b_2, a_2p)
    h_1p = h_1p + (h_1p < 0) * (2 * np.pi)
    h_2p += (h_2p < 0) * (2 * np.pi)
    product = C_1p * C_2p

    dh = h_2p - h_1p
    h_bar = (h_1p + h_2p) / 2
    wraps = (np.abs(dh) > np.pi) * np.pi
    h_bar += np.where(h_bar < np.pi, wraps, -wraps)
    dh -= np.copysign(2 * wraps, dh)
    # Without chroma a hue means nothing: there is no hue difference, and the mean is the other's hue.
    grey = product == 0
    if grey.any():
        dh[grey] = 0.0
        h_bar[grey] = (h_1p + h_2p)[grey]

    C_bar_p = (C_1p + C_2p) / 2
    L_50 = (L_1 + L_2) / 2 - 50
    L_50 *= L_50
    S_L = 1 + 0.015 * L_50 / np.sqrt(20 + L_50)
    S_C = 1 + 0.045 * C_bar_p
    S_H = 1 + 0.015 * C_bar_p * hue_weight_t(h_bar)
    from_275 = (h_bar - np.radians(275)) * (180 / np.pi / 25)
    R_T = _sine(np.radians(60) * np.exp(-from_275 * from_275))
    R_T *= -2 * seventh_root_share(C_bar_p)

    x = (L_2 - L_1) / S_L
    y = (C_2p - C_1p) / S_C
    z = 2 * np.sqrt(product) * _sine(dh / 2) / S_H
    # The sum of squares is never negative in exact arithmetic; rounding may leave it a hair below.
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + R_T * y * z, 0.0)))


def verdict(delta_e: float, limits: tuple[float, float, float] = LIMITS) -> Verdict:
    """Return the word for a CIEDE2000 difference: same, close, related or far.

    Parameters
    ----------
    delta_e : float
        CIEDE2000, >= 0.
    limits : (same, close, related)
        The most that each word allows, itself included, rising.

    Raises
    ------
    ColourError
        The difference is negative or no number.
    """
    if not delta_e >= 0:
        raise ColourError("a colour difference of {delta_e} is none", delta_e=delta_e)
    same, close, related = limits
    if delta_e <= same:
        return "same"
    if delta_e <= close:
        return "close"
    return "related" if delta_e <= related else "far"


def sd_per_axis(mean_delta_e: float) -> float:
    """Return the standard deviation a Lab axis that a mean dE00 stands for: a sixteenth of ten times it.

    Raises
    ------
    ColourError
        The mean is negative or no number.
    """
    if not mean_delta_e >= 0:
        raise ColourError("a mean colour difference of {mean} is none", mean=mean_delta_e)
    return mean_delta_e / AXIS_SHARE
