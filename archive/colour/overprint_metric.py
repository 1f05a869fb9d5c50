"""CIEDE2000 close to a colour: how far a small step in Lab is, as a matrix."""

from __future__ import annotations

import numpy as np

from archive.colour.difference import hue_weight_t, seventh_root_share
from archive.colour.spaces import Floats


def metric_roots(lab: Floats) -> Floats:
    """Return the symmetric matrices that turn a small step in Lab into one whose length is its CIEDE2000.

    Parameters
    ----------
    lab : (n, 3) ndarray of float64

    Returns
    -------
    (n, 3, 3) ndarray of float64; symmetric, so that they change smoothly across the greys

    Source: Sharma, Wu & Dalal 2005, the equations at two equal colours.
    """
    L, a, b = lab[:, 0], lab[:, 1], lab[:, 2]
    stretch = 1.5 - 0.5 * seventh_root_share(np.hypot(a, b))
    along = stretch * a
    C = np.hypot(along, b)
    h = np.arctan2(b, along)
    from_50 = (L - 50) ** 2
    S_C, S_H = 1 + 0.045 * C, 1 + 0.015 * C * hue_weight_t(h)
    from_275 = (np.degrees(h) % 360 - 275) / 25
    R_T = -2 * seventh_root_share(C) * np.sin(np.radians(60) * np.exp(-from_275 * from_275))
    # The matrix in the plane of a* and b*: Dᵀ P D of the polar step D and its weights P, written out.
    chroma, hue, both = S_C**-2, S_H**-2, R_T / (2 * S_C * S_H)
    cos, sin = np.cos(h), np.sin(h)
    across = 2 * both * sin * cos
    aa = (cos * cos * chroma + sin * sin * hue - across) * stretch * stretch
    bb = sin * sin * chroma + cos * cos * hue + across
    ab = (sin * cos * (chroma - hue) + both * (cos * cos - sin * sin)) * stretch
    # The symmetric root of a 2 x 2 matrix: itself and the root of its determinant, over the root's trace.
    size = np.sqrt(aa * bb - ab * ab)
    trace = np.sqrt(aa + bb + 2 * size)
    roots = np.zeros((len(lab), 3, 3))
    roots[:, 0, 0] = 1 / (1 + 0.015 * from_50 / np.sqrt(20 + from_50))
    roots[:, 1, 1], roots[:, 2, 2] = (aa + size) / trace, (bb + size) / trace
    roots[:, 1, 2] = roots[:, 2, 1] = ab / trace
    return roots
