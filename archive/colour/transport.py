"""How far apart two palettes are: the earth mover's distance with CIEDE2000 as the price of moving.

The number is the mean CIEDE2000 over which area has to change colour, so 3 reads as it does for single colours.
Source: Rubner, Tomasi & Guibas 2000, Int. J. Computer Vision 40(2), 99-121.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.palette import Palette
from archive.errors import ColourError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Move:
    """What lies where, what is wanted where (shares that sum to 1 each), and the price of moving, >= 0.

    Attributes
    ----------
    cost : (m, n) ndarray of float64
    supply : (m,) ndarray of float64
    demand : (n,) ndarray of float64
    """

    cost: Floats
    supply: Floats
    demand: Floats


def palette_parts(palette: Palette, *, with_paper: bool = False) -> tuple[Floats, Floats]:
    """Return a palette's colours (k, 3) and shares (k,) that sum to 1.

    The paper stays out unless asked for, since two sheets that are mostly bare are not alike for that; a blank
    sheet is its paper.
    """
    parts = [(colour.lab, colour.share) for colour in palette.colours]
    if palette.paper is not None and (with_paper or not parts):
        parts.append((palette.paper, max(palette.paper_share, 0.0) if parts else 1.0))
    parts = [(lab, share) for lab, share in parts if share > 0]
    if not parts:
        raise ColourError("the palette holds no colour", mend="Make it from a picture again.")
    shares = np.array([share for _, share in parts])
    return np.array([lab for lab, _ in parts]), shares / shares.sum()


def earth_movers_distance(palette_a: Palette, palette_b: Palette, *, with_paper: bool = False) -> float:
    """Return the mean CIEDE2000 over which one palette's area moves to become the other's.

    Parameters
    ----------
    with_paper : bool
        Count the bare paper as one more colour.

    Returns
    -------
    float, >= 0; solved in double.

    Raises
    ------
    ColourError
        A palette holds no colour.
    """
    lab_a, shares_a = palette_parts(palette_a, with_paper=with_paper)
    lab_b, shares_b = palette_parts(palette_b, with_paper=with_paper)
    return transport_cost(delta_e_2000(lab_a[:, None], lab_b[None]), shares_a, shares_b)


def transport_cost(cost: ArrayLike, supply: ArrayLike, demand: ArrayLike) -> float:
    """Return the least cost of moving all supply to all demand, in double.

    Parameters
    ----------
    cost : (m, n) array_like, >= 0
    supply : (m,) array_like, demand : (n,) array_like
        Shares that sum to 1 each.

    Raises
    ------
    ColourError
        Shapes disagree, or the sums differ.
    """
    return transport_costs([Move(*(np.asarray(part, dtype=np.float64) for part in (cost, supply, demand)))])[0]


def transport_costs(moves: Sequence[Move]) -> list[float]:
    """Return the least cost of each of some moves, solved together, which takes a third of the time.

    Raises
    ------
    ColourError
        Shapes disagree, or the sums differ.
    """
    from scipy.optimize import linprog

    if not moves:
        return []
    for each in moves:
        if each.cost.shape != (each.supply.size, each.demand.size) or abs(each.supply.sum() - each.demand.sum()) > 1e-9:
            raise ColourError("supply and demand do not meet", mend="Give shares that sum to 1 on both sides.")
    prices = np.concatenate([each.cost.ravel() for each in moves])
    # One of the m + n conditions follows from the rest; leaving it out keeps rounding from contradicting itself.
    amounts = np.concatenate([part for each in moves for part in (each.supply, each.demand[:-1])])
    solved = linprog(prices, A_eq=_conditions(moves), b_eq=amounts, bounds=(0, None), method="highs")
    ends = np.cumsum([each.cost.size for each in moves])[:-1]
    return [max(float(part.sum()), 0.0) for part in np.split(prices * solved.x, ends)]


def _conditions(moves: Sequence[Move]) -> Any:
    """Return, as a sparse table, which moves take from which supply and give to which demand but the last."""
    from scipy.sparse import csc_array

    rows, columns, row, column = [], [], 0, 0
    for each in moves:
        m, n = each.cost.shape
        give, take = (part.ravel() for part in np.indices((m, n)))
        number, is_bound = column + np.arange(m * n), take < n - 1
        rows += [row + give, row + m + take[is_bound]]
        columns += [number, number[is_bound]]
        row, column = row + m + n - 1, column + m * n
    places = np.concatenate(rows), np.concatenate(columns)
    return csc_array((np.ones(len(places[0])), places), shape=(row, column))
