"""Ranking past prints for a wanted colour: one order, the same on every run (see `ranking`)."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from math import hypot
from typing import Any

import numpy as np

from archive.colour.difference import R95
from archive.colour.nearest import NearKeys, SwatchIndex
from archive.errors import NotFoundError
from archive.planning.passes import PassPlan, PassPlanner
from archive.services.evidence import KINDS, Evidence, Floats, InkSet, Ints
from archive.services.ranked_search import MainRows, search_main
from archive.services.ranking import (
    FAR,
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

__all__ = ["FAR", "Limits", "MatchIndex", "MatchOptions", "Ranked", "ranked_row", "why_here"]

TREE_FROM = 50_000  # swatches: below, plain numpy answers in a few milliseconds and needs no compiler


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
    is_elsewhere: bool = False  # printed on another machine than it would be printed on now


@dataclass
class MatchIndex:
    """Evidence made ready for many questions: the tree, and the ink sets numbered.

    From `TREE_FROM` swatches on, the search is the compiled one of `ranked_search`; both give the same answers.
    """

    evidence: Evidence
    limits: Limits = field(default_factory=Limits)
    compiled: bool | None = None  # None: by the number of swatches

    def __post_init__(self) -> None:
        evidence = self.evidence
        sets: dict[InkSet, int] = {}
        numbers = [sets.setdefault(recipe.ink_set, len(sets)) for recipe in evidence.recipes]
        self.ink_sets = tuple(sets)
        self.set_of_recipe: Ints = np.array(numbers, dtype=np.int64)
        self.keys: Ints = evidence.recipe * len(KINDS) + evidence.kind
        self.papers = np.array([recipe.paper or "" for recipe in evidence.recipes], dtype=np.str_)
        self.uncertainty: Floats = R95 * evidence.known_sd

    @cached_property
    def tree(self) -> SwatchIndex:
        """Return the tree in plain numpy, built when it is first asked."""
        return SwatchIndex(searchable(self.evidence.lab))

    @cached_property
    def main(self) -> MainRows | None:
        """Return the rows in the compiled tree, when they are many; None when plain numpy is to search them."""
        many = len(self.evidence.lab) >= TREE_FROM if self.compiled is None else self.compiled
        return MainRows.of(self) if many and len(self.evidence.lab) else None

    def ranked(self, wanted: Any, options: MatchOptions, planner: PassPlanner) -> list[Ranked]:
        """Return the matches in order, as many as the limit asks for.

        Parameters
        ----------
        wanted : (3,) array_like, absolute Lab
        """
        found = self._winners(wanted, options, planner)
        return [ranked_row(self.evidence, each.row, each, planner) for each in found]

    def _winners(self, wanted: Any, options: MatchOptions, planner: PassPlanner) -> list[Winner]:
        house = House(self.ink_sets, options, planner)
        if self.main is not None:
            return search_main(self.main, house, wanted, options, self.limits)
        found = self.nearest(wanted, options, house)
        candidates = self.candidates(found, options, house)
        totals = np.bincount(candidates.recipe, weights=found.count, minlength=len(self.evidence.recipes))
        return winners(candidates, house.plans, lambda recipes: totals[recipes].astype(np.int64), options, self.limits)

    def nearest(self, wanted: Any, options: MatchOptions, house: House) -> NearKeys:
        """Return the nearest allowed swatch of every recipe and kind that is near, or of some more."""
        evidence = self.evidence
        by_recipe: Mask = house.allowed[self.set_of_recipe]
        allowed = by_recipe[evidence.recipe] & allowed_kinds(options)[evidence.kind]
        if not allowed.any():
            none = np.empty(0, np.int64)
            return NearKeys(none, none, np.empty(0), none)
        at_least = options.limit * len(KINDS)
        return self.tree.best_per_key(wanted, self.keys, radius=self.limits.related, at_least=at_least, allowed=allowed)

    def candidates(self, found: NearKeys, options: MatchOptions, house: House) -> Candidates:
        """Return what the order needs of the swatches found."""
        evidence, rows = self.evidence, found.index
        recipe, kind = evidence.recipe[rows], evidence.kind[rows]
        inks = self.set_of_recipe[recipe]
        return Candidates(
            rows,
            found.delta_e,
            recipe,
            kind,
            doubts(self.uncertainty[rows], self.limits),
            groups(kind, self._right_paper(options.paper)[recipe], house.printable[inks]),
            evidence.day[rows],
            rows,  # rows stand in the order of their uids
            inks,
            house.loaded[inks],
            house.passes[inks],
            house.changes[inks],
        )

    def _right_paper(self, asked: str | None) -> Mask:
        if asked is None:
            return np.ones(len(self.evidence.recipes), dtype=np.bool_)
        return np.asarray(self.papers == asked, dtype=np.bool_)


def ranked_row(evidence: Evidence, row: int, winner: Winner, planner: PassPlanner) -> Ranked:
    """Return a winner with how well its colour is known and what a new run may do; on another machine, more."""
    is_elsewhere = _is_elsewhere(evidence, row, winner.plan, planner)
    reprint = float(evidence.reprint_sd[row])
    if is_elsewhere:
        reprint = hypot(reprint, evidence.other_machine_sd)
    known = float(R95 * evidence.known_sd[row])
    plan = winner.plan
    return Ranked(
        row, winner.delta_e, known, R95 * reprint, winner.verdict, winner.group, winner.also, plan, is_elsewhere
    )


def _is_elsewhere(evidence: Evidence, row: int, plan: PassPlan, planner: PassPlanner) -> bool:
    """Return whether it would now be printed on another machine than it was: one not known is taken for the same."""
    if not evidence.machines:
        return False
    if evidence.origins[row] is not None:
        return True
    machine = evidence.machines[row]
    if machine is None or not plan.printable_now:
        return False
    try:
        there = planner.plan(list(evidence.recipes[evidence.recipe[row]].ink_set), machine=machine)
    except NotFoundError:  # it lies in the bin
        return True
    return not there.printable_now


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
