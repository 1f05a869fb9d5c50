"""What the camera of a sitting gets wrong on one pair of inks, learnt from swatches that an instrument measured too.

It is learnt for each sitting by itself: camera, light and correction are one there, and a change of any of them changes
what is left over. Frames that their own card corrected, or whose tones the camera seems to have mapped, take no part.
Nothing is kept: the swatches are the record, and nine of them are read in a moment.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from archive.catalogue.models import Frame, Layer, Measurement, Picture, Recipe, Sitting, Swatch
from archive.colour.camera_pair import FEWEST_PATCHES, PairResidual, learn_pair
from archive.colour.spaces import xyz_to_lab

Inks = frozenset[int]
Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class LearntPair:
    """What was learnt of a pair, and from how many patches."""

    residual: PairResidual
    patches: int


@dataclass(frozen=True, slots=True)
class _Both:
    """One patch by camera and by instrument."""

    inks: Inks
    camera: Lab
    measured: Lab


def learnt_of_pair(session: Session, picture: Picture, recipe: Recipe) -> LearntPair | None:
    """Return what is known of the pair that a recipe is of, in the sitting that took a picture; None for too little.

    A pair's patches are those of one or both of its inks on the recipe's paper. One ink alone goes with the pair that
    has most of them.
    """
    sitting_id = _sitting_of(session, picture)
    inks = frozenset(session.scalars(select(Layer.ink_id).where(Layer.recipe_id == recipe.id)))
    if sitting_id is None or None in inks or not 1 <= len(inks) <= 2:
        return None
    both = _measured_twice(session, sitting_id, recipe.paper_id)
    pairs = sorted({each.inks | inks for each in both if len(each.inks | inks) <= 2}, key=sorted)
    counts = {pair: sum(each.inks <= pair for each in both) for pair in pairs}
    best = max(pairs, key=lambda pair: counts[pair], default=inks)
    if counts.get(best, 0) < FEWEST_PATCHES:
        return None
    own = [each for each in both if each.inks <= best]
    return LearntPair(learn_pair([each.camera for each in own], [each.measured for each in own]), len(own))


def _sitting_of(session: Session, picture: Picture) -> int | None:
    """Return the sitting whose correction, as it stands, a picture's colours are read through."""
    query = _frames().where(Frame.picture_id == picture.id).with_only_columns(Frame.sitting_id)
    return session.scalars(query.order_by(Frame.id)).first()


def _frames() -> Select[Any]:
    """Return the query of the pictures that a sitting's own correction holds for: not a frame's own, nor one widened.

    A frame's claim is wider than its sitting's where the camera seems to have mapped its tones.
    """
    return (
        select(Frame.picture_id)
        .join(Sitting, Sitting.id == Frame.sitting_id)
        .where(Frame.status == "taken", Frame.correction.is_(None), Frame.picture_id.is_not(None))
        .where(Frame.claim <= Sitting.claim, Frame.binned_at.is_(None))
    )


def _measured_twice(session: Session, sitting_id: int, paper_id: int | None) -> list[_Both]:
    """Return the patches on a paper that were read off the sitting's frames and by an instrument."""
    query = (
        select(Swatch, Measurement)
        .join(Measurement, Measurement.swatch_id == Swatch.id)
        .join(Recipe, Recipe.id == Swatch.recipe_id)
        .where(Recipe.paper_id == paper_id, Swatch.method == "instrument", Swatch.out_of_range.is_(False))
        .where(Measurement.method == "camera", Measurement.claim.is_not(None))
        .where(Swatch.binned_at.is_(None), Measurement.binned_at.is_(None))
        .where(Swatch.picture_id.in_(_frames().where(Frame.sitting_id == sitting_id)))
        .order_by(Swatch.id, Measurement.id)
    )
    found = {swatch.id: (swatch, reading) for swatch, reading in session.execute(query)}
    inks = _inks_of(session, {swatch.recipe_id or 0 for swatch, _ in found.values()})
    return [
        _Both(inks[swatch.recipe_id or 0], _as_the_camera_saw(reading), _standing(swatch))
        for swatch, reading in found.values()
        if swatch.recipe_id in inks
    ]


def _inks_of(session: Session, recipe_ids: set[int]) -> dict[int, Inks]:
    found: dict[int, set[int]] = {}
    query = select(Layer.recipe_id, Layer.ink_id).where(Layer.recipe_id.in_(recipe_ids))
    for recipe_id, ink_id in session.execute(query):
        found.setdefault(recipe_id, set()).add(ink_id or 0)
    return {recipe_id: frozenset(ids) for recipe_id, ids in found.items() if 0 not in ids}


def _standing(swatch: Swatch) -> Lab:
    return swatch.lab_l or 0.0, swatch.lab_a or 0.0, swatch.lab_b or 0.0  # none is missing where a method stands


def _as_the_camera_saw(reading: Measurement) -> Lab:
    """Return a reading's Lab before what was learnt of its pair was added: that is kept beside it as XYZ."""
    if reading.xyz is None:
        return reading.lab_l, reading.lab_a, reading.lab_b
    lab_l, lab_a, lab_b = (float(part) for part in xyz_to_lab(reading.xyz))
    return lab_l, lab_a, lab_b
