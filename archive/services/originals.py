"""Which files of the originals the archive's rows name."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Picture, SittingShot, StripReading

_NAMING = (SittingShot, StripReading, Picture)  # a picture's name is the one that is told, where both name a file


def named_originals(session: Session, *, in_bin: bool | None = None) -> dict[str, str]:
    """Return the file name by SHA-256 of every original that a row names.

    Parameters
    ----------
    in_bin : bool, optional
        Only those of rows in the bin, or only those of living rows; else of both.
    """
    found: dict[str, str] = {}
    for model in _NAMING:
        query = select(model.sha256, model.name).order_by(model.id)
        if in_bin is not None:
            query = query.where(model.binned_at.is_not(None) if in_bin else model.binned_at.is_(None))
        found.update(dict(session.execute(query).all()))
    return found
