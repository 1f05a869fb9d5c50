"""The works that hold a colour: the same evidence as a match, and every work whose answer is related or better."""

from __future__ import annotations

from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Paper, Run, Swatch, Variant
from archive.colour.difference import R95, delta_e_2000
from archive.services.evidence import KINDS, Evidence, load_evidence
from archive.services.finding import FindOptions, paper_ids
from archive.services.found_facts import ColourFit
from archive.services.profile import read_profile
from archive.services.recipes import layer_in_words
from archive.services.wanted import read_wanted

_VERDICTS = ("same", "close", "related")


def works_of_colour(session: Session, options: FindOptions) -> dict[int, ColourFit] | None:
    """Return the works that hold the colour `options.colour`, on the paper where one is asked; None without a colour.

    Raises
    ------
    InputError, NotFoundError
        The colour cannot be read, or the paper is not known.
    """
    if options.colour is None:
        return None
    papers = _papers(session, options.paper)
    evidence = load_evidence(session, papers[0] if papers else None)
    wanted = read_wanted(session, options.colour, evidence)
    if not len(evidence.lab):
        return {}
    profile = read_profile(session)
    distance = delta_e_2000(evidence.lab, wanted.lab)
    of_variant = dict(session.execute(select(Variant.id, Variant.work_id).where(Variant.binned_at.is_(None))).all())
    of_swatch = _variants_of_swatches(session)
    found: dict[int, ColourFit] = {}
    for row in np.argsort(distance, kind="stable"):
        if distance[row] > float(profile["verdict_related"]):
            break
        recipe = evidence.recipes[evidence.recipe[row]]
        source = evidence.sources[row]
        variant_id = of_swatch.get(source.swatch_id or 0) or recipe.variant_id
        work_id = of_variant.get(variant_id or 0)
        if work_id is not None and recipe.layers and (not papers or recipe.paper in papers):
            found.setdefault(work_id, _fit(evidence, int(row), float(distance[row]), profile))
    return found


def _papers(session: Session, text: str | None) -> list[str]:
    if text is None:
        return []
    ids = paper_ids(session, text)
    return list(session.scalars(select(Paper.name).where(Paper.id.in_(ids)).order_by(Paper.id)))


def _variants_of_swatches(session: Session) -> dict[int, int | None]:
    rows = select(Swatch.id, Swatch.variant_id, Run.variant_id).outerjoin(Run, Run.id == Swatch.run_id)
    living = session.execute(rows.where(Swatch.binned_at.is_(None)))
    return {swatch_id: own or of_run for swatch_id, own, of_run in living}


def _fit(evidence: Evidence, row: int, distance: float, profile: dict[str, Any]) -> ColourFit:
    """Return how one reading holds the colour; what is known badly is called no better than it is known."""
    recipe = evidence.recipes[evidence.recipe[row]]
    known = R95 * float(evidence.known_sd[row])
    same, close = float(profile["verdict_same"]), float(profile["verdict_close"])
    verdict = max(int(distance > same) + int(distance > close), int(known > same) + int(known > close))
    layers = (layer_in_words(each.ink, each.tint_low, each.tint_high, sure=each.is_sure) for each in recipe.layers)
    join = ", then " if recipe.order_known else " and "
    return ColourFit(distance, _VERDICTS[verdict], KINDS[evidence.kind[row]], join.join(layers))
