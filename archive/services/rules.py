"""What each kind of record keeps true when it is added or edited."""

from __future__ import annotations

import re
import string
from collections.abc import Callable
from typing import Any

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from archive.catalogue.dates import read_date
from archive.catalogue.identity import fold
from archive.catalogue.models import (
    Appearance,
    Copy,
    Drum,
    DrumFit,
    Filling,
    Ink,
    Machine,
    Person,
    Place,
    Run,
    Variant,
    Work,
    WorkPerson,
)
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.fields import readable
from archive.services.kinds import Kind, with_article
from archive.services.lookup import PATH_BREAK, find_record
from archive.services.profile import read_profile

Links = dict[str, Any]


def prepare(session: Session, kind: Kind, row: Any, label: str | None, links: Links) -> None:
    """Complete a row before it is written: its label, its folded key, what follows from its fields."""
    if label is not None and kind.noun != "place":
        setattr(row, kind.label, _clean(label, kind))
    rule = _RULES.get(kind.noun)
    if rule is not None:
        rule(session, row, label, links)
    refresh(session, row)


def refresh(session: Session, row: Any) -> None:
    """Work out the columns of a row that follow from others: folded keys, paths, dates, search text."""
    if isinstance(row, Place):
        _place_path(session, row)
    if isinstance(row, Work):
        _work_dates(session, row)
        if row.id is not None:
            write_search_text(session, row)
    for column in type(row).__table__.columns:
        stem, _, end = column.key.rpartition("_")
        if end == "key" and column.info.get("derived"):
            setattr(row, column.key, fold(str(getattr(row, stem) or "")))


def after_edit(session: Session, kind: Kind, row: Any) -> None:
    """Write what follows from rows that are linked to the record."""
    if kind.noun == "work":
        write_search_text(session, row)
    if kind.noun == "person":
        parts = select(WorkPerson.work_id).where(WorkPerson.person_id == row.id)
        for work in session.scalars(select(Work).where(Work.id.in_(parts))):
            write_search_text(session, work)
    if kind.noun == "drum":
        _refuse_misfit(session, row)


def after_add(session: Session, kind: Kind, row: Any, links: Links) -> None:
    """Write what only a row with an id can have."""
    if kind.noun == "copy" and links.get("of") is not None:
        session.add(Appearance(copy_id=row.id, variant_id=links["of"], role=links.get("as") or "front"))
    after_edit(session, kind, row)


def _clean(label: str, kind: Kind) -> str:
    text = " ".join(readable(label, f"{kind.noun}, {kind.label}").split())
    if not text or len(text) > 200:
        raise InputError(
            "{noun}'s {label} is 1 to 200 characters long",
            noun=with_article(kind.noun),
            label=kind.label,
            mend="Shorten it",
        )
    return text


def _ink(_session: Session, row: Ink, _label: str | None, _links: Links) -> None:
    if row.looks and not re.fullmatch(r"#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})|lab:.+", row.looks):
        raise InputError(
            "{looks} is no colour",
            looks=row.looks,
            where=f"ink {row.name}, looks",
            mend="Write it as '#2a5ea8' (in quotes) or 'lab:40,10,-45'",
        )


def _drum(session: Session, row: Drum, _label: str | None, _links: Links) -> None:
    _settle_state(row)
    if row.machine_id is None:
        if row.state == "loaded":
            raise InputError("a loaded drum sits on a machine", where=f"drum {row.number}", mend="Add --machine NAME")
        row.position = None
        return
    machine = session.get_one(Machine, row.machine_id)
    others = session.scalars(
        select(Drum).where(Drum.machine_id == machine.id, Drum.binned_at.is_(None), Drum.id != (row.id or 0))
    ).all()
    taken = {drum.position: drum for drum in others}
    if row.position is None:
        row.position = _free_position(row, machine, taken)
    if not 1 <= row.position <= machine.drums:
        raise InputError(
            "{machine} takes {drums} drums",
            machine=machine.name,
            drums=machine.drums,
            where=f"drum {row.number}",
            mend=f"Use a position from 1 to {machine.drums}",
        )
    if row.position in taken:  # a drum that goes on takes the place of the one that was there
        lifted = taken[row.position]
        lifted.state, lifted.machine_id, lifted.position = "away", None, None


def _settle_state(row: Drum) -> None:
    """Make state, machine and position of a drum agree: what was said last holds."""
    moved, told = _was_set(row, "machine_id"), _was_set(row, "state")
    if row.id is not None and moved and not _was_set(row, "position"):
        row.position = None  # its place on the machine it sat on says nothing of the new one
    if row.machine_id is not None and row.state != "loaded" and (row.state == "empty" or (told and not moved)):
        row.machine_id = None
    if row.machine_id is not None:
        row.state = "loaded"
    elif row.state == "loaded" and moved and not told:
        row.state = "away"


def _was_set(row: Any, column: str) -> bool:
    return row.id is not None and bool(inspect(row).attrs[column].history.has_changes())


def _free_position(row: Drum, machine: Machine, taken: dict[int | None, Drum]) -> int:
    for position in range(1, machine.drums + 1):
        if position not in taken:
            return position
    raise ConflictError(
        "{machine} is full: {drums} sit on it",
        machine=machine.name,
        drums=", ".join(f"drum {drum.number}" for drum in taken.values()),
        where=f"drum {row.number}",
        mend="Take one off (`inkchest drum edit NUMBER --state away`), or say --position",
    )


def _refuse_misfit(session: Session, row: Drum) -> None:
    fits = set(session.scalars(select(DrumFit.machine_id).where(DrumFit.drum_id == row.id)))
    if row.machine_id is not None and fits and row.machine_id not in fits:
        names = session.scalars(select(Machine.name).where(Machine.id.in_(fits)).order_by(Machine.id))
        raise InputError(
            "the drum does not fit {machine}",
            machine=session.get_one(Machine, row.machine_id).name,
            where=f"drum {row.number}",
            mend=f"It fits {', '.join(names)}; say --fits for another machine",
        )


def _filling(session: Session, row: Filling, _label: str | None, links: Links) -> None:
    if row.ink_id is None and row.drum_id is not None:
        row.ink_id = session.get_one(Drum, row.drum_id).ink_id
    if row.ink_id is None and links.get("mix"):
        row.ink_id = links["mix"][0][0]
    if row.ink_id is None:
        raise InputError("a filling needs an ink", mend="Add --ink NAME or --drum NUMBER")
    if not row.name:
        ink = session.get_one(Ink, row.ink_id)
        stem = " ".join(part for part in (ink.name, row.batch or row.since or "") if part)
        row.name = _numbered(session, Filling.name_key, stem, " ")


def _place(session: Session, row: Place, label: str | None, _links: Links) -> None:
    if label is not None:
        row.name = " ".join(readable(label, "place, name").split())
    *outer, name = [part.strip() for part in (row.name or "").split("/")]
    if not name or not all(outer):
        raise InputError("a place needs a name", where=row.name or "", mend="Give it one: Box 14")
    if outer:
        row.name = name
        row.parent_id = _inner_place(session, outer)
    if row.id is None and row.kind == "box":
        row.kind = guessed_kind(row.name)


def _place_path(session: Session, row: Place) -> None:
    ancestors = _ancestors(session, row)
    row.path = PATH_BREAK.join([*(place.name for place in reversed(ancestors)), row.name])
    if row.id is not None:
        _repath(session, row)


def _inner_place(session: Session, names: list[str]) -> int | None:
    """Return the place at the end of a path of names, making those that are not there yet.

    The first of them may itself be inside another: "Plan chest 2 / drawer 5" is the one chest of that name.
    """
    try:
        parent: Place | None = find_record(session, "place", names[0])
    except NotFoundError:
        parent = None
    for name in names if parent is None else names[1:]:
        path = f"{parent.path}{PATH_BREAK}{name}" if parent else name
        found = session.scalars(select(Place).where(Place.path_key == fold(path), Place.binned_at.is_(None))).first()
        if found is None:
            found = Place(
                name=name, path=path, path_key=fold(path), kind=guessed_kind(name), parent_id=parent and parent.id
            )
            session.add(found)
            session.flush()
        parent = found
    return parent.id if parent else None


def guessed_kind(name: str) -> str:
    """Return what a place is by the word in its name; a box when no word says."""
    folded = fold(name)
    for word in ("drawer", "chest", "shelf", "folder", "box", "room"):
        if word in folded:
            return word
    return "box"


def _ancestors(session: Session, row: Place) -> list[Place]:
    found: list[Place] = []
    parent_id = row.parent_id
    while parent_id is not None:
        if parent_id == row.id or any(place.id == parent_id for place in found):
            raise InputError(
                "a place cannot be inside itself", where=f"place {row.name}", mend="Choose another place for --in"
            )
        parent = session.get_one(Place, parent_id)
        found.append(parent)
        parent_id = parent.parent_id
    return found


def _repath(session: Session, row: Place) -> None:
    inside = select(Place).where(Place.parent_id == row.id, Place.binned_at.is_(None))
    children = session.scalars(inside.order_by(Place.id)).all()
    for child in children:
        child.path = f"{row.path}{PATH_BREAK}{child.name}"
        child.path_key = fold(child.path)
        _repath(session, child)


def _work(session: Session, row: Work, _label: str | None, _links: Links) -> None:
    if not row.ref:
        row.ref = next_ref(session, str(read_profile(session)["ref_prefix"]))


def _work_dates(session: Session, row: Work) -> None:
    written = read_date(row.date_text or "", about_years=int(read_profile(session)["about_years"]))
    row.date_edtf = written.edtf
    row.date_earliest, row.date_latest = written.earliest, written.latest
    row.date_sort_earliest, row.date_sort_latest = written.sort_earliest, written.sort_latest


def next_ref(session: Session, prefix: str) -> str:
    """Return the next free work number with the prefix; refs are never used again, not even of binned works."""
    taken = session.scalars(select(Work.ref).where(Work.ref_key.startswith(fold(prefix), autoescape=True)))
    numbers = [int(found.group(1)) for ref in taken if (found := re.fullmatch(re.escape(prefix) + r"(\d+)", ref))]
    return f"{prefix}{max(numbers, default=0) + 1:04d}"


def write_search_text(session: Session, row: Work) -> None:
    """Refresh the folded text that a work is found by: ref, titles, numbers, notes, people."""
    people = session.scalars(
        select(Person.name)
        .join(WorkPerson, WorkPerson.person_id == Person.id)
        .where(WorkPerson.work_id == row.id)
        .order_by(Person.id, WorkPerson.role)
    )
    parts = [row.ref, row.title, row.old_number, row.kind, row.date_text, row.note, *people]
    row.search_text = fold(" ".join(part for part in parts if part))


def _variant(session: Session, row: Variant, _label: str | None, _links: Links) -> None:
    if row.work_id is None:
        raise InputError("a variant belongs to a work", mend="Add --work REF")
    if row.ref:
        return
    work = session.get_one(Work, row.work_id)
    siblings = session.scalars(select(Variant.ref_key).where(Variant.work_id == row.work_id)).all()
    taken = set(
        session.scalars(select(Variant.ref_key).where(Variant.ref_key.startswith(fold(work.ref), autoescape=True)))
    )
    count = len(siblings)
    while fold(ref := f"{work.ref}{string.ascii_lowercase[count % 26]}{count // 26 or ''}") in taken:
        count += 1  # the bin was emptied of an earlier one, or somebody gave that ref
    row.ref = ref
    if siblings and row.kind == "first":
        row.kind = "colourway"


def _copy(session: Session, row: Copy, _label: str | None, links: Links) -> None:
    of = links.get("of")
    if row.id is not None and links:
        raise InputError(
            "what is on a copy is said when it is added", where=f"copy {row.ref}", mend="Use `inkchest appearance add`"
        )
    if row.ref:
        return
    if of is None:
        raise InputError("a copy needs a ref, or the work it is of", mend="Add --of REF")
    work = session.get_one(Work, session.get_one(Variant, of).work_id)
    row.ref = _numbered(session, Copy.ref_key, f"{work.ref}/", "", first=True)


def _appearance(session: Session, row: Appearance, _label: str | None, _links: Links) -> None:
    if row.copy_id is None or row.variant_id is None:
        raise InputError("an appearance is a variant on a copy", mend="Add --copy REF --variant REF")


def _file(session: Session, row: Any, _label: str | None, _links: Links) -> None:
    if row.variant_id is None or not row.name:
        raise InputError("a job's file has a name and a variant", mend="Add --variant REF --name NAME")


def _run(session: Session, row: Run, _label: str | None, _links: Links) -> None:
    if not row.ref:
        stem = "R-"
        if row.variant_id is not None:
            work = session.get_one(Work, session.get_one(Variant, row.variant_id).work_id)
            stem = f"{work.ref}/r"
        row.ref = _numbered(session, Run.ref_key, stem, "", first=True)


def _numbered(session: Session, column: Any, stem: str, gap: str, *, first: bool = False) -> str:
    """Return the stem, or the stem and the first number that makes it unused (binned rows count)."""
    taken = set(session.scalars(select(column).where(column.startswith(fold(stem), autoescape=True))))
    if not first and fold(stem) not in taken:
        return stem
    number = 1 if first else 2
    while fold(f"{stem}{gap}{number}") in taken:
        number += 1
    return f"{stem}{gap}{number}"


_RULES: dict[str, Callable[[Session, Any, str | None, Links], None]] = {
    "ink": _ink,
    "drum": _drum,
    "filling": _filling,
    "place": _place,
    "work": _work,
    "variant": _variant,
    "copy": _copy,
    "appearance": _appearance,
    "file": _file,
    "run": _run,
}
