"""How far apart two palettes are: the earth mover's distance with CIEDE2000 as the price of moving.

The number is the mean CIEDE2000 over which area has to change colour, so 3 reads as it does for single colours.
Source: Rubner, Tomasi & Guibas 2000, Int. J. Computer Vision 40(2), 99-121.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.palette import Palette
from archive.errors import ColourError

Floats = NDArray[np.float64]

_FLOAT32_SLACK = 1e-3  # CIEDE2000: OpenCV solves in float32; nearer results are settled in double


@dataclass(frozen=True, slots=True)
class Near:
    """A palette's place in the list searched, and its distance."""

    index: int
    distance: float


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
    from scipy.optimize import linprog

    price, give, take = (np.asarray(part, dtype=np.float64) for part in (cost, supply, demand))
    m, n = give.size, take.size
    if price.shape != (m, n) or abs(give.sum() - take.sum()) > 1e-9:
        raise ColourError("supply and demand do not meet", mend="Give shares that sum to 1 on both sides.")
    rows, columns = np.kron(np.eye(m), np.ones(n)), np.kron(np.ones(m), np.eye(n))
    # One of the m + n conditions follows from the rest; leaving it out keeps rounding from contradicting itself.
    conditions, amounts = np.concatenate([rows, columns[:-1]]), np.concatenate([give, take[:-1]])
    solved = linprog(price.ravel(), A_eq=conditions, b_eq=amounts, bounds=(0, None), method="highs")
    return max(float(solved.fun), 0.0)


def nearest_palettes(wanted: Palette, palettes: Sequence[Palette], k: int, *, with_paper: bool = False) -> list[Near]:
    """Return the k palettes nearest to the wanted one, nearest first, equals by their place in the list.

    Exact: a bound that no distance can fall below orders the search, and it stops when the bound passes the k-th
    best found.

    Raises
    ------
    ColourError
        A palette holds no colour.
    """
    if not palettes or k < 1:
        return []
    lab, shares = palette_parts(wanted, with_paper=with_paper)
    parts = [palette_parts(palette, with_paper=with_paper) for palette in palettes]
    every = delta_e_2000(lab[:, None], np.concatenate([labs for labs, _ in parts])[None])
    costs = np.split(every, np.cumsum([len(labs) for labs, _ in parts])[:-1], axis=1)
    bounds = np.array([_lower_bound(cost, shares, part[1]) for cost, part in zip(costs, parts, strict=True)])
    rough: list[Near] = []
    limit = np.inf
    for index in np.argsort(bounds, kind="stable"):
        if bounds[index] > limit + _FLOAT32_SLACK:
            break
        rough.append(Near(int(index), _rough_cost(costs[index], shares, parts[index][1])))
        if len(rough) >= k:
            limit = np.partition([near.distance for near in rough], k - 1)[k - 1]
    close = [near.index for near in rough if near.distance <= limit + 2 * _FLOAT32_SLACK]
    settled = [Near(index, transport_cost(costs[index], shares, parts[index][1])) for index in close]
    return sorted(settled, key=lambda near: (near.distance, near.index))[:k]


def _lower_bound(cost: Floats, supply: Floats, demand: Floats) -> float:
    """Return what moving costs at least: everything to its nearest colour, whatever room there is."""
    return float(max(supply @ cost.min(axis=1), demand @ cost.min(axis=0)))


def _rough_cost(cost: Floats, supply: Floats, demand: Floats) -> float:
    """Return the transport cost in float32, in a thousandth of the time."""
    import cv2

    give, take = (part.astype(np.float32)[:, None] for part in (supply, demand))
    return float(cv2.EMD(give, take, cv2.DIST_USER, cost=cost.astype(np.float32))[0])
