"""The whites of the papers, and the paper that a colour from a screen is read on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Layer, Paper, Recipe, Swatch

White = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class PaperFacts:
    """What the swatches say of the papers: measured whites by name, and numbers of swatches by the paper's id."""

    whites: dict[str, White]
    counts: dict[int, int]

    @classmethod
    def read(cls, session: Session) -> PaperFacts:
        """Return the facts as the swatches now say."""
        papers: dict[int, str] = dict(session.execute(select(Paper.id, Paper.name)).all())
        return cls(measured_whites(session, papers), swatches_by_paper(session))


def measured_whites(session: Session, papers: Mapping[int, str]) -> dict[str, White]:
    """Return the measured white of each paper, absolute Lab: the mean of its bare patches."""
    bare = ~select(Layer.recipe_id).where(Layer.recipe_id == Recipe.id).exists()
    query = (
        select(Recipe.paper_id, Swatch.lab_l, Swatch.lab_a, Swatch.lab_b)
        .join(Swatch, Swatch.recipe_id == Recipe.id)
        .where(bare, Recipe.is_told.is_(False), Swatch.binned_at.is_(None), Swatch.lab_l.is_not(None))
        .where(Swatch.method.in_(("instrument", "camera")))
    )
    found: dict[int, list[White]] = defaultdict(list)
    for paper_id, lab_l, lab_a, lab_b in session.execute(query.order_by(Swatch.id)):  # the same sum everywhere
        if paper_id is not None and lab_l is not None and lab_a is not None and lab_b is not None:
            found[paper_id].append((lab_l, lab_a, lab_b))
    return {papers[paper_id]: _mean(labs) for paper_id, labs in found.items()}


def _mean(labs: list[White]) -> White:
    lab_l, lab_a, lab_b = (float(part) for part in np.mean(labs, axis=0))
    return lab_l, lab_a, lab_b


def swatches_by_paper(session: Session) -> dict[int, int]:
    """Return how many living measured swatches there are on each paper, by the paper's id.

    In a house that has papers of its own, only those count: another workshop's paper is none to read a screen on.
    """
    query = (
        select(Recipe.paper_id, func.count())
        .join(Swatch, Swatch.recipe_id == Recipe.id)
        .where(Swatch.binned_at.is_(None), Swatch.lab_l.is_not(None))
        .group_by(Recipe.paper_id)
    )
    own = select(Paper.id).where(Paper.origin.is_(None))
    if session.scalar(own.where(Paper.binned_at.is_(None)).limit(1)) is not None:
        query = query.where(Recipe.paper_id.in_(own))
    return {paper_id: count for paper_id, count in session.execute(query) if paper_id is not None}


def paper_of_screens(counts: Mapping[int, int], papers: Mapping[int, str], house_paper: str) -> str | None:
    """Return the paper that a colour from a screen is read on: the house's, else the one with most swatches."""
    by_key = {fold(name): name for name in papers.values()}
    if house_paper and fold(house_paper) in by_key:
        return by_key[fold(house_paper)]
    best = max(sorted(counts), key=lambda paper_id: counts[paper_id], default=None)
    return None if best is None else papers[best]
