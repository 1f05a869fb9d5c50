"""Grouping many Lab colours into few, the same way every time: a histogram, then weighted k-means.

No random start: k-means begins from a spread of colours merged by Ward's rule, so the same picture gives the
same clusters on every machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.errors import ColourError

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_STEP = 2.5  # Lab units, the side of a histogram's cell: below what a palette tells apart
_SPREAD = 3  # the start holds this many times the clusters wanted, for Ward's rule to merge
_ROUNDS = 20  # of k-means at most; it has nearly always settled by ten


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Histogram:
    """The occupied cells of a Lab histogram: mean colour, area (sums to 1) and trust (0-1) of each."""

    lab: Floats
    area: Floats
    trust: Floats


def lab_histogram(lab: Floats, trust: Floats) -> Histogram:
    """Return the occupied cells of the histogram of (n, 3) Lab colours.

    Parameters
    ----------
    lab : (n, 3) ndarray
    trust : (n,) ndarray, > 0
        How purely each pixel shows one colour; a cell's mean colour is weighted by it.
    """
    steps = np.floor(lab / _STEP).astype(np.int64) + 512
    keys = (steps[:, 0] << 20) + (steps[:, 1] << 10) + steps[:, 2]
    _, cells = np.unique(keys, return_inverse=True)
    count, weight = np.bincount(cells), np.bincount(cells, trust)
    sums = [np.bincount(cells, trust * lab[:, i]) for i in range(3)]
    return Histogram(np.stack(sums, axis=-1) / weight[:, None], count / len(lab), weight / count)


def nearest(points: Floats, centres: Floats) -> tuple[Places, Floats]:
    """Return for each of (n, 3) points the nearest of (k, 3) centres, and the squared distance to it."""
    # |p - c|^2 less |p|^2, which does not change which is nearest: one matrix product for all pairs.
    place = ((centres**2).sum(axis=1) - 2.0 * points @ centres.T).argmin(axis=1)
    return place, ((points - centres[place]) ** 2).sum(axis=1)


def cluster(points: Floats, weights: Floats, k: int) -> Floats:
    """Return at most k centres with a small weighted sum of squared distances.

    Parameters
    ----------
    points : (n, 3) ndarray
    weights : (n,) ndarray, > 0
    k : int

    Returns
    -------
    (<= k, 3) ndarray

    Raises
    ------
    ColourError
        There is no point, or k is below 1.
    """
    if len(points) == 0 or k < 1:
        raise ColourError("there is nothing to group", mend="Give at least one colour and one group.")
    centres = _refined(points, weights, _spread(points, weights, _SPREAD * k), rounds=3)
    mass = np.bincount(nearest(points, centres)[0], weights, minlength=len(centres)).astype(np.float64)
    return _refined(points, weights, merge_closest(centres, mass, k), rounds=_ROUNDS)


def _spread(points: Floats, weights: Floats, k: int) -> Floats:
    """Return up to k points, each the one whose weight times squared distance to those before is largest."""
    chosen = [int(weights.argmax())]
    squared = ((points - points[chosen[0]]) ** 2).sum(axis=1)
    while len(chosen) < k:
        place = int((weights * squared).argmax())
        if squared[place] == 0:
            break
        chosen.append(place)
        squared = np.minimum(squared, ((points - points[place]) ** 2).sum(axis=1))
    return points[chosen]


def _refined(points: Floats, weights: Floats, centres: Floats, *, rounds: int) -> Floats:
    """Return the centres after Lloyd's rounds; a centre that loses every point is dropped."""
    before: Places | None = None
    for _ in range(rounds):
        place, _squared = nearest(points, centres)
        if before is not None and np.array_equal(place, before):
            break
        mass = np.bincount(place, weights, minlength=len(centres))
        sums = [np.bincount(place, weights * points[:, i], minlength=len(centres)) for i in range(3)]
        held = mass > 0
        centres = np.stack(sums, axis=-1)[held] / mass[held, None]
        before = place if held.all() else None
    return centres


def merge_closest(centres: Floats, mass: Floats, k: int) -> Floats:
    """Return k centres: again and again the two are joined that raise the squared error least (Ward 1963)."""
    centres, mass = centres[mass > 0], mass[mass > 0]
    while len(centres) > k:
        squared = ((centres[:, None] - centres[None]) ** 2).sum(axis=-1)
        cost = squared * mass[:, None] * mass / (mass[:, None] + mass)
        cost[np.tril_indices(len(centres))] = np.inf
        one, other = np.unravel_index(int(cost.argmin()), cost.shape)
        both = mass[one] + mass[other]
        centres[one] = (mass[one] * centres[one] + mass[other] * centres[other]) / both
        mass[one] = both
        centres, mass = np.delete(centres, other, axis=0), np.delete(mass, other)
    return centres
