"""Ranking past prints for a wanted colour: one order, the same on every run.

Groups: (1) proven, worked out or seen, on the asked paper, printable in the house; (2) the same with another
paper, a retired ink or no common machine; (3) told and guess. Inside a group: verdict; delta E rounded down to
0.5; evidence; loaded now; fewer passes; fewer drum changes; delta E; newer; uid. Far ones follow by delta E alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.nearest import NearKeys, SwatchIndex
from archive.planning.passes import PassPlan, PassPlanner
from archive.services.evidence import KINDS, TOLD, Evidence, Floats, InkSet, Ints

R95 = 2.80  # root of the 95 % point of chi-square with three degrees of freedom: radius of a 95 % ball, per sd an axis
VERDICTS = ("same", "close", "related", "far")
FAR = 3
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
class Ranked:
    """One match before its details are fetched."""

    row: int  # in the evidence
    delta_e: float
    uncertainty: float
    reprint: float
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


@dataclass
class MatchIndex:
    """Evidence made ready for many questions: the tree, and the ink sets numbered."""

    evidence: Evidence
    limits: Limits = field(default_factory=Limits)

    def __post_init__(self) -> None:
        evidence = self.evidence
        self.tree = SwatchIndex(np.clip(evidence.lab, (0, -200, -200), (115, 200, 200)))
        sets: dict[InkSet, int] = {}
        numbers = [sets.setdefault(recipe.ink_set, len(sets)) for recipe in evidence.recipes]
        self.ink_sets = tuple(sets)
        self.set_of_recipe: Ints = np.array(numbers, dtype=np.int64)
        self.keys: Ints = evidence.recipe * len(KINDS) + evidence.kind
        self.papers = np.array([recipe.paper or "" for recipe in evidence.recipes], dtype=np.str_)
        self.has_layers: Mask = np.array([bool(recipe.layers) for recipe in evidence.recipes], dtype=np.bool_)
        self.uncertainty: Floats = R95 * evidence.known_sd
        self.reprint: Floats = R95 * evidence.reprint_sd

    def ranked(self, wanted: Any, options: MatchOptions, planner: PassPlanner) -> list[Ranked]:
        """Return the matches in order, as many as the limit asks for.

        Parameters
        ----------
        wanted : (3,) array_like, absolute Lab
        """
        plans = [planner.plan(list(ink_set)) if ink_set else _BARE for ink_set in self.ink_sets]
        house = _House(plans)
        allowed = self._allowed(options, house)
        if not allowed.any():
            return []
        found = self.tree.best_per_key(
            wanted,
            self.keys,
            radius=self.limits.related,
            at_least=options.limit * len(KINDS),
            allowed=allowed,
        )
        return self._in_order(found, options, house, plans)

    def _allowed(self, options: MatchOptions, house: _House) -> Mask:
        """Return which rows may answer: filters that depend on the recipe, then on the evidence."""
        by_set = np.ones(len(self.ink_sets), dtype=np.bool_)
        if options.passes is not None:
            by_set &= house.passes <= options.passes
        if options.in_house:
            by_set &= house.printable
        if options.loaded:
            by_set &= house.loaded
        if options.with_inks:
            wanted = set(options.with_inks)
            by_set &= np.array([all(ink in wanted for ink, _ in inks) for inks in self.ink_sets], dtype=np.bool_)
        by_recipe = by_set[self.set_of_recipe] & self.has_layers
        allowed: Mask = by_recipe[self.evidence.recipe]
        if options.evidence:
            allowed = allowed & np.isin(self.evidence.kind, [KINDS.index(kind) for kind in options.evidence])
        return allowed

    def _in_order(self, found: NearKeys, options: MatchOptions, house: _House, plans: list[PassPlan]) -> list[Ranked]:
        evidence = self.evidence
        rows, delta_e = found.index, found.delta_e
        recipe, kind = evidence.recipe[rows], evidence.kind[rows]
        inks = self.set_of_recipe[recipe]
        verdict = self._verdicts(delta_e, self.uncertainty[rows])
        right_paper = self._right_paper(options.paper)[recipe]
        group = np.where(kind >= TOLD, 3, np.where(right_paper & house.printable[inks], 1, 2))
        if options.by_delta:
            order = np.lexsort((rows, delta_e))
        else:
            is_far = verdict == FAR
            keys = (
                rows,  # rows stand in the order of their uids
                -evidence.day[rows],
                delta_e,
                house.changes[inks],
                house.passes[inks],
                ~house.loaded[inks],
                kind,
                np.floor(delta_e / 0.5),
                verdict,
                np.where(is_far, 9, group),
            )
            near_order = np.lexsort(keys)
            far_order = np.lexsort((rows, delta_e))
            order = np.concatenate([near_order[~is_far[near_order]], far_order[is_far[far_order]]])
        order = _first_of_each_recipe(order, recipe)[: options.limit]
        totals = np.bincount(recipe, weights=found.count, minlength=len(evidence.recipes))
        return [
            Ranked(
                int(rows[place]),
                float(delta_e[place]),
                float(self.uncertainty[rows[place]]),
                float(self.reprint[rows[place]]),
                VERDICTS[verdict[place]],
                int(group[place]),
                max(int(totals[recipe[place]]) - 1, 0),
                plans[inks[place]],
            )
            for place in order
        ]

    def _verdicts(self, delta_e: Floats, uncertainty: Floats) -> Ints:
        limits = self.limits
        verdict = np.searchsorted(np.array([limits.same, limits.close, limits.related]), delta_e, side="left")
        verdict = np.where(uncertainty > limits.same, np.maximum(verdict, 1), verdict)
        verdict = np.where(uncertainty > limits.close, np.maximum(verdict, 2), verdict)
        return verdict.astype(np.int64)

    def _right_paper(self, asked: str | None) -> Mask:
        if asked is None:
            return np.ones(len(self.evidence.recipes), dtype=np.bool_)
        return np.asarray(self.papers == asked, dtype=np.bool_)


class _House:
    """What can be printed now, for each ink set, as arrays."""

    def __init__(self, plans: list[PassPlan]) -> None:
        self.printable: Mask = np.array([plan.printable_now for plan in plans], dtype=np.bool_)
        self.loaded: Mask = np.array([plan.loaded for plan in plans], dtype=np.bool_)
        self.passes: Ints = np.array([plan.count for plan in plans], dtype=np.int64)
        self.changes: Ints = np.array([plan.drum_changes for plan in plans], dtype=np.int64)


def _first_of_each_recipe(order: Ints, recipe: Ints) -> Ints:
    _, first = np.unique(recipe[order], return_index=True)
    kept: Ints = order[np.sort(first)]
    return kept


def why_here(match: Ranked, options: MatchOptions, evidence: Evidence) -> str:
    """Return in a line why a match stands where it stands."""
    recipe = evidence.recipes[evidence.recipe[match.row]]
    kind = KINDS[evidence.kind[match.row]]
    parts = [_EVIDENCE_WORDS[kind]]
    if options.by_delta:
        return f"{parts[0]}; by distance alone, as asked"
    if match.verdict == "far":
        return f"{parts[0]}; far off, so it stands by distance alone"
    if options.paper is not None and recipe.paper != options.paper:
        parts.append(f"on {recipe.paper}" if recipe.paper else "paper unknown")
    elif recipe.paper:
        parts.append(f"on {recipe.paper}")
    if match.plan.loaded:
        parts.append("loaded now")
    elif match.plan.printable_now:
        parts.append("printable in the house")
    else:
        parts.append("not printable now")
    parts.append("one pass" if match.plan.count == 1 else f"{match.plan.count} passes")
    lead = {1: "", 2: "; behind what can be had as asked", 3: "; told only, so behind all that was printed"}
    return ", ".join(parts) + lead[match.group]


_EVIDENCE_WORDS = {
    "proven": "printed and measured",
    "worked_out": "worked out between printed tints",
    "seen": "seen on a print with these inks, tints not known",
    "told": "told, not measured",
    "guess": "never printed together",
}
