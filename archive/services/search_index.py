"""The search index: measured swatches kept in `derived/search-index`, so that a question need not read them all.

The file holds what the ranking asks of each swatch, and how far the archive was when it was made. Newer and altered
swatches are loaded with the question and stand beside it; so do the colours of pictures and inks by eye, and what is
in the house. Too many of them, an altered recipe, ink, paper or profile: it is made anew and put in the old one's
place in one step, and whoever has the old one open goes on with it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.identity import today
from archive.catalogue.models import Swatch
from archive.colour.nearest import Near
from archive.colour.tree import SwatchTree
from archive.errors import CatalogueError, Notice
from archive.planning.passes import PassPlanner
from archive.services.evidence import (
    KINDS,
    Evidence,
    Ints,
    PaperFacts,
    load_evidence,
    load_some,
    load_swatches,
    swatch_pieces,
)
from archive.services.facts import archive_uid
from archive.services.index_mark import changed_swatches, profile_digest, read_mark
from archive.services.matching import TREE_FROM, MatchIndex, Ranked, ranked_row
from archive.services.ranked_search import Classes, MainRows, main_keys, near_swatches
from archive.services.ranking import Candidates, House, Limits, Mask, MatchOptions, Winner, winners
from archive.services.uid_column import UidColumn, pack_uids

NAME = "search-index"
MOST_OUTSIDE = 20_000  # swatches beside the index; more, and it is made anew
PLAIN_UP_TO = 10_000_000  # swatches: so far one question costs less without the compiler than loading it [measured]
_CODE = 4  # raised whenever an older file would answer differently
Progress = Callable[[int, int], None]
Arrays = dict[str, NDArray[Any]]
_Older = tuple[Candidates, Mask, Callable[[Ints], Ints]]


@dataclass(frozen=True, slots=True)
class Known:
    """What the archive knows, ready for a question.

    Attributes
    ----------
    evidence : Evidence
        All of it; or, beside an index, what is not in the index.
    notices : tuple of Notice
        What was wrong with an index that was made anew.
    """

    evidence: Evidence
    limits: Limits
    stored: _Stored | None = None
    notices: tuple[Notice, ...] = ()
    compiled: bool = False

    def ranked(
        self, session: Session, wanted: Any, options: MatchOptions, planner: PassPlanner
    ) -> tuple[Evidence, list[Ranked]]:
        """Return the matches in order, and the evidence that their rows are of."""
        if self.stored is None:
            return self.evidence, MatchIndex(self.evidence, self.limits).ranked(wanted, options, planner)
        question = wanted, options, planner, self.limits
        found = self.stored.winners(self.evidence, *question, compiled=self.compiled)
        return self.stored.fetched(session, self.evidence, found, planner)


def open_known(
    session: Session,
    paper: str | None,
    limits: Limits,
    files: Files | None = None,
    progress: Progress | None = None,
    *,
    many: bool = False,
    index_from: int = TREE_FROM,
    plain_up_to: int = PLAIN_UP_TO,
) -> Known:
    """Return what the archive knows for a question on a paper; from so many swatches on, by the index.

    Parameters
    ----------
    files : Files
        Where the index is kept; without, all swatches are read.
    progress : callable
        Told how many of how many steps are done when an index is made.
    many : bool
        Many questions are to come: the compiled search is worth loading, or even compiling.
    """
    newest = select(func.max(Swatch.id))  # no less than their number, and found at once
    if files is None or (session.scalar(newest) or 0) < index_from:
        return Known(load_evidence(session, paper), limits)
    stored, notices = _open(session, files)
    changed = None if stored is None else stored.changed(session)
    if stored is None or changed is None:
        stored, more = _make(session, files, limits, progress)
        notices += more
        changed = set() if stored is None else stored.changed(session) or set()
    if stored is None or not len(stored.swatch):  # too many ink sets for the tree's classes, or nothing to search
        return Known(load_evidence(session, paper), limits, None, notices)
    stored, outside, papers = stored.beside(session, changed)
    evidence = load_some(session, paper, papers, outside, stored.left_out(outside))
    return Known(evidence, limits, stored, notices, many or len(stored.swatch) > plain_up_to)


def _open(session: Session, files: Files) -> tuple[_Stored | None, tuple[Notice, ...]]:
    """Return the index as it was kept, or none; with a notice when there is one that cannot be used."""
    path = files.derived_path(NAME)
    if not path.exists():
        return None, ()
    try:
        tree = SwatchTree.open(path, {"archive": archive_uid(session), "code": _CODE})
        return _Stored.of(tree, dict(tree.fields), dict(tree.extra)), ()
    except (CatalogueError, KeyError) as exc:
        return None, (Notice("index_unusable", "{why}; it was made anew", {"why": str(exc)}),)


def _make(
    session: Session, files: Files, limits: Limits, progress: Progress | None
) -> tuple[_Stored | None, tuple[Notice, ...]]:
    """Return a new index, kept in place of the old one where it can be; none when its ink sets are too many."""
    mark = read_mark(session)  # first: what is added meanwhile is newer than this
    papers = PaperFacts.read(session)
    evidence, apart = load_swatches(session, papers, progress=progress)
    main = MainRows.of(MatchIndex(evidence, limits))
    if main is None:
        return None, ()
    said, extra = _described(session, evidence, main, papers, apart)
    said["mark"] = mark
    path = files.derived_path(NAME)
    notices: tuple[Notice, ...] = ()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        main.tree.save(path, said, extra)
    except (CatalogueError, OSError) as exc:
        notices = (Notice("index_not_kept", "the index was not kept: {why}", {"why": str(exc)}),)
    if progress:
        steps = swatch_pieces(session) + 1
        progress(steps, steps)
    return _Stored.of(main.tree, said, extra), notices


def _described(
    session: Session, evidence: Evidence, main: MainRows, papers: PaperFacts, apart: dict[str, list[int]]
) -> tuple[dict[str, Any], Arrays]:
    """Return an index's fields and arrays besides the tree."""
    swatch = np.array([source.swatch_id for source in evidence.sources], dtype=np.int64)
    said = {
        "archive": archive_uid(session),
        "code": _CODE,
        "profile": profile_digest(session),
        "built_on": today().toordinal(),
        "ink_sets": main.ink_sets,
        "papers": main.papers,
        "whites": papers.whites,
        "counts": list(papers.counts.items()),
        "reasons": list(apart),
    }
    extra: dict[str, Any] = {
        "swatch": swatch.astype(np.int32) if swatch.size and swatch.max() < 2**31 else swatch,
        "by_swatch": np.argsort(swatch).astype(np.int32),
        "uid": pack_uids(evidence.uids),
        "class_of_row": main.class_of_row.astype(np.uint16),
        "recipe": evidence.recipe.astype(np.int32),
        "day": evidence.day.astype(np.int32),
        "ages_on": evidence.ages_on.astype(np.int32),
        "recipe_id": np.array([recipe.recipe_id for recipe in evidence.recipes], dtype=np.int64),
        "always": _always_beside(evidence),
        "apart": np.array([each for ids in apart.values() for each in ids], dtype=np.int64),
        "apart_why": np.repeat(np.arange(len(apart)), [len(ids) for ids in apart.values()]).astype(np.int64),
    }
    return said, extra | {f"class_{each.name}": getattr(main.classes, each.name) for each in fields(main.classes)}


def _always_beside(evidence: Evidence) -> Ints:
    """Return the swatches that questions need by name: each ink's first solid on each paper; and one with inks."""
    first: dict[Any, int] = {}
    for row, number in enumerate(evidence.recipe.tolist()):
        recipe = evidence.recipes[number]
        if recipe.layers:
            first.setdefault("any", row)
        if len(recipe.layers) == 1 and recipe.layers[0].tint_low == 100:
            first.setdefault((recipe.inks, int(evidence.kind[row]), recipe.paper), row)
    return np.array(sorted({evidence.sources[row].swatch_id or 0 for row in first.values()}), dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Stored:
    """An index, and what of it still counts."""

    main: MainRows
    swatch: NDArray[Any]
    said: dict[str, Any]
    extra: Arrays

    @classmethod
    def of(cls, tree: SwatchTree, said: dict[str, Any], extra: Arrays) -> _Stored:
        classes = Classes(*(np.asarray(extra[f"class_{each.name}"]) for each in fields(Classes)))
        main = MainRows(
            tree,
            classes,
            extra["class_of_row"],
            extra["recipe"],
            extra["day"],
            UidColumn(extra["uid"]),
            tuple(tuple((ink, number) for ink, number in ink_set) for ink_set in said["ink_sets"]),
            tuple(said["papers"]),
        )
        return cls(main, extra["swatch"], said, extra)

    def changed(self, session: Session) -> set[int] | None:
        """Return the swatches that are newer than the index or not as in it; None when it is to be made anew."""
        if self.said["profile"] != profile_digest(session):
            return None
        found = changed_swatches(session, self.said["mark"])
        if found is None or found & set(self.extra["always"].tolist()):
            return None
        day = today().toordinal()
        if day != self.said["built_on"]:
            ages_on = self.extra["ages_on"]
            found.update(self.swatch[(ages_on <= day) != (ages_on <= self.said["built_on"])].tolist())
        return None if len(found) > MOST_OUTSIDE else found

    def beside(self, session: Session, changed: set[int]) -> tuple[_Stored, set[int], PaperFacts]:
        """Return the index without what changed, the swatches to load beside it, and what is known of papers."""
        outside = changed | set(self.extra["always"].tolist())
        rows = self._rows_of(outside)
        main = replace(self.main, tree=self.main.tree.without(rows))
        # papers' whites and numbers of swatches follow from all swatches: asked anew when any changed
        said = {name: (white[0], white[1], white[2]) for name, white in self.said["whites"].items()}
        papers = PaperFacts(said, dict(self.said["counts"]))
        if changed and self._may_alter_papers(session, changed, papers):
            papers = PaperFacts.read(session)
        return replace(self, main=main), outside, papers

    def left_out(self, outside: set[int]) -> dict[str, int]:
        """Return how many swatches do not match by colour, by reason, without those outside."""
        is_here = ~np.isin(self.extra["apart"], np.array(sorted(outside), dtype=np.int64))
        reasons = self.said["reasons"]
        counts = np.bincount(self.extra["apart_why"][is_here], minlength=len(reasons))
        return {why: int(count) for why, count in zip(reasons, counts, strict=True)}

    def winners(
        self,
        evidence: Evidence,
        wanted: Any,
        options: MatchOptions,
        planner: PassPlanner,
        limits: Limits,
        *,
        compiled: bool,
    ) -> list[Winner]:
        """Return the matches; rows go on from those of the evidence beside the index to those in it."""
        beside = MatchIndex(evidence, limits, compiled=False)
        houses = House(self.main.ink_sets, options, planner), House(beside.ink_sets, options, planner)
        near = beside.nearest(wanted, options, houses[1])
        numbers = self._numbers(evidence)
        newer = beside.candidates(near, options, houses[1])
        newer = replace(
            newer,
            recipe=numbers[newer.recipe],
            uid=np.array(evidence.uids, dtype=np.bytes_)[near.index],
            inks=newer.inks + len(self.main.ink_sets),
        )
        search = self._compiled if compiled else self._plain
        older, is_first, also = search(wanted, options, houses[0], limits, newer)
        older = replace(older, row=older.row + len(evidence.lab))
        counts = np.bincount(newer.recipe, near.count).astype(np.int64)
        both = Candidates(
            *(
                np.concatenate([getattr(newer, each.name)[is_first], getattr(older, each.name)])
                for each in fields(Candidates)
            )
        )
        plans = houses[0].plans + houses[1].plans
        return winners(both, plans, lambda recipes: also(recipes) + _counted(counts, recipes), options, limits)

    def _compiled(self, wanted: Any, options: MatchOptions, house: House, limits: Limits, newer: Candidates) -> _Older:
        """Return what answers in the index, which of the newer stand before it, and what counts near swatches."""
        by_class, allowed = self.main.groups(options, house)
        keys = newer.recipe * len(KINDS) + newer.kind
        old = self.main.tree.nearest_of_keys(wanted, keys)
        is_first = self._stand_before(newer, old)
        wins = main_keys(self.main, wanted, by_class, allowed, options, limits, keys[is_first])
        wins = np.setdiff1d(np.union1d(wins, keys[~is_first]), keys[is_first])
        found = self.main.tree.nearest_of_keys(wanted, wins)
        older = self.main.candidates(found.index, found.delta_e, by_class, house)
        return older, is_first, lambda recipes: near_swatches(self.main, wanted, recipes, allowed, limits)

    def _plain(self, wanted: Any, options: MatchOptions, house: House, limits: Limits, newer: Candidates) -> _Older:
        """Return the same without the compiler."""
        by_class, allowed = self.main.groups(options, house)
        at_least = options.limit * len(KINDS)
        found = self.main.tree.best_per_key(
            wanted, radius=limits.related, at_least=at_least + len(newer.row), allowed=allowed
        )
        keys = newer.recipe * len(KINDS) + newer.kind
        order = np.argsort(found.key)
        at = order[np.minimum(np.searchsorted(found.key, keys, sorter=order), len(order) - 1)] if len(order) else order
        is_known = found.key[at] == keys if len(order) else np.zeros(len(keys), dtype=np.bool_)
        old = Near(np.full(len(keys), -1), np.full(len(keys), np.inf))
        old.index[is_known], old.delta_e[is_known] = found.index[at[is_known]], found.delta_e[at[is_known]]
        is_first = self._stand_before(newer, old)
        stays = ~np.isin(found.key, keys[is_first])
        counts = np.bincount(found.key // len(KINDS), found.count).astype(np.int64)
        older = self.main.candidates(found.index[stays], found.delta_e[stays], by_class, house)
        return older, is_first, lambda recipes: _counted(counts, recipes)

    def fetched(
        self, session: Session, evidence: Evidence, found: list[Winner], planner: PassPlanner
    ) -> tuple[Evidence, list[Ranked]]:
        """Return the evidence with what was found in the index at its end, and the matches as rows of it."""
        count = len(evidence.lab)
        ids = [int(self.swatch[each.row - count]) for each in found if each.row >= count]
        papers = PaperFacts(evidence.whites, {})
        full = _joined(evidence, load_swatches(session, papers, ids)[0])
        place = {source.swatch_id: row for row, source in enumerate(full.sources) if source.swatch_id}
        ranked = []
        for each in found:
            row = each.row if each.row < count else place[int(self.swatch[each.row - count])]
            ranked.append(ranked_row(full, row, each, planner))
        return full, ranked

    def _rows_of(self, swatches: set[int]) -> Ints:
        """Return the rows of those of the swatches that the index holds."""
        ids, known = np.array(sorted(swatches), dtype=np.int64), self.swatch[self.extra["by_swatch"]]
        at = np.minimum(np.searchsorted(known, ids), len(known) - 1)
        rows: Ints = self.extra["by_swatch"][at[known[at] == ids]].astype(np.int64)
        return rows

    def _numbers(self, evidence: Evidence) -> Ints:
        """Return the number in the index of each recipe beside it; new ones go on from there."""
        known = self.extra["recipe_id"]
        order = np.argsort(known)
        numbers = len(known) + np.arange(len(evidence.recipes))
        for place, recipe in enumerate(evidence.recipes):
            if recipe.recipe_id is not None and recipe.variant_id is None:
                at = int(np.searchsorted(known, recipe.recipe_id, sorter=order))
                if at < len(known) and known[order[at]] == recipe.recipe_id:
                    numbers[place] = order[at]
        return numbers

    def _stand_before(self, newer: Candidates, old: Near) -> Mask:
        """Return which of the swatches beside the index are nearer than all in it of the same key; ties go by uid."""
        is_tied = (old.delta_e == newer.delta_e) & (newer.uid < self.main.uid[np.maximum(old.index, 0)])
        before: Mask = (old.index < 0) | (newer.delta_e < old.delta_e) | is_tied
        return before

    def _may_alter_papers(self, session: Session, changed: set[int], papers: PaperFacts) -> bool:
        """Return whether the changed swatches may alter a paper's white, or which paper has most swatches."""
        rows = self._rows_of(changed)
        inks = self.main.classes.inks[self.main.class_of_row[rows].astype(np.int64)]
        newer = changed - set(self.swatch[rows].tolist())
        if newer:
            own = load_swatches(session, papers, newer)[0]
            if any(not own.recipes[number].layers for number in own.recipe):
                return True
        if any(not self.main.ink_sets[number] for number in inks):
            return True
        counts = sorted((*papers.counts.values(), 0, 0), reverse=True)
        return counts[0] - counts[1] <= 2 * len(changed)


def _counted(counts: Ints, numbers: Ints) -> Ints:
    """Return the counts of some numbers; what was never counted is nought."""
    if not len(counts):
        return np.zeros(len(numbers), dtype=np.int64)
    return np.where(numbers < len(counts), counts[np.minimum(numbers, len(counts) - 1)], 0)


def _joined(evidence: Evidence, more: Evidence) -> Evidence:
    """Return evidence with more rows and recipes at its end."""
    names = ("lab", "kind", "known_sd", "reprint_sd", "aged", "day", "ages_on")
    arrays: dict[str, Any] = {name: np.concatenate([getattr(evidence, name), getattr(more, name)]) for name in names}
    return replace(
        evidence,
        **arrays,
        recipe=np.concatenate([evidence.recipe, more.recipe + len(evidence.recipes)]),
        uids=evidence.uids + more.uids,
        sources=evidence.sources + more.sources,
        origins=evidence.origins + more.origins,
        machines=evidence.machines + more.machines,
        recipes=evidence.recipes + more.recipes,
    )
