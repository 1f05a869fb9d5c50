"""Forgetting a person."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select, text

from archive.catalogue import database
from archive.catalogue.base import Base
from archive.catalogue.database import Catalogue, open_archive
from archive.catalogue.identity import fold
from archive.catalogue.models import Edit, User
from archive.errors import CatalogueError, NotFoundError
from archive.services.check import check_archive
from archive.services.claims import Saying, add_claim, list_claims
from archive.services.finding import FindOptions, find_works
from archive.services.people import forget_person
from archive.services.records import edit_record
from tests.acts import act
from tests.services.keeping import add, edit, enter, newest, remove, show

NAME = "Élodie Penfold"


def forget(catalogue: Catalogue, name: str, by: str = "Ada Quill") -> int:
    with catalogue.write(act("forget a person", kind="forget", by=by)) as session:
        return forget_person(session, name)


def texts(catalogue: Catalogue) -> list[tuple[str, str]]:
    """Return every text in the database that SQL can see, with its table and column."""
    found = []
    with catalogue.read() as session:
        for table in Base.metadata.sorted_tables:
            for row in session.execute(text(f"SELECT * FROM {table.name}")).mappings():
                found += [(f"{table.name}.{name}", value) for name, value in row.items() if isinstance(value, str)]
    return found


def mentions(catalogue: Catalogue, name: str) -> list[tuple[str, str]]:
    words = fold(name).split()
    return [(where, value) for where, value in texts(catalogue) if any(word in fold(value) for word in words)]


def fill(catalogue: Catalogue) -> None:
    """Write the name wherever a person may write it, and leave older values in the history and in freed pages."""
    add(catalogue, "person", "Elodie Penfld", note="the typo of the first day")
    edit(catalogue, "person", "Elodie Penfld", rename=NAME, note=f"{NAME} lives above the shop")
    enter(
        catalogue,
        "QA-0042",
        title=f"Portrait of {NAME.upper()}",
        maker=(f"{NAME}=artist",),
        inks=f"blue over yellow, said {NAME}",
        said_by=NAME,
        place=f"{NAME}'s drawer",
        note=f"Gift of elodie  penfold, 2019. {'x' * 3000}",
    )
    edit(catalogue, "work", "QA-0042", note=f"Given by {NAME}. {'y' * 9000}")
    edit(catalogue, "work", "QA-0042", note="short again")
    edit(catalogue, "copy", "QA-0042/1", person=NAME, whereabouts="lent", note=f"{NAME} asked for it twice")
    with catalogue.write(act(f"as {NAME} told it", by=NAME)) as session:
        saying = Saying("order", f"yellow first, {NAME} thinks", by=NAME, words=f"{NAME}: it was yellow")
        add_claim(session, "work", "QA-0042", saying)
    with catalogue.write(act(by="Elodie Penfld")) as session:
        edit_record(session, "work", "QA-0042", {"old-number": "7"})
    remove(catalogue, "work", "QA-0042")
    enter(catalogue, "QA-0043", note=f"found under a print of {NAME}")


def test_the_name_leaves_every_text_of_the_archive(catalogue: Catalogue) -> None:
    fill(catalogue)
    assert len(mentions(catalogue, NAME)) > 15
    assert forget(catalogue, NAME) > 15
    assert mentions(catalogue, NAME) == []
    assert mentions(catalogue, "Penfld") == []  # nor the name it had before
    assert [damage for damage in check_archive(catalogue) if damage.is_harm] == []


def test_the_name_leaves_the_files_bytes_too(catalogue: Catalogue) -> None:
    fill(catalogue)
    forget(catalogue, "élodie penfold")
    needles = [form.encode() for form in ("lodie", "LODIE", "Penfold", "PENFOLD", "penfold", "Penfld", "penfld")]
    for moment in ("open", "closed"):
        paths = [path for path in catalogue.folder.rglob("*") if path.is_file()]
        assert any(path.name == "archive.sqlite3" for path in paths)
        for path in paths:
            content = path.read_bytes()
            assert not [needle for needle in needles if needle in content], (moment, path.name)
        catalogue.close()


def test_the_part_in_works_stays_without_the_name(catalogue: Catalogue) -> None:
    add(catalogue, "person", "Wren Tallow")
    enter(catalogue, "QA-0042", title="Nine Tides", maker=("Wren Tallow=artist",))
    with catalogue.write(act()) as session:
        add_claim(session, "work", "QA-0042", Saying("order", "Dockrope first", by="Wren Tallow"))
    forget(catalogue, "Wren Tallow")
    assert show(catalogue, "work", "QA-0042")["maker"] == [{"name": "forgotten person 1", "role": "artist"}]
    with catalogue.read() as session:
        (claim,) = list_claims(session, "work", "QA-0042")
        assert (claim.value, claim.by) == ("Dockrope first", "forgotten person 1")
        assert find_works(session, FindOptions("wren")) == []
        assert [work.ref for work in find_works(session, FindOptions("forgotten"))] == ["QA-0042"]
    with pytest.raises(NotFoundError):
        show(catalogue, "person", "Wren Tallow")


def test_forgetting_leaves_a_line_without_the_name_and_no_old_values(catalogue: Catalogue) -> None:
    add(catalogue, "person", "Wren Tallow", note="tall")
    edit(catalogue, "person", "Wren Tallow", note="very tall")
    forget(catalogue, "Wren Tallow")
    change = newest(catalogue)
    assert (change.kind, change.words, change.by, change.edits) == ("forget", "forget a person", "Ada Quill", ())
    with catalogue.read() as session:
        assert session.scalars(select(Edit)).all() == []


def test_a_person_may_forget_themselves(catalogue: Catalogue) -> None:
    add(catalogue, "person", "Wren Tallow")
    forget(catalogue, "Wren Tallow", by="wren tallow")
    with catalogue.read() as session:
        assert session.scalars(select(User.name)).all() == ["forgotten person 1"]
    assert mentions(catalogue, "Wren Tallow") == []


def test_others_and_longer_words_keep_their_names(catalogue: Catalogue) -> None:
    for name in ("Art", "Art Quill", "Arthur"):
        add(catalogue, "person", name)
    add(catalogue, "ink", "Art")
    enter(catalogue, "QA-0042", title="Artist at work", note="by Art, with Arthur", maker=("Art=artist",))
    forget(catalogue, "art")
    facts = show(catalogue, "work", "QA-0042")
    assert facts["title"] == "Artist at work"
    assert facts["note"] == "by forgotten person 1, with Arthur"
    assert facts["maker"] == [{"name": "forgotten person 1", "role": "artist"}]
    assert show(catalogue, "person", "Art Quill") is not None
    assert show(catalogue, "ink", "Art") is not None  # the house's words for its things stay


def test_a_person_called_like_one_of_our_own_words_breaks_nothing(catalogue: Catalogue) -> None:
    for name in ("Poster", "Work", "Stated", "Front", "Edit"):
        add(catalogue, "person", name)
        enter(catalogue, None, place="Box 14", said_by=name, inks="blue", note=f"from {name}")
    for name in ("Poster", "Work", "Stated", "Front", "Edit"):
        edit(catalogue, "work", "W-0001", note=f"again from {name}")
        forget(catalogue, name)
    assert show(catalogue, "work", "W-0001")["kind"] == "poster"
    assert newest(catalogue).kind == "forget"
    with catalogue.read() as session:
        assert "again from forgotten person 5" in session.scalars(select(Edit.new)).all()


@given(before=st.text(max_size=20), after=st.text(max_size=20))
def test_a_name_between_any_other_words_is_found(before: str, after: str) -> None:
    from archive.services.people import _replaced, _words

    found = _replaced(f"{before} Wren Tallow {after}", _words("wren TALLOW"), "somebody")
    assert found == f"{before} somebody {after}"


def test_older_copies_beside_the_database_go_with_the_name(catalogue: Catalogue) -> None:
    add(catalogue, "person", "Wren Tallow")
    with (
        closing(sqlite3.connect(catalogue.folder / "archive.sqlite3")) as source,
        closing(sqlite3.connect(catalogue.folder / "archive-before-0000.sqlite3")) as copy,
    ):
        source.backup(copy)
    forget(catalogue, "Wren Tallow")
    assert not (catalogue.folder / "archive-before-0000.sqlite3").exists()


def test_what_cannot_be_wiped_now_is_told(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    add(catalogue, "person", "Wren Tallow")
    add(catalogue, "person", "Ada Quill")
    catalogue.close()
    monkeypatch.setattr(database, "PATIENCE_SECONDS", 0.2)
    opened = open_archive(Path(catalogue.folder))
    with closing(sqlite3.connect(catalogue.folder / "archive.sqlite3", isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM ink").fetchone()  # somebody is reading all the while
        with pytest.raises(CatalogueError, match="could not be wiped"):
            forget(opened, "Wren Tallow")
        reader.execute("ROLLBACK")
    assert mentions(opened, "Wren") == []
    forget(opened, "Ada Quill")
    assert b"Wren" not in (catalogue.folder / "archive.sqlite3").read_bytes()
    opened.close()
