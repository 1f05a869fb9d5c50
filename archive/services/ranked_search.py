"""The ranked question put to the compiled tree: group by group, until enough recipes are found.

Inside a group the order begins with the verdict and the step of delta E. Among swatches that are known equally well
both only grow with delta E; so each group is asked once for each of the three degrees of doubt, for the nearest
recipes to the end of their step, and what is found holds all that can come first. A recipe answers with its nearest
swatch, though: one whose nearest swatch is known less well does not count in the better degree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.tree import SwatchTree
from archive.services.evidence import KINDS, InkSet, Ints
from archive.services.ranking import (
    STEP,
    Candidates,
    House,
    Limits,
    Mask,
    MatchOptions,
    Winner,
    allowed_kinds,
    doubts,
    groups,
    searchable,
    winners,
)
from archive.services.uid_column import UidColumn

if TYPE_CHECKING:
    from archive.services.matching import MatchIndex

_MOST_CLASSES = 1 << 16


@dataclass(frozen=True, slots=True)
class Classes:
    """What a filter may ask of a swatch, for each class of the tree: arrays of one length."""

    inks: Ints
    paper: Ints
    kind: Ints
    doubt: Ints

    @classmethod
    def numbered(cls, inks: Ints, paper: Ints, kind: Ints, doubt: Ints) -> tuple[Classes, Ints] | None:
        """Return the classes and the class of each row, neighbours by ink set; None when there are too many."""
        shape = tuple(int(each.max(initial=0)) + 1 for each in (inks, paper, kind, doubt))
        numbers = np.ravel_multi_index((inks, paper, kind, doubt), shape)
        found, of_row = np.unique(numbers, return_inverse=True)
        if len(found) > _MOST_CLASSES:
            return None
        return cls(*(part.astype(np.int64) for part in np.unravel_index(found, shape))), of_row.astype(np.int64)


@dataclass(frozen=True, slots=True)
class MainRows:
    """Many swatches in the compiled tree, and by row what the order asks besides.

    Keys of the tree are recipe x kinds + kind.
    """

    tree: SwatchTree
    classes: Classes
    class_of_row: NDArray[Any]
    recipe: NDArray[Any]
    day: NDArray[Any]
    uid: NDArray[Any] | UidColumn  # or what sorts as the uids do
    ink_sets: tuple[InkSet, ...]
    papers: tuple[str, ...]

    @classmethod
    def of(cls, index: MatchIndex) -> MainRows | None:
        """Return an index's swatches in a tree; None when their ink sets are too many for its classes."""
        evidence = index.evidence
        papers, paper_of_recipe = np.unique(index.papers, return_inverse=True)
        numbered = Classes.numbered(
            index.set_of_recipe[evidence.recipe],
            paper_of_recipe[evidence.recipe],
            evidence.kind,
            doubts(index.uncertainty, index.limits),
        )
        if numbered is None:
            return None
        classes, of_row = numbered
        tree = SwatchTree.build(searchable(evidence.lab), index.keys, of_row)
        names = tuple(str(paper) for paper in papers)
        rows = np.arange(len(evidence.lab))
        return cls(tree, classes, of_row, evidence.recipe, evidence.day, rows, index.ink_sets, names)

    def candidates(self, rows: Ints, delta_e: NDArray[np.float64], by_class: Ints, house: House) -> Candidates:
        """Return what the order needs of some rows; `by_class` holds the group of each class."""
        numbers = self.class_of_row[rows].astype(np.int64)
        inks = self.classes.inks[numbers]
        return Candidates(
            rows,
            delta_e,
            self.recipe[rows].astype(np.int64),
            self.classes.kind[numbers],
            self.classes.doubt[numbers],
            by_class[numbers],
            self.day[rows].astype(np.int64),
            self.uid[rows],
            inks,
            house.loaded[inks],
            house.passes[inks],
            house.changes[inks],
        )

    def groups(self, options: MatchOptions, house: House) -> tuple[Ints, Mask]:
        """Return the group of each class, and which classes may answer."""
        classes = self.classes
        is_on_paper = np.array([options.paper in (None, paper) for paper in self.papers], dtype=np.bool_)
        found = groups(classes.kind, is_on_paper[classes.paper], house.printable[classes.inks])
        return found, house.allowed[classes.inks] & allowed_kinds(options)[classes.kind]


def search_main(main: MainRows, house: House, wanted: Any, options: MatchOptions, limits: Limits) -> list[Winner]:
    """Return the matches among the rows of the tree, in order."""
    by_class, allowed = main.groups(options, house)
    keys = main_keys(main, wanted, by_class, allowed, options, limits)
    near = main.tree.nearest_of_keys(wanted, keys)
    found = main.candidates(near.index, near.delta_e, by_class, house)
    return winners(
        found, house.plans, lambda recipes: near_swatches(main, wanted, recipes, allowed, limits), options, limits
    )


def near_swatches(main: MainRows, wanted: Any, recipes: Ints, allowed: Mask, limits: Limits) -> Ints:
    """Return how many allowed swatches of each recipe are at least related to the wanted colour."""
    keys = (recipes[:, None] * len(KINDS) + np.arange(len(KINDS))).ravel()
    counts = main.tree.count_within(wanted, limits.related, keys, allowed)
    by_recipe: Ints = counts.reshape(-1, len(KINDS)).sum(axis=1)
    return by_recipe


def main_keys(
    main: MainRows,
    wanted: Any,
    by_class: Ints,
    allowed: Mask,
    options: MatchOptions,
    limits: Limits,
    overruled: Ints | None = None,
) -> Ints:
    """Return the keys among which all matches are that the limit asks for.

    Parameters
    ----------
    overruled : (m,) ndarray of int64
        Keys that a newer swatch outside the tree answers for: they do not count.
    """
    gone = np.empty(0, np.int64) if overruled is None else overruled
    found: list[Ints] = []
    recipes: set[int] = set()
    for group in () if options.by_delta else (1, 2, 3):
        for doubt in range(3):
            asked = allowed & (by_class == group) & (main.classes.doubt == doubt)
            if asked.any():
                keys, own = _nearest_known_so(main, wanted, asked, options.limit, limits, gone)
                found.append(keys)
                recipes.update(own.tolist())
        if len(recipes) >= options.limit:
            break
    if len(recipes) < options.limit and allowed.any():  # by distance alone: as asked, or what is far
        more = options.limit * len(KINDS) + len(gone)
        found.append(main.tree.nearest_keys(wanted, more, allowed, step=0.0).key)
    return np.unique(np.concatenate([np.empty(0, np.int64), *found]))


def _nearest_known_so(
    main: MainRows, wanted: Any, asked: Mask, limit: int, limits: Limits, gone: Ints
) -> tuple[Ints, Ints]:
    """Return the nearest keys of one group and one degree of doubt, and the recipes that answer with them."""
    count = limit * 2
    while True:
        found = main.tree.nearest_keys(wanted, count, asked, step=STEP, radius=limits.related)
        nearest = main.tree.nearest_of_keys(wanted, found.key).index
        own = np.unique(found.key[(nearest == found.row) & ~np.isin(found.key, gone)] // len(KINDS))
        if len(own) >= limit or len(found.key) < count:
            return found.key, own
        count *= 4
