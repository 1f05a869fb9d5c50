"""How well what is known of an ink set covers a picture's colours: the evidence asked for each set on each paper."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from archive.colour.difference import delta_e_2000_from
from archive.colour.spaces import check_lab
from archive.planning.passes import PassPlan
from archive.services.evidence import KINDS, TOLD, Evidence, Floats, Ints
from archive.services.house import pass_planner
from archive.services.matching import MatchOptions
from archive.services.ranked_search import MainRows
from archive.services.ranking import allowed_kinds, searchable
from archive.services.search_index import Known

InksOnPaper = tuple[tuple[str, ...], str | None]
_THREADS = 2
_DECIMALS = 9  # to which a mean counts: sums of the same numbers may differ in their last digit


@dataclass(frozen=True, slots=True)
class InkSetCover:
    """How well what is known of an ink set covers the picture: area-weighted mean and worst CIEDE2000."""

    inks: tuple[str, ...]
    evidence: str
    mean: float
    worst: float
    passes: int
    machine: str | None
    printable_now: bool
    loaded: bool
    why_not_now: str | None
    paper: str | None


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Nearest:
    """What comes nearest to each of m colours: how far, of which kind, and its uid, by which equals go."""

    delta_e: Floats
    kind: Ints
    uid: NDArray[np.bytes_]

    def or_nearer(self, other: _Nearest) -> _Nearest:
        is_first = (self.delta_e < other.delta_e) | ((self.delta_e == other.delta_e) & (self.uid <= other.uid))
        return _Nearest(
            np.where(is_first, self.delta_e, other.delta_e),
            np.where(is_first, self.kind, other.kind),
            np.where(is_first, self.uid, other.uid),
        )


_Known = dict[InksOnPaper, _Nearest]


def ink_sets(
    labs: Floats, shares: Floats, known: Known, session: Session, options: MatchOptions
) -> tuple[InkSetCover, ...]:
    """Return the ink sets in order: printable before not printable before told; each by its best paper.

    Inside a group: mean rounded down to 0.5; loaded now; fewer passes; mean; names.

    Parameters
    ----------
    labs : (m, 3) ndarray
        The picture's colours as they would lie on the asked paper.
    shares : (m,) ndarray
        Their areas.
    """
    if not len(labs):
        return ()
    nearest = _nearest_by_inks(labs, known, options)
    planner = pass_planner(session)
    covers = []
    for inks, papers in _papers_by_inks(nearest, known.evidence).items():
        plan = planner.plan(list(inks))
        if _is_wanted(plan, inks, options):
            covers.append(min((_cover(inks, paper, nearest, shares, plan) for paper in papers), key=_place))
    return tuple(sorted(covers, key=_place)[: options.limit])


def _place(cover: InkSetCover) -> tuple[Any, ...]:
    group = 3 if KINDS.index(cover.evidence) >= TOLD else 1 if cover.printable_now else 2
    mean = round(cover.mean, _DECIMALS)
    return group, np.floor(mean / 0.5), not cover.loaded, cover.passes, mean, cover.inks, cover.paper or ""


# --- the nearest of each ink set on each paper


def _nearest_by_inks(labs: Floats, known: Known, options: MatchOptions) -> _Known:
    """Return, for inks on a paper, what comes nearest to each of the colours."""
    colours = check_lab(searchable(labs))
    found = _of_evidence(colours, known.evidence, options)
    if known.stored is not None:
        for key, nearest in _of_main(colours, known.stored.main, options):
            found[key] = found[key].or_nearer(nearest) if key in found else nearest
    return found


def _of_evidence(colours: Floats, evidence: Evidence, options: MatchOptions) -> _Known:
    keys = [(recipe.inks, recipe.paper) for recipe in evidence.recipes]
    names = list(dict.fromkeys(keys))
    number = {name: place for place, name in enumerate(names)}
    group = np.array([number[key] for key in keys], dtype=np.int64)[evidence.recipe]
    is_on_paper = np.array([_is_on_paper(paper, options) for _, paper in names], dtype=np.bool_)
    rows = np.flatnonzero(is_on_paper[group] & allowed_kinds(options)[evidence.kind])
    if not len(rows):
        return {}
    rows = rows[np.argsort(group[rows], kind="stable")]
    starts = np.flatnonzero(np.diff(group[rows], prepend=-1))
    uids = np.array(evidence.uids, dtype=np.bytes_)
    lab = np.ascontiguousarray(searchable(evidence.lab[rows]).T)
    delta_e, first = _least_of_groups(colours, lab, starts)
    best = rows[first]
    return {
        names[group[rows[start]]]: _Nearest(delta_e[:, place], evidence.kind[best[:, place]], uids[best[:, place]])
        for place, start in enumerate(starts)
    }


def _of_main(colours: Floats, main: MainRows, options: MatchOptions) -> Iterable[tuple[InksOnPaper, _Nearest]]:
    """Yield inks on a paper, and what comes nearest among the rows of the index, class by class."""
    (part,) = main.tree.parts
    classes = main.classes
    is_on_paper = np.array([_is_on_paper(paper or None, options) for paper in main.papers], dtype=np.bool_)
    allowed = is_on_paper[classes.paper] & allowed_kinds(options)[classes.kind]
    slots = part.by_class[np.repeat(allowed, np.diff(part.class_starts))]
    if len(part.dead):
        slots = slots[~part.dead[part.rows[slots]]]
    if not len(slots):
        return
    # equals go by uid, which the rows are in the order of
    slots = slots[np.lexsort((part.rows[slots], part.classes[slots]))]
    starts = np.flatnonzero(np.diff(part.classes[slots].astype(np.int64), prepend=-1))
    delta_e, first = _least_of_groups(colours, np.ascontiguousarray(part.lab[slots].T), starts)
    uid = main.uid[part.rows[slots[first]]]
    for place, number in enumerate(part.classes[slots[starts]].tolist()):
        inks = tuple(ink for ink, _ in main.ink_sets[classes.inks[number]])
        kind = np.full(len(colours), classes.kind[number])
        yield (inks, main.papers[classes.paper[number]] or None), _Nearest(delta_e[:, place], kind, uid[:, place])


def _is_on_paper(paper: str | None, options: MatchOptions) -> bool:
    return options.paper is None or paper in (options.paper, None)


def _least_of_groups(colours: Floats, lab: Floats, starts: Ints) -> tuple[Floats, Ints]:
    """Return the least CIEDE2000 of each colour to each group of columns (3, n), and its first column."""
    group = np.repeat(np.arange(len(starts)), np.diff(starts, append=lab.shape[1]))

    def least(colour: Floats) -> tuple[Floats, Ints]:
        distance = delta_e_2000_from(colour, lab)
        nearest = np.minimum.reduceat(distance, starts)
        is_nearest = np.flatnonzero(distance == nearest[group])
        return nearest, is_nearest[np.flatnonzero(np.diff(group[is_nearest], prepend=-1))]

    with ThreadPoolExecutor(_THREADS) as pool:
        found = list(pool.map(least, colours))
    return np.array([each[0] for each in found]), np.array([each[1] for each in found])


# --- covers


def _papers_by_inks(nearest: _Known, evidence: Evidence) -> dict[tuple[str, ...], list[str | None]]:
    """Return the papers that each ink set is known on; what was told without a paper is read on the screen's."""
    papers: dict[tuple[str, ...], list[str | None]] = {}
    for inks, paper in nearest:
        if inks:
            papers.setdefault(inks, []).append(paper or evidence.paper_of_screen)
    return {inks: list(dict.fromkeys(found)) for inks, found in papers.items()}


def _is_wanted(plan: PassPlan, inks: tuple[str, ...], options: MatchOptions) -> bool:
    return (
        (options.passes is None or plan.count <= options.passes)
        and (not options.in_house or plan.printable_now)
        and (not options.loaded or plan.loaded)
        and (not options.with_inks or set(inks) <= set(options.with_inks))
    )


def _cover(inks: tuple[str, ...], paper: str | None, nearest: _Known, shares: Floats, plan: PassPlan) -> InkSetCover:
    """Return the cover by an ink set on one paper: what it, and fewer of its inks in the same order, can show."""
    parts = [part for count in range(len(inks) + 1) for part in combinations(inks, count)]
    keys = [key for part in dict.fromkeys(parts) for key in dict.fromkeys([(part, paper), (part, None)])]
    known = [nearest[key] for key in keys if key in nearest]
    distances, kinds = np.array([each.delta_e for each in known]), np.array([each.kind for each in known])
    best = distances.argmin(axis=0)
    columns = np.arange(len(shares))
    by_kind = np.bincount(kinds[best, columns], weights=shares, minlength=len(KINDS))
    machines = [each.machine for each in plan.passes]
    return InkSetCover(
        inks,
        KINDS[int(by_kind.argmax())],
        float(np.average(distances[best, columns], weights=shares)),
        float(distances[best, columns].max()),
        plan.count,
        machines[0] if machines else None,
        plan.printable_now,
        plan.loaded,
        str(plan.why_not_now) if plan.why_not_now else None,
        paper,
    )
