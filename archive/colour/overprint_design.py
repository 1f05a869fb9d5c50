"""Which patches to print: the strips' designs, and patches chosen so that the rest is known best.

A design is a table of tints, percent of the file, one row a patch and one column an ink. Corners come first: an
overprint solid never printed can only be guessed.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.overprint import MOST_INKS, check_tints
from archive.colour.spaces import Floats
from archive.errors import ColourError

CANDIDATE_TINTS = (0.0, 10.0, 20.0, 40.0, 55.0, 70.0, 85.0, 100.0)  # for `spread_patches`, of up to three inks
FOUR_INK_TINTS = (0.0, 20.0, 40.0, 70.0, 100.0)
RAMP_TINTS = (0.0, 3.0, 5.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0, 70.0, 80.0, 85.0, 90.0, 95.0, 98.0, 100.0)
_REACH = 0.4  # of what one patch tells, in tint shares [the best of three on the press tables]
_NOISE = 1e-3  # variance of a reading beside the model's


def eleven() -> Floats:
    """Return the eleven patches of a pair: corners, 25, 50 and 75 % of each ink, one in the middle; (11, 2)."""
    single = [(tint, 0.0) for tint in (25.0, 50.0, 75.0)]
    corners = [(0.0, 0.0), (100.0, 0.0), (0.0, 100.0), (100.0, 100.0)]
    return np.array([*corners, *single, *((b, a) for a, b in single), (50.0, 50.0)])


def sixteen() -> Floats:
    """Return the sixteen patches of a pair, every one of 0, 20, 55 and 100 % of both inks; (16, 2)."""
    return _grid((0.0, 20.0, 55.0, 100.0), 2)


def twenty_five() -> Floats:
    """Return the 25 patches of a pair, every one of 0, 20, 40, 70 and 100 % of both inks; (25, 2)."""
    return _grid((0.0, 20.0, 40.0, 70.0, 100.0), 2)


def one_ink_ramp() -> Floats:
    """Return a ramp of one ink, close at both ends: the lightest tint that holds, the first that closes; (16, 1)."""
    return np.array(RAMP_TINTS)[:, None]


def spread_patches(inks: int, count: int) -> Floats:
    """Return patches spread out so that all other tints of the inks are known best; (count, inks).

    Parameters
    ----------
    inks : int
        Two to four.
    count : int
        At least every combination of solids and bare paper, 2**inks.

    Raises
    ------
    ColourError
        Too few patches, or more than there are candidates.
    """
    if not 1 <= inks <= MOST_INKS:
        raise ColourError("a set has one to {most} inks, not {inks}", most=MOST_INKS, inks=inks)
    candidates = _grid(CANDIDATE_TINTS if inks < 4 else FOUR_INK_TINTS, inks)
    return np.asarray(candidates[spread_out(candidates, count)])


def spread_out(candidates: ArrayLike, count: int) -> NDArray[np.intp]:
    """Return which candidates to print so that the others are known best, in the order they help.

    Combinations of solids and bare paper come first; then each patch is the one that takes most from the average doubt
    of all candidates.

    Parameters
    ----------
    candidates : (n, m) array_like
        Tints, percent of the file.
    count : int
        How many; at least the corners among the candidates, at most n.

    Returns
    -------
    (count,) ndarray of indices into the candidates

    Raises
    ------
    ColourError
        See `check_tints`; `count` is out of its range.
    """
    table = check_tints(candidates)
    corners = np.flatnonzero(np.isin(table, (0.0, 100.0)).all(axis=1))
    if not len(corners) <= count <= len(table):
        raise ColourError(
            "{count} patches cannot be chosen: there are {corners} solids and {all} candidates",
            count=count,
            corners=len(corners),
            all=len(table),
            mend="Ask for a number between the two.",
        )
    share = table / 100
    apart = ((share[:, None, :] - share[None, :, :]) ** 2).sum(axis=2)
    doubt = np.exp(-0.5 * apart / _REACH**2) + _NOISE * np.eye(len(share))
    chosen: list[int] = []
    for step in range(count):
        if step < len(corners):
            place = int(corners[step])
        else:
            helps = (doubt**2).sum(axis=0) / np.maximum(doubt.diagonal(), 1e-6)
            helps[chosen] = -1.0
            place = int(np.argmax(helps))
        column = doubt[:, place].copy()
        doubt -= np.outer(column, column) / column[place]
        chosen.append(place)
    return np.array(chosen, dtype=np.intp)


def _grid(tints: tuple[float, ...], inks: int) -> Floats:
    return np.array(list(product(tints, repeat=inks)))
