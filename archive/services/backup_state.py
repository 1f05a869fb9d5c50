"""When the archive was last backed up, and the words for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Fact
from archive.services.profile import read_profile

_FORMAT = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True, slots=True)
class BackupState:
    """The last verified backup: when, where to, and how many days ago; days count from the start if there is none."""

    at: str | None
    to: str | None
    days: float


def backup_state(session: Session) -> BackupState:
    """Return when the last backup was."""
    facts: dict[str, Any] = dict(session.execute(select(Fact.key, Fact.value)).all())
    last = facts.get("last_backup") or {}
    since = last.get("at") or facts.get("started_at")
    days = 0.0
    if since:
        then = datetime.strptime(since, _FORMAT).replace(tzinfo=UTC)
        days = (datetime.now(UTC) - then).total_seconds() / 86400
    return BackupState(last.get("at"), last.get("to"), days)


def backup_warning(session: Session) -> str:
    """Return loud words when the last backup is too long ago, else nothing."""
    state = backup_state(session)
    limit = float(read_profile(session)["backup_days"])
    if state.days <= limit:
        return ""
    when = f"The last backup is {state.days:.0f} days old" if state.at else "This archive was never backed up"
    return f"!!! {when.upper()}. One disk is no archive: inkchest backup /path/to/stick"


def backup_words(session: Session) -> str:
    """Return a quiet line on the last backup, or the loud one."""
    loud = backup_warning(session)
    if loud:
        return loud
    state = backup_state(session)
    if state.at is None:
        return "No backup yet: inkchest backup /path/to/stick"
    return f"Last backup {state.at[:10]}, to {state.to}."
