"""Writing a printing down in under a minute: what is not said is proposed from the last run."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.history import Act
from archive.catalogue.identity import today
from archive.catalogue.models import Run, Variant
from archive.services.kinds import kind_of
from archive.services.lookup import find_record
from archive.services.pictures import keep_files, read_picture, store_picture
from archive.services.profile import read_profile
from archive.services.records import Record, add_record, as_record
from archive.services.told import Told, read_told
from archive.services.work_cards import paper_of
from archive.services.works import copy_for_pictures, ink_names, tell_variant

_PROPOSED = ("machine", "density", "speed", "screen", "person")


@dataclass(frozen=True, slots=True)
class NewRun:
    """A printing as it is written down; everything may be left out but something."""

    of: str | None
    facts: dict[str, Any]
    inks: str = ""
    paper: str | None = None
    pictures: tuple[Path, ...] = ()
    as_last: bool = True
    title: str = ""


@dataclass(frozen=True, slots=True)
class RunCard:
    """A run as it was written, which facts were taken from the last one, and what to know of it."""

    record: Record
    work: str
    taken_from_last: tuple[str, ...]
    notes: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the run as one JSON object."""
        extra = {"work": self.work, "taken_from_last": list(self.taken_from_last), "notes": list(self.notes)}
        return {**self.record.as_json(), **extra}


def add_run(catalogue: Catalogue, new: NewRun, act: Act) -> RunCard:
    """Write a run down as one change; a work is made for it when none is named.

    Raises
    ------
    InputError, NotFoundError
        Something given cannot be read; nothing was written.
    """
    with catalogue.read() as session:
        limit = float(read_profile(session)["largest_megapixels"])
    read = [read_picture(path, max_megapixels=limit) for path in new.pictures]
    for picture in read:
        keep_files(catalogue.files, picture)
    with catalogue.write(act) as session:
        variant = _variant(session, new)
        notes: list[str] = []
        if new.inks or new.paper:
            notes += _tell(session, variant, new)
        proposed = proposed_facts(session) if new.as_last else {}
        facts = {**proposed, "printed-on": today().isoformat(), **new.facts, "variant": variant.ref}
        record = add_record(session, "run", None, facts)
        session.get_one(Run, record.id).recipe_id = variant.recipe_id
        for picture in read:
            copy_id, appearance_id = copy_for_pictures(session, variant.ref)
            notes += store_picture(session, picture, copy_id, appearance_id).notes
        session.flush()
        run = as_record(session, kind_of("run"), session.get_one(Run, record.id))
        taken = tuple(name for name in proposed if name not in new.facts)
        return RunCard(run, variant.ref, taken, tuple(notes))


def proposed_facts(session: Session) -> dict[str, str]:
    """Return the settings of the last run, as a person would give them."""
    query = select(Run).where(Run.binned_at.is_(None)).order_by(Run.id.desc()).limit(1)
    last = session.scalars(query).first()
    if last is None:
        return {}
    facts = as_record(session, kind_of("run"), last).facts
    return {name: str(facts[name]) for name in _PROPOSED if facts[name] not in (None, "")}


def _variant(session: Session, new: NewRun) -> Variant:
    if new.of is not None:
        found: Variant = find_record(session, "variant", new.of)
        return found
    work = add_record(session, "work", None, {"title": new.title} if new.title else {})
    return session.get_one(Variant, add_record(session, "variant", None, {"work": work.label}).id)


def _tell(session: Session, variant: Variant, new: NewRun) -> list[str]:
    told = read_told(new.inks, known_inks=ink_names(session)) if new.inks else Told((), False, "")
    paper_id = find_record(session, "paper", new.paper).id if new.paper else paper_of(session, variant)
    return tell_variant(session, variant, told, paper_id)
