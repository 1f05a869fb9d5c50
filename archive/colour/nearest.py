"""The nearest swatches under CIEDE2000, found exactly, with filters and recipes inside the search.

Swatches lie in a balanced tree of boxes in L*a*b*. A box is skipped only when a bound proves that nothing in
it can be near enough, so that every answer equals the one of trying all swatches, to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.box_bound import delta_e_2000_bound
from archive.colour.difference import delta_e_2000_from
from archive.colour.spaces import Floats, check_lab
from archive.errors import ColourError, InputError

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

_LEAF = 48  # swatches in a smallest box: below it the bounds cost more than they save (measured)
_FAN = 4  # levels of halving between two looks at the bounds: 16 boxes from one
_BEAM = 8  # smallest boxes that are tried at first for a radius to start from


@dataclass(frozen=True, slots=True)
class Near:
    """Swatches by distance, then by index.

    Attributes
    ----------
    index : (m,) ndarray of int64
        Rows of the colours that the index was built from.
    delta_e : (m,) ndarray of float64
        CIEDE2000 from the wanted colour.
    """

    index: Ints
    delta_e: Floats


@dataclass(frozen=True, slots=True)
class NearKeys:
    """Recipes by the distance of their nearest swatch, then by its index.

    Attributes
    ----------
    key : (m,) ndarray of int64
    index : (m,) ndarray of int64
        Row of the key's nearest allowed swatch.
    delta_e : (m,) ndarray of float64
        CIEDE2000 of that swatch.
    count : (m,) ndarray of int64
        How many allowed swatches of the key lie within the radius; 0 for a key beyond it.
    """

    key: Ints
    index: Ints
    delta_e: Floats
    count: Ints


class SwatchIndex:
    """Swatches in a tree of boxes, built once, asked often; safe to share between threads.

    Parameters
    ----------
    lab : (n, 3) array_like
        See `check_lab`.

    Raises
    ------
    ColourError
        See `check_lab`; not a table of colours.
    """

    def __init__(self, lab: ArrayLike) -> None:
        lab = check_lab(lab)
        if lab.ndim != 2:
            raise ColourError("an index is built from a table of colours", mend="Give one colour a row.")
        self._count = len(lab)
        self._rows = _leaves(lab)
        filled = np.vstack([lab, lab[:1]])[self._rows] if self._count else np.empty((1, 0, 3))
        self._columns = np.ascontiguousarray(np.moveaxis(filled, -1, 0).reshape(3, -1))
        self._boxes = _boxes_by_level(filled) if self._count else []
        self._all_alive = self._alive(np.ones(self._count, dtype=bool))

    def __len__(self) -> int:
        return self._count

    def nearest(self, wanted: ArrayLike, k: int, allowed: ArrayLike | None = None) -> Near:
        """Return the k nearest allowed swatches, or all when there are fewer.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        k : int
            At least 0.
        allowed : (n,) array_like of bool
            Which swatches count; all, unless said.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the mask is malformed.
        """
        wanted, alive = _one_colour(wanted), self._alive(allowed)
        if k <= 0:
            return Near(np.empty(0, np.int64), np.empty(0))
        found = self._within(wanted, self._radius_holding(wanted, alive, k), alive)
        return Near(found.index[:k], found.delta_e[:k])

    def within(self, wanted: ArrayLike, radius: float, allowed: ArrayLike | None = None) -> Near:
        """Return all allowed swatches at most `radius` away.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        radius : float
            CIEDE2000, itself included.
        allowed : (n,) array_like of bool
            Which swatches count; all, unless said.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the mask is malformed.
        """
        return self._within(_one_colour(wanted), radius, self._alive(allowed))

    def best_per_key(
        self,
        wanted: ArrayLike,
        keys: ArrayLike,
        *,
        radius: float,
        at_least: int,
        allowed: ArrayLike | None = None,
    ) -> NearKeys:
        """Return each key's nearest swatch, for all keys within the radius and `at_least` keys in any case.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        keys : (n,) array_like of int
            The recipe's number of each swatch.
        radius : float
            CIEDE2000, itself included.
        at_least : int
            When fewer keys lie within the radius, the next nearest follow, as far as there are any.
        allowed : (n,) array_like of bool
            Which swatches count; all, unless said.

        Raises
        ------
        ColourError, InputError
            The wanted colour, the keys or the mask are malformed.
        """
        wanted, alive, numbers = _one_colour(wanted), self._alive(allowed), self._keys(keys)
        found = self._within(wanted, radius, alive)
        best = first_of_keys(found, numbers, radius)
        if len(best.key) >= at_least:
            return best
        reach = self._radius_holding(wanted, alive, at_least, numbers)
        more = first_of_keys(self._within(wanted, reach, alive), numbers, radius)
        return NearKeys(more.key[:at_least], more.index[:at_least], more.delta_e[:at_least], more.count[:at_least])

    def _per_row(self, values: ArrayLike, what: str) -> NDArray[np.generic]:
        """Return one value a swatch as an array, or say that their number is wrong."""
        array = np.asarray(values)
        if array.shape != (self._count,):
            raise InputError(
                "{what} of shape {shape} do not fit {count} swatches",
                what=what,
                shape=array.shape,
                count=self._count,
                mend="Give one for each swatch of the index.",
            )
        return array

    def _keys(self, keys: ArrayLike) -> Ints:
        numbers = self._per_row(keys, "keys")
        if not np.issubdtype(numbers.dtype, np.integer):
            raise InputError("keys must be whole numbers", mend="Number the recipes.")
        return numbers.astype(np.int64, copy=False)

    def _alive(self, allowed: ArrayLike | None) -> list[Mask]:
        """Return which boxes hold an allowed swatch, for each level, and last which slots do."""
        if allowed is None:
            return self._all_alive
        mask = np.zeros(self._count + 1, dtype=bool)  # the last stands for an empty slot
        mask[:-1] = self._per_row(allowed, "marks")
        slots = mask[self._rows]
        per_level = [np.asarray(slots.reshape(len(low), -1).any(axis=1)) for low, _ in self._boxes]
        return [*per_level, slots]

    def _within(self, wanted: Floats, radius: float, alive: list[Mask]) -> Near:
        if not self._count:
            return Near(np.empty(0, np.int64), np.empty(0))
        boxes = np.flatnonzero(alive[0])
        for level, (low, high) in enumerate(self._boxes):
            if level:
                boxes = _children(boxes, len(low) // len(self._boxes[level - 1][0]))
                boxes = boxes[alive[level][boxes]]
            bound = delta_e_2000_bound(wanted, low[boxes], high[boxes])
            boxes = boxes[bound <= radius]
        return self._measured(wanted, boxes, alive, radius)

    def _measured(self, wanted: Floats, leaves: Ints, alive: list[Mask], radius: float) -> Near:
        """Return the allowed swatches of some smallest boxes that lie within the radius, in order."""
        size = self._rows.shape[1]
        slots = _children(leaves, size)[alive[-1][leaves].ravel()]
        delta_e = delta_e_2000_from(wanted, self._columns[:, slots])
        near = delta_e <= radius
        index, delta_e = self._rows.ravel()[slots[near]], delta_e[near]
        order = np.lexsort((index, delta_e))
        return Near(index[order], delta_e[order])

    def _radius_holding(self, wanted: Floats, alive: list[Mask], count: int, keys: Ints | None = None) -> float:
        """Return a radius that surely holds so many allowed swatches, or keys; inf when there are fewer.

        It looks into the boxes that seem nearest, more and more of them until they hold enough.
        """
        beam = _BEAM
        while self._count:
            leaves, is_all = self._nearest_leaves(wanted, alive, beam)
            if is_all:
                return inf
            found = self._measured(wanted, leaves, alive, inf)
            distances = found.delta_e if keys is None else first_of_keys(found, keys, inf).delta_e
            if len(distances) >= count:
                return float(distances[count - 1])
            beam *= 4
        return inf

    def _nearest_leaves(self, wanted: Floats, alive: list[Mask], beam: int) -> tuple[Ints, bool]:
        """Return about the `beam` smallest boxes of the least bounds, and whether they are all that live."""
        boxes, is_all = np.flatnonzero(alive[0]), True
        for level, (low, high) in enumerate(self._boxes):
            if level:
                boxes = _children(boxes, len(low) // len(self._boxes[level - 1][0]))
                boxes = boxes[alive[level][boxes]]
            if len(boxes) > beam:
                bound = delta_e_2000_bound(wanted, low[boxes], high[boxes])
                boxes, is_all = np.sort(boxes[np.argpartition(bound, beam)[:beam]]), False
        return boxes, is_all


def _one_colour(wanted: ArrayLike) -> Floats:
    lab = check_lab(wanted)
    if lab.ndim != 1:
        raise ColourError("one colour is wanted at a time", mend="Ask for each colour by itself.")
    return lab


def _children(boxes: Ints, fan: int) -> Ints:
    return (boxes[:, None] * fan + np.arange(fan)).ravel()


def first_of_keys(found: Near, keys: Ints, radius: float) -> NearKeys:
    """Return the first of each key in what was found, in order, and how many of it lie within the radius.

    Parameters
    ----------
    found : Near of (m,) arrays
    keys : (n,) ndarray of int64, of every row that there is
    radius : float
        CIEDE2000, itself included.
    """
    key, first, which = np.unique(keys[found.index], return_index=True, return_inverse=True)
    count = np.bincount(which[found.delta_e <= radius], minlength=len(key))
    order = np.argsort(first)
    first = first[order]
    return NearKeys(key[order], found.index[first], found.delta_e[first], count[order])


def _leaves(lab: Floats) -> Ints:
    """Return the rows of each smallest box, all of one size; the number of colours stands for an empty slot.

    Every box is halved across its widest side until it is small enough.
    """
    count = len(lab)
    depth = max(0, int(np.ceil(np.log2(max(count, 1) / _LEAF))))
    size = -(-count // 2**depth)
    rows = np.arange(size * 2**depth)[None]
    # Empty slots lie where the first colour does, so that they widen no box.
    places = np.vstack([lab, np.broadcast_to(lab[:1], (rows.size - count, 3))])
    for _ in range(depth):
        here = places[rows]
        side = np.argmax(np.ptp(here, axis=1), axis=1)
        along = np.take_along_axis(here, side[:, None, None], axis=2)[..., 0]
        order = np.argpartition(along, rows.shape[1] // 2, axis=1)
        rows = np.take_along_axis(rows, order, axis=1).reshape(2 * len(rows), -1)
    return np.minimum(rows, count)


def _boxes_by_level(leaves: Floats) -> list[tuple[Floats, Floats]]:
    """Return the lower and upper corners of the boxes, from few wide ones down to the smallest."""
    low, high = leaves.min(axis=1), leaves.max(axis=1)
    levels = [(low, high)]
    while len(low) > 2 ** (_FAN + 2):
        low = low.reshape(-1, 2**_FAN, 3).min(axis=1)
        high = high.reshape(-1, 2**_FAN, 3).max(axis=1)
        levels.insert(0, (low, high))
    return levels
