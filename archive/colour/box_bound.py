"""A lower bound of CIEDE2000 from one colour to everything in a box, proven part by part.

With dL', dC', dH' and S_L, S_C, S_H as in the formula, CIEDE2000 squared is
(dL'/S_L)^2 + y^2 + z^2 + R_T y z with y = dC'/S_C and z = dH'/S_H. Each part gets an interval over the box;
small numerators, large denominators and the most negative rotation give the bound:

- S_L grows with the distance of the mean lightness from 50: it is greatest at an interval's end.
- G falls as the mean C* grows, so the box of C* gives an interval of 1 + G, and that one of a' = (1 + G) a*;
  the rectangle in (a', b*) gives C' and hue. The query is a short stroke of a' by the same 1 + G.
- |dH'| >= 2 sqrt(C'1 C'2) sin(dh/2) with all three at their least.
- T is at most its value in the middle of the mean hue's interval plus the slope there and the greatest
  curvature over half its width.
- R_T lies in [-r, 0] with r = R_C sin(60 deg exp(-(m/25)^2)), m the least distance of the mean hue from
  275 deg; y^2 + z^2 - r y z over y >= y_0, z >= z_0 is least at y = max(y_0, r z_0/2), z = max(z_0, r y_0/2).
  Where dC' and dH' have opposite signs throughout, the rotation only adds.

Where the box may lie straight across the grey axis from the query, the mean hue may be any.
"""

from __future__ import annotations

import numpy as np

from archive.colour.difference import hue_weight_t, seventh_root_share
from archive.colour.spaces import Floats

_T_CURVE = 0.17 + 4 * 0.24 + 9 * 0.32 + 16 * 0.20  # |d2T/dh2| at most, per radian squared [calculated]
_T_MOST = 1 + 0.17 + 0.24 + 0.32 + 0.20  # T at most, anywhere [calculated]
_ROUNDING = 1e-9  # relative and absolute: far more than float64 loses in the formula


def delta_e_2000_bound(wanted: Floats, low: Floats, high: Floats) -> Floats:
    """Return a number for each box that no CIEDE2000 from the wanted colour into the box falls below.

    Parameters
    ----------
    wanted : (3,) ndarray of float64
        L*, a*, b*, already through `check_lab`.
    low, high : (n, 3) ndarray of float64
        The corners of the boxes, low <= high.

    Returns
    -------
    (n,) ndarray of float64, >= 0; 0 for a box that holds the wanted colour

    Source: Sharma, Wu & Dalal 2005, Color Research & Application 30(1), 21-30, bounded as the module says.
    """
    low, high = np.ascontiguousarray(low.T), np.ascontiguousarray(high.T)
    x = _lightness_part(wanted[0], low[0], high[0])
    chroma_hue_squared = _chroma_hue_part(wanted, low, high)
    bound = np.sqrt(x * x + chroma_hue_squared) * (1 - _ROUNDING) - _ROUNDING
    return np.asarray(np.maximum(bound, 0.0))


def _lightness_part(L: np.float64, low: Floats, high: Floats) -> Floats:
    nearest = np.maximum(np.maximum(low - L, L - high), 0.0)
    from_50 = np.maximum(np.abs((low + L) / 2 - 50), np.abs((high + L) / 2 - 50))
    squared = from_50 * from_50
    return np.asarray(nearest / (1 + 0.015 * squared / np.sqrt(20 + squared)))


def _reach(low_a: Floats, high_a: Floats, low_b: Floats, high_b: Floats) -> tuple[Floats, Floats]:
    """Return the least and greatest distance of a rectangle from the grey axis."""
    near_a, near_b = np.maximum(np.maximum(low_a, -high_a), 0.0), np.maximum(np.maximum(low_b, -high_b), 0.0)
    far_a, far_b = np.maximum(-low_a, high_a), np.maximum(-low_b, high_b)
    return np.sqrt(near_a * near_a + near_b * near_b), np.sqrt(far_a * far_a + far_b * far_b)


def _chroma_hue_part(wanted: Floats, low: Floats, high: Floats) -> Floats:
    """Return the least y^2 + z^2 + R_T y z."""
    _, a, b = (np.float64(part) for part in wanted)
    C = np.sqrt(a * a + b * b)
    C_low, C_high = _reach(low[1], high[1], low[2], high[2])
    stretch_most = 1.5 - 0.5 * seventh_root_share((C + C_low) / 2)
    stretch_least = 1.5 - 0.5 * seventh_root_share((C + C_high) / 2)

    low_a = np.minimum(low[1] * stretch_least, low[1] * stretch_most)
    high_a = np.maximum(high[1] * stretch_least, high[1] * stretch_most)
    C_low, C_high = _reach(low_a, high_a, low[2], high[2])
    one_low = np.sqrt((a * stretch_least) ** 2 + b * b)
    one_high = np.sqrt((a * stretch_most) ** 2 + b * b)

    hue_1, spread_1 = _hue_of_stroke(a * stretch_least, a * stretch_most, b)
    hue_2, spread_2 = _hue_of_rectangle(low_a, high_a, low[2], high[2])
    turn = np.remainder(hue_2 - hue_1 + np.pi, 2 * np.pi) - np.pi
    spread = spread_1 + spread_2
    across = (np.abs(turn) + spread >= np.pi - 1e-6) | (one_low <= 0) | (C_low <= 0)
    mean_hue = np.remainder(hue_1 + turn / 2, 2 * np.pi)
    half_width = np.where(across, np.pi, spread / 2)

    C_bar_most = (one_high + C_high) / 2
    y = np.maximum(np.maximum(C_low - one_high, one_low - C_high), 0.0) / (1 + 0.045 * C_bar_most)
    T = _t_at_most(mean_hue, half_width)
    least_turn = np.where((one_low <= 0) | (C_low <= 0), 0.0, np.clip(np.abs(turn) - spread, 0.0, np.pi))
    z = 2 * np.sqrt(one_low * C_low) * np.sin(least_turn / 2) / (1 + 0.015 * C_bar_most * T)
    # The signs are sure where the intervals lie wholly on one side.
    opposite = (least_turn > 0) & ~across & np.where(turn > 0, C_high < one_low, C_low > one_high)
    r = np.where(opposite, 0.0, _rotation_at_most(mean_hue, half_width, C_bar_most))
    y, z = np.maximum(y, r * z / 2), np.maximum(z, r * y / 2)
    return np.asarray(y * y + z * z - r * y * z)


def _hue_of_stroke(a_1: Floats, a_2: Floats, b: np.float64) -> tuple[Floats, Floats]:
    """Return the middle and half width, in radians, of the hues from (a_1, b) to (a_2, b)."""
    h_1, h_2 = np.arctan2(b, a_1), np.arctan2(b, a_2)
    return (h_1 + h_2) / 2, np.abs(h_1 - h_2) / 2


def _hue_of_rectangle(low_a: Floats, high_a: Floats, low_b: Floats, high_b: Floats) -> tuple[Floats, Floats]:
    """Return the middle and half width, in radians, of the hues that a rectangle off the grey axis covers."""
    middle_a, middle_b = (low_a + high_a) / 2, (low_b + high_b) / 2
    least, most = np.zeros_like(low_a), np.zeros_like(low_a)
    for a, b in ((low_a, low_b), (low_a, high_b), (high_a, low_b), (high_a, high_b)):
        # The angle from the middle to this corner: off the grey axis no corner is half a turn away.
        angle = np.arctan2(middle_a * b - middle_b * a, middle_a * a + middle_b * b)
        least, most = np.minimum(least, angle), np.maximum(most, angle)
    return np.arctan2(middle_b, middle_a) + (least + most) / 2, (most - least) / 2


def _t_at_most(mean_hue: Floats, half_width: Floats) -> Floats:
    slope = 0.17 * np.sin(mean_hue - np.radians(30)) - 0.48 * np.sin(2 * mean_hue)
    slope += 0.80 * np.sin(4 * mean_hue - np.radians(63)) - 0.96 * np.sin(3 * mean_hue + np.radians(6))
    rise = (np.abs(slope) + _T_CURVE / 2 * half_width) * half_width
    return np.asarray(np.minimum(hue_weight_t(mean_hue) + rise, _T_MOST))


def _rotation_at_most(mean_hue: Floats, half_width: Floats, C_bar_most: Floats) -> Floats:
    from_275 = np.abs(np.remainder(mean_hue - np.radians(275) + np.pi, 2 * np.pi) - np.pi)
    degrees = np.degrees(np.maximum(from_275 - half_width, 0.0)) / 25
    rotation: Floats = 2 * seventh_root_share(C_bar_most) * np.sin(np.radians(60) * np.exp(-degrees * degrees))
    return rotation
