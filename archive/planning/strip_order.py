"""Whether readings of a strip were given in its own order: their colours must follow the tints.

A smooth surface over the tints is laid through the readings, each time leaving one out. In the strip's own order it
misses by little; in any other order light and dark patches change places and it misses by much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_DOT_GROWTH = 0.75  # tints look about this power apart [common practice]
_SUSPECT = 9.0  # Lab units of mean miss: another order is looked for [own choice: right ones missed by 1 to 4]
_CLEARLY_BETTER = 0.5  # of the miss: then the other order was meant [own choice]
_NO_ORDER = 20.0  # Lab units: no order of this strip, whatever was read
_MOST_PINNED = 0.9  # leverage: a patch that alone holds up the surface says little


@dataclass(frozen=True, slots=True)
class OrderFound:
    """What order the readings seem to be in.

    fits : they are in the strip's order.
    words : which other order fits, "" when none does.
    order : the reading that belongs to each patch in that order, None without one.
    miss : mean miss of the surface in the order given, Lab units.
    """

    fits: bool
    words: str
    order: tuple[int, ...] | None
    miss: float


def judge_order(tints: ArrayLike, lab: ArrayLike, columns: int) -> OrderFound:
    """Return whether readings fit the tints in the order given, or which order fits better.

    Parameters
    ----------
    tints : (n, m) array_like
        Percent of the file, an ink a column, in the strip's order.
    lab : (n, 3) array_like
        In the order they were read.
    columns : int
        Patches in a row of the sheet.
    """
    surface = _surface(np.asarray(tints, dtype=np.float64) / 100)
    labs = np.asarray(lab, dtype=np.float64)
    given = _miss(surface, labs)
    if given < _SUSPECT:
        return OrderFound(True, "", tuple(range(len(labs))), given)
    best_words, best = min(_orders(len(labs), columns).items(), key=lambda each: _miss(surface, labs[list(each[1])]))
    if _miss(surface, labs[list(best)]) < _CLEARLY_BETTER * given:
        return OrderFound(False, best_words, best, given)
    first, second = _best_swap(surface, labs)
    order = list(range(len(labs)))
    order[first], order[second] = second, first
    if _miss(surface, labs[order]) < _CLEARLY_BETTER * given:
        return OrderFound(False, f"with patches {first + 1} and {second + 1} exchanged", tuple(order), given)
    return OrderFound(given < _NO_ORDER, "", None, given)


def _orders(count: int, columns: int) -> dict[str, tuple[int, ...]]:
    """Return the orders that people read sheets in, as the reading that each patch got."""
    by_column = sorted(range(count), key=lambda patch: (patch % columns, patch // columns))
    got = {patch: reading for reading, patch in enumerate(by_column)}
    columns_order = tuple(got[patch] for patch in range(count))
    last = count - 1
    return {
        "from the last patch to the first": tuple(range(last, -1, -1)),
        "column by column": columns_order,
        "column by column from the last": tuple(last - reading for reading in columns_order),
        "one patch late": tuple((patch + 1) % count for patch in range(count)),
        "one patch early": tuple((patch - 1) % count for patch in range(count)),
    }


def _surface(shares: Floats) -> tuple[Floats, Floats]:
    """Return the matrix that lays a surface through readings, and each reading's leverage, (n,)."""
    grown = shares**_DOT_GROWTH
    inks = range(shares.shape[1])
    terms = [np.ones(len(grown)), *grown.T, *(grown[:, i] ** 2 for i in inks)]
    terms += [grown[:, i] * grown[:, j] for i, j in combinations(inks, 2)]
    design = np.stack(terms, axis=1)
    hat = design @ np.linalg.pinv(design)
    return hat, np.minimum(np.diag(hat), _MOST_PINNED)


def _miss(surface: tuple[Floats, Floats], labs: Floats) -> float:
    hat, leverage = surface
    left_out = (labs - hat @ labs) / (1 - leverage)[:, None]
    return float(np.sqrt((left_out**2).sum(axis=1)).mean())


def _best_swap(surface: tuple[Floats, Floats], labs: Floats) -> tuple[int, int]:
    def miss(pair: Sequence[int]) -> float:
        order = list(range(len(labs)))
        order[pair[0]], order[pair[1]] = pair[1], pair[0]
        return _miss(surface, labs[order])

    return min(combinations(range(len(labs)), 2), key=miss)
