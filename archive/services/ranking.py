"""The one order of matches: what decides it, and what may answer at all.

Groups: (1) proven, worked out or seen, on the asked paper, printable in the house; (2) the same with another
paper, a retired ink or no common machine; (3) told and guess. Inside a group: verdict; delta E rounded down to
0.5; evidence; loaded now; fewer passes; fewer drum changes; delta E; newer; uid. Far ones follow by delta E alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.planning.passes import PassPlan, PassPlanner
from archive.services.evidence import KINDS, TOLD, Floats, InkSet, Ints

VERDICTS = ("same", "close", "related", "far")
FAR = 3
STEP = 0.5  # CIEDE2000: nearer to each other than this, other facts decide
Mask = NDArray[np.bool_]
_BARE = PassPlan((), 0, printable_now=True)  # bare paper needs no pass, and answers no question for inks


@dataclass(frozen=True, slots=True)
class MatchOptions:
    """What a person asks besides the colour."""

    paper: str | None = None
    passes: int | None = None
    in_house: bool = False
    loaded: bool = False
    with_inks: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()
    by_delta: bool = False
    limit: int = 5


@dataclass(frozen=True, slots=True)
class Winner:
    """A swatch in its place."""

    row: int
    delta_e: float
    verdict: str
    group: int
    also: int
    plan: PassPlan


@dataclass(frozen=True)
class Limits:
    """Where the verdicts end, in CIEDE2000."""

    same: float = 3.0
    close: float = 6.0
    related: float = 12.0


@dataclass(frozen=True, slots=True)
class Candidates:
    """What may answer, as arrays of one length: the nearest swatch of a recipe and a kind of evidence each."""

    row: Ints
    delta_e: Floats
    recipe: Ints
    kind: Ints
    doubt: Ints  # the best verdict that how well the colour is known allows
    group: Ints
    day: Ints
    uid: NDArray[Any]  # or what sorts as the uids do
    inks: Ints  # the number of the ink set
    loaded: Mask
    passes: Ints
    changes: Ints


def in_order(found: Candidates, by_delta: bool, limits: Limits) -> tuple[Ints, Ints]:
    """Return the places of the candidates in the one order, each recipe once, and the verdict of each candidate."""
    verdict = np.maximum(near_verdicts(found.delta_e, limits), found.doubt)
    far_order = np.lexsort((found.uid, found.delta_e))
    if by_delta:
        order = far_order
    else:
        is_far = verdict == FAR
        keys = (
            found.uid,
            -found.day,
            found.delta_e,
            found.changes,
            found.passes,
            ~found.loaded,
            found.kind,
            np.floor(found.delta_e / STEP),
            verdict,
            found.group,
        )
        near_order = np.lexsort(keys)
        order = np.concatenate([near_order[~is_far[near_order]], far_order[is_far[far_order]]])
    _, first = np.unique(found.recipe[order], return_index=True)
    return order[np.sort(first)], verdict


def near_verdicts(delta_e: Floats, limits: Limits) -> Ints:
    """Return the verdicts by distance alone."""
    ends = np.array([limits.same, limits.close, limits.related])
    return np.searchsorted(ends, delta_e, side="left").astype(np.int64)


def doubts(uncertainty: Floats, limits: Limits) -> Ints:
    """Return the best verdict that each 95 % radius allows: same, close or related."""
    return (uncertainty > limits.same).astype(np.int64) + (uncertainty > limits.close)


def groups(kind: Ints, is_on_paper: Mask, is_printable: Mask) -> Ints:
    """Return the group of each candidate or class."""
    return np.where(kind >= TOLD, 3, np.where(is_on_paper & is_printable, 1, 2)).astype(np.int64)


class House:
    """What can be printed now, for each ink set, as arrays; and which ink sets may answer."""

    def __init__(self, ink_sets: Sequence[InkSet], options: MatchOptions, planner: PassPlanner) -> None:
        self.plans = [planner.plan(list(ink_set)) if ink_set else _BARE for ink_set in ink_sets]
        self.printable: Mask = np.array([plan.printable_now for plan in self.plans], dtype=np.bool_)
        self.loaded: Mask = np.array([plan.loaded for plan in self.plans], dtype=np.bool_)
        self.passes: Ints = np.array([plan.count for plan in self.plans], dtype=np.int64)
        self.changes: Ints = np.array([plan.drum_changes for plan in self.plans], dtype=np.int64)
        allowed: Mask = np.array([bool(ink_set) for ink_set in ink_sets], dtype=np.bool_)
        if options.passes is not None:
            allowed &= self.passes <= options.passes
        if options.in_house:
            allowed &= self.printable
        if options.loaded:
            allowed &= self.loaded
        if options.with_inks:
            wanted = set(options.with_inks)
            allowed &= np.array([all(ink in wanted for ink, _ in inks) for inks in ink_sets], dtype=np.bool_)
        self.allowed = allowed


def allowed_kinds(options: MatchOptions) -> Mask:
    """Return which kinds of evidence may answer."""
    return np.array([not options.evidence or kind in options.evidence for kind in KINDS], dtype=np.bool_)


def searchable(lab: Floats) -> Floats:
    """Return colours as the trees take them: a reading a little beyond them is still ranked."""
    return np.clip(lab, (0, -200, -200), (115, 200, 200))


def winners(
    found: Candidates, plans: Sequence[PassPlan], also: Callable[[Ints], Ints], options: MatchOptions, limits: Limits
) -> list[Winner]:
    """Return the first of the candidates in their places; `also` counts the near swatches of some recipes."""
    order, verdict = in_order(found, options.by_delta, limits)
    order = order[: options.limit]
    counts = also(found.recipe[order])
    return [
        Winner(
            int(found.row[at]),
            float(found.delta_e[at]),
            VERDICTS[verdict[at]],
            int(found.group[at]),
            max(int(count) - 1, 0),
            plans[found.inks[at]],
        )
        for at, count in zip(order, counts, strict=True)
    ]
