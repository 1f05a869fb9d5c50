"""Which copy stands for a variant."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Appearance, Copy


def first_copies(session: Session, variant_ids: set[int]) -> dict[int, int]:
    """Return the first living copy of each variant, the reference copy before others."""
    query = (
        select(Appearance.variant_id, Copy)
        .join(Copy, Copy.id == Appearance.copy_id)
        .where(Appearance.variant_id.in_(variant_ids), Appearance.binned_at.is_(None), Copy.binned_at.is_(None))
    )
    found: dict[int, Copy] = {}
    for variant_id, copy in session.execute(query):
        best = found.get(variant_id)
        if best is None or (copy.role != "reference", copy.id) < (best.role != "reference", best.id):
            found[variant_id] = copy
    return {variant_id: copy.id for variant_id, copy in found.items()}
