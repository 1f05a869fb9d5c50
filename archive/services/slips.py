"""Job slips: made for the house as it stands, and what a photographed one says of a run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import new_uid, today
from archive.catalogue.models import Ink, Machine, Paper, Person, Recipe, Run, Slip
from archive.errors import InputError, NotFoundError, Notice
from archive.imaging.codes import read_codes
from archive.imaging.job_slip import SlipReading, read_slip
from archive.output.codes import parse_code_text
from archive.output.job_slip import SlipChoices, job_slips, slip_layout
from archive.services.lookup import find_record
from archive.services.page_files import write_pages
from archive.services.profile import read_profile

_MOST = {"papers": 8, "machines": 4, "people": 6}  # that a slip offers by itself; own choice, more is a long search


@dataclass(frozen=True, slots=True)
class PrintedSlips:
    """Slips that were printed: their uids, and what each offers to tick."""

    file: str
    slips: tuple[str, ...]
    inks: tuple[str, ...]
    papers: tuple[str, ...]
    machines: tuple[str, ...]
    people: tuple[str, ...]
    boxes: int
    pages: int
    notices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SlipFacts:
    """What the ticks say of a run: layers as (ink, pass) in printing order, facts by the names of a run's fields.

    `in_doubt` names the groups that a person must look at, with the values to choose from.
    """

    layers: tuple[tuple[str, int], ...]
    paper: str | None
    facts: dict[str, str]
    in_doubt: dict[str, tuple[str, ...]]


def print_slips(
    session: Session,
    path: Path,
    *,
    inks: Sequence[str] = (),
    papers: Sequence[str] = (),
    passes: int = 2,
    count: int = 1,
) -> PrintedSlips:
    """Write new job slips as a PDF, a page each, and keep what their boxes stand for.

    Parameters
    ----------
    inks, papers : sequence of str
        What they offer; all inks in the house and the papers most used when left out.
    passes : int
        How many passes there is room for.
    count : int
        How many slips: each is for one run.

    Raises
    ------
    NotFoundError
        No such ink or paper.
    InputError
        There is no ink, or more than a page has room for.
    CatalogueError
        The file cannot be written.
    """
    choices, notices = _choices(session, inks, papers, passes)
    uids = [new_uid() for _ in range(count)]
    layouts = [slip_layout(uid, choices) for uid in uids]
    for uid, layout in zip(uids, layouts, strict=True):
        session.add(Slip(uid=uid, printed_on=today().isoformat(), layout=layout))
    session.flush()
    workshop = str(read_profile(session)["workshop_name"])
    pages = job_slips(layouts, day=today(), workshop=workshop, notices=notices)
    written = write_pages(path, pages, count)  # last: what cannot be written leaves no slip behind
    return PrintedSlips(
        written.file,
        tuple(uids),
        tuple(choices.inks),
        tuple(choices.papers),
        tuple(choices.machines),
        tuple(choices.people),
        len(layouts[0]["boxes"]),
        written.pages,
        written.notices,
    )


def _choices(
    session: Session, inks: Sequence[str], papers: Sequence[str], passes: int
) -> tuple[SlipChoices, list[Notice]]:
    notices: list[Notice] = []
    in_house = select(Ink.name).where(Ink.binned_at.is_(None), Ink.in_house, Ink.origin.is_(None))
    machines = select(Machine.name).where(Machine.binned_at.is_(None), Machine.in_house).order_by(Machine.name_key)
    offered = {
        "papers": [find_record(session, "paper", name).name for name in papers] or _papers(session),
        "machines": list(session.scalars(machines)),
        "people": _people(session),
    }
    for noun, names in offered.items():
        most = len(names) if noun == "papers" and papers else _MOST[noun]
        if left := names[most:]:
            words = {"noun": noun, "names": ", ".join(left)}
            notices.append(Notice("not_on_slip", "{noun} that have no box on the slip: {names}", words))
        offered[noun] = names[:most]
    named = [find_record(session, "ink", name).name for name in inks]
    chosen = list(dict.fromkeys(named)) or list(session.scalars(in_house.order_by(Ink.name_key)))
    drums = int(read_profile(session)["drums_per_pass"])
    return SlipChoices(inks=chosen, drums=drums, passes=passes, **offered), notices


def _papers(session: Session) -> list[str]:
    """Return the papers that are not used up, the most used first."""
    used = func.count(Recipe.id)
    query = (
        select(Paper.name)
        .outerjoin(Recipe, (Recipe.paper_id == Paper.id) & Recipe.binned_at.is_(None))
        .where(Paper.binned_at.is_(None), Paper.origin.is_(None))
        .where(Paper.sheets_left.is_(None) | (Paper.sheets_left > 0))
        .group_by(Paper.id, Paper.name, Paper.name_key)
        .order_by(used.desc(), Paper.name_key)
    )
    return list(session.scalars(query))


def _people(session: Session) -> list[str]:
    """Return who printed here, the last first."""
    query = (
        select(Person.name)
        .join(Run, Run.person_id == Person.id)
        .where(Person.binned_at.is_(None), Run.binned_at.is_(None))
        .group_by(Person.id, Person.name)
        .order_by(func.max(Run.id).desc())
    )
    return list(session.scalars(query))


def read_slip_photo(session: Session, pixels: Any) -> tuple[str, SlipReading, SlipFacts]:
    """Return the uid of the slip that a photo shows, which boxes are ticked, and what they say of the run.

    Parameters
    ----------
    pixels : (height, width, 3) ndarray of uint8 or uint16
        The upright photo.

    Raises
    ------
    InputError
        No code of a slip can be read, or the slip itself cannot.
    NotFoundError
        The slip is not one of this archive's.
    """
    said = (parse_code_text(code.text) for code in read_codes(pixels, thorough=True))
    uid = next((code.uid for code in said if code is not None and code.what == "slip"), None)
    if uid is None:
        raise InputError("no code of a job slip can be read", mend="Photograph the slip whole, flat and sharp")
    slip = session.scalars(select(Slip).where(Slip.uid == uid, Slip.binned_at.is_(None))).one_or_none()
    if slip is None:
        raise NotFoundError("no job slip {uid}", uid=uid, mend="It was printed from another archive")
    reading = read_slip(pixels, slip.layout)
    return uid, reading, slip_facts(reading.ticked, reading.in_doubt)


def slip_facts(ticked: Mapping[str, str], in_doubt: Mapping[str, tuple[str, ...]]) -> SlipFacts:
    """Return what the sure ticks of a slip say; a count with a digit in doubt is left to the person."""
    layers = tuple(
        (ink, int(group.removeprefix("ink ").partition(".")[0]))
        for group, ink in sorted(ticked.items())
        if group.startswith("ink ")
    )
    facts = {name: ticked[name] for name in ("machine", "density", "speed", "person") if name in ticked}
    for noun in ("good", "spoiled"):
        digits = {group: digit for group, digit in ticked.items() if group.startswith(f"{noun} ")}
        if digits and not any(group.startswith(f"{noun} ") for group in in_doubt):
            facts[noun] = str(sum(int(group.split()[1]) * int(digit) for group, digit in digits.items()))
    return SlipFacts(layers, ticked.get("paper"), facts, dict(in_doubt))
