"""What the archive knows of itself."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Fact


def archive_uid(session: Session) -> str:
    """Return what tells this archive from others."""
    return session.scalar(select(Fact.value).where(Fact.key == "archive_uid")) or ""
