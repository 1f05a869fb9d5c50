"""Reference colours of the 24-patch colour card, by edition.

The card was made anew several times and the same patch differs by up to several units between editions; the words
the archive uses for them and the keys of the library that holds the published values meet in one table here.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from archive.colour.spaces import BRADFORD, D50_WHITE, Floats, xyz_to_lab
from archive.errors import InputError

# Our word, colour-science's key of the published chromaticities.
_LIBRARY_KEYS = {
    "1976": "ColorChecker 1976",
    "2005": "cc2005",
    "2014a": "ccb2014",
    "2014b": "cca2014",
    "averaged": "babel_average",
}
EDITIONS: tuple[str, ...] = tuple(_LIBRARY_KEYS)
DEFAULT_EDITION = "2014b"  # what has been sold since November 2014
ROWS, COLUMNS = 4, 6
PATCH_NAMES: tuple[str, ...] = (
    "dark skin", "light skin", "blue sky", "foliage", "blue flower", "bluish green",
    "orange", "purplish blue", "moderate red", "purple", "yellow green", "orange yellow",
    "blue", "green", "red", "yellow", "magenta", "cyan",
    "white", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black",
)  # fmt: skip


def reference_xyz(edition: str = DEFAULT_EDITION) -> Floats:
    """Return the card's colours as XYZ under D50.

    Parameters
    ----------
    edition : str
        One of `EDITIONS`.

    Returns
    -------
    (24, 3) ndarray of float64
        Y = 1 for white, row by row from the upper left of the card as it is read.

    Raises
    ------
    InputError
        There is no such edition.

    Source: the published xyY of each edition as colour-science holds them; the one of 1976 was measured under
    illuminant C and is adapted to D50 by Bradford.
    """
    if edition not in _LIBRARY_KEYS:
        raise InputError(
            "there is no edition {edition} of the colour card",
            edition=edition,
            mend=f"Use one of {', '.join(EDITIONS)}; {DEFAULT_EDITION} is sold since November 2014.",
        )
    return _published_xyz(edition).copy()


def reference_lab(edition: str = DEFAULT_EDITION) -> Floats:
    """Return the card's colours as (24, 3) Lab under D50; see `reference_xyz`."""
    return xyz_to_lab(reference_xyz(edition))


@lru_cache(maxsize=len(_LIBRARY_KEYS))
def _published_xyz(edition: str) -> Floats:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says once that Matplotlib is absent
        import colour

    card = colour.CCS_COLOURCHECKERS[_LIBRARY_KEYS[edition]]
    x, y, Y = np.array(list(card.data.values()), dtype=np.float64).T
    xyz = np.stack([x * Y / y, Y, (1 - x - y) * Y / y], axis=1)
    x, y = card.illuminant
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    gains = np.diag((BRADFORD @ D50_WHITE) / (BRADFORD @ white))
    adapted: Floats = xyz @ (np.linalg.inv(BRADFORD) @ gains @ BRADFORD).T
    return adapted
