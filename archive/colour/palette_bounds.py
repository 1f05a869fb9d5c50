"""What moving one palette's area into another's costs at least, for a hundred thousand palettes at once.

Colours are put into cells, small boxes of Lab, and the price of a move is bounded by the least price into the cell:
a table of a few thousand cells by the wanted palette's colours. The relaxed distance leaves out how much room there
is on one side; both ways around it is a bound. So is any pair of potentials u, v with u_i + v_j <= price_ij, by
the duality of linear programmes: sum(supply u) + sum(demand v) is never above the cost. The potentials of one
palette, solved exactly, serve for all others when v_j is taken as the least price_ij - u_i; with u = 0 that is the
relaxed distance again. A bound from the mean colours, as for other prices, would be wrong: CIEDE2000 is no norm.

Source: Rubner, Tomasi & Guibas 2000, Int. J. Computer Vision 40(2), 99-121 (the distance); linear-programming duality.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.box_bound import delta_e_2000_bound
from archive.colour.spaces import Floats

Singles = NDArray[np.float32]
Places = NDArray[np.int64]

# CIEDE2000. A sum of some twelve products below 200 x 1 in single precision is off by less than a tenth of this.
ROUNDING = 1e-3
_IN_CELL = 64  # colours, about; half as many make the table dearer and the bounds hardly better (measured)
_MOST_HALVINGS = 12  # 4,096 cells


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Cells:
    """Palettes whose colours were put into cells; the places of a palette beyond its last colour repeat its first.

    Attributes
    ----------
    low, high : (c, 3) ndarray of float64
        The corners of the cells.
    cell : (k, n) ndarray of uint16
        The cell of each palette's colours, n palettes of at most k colours.
    share : (k, n) ndarray of float32
        Their shares; 0 beyond the last colour.
    """

    low: Floats
    high: Floats
    cell: NDArray[np.uint16]
    share: Singles

    def some(self, which: NDArray[Any]) -> Cells:
        """Return some of the palettes, by number or by mark."""
        return Cells(self.low, self.high, self.cell[:, which], self.share[:, which])


def put_in_cells(lab: Floats, place: Places, share: Floats) -> Cells:
    """Return palettes with their colours in cells, halved along their longest side until they are small.

    Parameters
    ----------
    lab : (m, 3) ndarray of float64
        The colours of all palettes.
    place : (k, n) ndarray of int64
        Where in `lab` each palette's colours stand.
    share : (k, n) ndarray of float64
        0 where a place only repeats a palette's first.
    """
    parts = [np.arange(len(lab))]
    while len(parts) < 1 << _MOST_HALVINGS and len(lab) > _IN_CELL * len(parts):
        parts = [half for part in parts for half in _halves(lab, part)]
    cell = np.empty(len(lab), dtype=np.uint16)
    for number, part in enumerate(parts):
        cell[part] = number
    filled = [part for part in parts if len(part)]  # all, but where there is no colour at all
    low, high = (np.array([edge(lab[part], axis=0) for part in filled]).reshape(-1, 3) for edge in (np.min, np.max))
    return Cells(low, high, cell[place], share.astype(np.float32))


def _halves(lab: Floats, part: Places) -> tuple[Places, Places]:
    own = lab[part]
    axis = int(np.ptp(own, axis=0).argmax())
    order = np.argpartition(own[:, axis], len(part) // 2)
    return part[order[: len(part) // 2]], part[order[len(part) // 2 :]]


def least_prices(wanted: Floats, cells: Cells) -> Singles:
    """Return a price for each cell and wanted colour (m, 3) that no move between them falls below, (c, m)."""
    table = np.empty((len(cells.low), len(wanted)), dtype=np.float32)
    for number, lab in enumerate(wanted):
        bound = delta_e_2000_bound(lab, cells.low, cells.high)
        single = bound.astype(np.float32)
        table[:, number] = np.where(single > bound, np.nextafter(single, np.float32(-1)), single)
    return table


def bounds_from(prices: Singles, cells: Cells) -> Singles:
    """Return what each palette is at least away: all of its area to the nearest wanted colour, (n,).

    Parameters
    ----------
    prices : (c, m) ndarray
        From `least_prices`.
    """
    return np.asarray(_by_cell(prices.min(axis=1), cells) - np.float32(ROUNDING))


def bounds_to(prices: Singles, wanted_shares: Floats, cells: Cells) -> Singles:
    """Return what each palette is at least away: all wanted area to its nearest colour, (n,).

    Parameters
    ----------
    prices : (c, m) ndarray
        From `least_prices`.
    wanted_shares : (m,) ndarray
    """
    nearest = prices[cells.cell[0]]
    for row in cells.cell[1:]:
        np.minimum(nearest, prices[row], out=nearest)
    return np.asarray(nearest @ wanted_shares.astype(np.float32) - np.float32(ROUNDING))


def potential_bounds(prices: Singles, potentials: Floats, wanted_shares: Floats, cells: Cells) -> Singles:
    """Return what each palette is at least away by some potentials of the wanted colours.

    Parameters
    ----------
    prices : (c, m) ndarray
        From `least_prices`.
    potentials : (m,) ndarray
        From `potentials_of`; any numbers give bounds, these give good ones.
    wanted_shares : (m,) ndarray

    Returns
    -------
    (n,) ndarray of float32
    """
    most = (prices - potentials.astype(np.float32)).min(axis=1)
    return np.asarray(_by_cell(most, cells) + np.float32(potentials @ wanted_shares - ROUNDING))


def _by_cell(values: Singles, cells: Cells) -> Singles:
    """Return the sum over each palette's colours of share x its cell's value."""
    total = np.zeros(cells.cell.shape[1], dtype=np.float32)
    for row, share in zip(cells.cell, cells.share, strict=True):
        total += values[row] * share
    return total


def potentials_of(prices: Floats, flows: Floats) -> Floats:
    """Return the wanted colours' potentials of solved moves, by shortest ways through what is left to change.

    Parameters
    ----------
    prices : (p, m, k) ndarray
    flows : (p, m, k) ndarray
        What moves from wanted colour to the palette's colour in the cheapest solution; greater than 0 where any does.

    Returns
    -------
    (p, m) ndarray of float64

    Source: the optimality condition of minimum-cost flows; shortest ways by Bellman and Ford.
    """
    back = np.where(flows > 0, prices, -np.inf)
    way = np.zeros(prices.shape[:2])  # from anywhere to each wanted colour
    for _ in range(prices.shape[1]):
        there = (way[:, :, None] + prices).min(axis=1)
        way = np.minimum(way, (there[:, None, :] - back).min(axis=2))
    return -way
