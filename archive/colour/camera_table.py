"""A sitting's correction as a table from encoded camera values to a screen's, for whole pictures made to be seen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from archive.colour.camera import Correction
from archive.colour.spaces import Floats, xyz_d50_to_srgb
from archive.errors import ColourError

SIZE = 33  # steps a channel


def picture_table(
    correction: Correction, linearise: Callable[[Floats], Floats], size: int = SIZE
) -> NDArray[np.float32]:
    """Return encoded sRGB at every step of encoded camera values.

    It is for pictures without a white-sheet field, to be looked at: sRGB cuts strong colours. Colours are read with
    `Correction.apply`.

    Parameters
    ----------
    correction : Correction
    linearise : callable
        The inverse of the picture's profile's curve: (n, 3) encoded values, 0-1, to linear.
    size : int
        Steps a channel, 2 to 65.

    Returns
    -------
    (size, size, size, 3) ndarray of float32, 0-1; blue along the first axis, red along the third, as Pillow's
    `Color3DLUT` wants it

    Raises
    ------
    ColourError
        The size is out of range.
    """
    if not 2 <= size <= 65:
        raise ColourError("a colour table of {size} steps cannot be used", size=size, mend="Use 2 to 65.")
    steps = np.linspace(0.0, 1.0, size)
    blue, green, red = np.meshgrid(steps, steps, steps, indexing="ij")
    xyz = correction.to_xyz(linearise(np.stack([red, green, blue], axis=-1).reshape(-1, 3)))
    encoded = xyz_d50_to_srgb(np.minimum(xyz, 2.0))
    return encoded.reshape(size, size, size, 3).astype(np.float32)
