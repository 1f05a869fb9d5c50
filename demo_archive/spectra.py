"""Spectrum to XYZ, Lab and screen colour for the press simulator; numpy only, nothing of the archive.

The simulator is the yardstick the archive is judged by, so it keeps its own short chain from light to Lab.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

WAVELENGTHS: Floats = np.arange(380.0, 731.0, 10.0)  # nm
BANDS = len(WAVELENGTHS)

# CIE 1931 standard colorimetric observer (2 degrees), every 10 nm from 380; CIE 015:2018 table T.4.
_X_BAR = """
0.001368 0.004243 0.014310 0.043510 0.134380 0.283900 0.348280 0.336200 0.290800 0.195360 0.095640 0.032010
0.004900 0.009300 0.063270 0.165500 0.290400 0.433450 0.594500 0.762100 0.916300 1.026300 1.062200 1.002600
0.854450 0.642400 0.447900 0.283500 0.164900 0.087400 0.046770 0.022700 0.011359 0.005790 0.002899 0.001440
"""
_Y_BAR = """
0.000039 0.000120 0.000396 0.001210 0.004000 0.011600 0.023000 0.038000 0.060000 0.090980 0.139020 0.208020
0.323000 0.503000 0.710000 0.862000 0.954000 0.994950 0.995000 0.952000 0.870000 0.757000 0.631000 0.503000
0.381000 0.265000 0.175000 0.107000 0.061000 0.032000 0.017000 0.008210 0.004102 0.002091 0.001047 0.000520
"""
_Z_BAR = """
0.006450 0.020050 0.067850 0.207400 0.645600 1.385600 1.747060 1.772110 1.669200 1.287640 0.812950 0.465180
0.272000 0.158200 0.078250 0.042160 0.020300 0.008750 0.003900 0.002100 0.001650 0.001100 0.000800 0.000340
0.000190 0.000050 0.000020 0 0 0 0 0 0 0 0 0
"""
# CIE illuminant D50, every 10 nm from 380; CIE 015:2018 table T.1.
_D50 = """
24.488 29.871 49.308 56.513 60.034 57.818 74.825 87.247 90.612 91.368 95.109 91.963
95.724 96.613 97.129 102.099 100.755 102.317 100.000 97.735 98.918 93.499 97.688 99.269
99.042 95.722 98.857 95.667 98.190 103.003 99.133 87.381 91.604 92.889 76.854 86.511
"""
WHITE: Floats = np.array([0.9642, 1.0, 0.8251])  # D50, Y = 1; CIE 015:2018
# XYZ (D50) to linear sRGB: inverse of the matrix adapted by Bradford; IEC 61966-2-1 with ISO 15076-1 annex E.
_RGB_TO_XYZ: Floats = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
_XYZ_TO_RGB: Floats = np.linalg.inv(_RGB_TO_XYZ).astype(np.float64)


def _numbers(table: str) -> Floats:
    return np.array([float(word) for word in table.split()])


def _weights() -> Floats:
    bars = np.stack([_numbers(_X_BAR), _numbers(_Y_BAR), _numbers(_Z_BAR)], axis=1)
    weights = bars * _numbers(_D50)[:, None]
    return np.asarray(weights / weights.sum(axis=0) * WHITE)


WEIGHTS: Floats = _weights()  # (36, 3), each column sums to the white: a perfect white gives D50 exactly


def reflectance_to_xyz(reflectance: ArrayLike) -> Floats:
    """Return XYZ (Y = 1 for white, D50, 2 degrees) of reflectance factors.

    Parameters
    ----------
    reflectance : (..., 36) array_like
        Reflectance factor at 380-730 nm every 10 nm; a fluorescent ink may exceed 1.

    Source: CIE 015:2018, section 7 (summation at 10 nm).
    """
    return np.asarray(np.asarray(reflectance, dtype=float) @ WEIGHTS)


def xyz_to_lab(xyz: ArrayLike) -> Floats:
    """Return Lab (D50) of (..., 3) XYZ with Y = 1 for white. Source: ISO/CIE 11664-4."""
    t = np.asarray(xyz, dtype=float) / WHITE
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def reflectance_to_lab(reflectance: ArrayLike) -> Floats:
    """Return Lab (D50, 2 degrees) of (..., 36) reflectance factors."""
    return xyz_to_lab(reflectance_to_xyz(reflectance))


def xyz_to_linear_rgb(xyz: ArrayLike) -> Floats:
    """Return linear sRGB of (..., 3) XYZ relative to D50; out of gamut leaves [0, 1]."""
    return np.asarray(np.asarray(xyz, dtype=float) @ _XYZ_TO_RGB.T)


def encode_srgb(linear: ArrayLike) -> Floats:
    """Return sRGB code values in [0, 1] of linear light, clipped. Source: IEC 61966-2-1."""
    clipped = np.clip(np.asarray(linear, dtype=float), 0.0, 1.0)
    return np.asarray(np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055))


def xyz_to_hex(xyz: ArrayLike, white: ArrayLike) -> str:
    """Return "#rrggbb" of one XYZ seen relative to `white` (XYZ of the bare paper)."""
    relative = np.asarray(xyz, dtype=float) / np.asarray(white, dtype=float) * WHITE
    r, g, b = np.rint(encode_srgb(xyz_to_linear_rgb(relative)) * 255).astype(int)
    return f"#{r:02x}{g:02x}{b:02x}"
