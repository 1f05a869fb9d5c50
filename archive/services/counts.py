"""How many living records of each kind there are."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.models import Ink, Machine, Paper, Picture, Swatch, Work

_COUNTED: tuple[tuple[str, Any], ...] = (
    ("inks", Ink),
    ("machines", Machine),
    ("papers", Paper),
    ("works", Work),
    ("pictures", Picture),
    ("swatches", Swatch),
)


def count_records(session: Session) -> dict[str, int]:
    """Return the number of living inks, machines, papers, works, pictures and swatches."""
    return {
        noun: session.scalar(select(func.count()).select_from(model).where(model.binned_at.is_(None))) or 0
        for noun, model in _COUNTED
    }


def list_loose_pictures(session: Session) -> list[tuple[str, str]]:
    """Return uid and file name of pictures that belong to no copy yet, oldest first."""
    query = select(Picture.uid, Picture.name).where(Picture.copy_id.is_(None), Picture.binned_at.is_(None))
    return list(session.execute(query.order_by(Picture.id)))
