"""The nearest palettes of a hundred thousand, exactly, under the earth mover's distance of `transport`.

Bounds that cost a few microseconds each order the palettes (`palette_bounds`); the most promising are solved, their
solutions give sharper bounds for the rest, and the search stops when the next bound is beyond the k-th best found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.palette import Palette
from archive.colour.palette_bounds import (
    Cells,
    Places,
    Singles,
    bounds_from,
    bounds_to,
    least_prices,
    potential_bounds,
    potentials_of,
    put_in_cells,
)
from archive.colour.spaces import Floats, check_lab
from archive.colour.transport import Move, palette_parts, transport_costs
from archive.errors import ColourError

_SLACK = 1e-3  # CIEDE2000: OpenCV solves in single precision; nearer results are settled in double
_AT_FIRST = 64  # palettes solved by the first bound, for a limit
_AT_A_TIME = 256  # palettes solved between two looks at the bounds
_POTENTIALS = 24  # solutions whose potentials are tried on the rest at a time [measured]
_SETTLED = 9  # decimals to which distances in double are equal, whatever solved them along with others
_WORTH_IT = 1000  # palettes left, from which on sharper bounds cost less than solving


@dataclass(frozen=True, slots=True)
class Near:
    """A palette's place in the list searched, and its distance."""

    index: int
    distance: float


def nearest_palettes(wanted: Palette, palettes: Sequence[Palette], k: int, *, with_paper: bool = False) -> list[Near]:
    """Return the k palettes nearest to the wanted one, nearest first, equals by their place in the list.

    Raises
    ------
    ColourError
        A palette holds no colour.
    """
    parts = [palette_parts(palette, with_paper=with_paper) for palette in palettes]
    if not parts:
        return []
    counts = [len(shares) for _, shares in parts]
    lab, shares = (np.concatenate(each) for each in zip(*parts, strict=True))
    return PaletteIndex.build(lab, shares, counts).nearest(*palette_parts(wanted, with_paper=with_paper), k)


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class PaletteIndex:
    """Palettes made ready for many questions; a value that never changes.

    Attributes
    ----------
    lab : (m, 3) ndarray of float64
        The colours of all palettes, one palette after the other.
    share : (m,) ndarray of float64
    start, count : (n,) ndarray of int64
        Where each palette begins, and how many colours it has.
    cells : Cells
    """

    lab: Floats
    share: Floats
    start: Places
    count: Places
    cells: Cells

    @classmethod
    def build(cls, lab: ArrayLike, share: ArrayLike, count: ArrayLike) -> Self:
        """Return the index of some palettes.

        Parameters
        ----------
        lab : (m, 3) array_like
            The colours of all palettes, one palette after the other; see `check_lab`.
        share : (m,) array_like
            Above 0; a palette's shares sum to 1.
        count : (n,) array_like of int
            How many colours each palette has, at least 1.

        Raises
        ------
        ColourError
            Colours, shares and counts do not fit together.
        """
        labs, shares = check_lab(lab).reshape(-1, 3), np.asarray(share, dtype=np.float64)
        counts = np.asarray(count, dtype=np.int64)
        start = np.cumsum(counts) - counts
        if len(labs) != len(shares) or counts.sum() != len(labs) or (len(counts) and counts.min() < 1):
            raise ColourError("colours, shares and counts do not fit together", mend="Give a share for each colour.")
        sums = np.add.reduceat(shares, start) if len(counts) else np.ones(0)
        if (shares <= 0).any() or (np.abs(sums - 1) > 1e-9).any():
            raise ColourError("a palette's shares do not sum to 1", mend="Divide them by their sum.")
        place, is_own = _places(start, counts)
        cells = put_in_cells(labs, place, np.where(is_own, shares[place] if len(labs) else 0.0, 0.0))
        return cls(labs, shares, start, counts, cells)

    def __len__(self) -> int:
        return len(self.count)

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Return the index as plain arrays by name, as `of_arrays` takes them."""
        cells = self.cells
        own = {"lab": self.lab, "share": self.share, "start": self.start, "count": self.count}
        return own | {"low": cells.low, "high": cells.high, "cell": cells.cell, "cell_share": cells.share}

    @classmethod
    def of_arrays(cls, arrays: Mapping[str, NDArray[Any]]) -> Self:
        """Return the index whose `arrays` these are."""
        cells = Cells(arrays["low"], arrays["high"], arrays["cell"], arrays["cell_share"])
        return cls(arrays["lab"], arrays["share"], arrays["start"], arrays["count"], cells)

    def nearest(self, lab: ArrayLike, share: ArrayLike, k: int, among: ArrayLike | None = None) -> list[Near]:
        """Return the k palettes nearest to the wanted one, nearest first, equals by their place.

        Parameters
        ----------
        lab : (m, 3) array_like
            The wanted palette's colours.
        share : (m,) array_like
            Above 0, together 1.
        k : int
        among : (n,) array_like of bool, optional
            Which palettes count; all, unless said.

        Raises
        ------
        ColourError
            The wanted palette is malformed.
        """
        wanted, shares = check_lab(lab).reshape(-1, 3), np.asarray(share, dtype=np.float64)
        alive = np.arange(len(self)) if among is None else np.flatnonzero(among)
        if k < 1 or not len(alive):
            return []
        search = _Search(self, wanted, shares, k)
        return search.settled(search.solved(alive))


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Search:
    index: PaletteIndex
    lab: Floats
    share: Floats
    k: int

    def solved(self, alive: Places) -> dict[int, float]:
        """Return palettes with their distances in single precision, all that may be among the k nearest."""
        cells = self.index.cells
        prices = least_prices(self.lab, cells)
        bounds = bounds_from(prices, cells)[alive]
        found: dict[int, float] = {}
        alive, bounds, _ = self._round(alive, bounds, _AT_FIRST, found)
        if len(alive):
            bounds = np.maximum(bounds, bounds_to(prices, self.share, cells.some(alive)))
        at_a_time = _AT_A_TIME
        while len(alive):
            alive, bounds, potentials = self._round(alive, bounds, at_a_time, found)
            count = len(alive)
            if count >= _WORTH_IT:
                alive, bounds = self._sharpened(prices, potentials, alive, bounds, _kth(found, self.k))
                at_a_time = _AT_A_TIME if len(alive) < 0.8 * count else 2 * at_a_time
        return found

    def _round(
        self, alive: Places, bounds: Singles, count: int, found: dict[int, float]
    ) -> tuple[Places, Singles, Floats]:
        """Solve the most promising; return which are left within the limit, their bounds, and some potentials."""
        limit = _kth(found, self.k)
        first = _least(bounds, count)
        potentials = self._solve(alive[first[bounds[first] <= limit + _SLACK]], limit, found)
        left = bounds <= _kth(found, self.k) + _SLACK
        left[first] = False
        return alive[left], bounds[left], potentials

    def _sharpened(
        self, prices: Singles, potentials: Floats, alive: Places, bounds: Singles, limit: float
    ) -> tuple[Places, Singles]:
        """Return the palettes that potentials leave within the limit, with the greatest of their bounds."""
        cells = self.index.cells.some(alive)
        for each in potentials:
            bounds = np.maximum(bounds, potential_bounds(prices, each, self.share, cells))
            left = bounds <= limit + _SLACK
            if np.count_nonzero(left) < 0.9 * len(left):
                alive, bounds, cells = alive[left], bounds[left], cells.some(left)
        return alive, bounds

    def _solve(self, palettes: Places, limit: float, found: dict[int, float]) -> Floats:
        """Add the distances of some palettes, but for those beyond the limit; return potentials of the nearest."""
        index = self.index
        place, is_own = _places(index.start[palettes], index.count[palettes])
        price = delta_e_2000(self.lab[None, :, None, :], index.lab[place.T][:, None, :, :])
        room = np.where(is_own, index.share[place], 0.0).T
        relaxed = np.maximum(price.min(axis=2) @ self.share, (price.min(axis=1) * room).sum(axis=1))
        rows = np.flatnonzero(relaxed <= limit + _SLACK)
        distances, flows = np.empty(len(rows)), np.zeros((len(rows), *price.shape[1:]))
        for at, row in enumerate(rows):
            count = index.count[palettes[row]]
            distances[at], flows[at, :, :count] = _rough_cost(price[row, :, :count], self.share, room[row, :count])
        found.update(zip(palettes[rows].tolist(), distances.tolist(), strict=True))
        best = np.argsort(distances, kind="stable")[:_POTENTIALS]
        return potentials_of(price[rows[best]], flows[best])

    def settled(self, found: dict[int, float]) -> list[Near]:
        """Return the k nearest of those found, settled in double."""
        limit = _kth(found, self.k) + 2 * _SLACK
        index, close = self.index, [palette for palette, rough in found.items() if rough <= limit]
        own = [slice(index.start[each], index.start[each] + index.count[each]) for each in close]
        moves = [Move(delta_e_2000(self.lab[:, None], index.lab[at][None]), self.share, index.share[at]) for at in own]
        near = map(Near, close, transport_costs(moves))
        return sorted(near, key=lambda each: (round(each.distance, _SETTLED), each.index))[: self.k]


def _places(start: Places, count: Places) -> tuple[Places, NDArray[np.bool_]]:
    """Return (most colours, n) places of the palettes' colours, the first again beyond the last, and which are own."""
    row = np.arange(count.max(initial=1))[:, None]
    is_own = row < count
    return np.where(is_own, start + row, start), is_own


def _least(bounds: Singles, count: int) -> Places:
    return np.argpartition(bounds, count)[:count] if len(bounds) > count else np.arange(len(bounds))


def _kth(found: Mapping[int, float], k: int) -> float:
    distances = np.fromiter(found.values(), dtype=np.float64)
    return float(np.partition(distances, k - 1)[k - 1]) if len(distances) >= k else np.inf


def _rough_cost(price: Floats, supply: Floats, demand: Floats) -> tuple[float, Singles]:
    """Return the transport cost in single precision, in a thousandth of the time, and what moves where."""
    import cv2

    give, take = (part.astype(np.float32)[:, None] for part in (supply, demand))
    cost, _, flow = cv2.EMD(give, take, cv2.DIST_USER, cost=price.astype(np.float32))
    return float(cost), flow
