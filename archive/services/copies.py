"""Which copy stands for a variant, and which work a copy is of."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Appearance, Copy, Variant, Work


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


def work_of_copy(session: Session, copy_id: int | None) -> str | None:
    """Return the ref of the work that a copy shows; of several, the one that was entered on it first."""
    query = (
        select(Work.ref)
        .join(Variant, Variant.work_id == Work.id)
        .join(Appearance, Appearance.variant_id == Variant.id)
        .where(Appearance.copy_id == copy_id, Appearance.binned_at.is_(None))
        .order_by(Appearance.id)
    )
    return session.scalars(query).first() if copy_id is not None else None
