"""A work as a row of a list: the texts of its facts, as they are compared with somebody's list and put into a sheet."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.identity import fold
from archive.catalogue.models import Appearance, Copy, Paper, Person, Picture, Place, Recipe, Variant, Work, WorkPerson
from archive.errors import CatalogueError, InputError
from archive.exchange.work_sheet import SheetRow, blank_sheet
from archive.imaging.thumbnails import LONG_SIDES
from archive.services.kinds import kind_of
from archive.services.pictures import thumbnail_name
from archive.services.work_cards import inks_in_words

PEOPLE = ("maker", "artist", "printer")
KINDS = kind_of("work").field("kind").choices
_KIND_WORDS = {  # words of other lists for our kinds; common practice
    "poster": "print, plakat, affiche, broadside",
    "zine": "fanzine, magazine, heft, revue",
    "book": "artist's book, buch, livre, booklet",
    "card": "postcard, karte, postkarte, carte, carte postale",
    "test": "proof, trial, probe, probedruck, essai, epreuve",
}
_KIND_OF = {word: kind for kind, words in _KIND_WORDS.items() for word in words.split(", ")}
_PEOPLE_BREAK = re.compile(r"\s*(?:;|&|\+|/|\band\b|\bund\b|\bet\b)\s*", re.IGNORECASE)
_ASKED = ("title", "date", "inks")  # a work without one of these is worth a row to fill in


@dataclass(frozen=True, slots=True)
class ListedWork:
    """A work, its first variant and first copy, and the text of each fact by field; what is not known is missing."""

    work: Work
    variant: Variant | None
    copy: Copy | None
    texts: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ListRow:
    """One row as it is understood: texts by field, and the cells as they stood."""

    line: int
    texts: dict[str, str]
    cells: dict[str, str]
    here: ListedWork | None = None
    fills: tuple[str, ...] = ()


def kind_word(text: str) -> str | None:
    """Return our kind for somebody's word; None when it is none."""
    plain = fold(text)
    singular = plain.removesuffix("s")
    for word in (plain, singular):
        if word in KINDS:
            return word
        if word in _KIND_OF:
            return _KIND_OF[word]
    return None


def people_in(text: str) -> list[str]:
    """Return the names in a cell, parted at `;`, `&`, `+`, `/` and "and"; a comma stays inside a name."""
    return [" ".join(part.split()) for part in _PEOPLE_BREAK.split(text) if part.strip(" ?")]


def listed_works(session: Session, works: Sequence[Work]) -> list[ListedWork]:
    """Return works as rows of a list, in their order."""
    ids = {work.id for work in works}
    variants: dict[int, Variant] = {}
    for variant in session.scalars(select(Variant).where(Variant.binned_at.is_(None)).order_by(Variant.id)):
        if variant.work_id in ids:
            variants.setdefault(variant.work_id, variant)
    copies = _first_copies(session)
    people: dict[tuple[int, str], list[str]] = defaultdict(list)
    links = (
        select(WorkPerson, Person.name)
        .join(Person, Person.id == WorkPerson.person_id)
        .order_by(Person.id, WorkPerson.role)
    )
    for link, name in session.execute(links):
        people[link.work_id, link.role].append(name)
    names = {role: {work_id: "; ".join(who) for (work_id, r), who in people.items() if r == role} for role in PEOPLE}
    found = []
    for work in works:
        first, copy = variants.get(work.id), copies.get(work.id)
        texts = {
            "ref": work.ref,
            "title": work.title,
            "kind": work.kind,
            "date": work.date_text,
            **{role: names[role].get(work.id, "") for role in PEOPLE},
            **_recipe_texts(session, first),
            "place": _place_path(session, copy),
            "edition": copy.edition if copy else "",
            "old_number": work.old_number,
            "note": work.note,
        }
        found.append(ListedWork(work, first, copy, {name: text for name, text in texts.items() if text}))
    return found


def _first_copies(session: Session) -> dict[int, Copy]:
    query = (
        select(Variant.work_id, Copy)
        .join(Appearance, Appearance.variant_id == Variant.id)
        .join(Copy, Copy.id == Appearance.copy_id)
        .where(Variant.binned_at.is_(None), Appearance.binned_at.is_(None), Copy.binned_at.is_(None))
        .order_by(Copy.id.desc())
    )
    return dict(session.execute(query).all())


def _recipe_texts(session: Session, variant: Variant | None) -> dict[str, str]:
    recipe = session.get(Recipe, variant.recipe_id) if variant and variant.recipe_id else None
    if recipe is None:
        return {}
    paper = session.get(Paper, recipe.paper_id) if recipe.paper_id else None
    return {"inks": recipe.words or inks_in_words(session, recipe), "paper": paper.name if paper else ""}


def _place_path(session: Session, copy: Copy | None) -> str:
    place = session.get(Place, copy.place_id) if copy and copy.place_id else None
    return place.path if place else ""


def write_work_sheet(catalogue: Catalogue, path: Path, *, limit: int = 500) -> int:
    """Write a workbook to fill in: a row for each work that lacks title, date or inks, with its picture.

    Returns
    -------
    int
        How many works have a row; blank rows for new ones follow.

    Raises
    ------
    InputError
        A text of a work is longer than a cell can hold.
    CatalogueError
        The file cannot be written.
    """
    if path.suffix.lower() != ".xlsx":
        raise InputError("the sheet is a workbook", where=str(path), mend="Give it a name that ends in .xlsx")
    with catalogue.read() as session:
        works = session.scalars(select(Work).where(Work.binned_at.is_(None)).order_by(Work.id)).all()
        lacking = [row for row in listed_works(session, works) if not all(row.texts.get(name) for name in _ASKED)]
        rows = [SheetRow(row.texts, _thumbnail(catalogue, session, row)) for row in lacking[:limit]]
        papers = session.scalars(select(Paper.name).where(Paper.binned_at.is_(None), Paper.origin.is_(None)))
        places = session.scalars(select(Place.path).where(Place.binned_at.is_(None)))
        choices = {"kind": KINDS, "paper": tuple(papers.all()), "place": tuple(places.all())}
    data = blank_sheet(rows, choices={name: words for name, words in choices.items() if words})
    try:
        path.write_bytes(data)
    except OSError as exc:
        mend = "Choose another place"
        raise CatalogueError("cannot write the file: {why}", why=exc.strerror, where=str(path), mend=mend) from exc
    return len(rows)


def _thumbnail(catalogue: Catalogue, session: Session, row: ListedWork) -> bytes | None:
    """Return the small picture of a work's first copy; none where there is none, or it has to be made again."""
    if row.copy is None:
        return None
    shown = select(Picture.sha256).where(Picture.copy_id == row.copy.id, Picture.binned_at.is_(None))
    sha256 = session.scalars(shown.order_by(Picture.id)).first()
    path = catalogue.files.derived_path(thumbnail_name(sha256, LONG_SIDES[0])) if sha256 else None
    return path.read_bytes() if path is not None and path.is_file() else None
