"""Another workshop's evidence stays theirs, comes in once, and counts with ours when somebody says so."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Ink, Machine, Measurement, Paper, Recipe, Swatch
from archive.errors import ArchiveError, ConflictError, InputError, ManyErrors
from archive.services.check import check_archive
from archive.services.evidence_exchange import import_evidence
from archive.services.evidence_out import ExchangeReport, export_evidence
from archive.services.evidence_same import SameReport, say_same
from archive.services.profile import set_profile
from archive.services.readings_out import reading_rows
from tests.acts import act
from tests.archives import Archives
from tests.services.keeping import enter, undo
from tests.services.make import CHALKROAD, OATLEAF, Patch, add, ask, bring_in, enter_house

LARK = "Lark Lane Press"
PAIR = (("Dockrope", 100), ("Ferrywake", 60))
PATCHES = (
    Patch("white", (93.0, 0.2, 4.9)),
    Patch("A1", (52.3, -18.4, 12.2), PAIR, more={"condition": "M1", "measured_on": "2024-05-04", "machine": "Attic"}),
    Patch("A2", (40.2, 2.1, -41.0), (("Ferrywake", 100),)),
    Patch("A3", (48.0, 60.0, 30.0), (("Kilnsong", 100),)),
    Patch("A4", (50.0, -17.0, 9.9), PAIR, CHALKROAD),
)
TABLES: tuple[Any, ...] = (Ink, Paper, Recipe, Swatch, Measurement, Machine)


@pytest.fixture
def lark(archives: Archives, tmp_path: Path) -> Catalogue:
    """Return the archive of another workshop, with readings of its own."""
    other = archives.start(tmp_path / "lark")
    enter_house(other)
    add(other, "machine", "Attic")
    with other.write(act("name it")) as session:
        set_profile(session, "workshop_name", LARK)
    bring_in(other, tmp_path, *PATCHES)
    return other


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    enter_house(catalogue)
    return catalogue


def give(other: Catalogue, path: Path, **chosen: Any) -> Path:
    with other.read() as session:
        export_evidence(session, path, **(chosen or {"inks": ("Ferrywake", "Dockrope")}))
    return path


def take(catalogue: Catalogue, path: Path, *, dry: bool = False) -> ExchangeReport:
    return import_evidence(catalogue, path, act("take evidence in", kind="import"), dry_run=dry)


def same(catalogue: Catalogue, noun: str, theirs: str, ours: str) -> SameReport:
    with catalogue.write(act(f"the same {noun}")) as session:
        return say_same(session, noun, theirs, ours)


def living(catalogue: Catalogue) -> list[int]:
    with catalogue.read() as session:
        return [
            session.scalar(select(func.count()).select_from(table).where(table.binned_at.is_(None))) or 0
            for table in TABLES
        ]


def test_what_goes_out_are_the_chosen_inks_and_what_was_measured_with_them(lark: Catalogue, tmp_path: Path) -> None:
    told = json.loads(give(lark, tmp_path / "e.json", inks=("Ferrywake", "Dockrope"), papers=(OATLEAF,)).read_text())
    assert told["workshop"] == LARK
    assert [ink["name"] for ink in told["inks"]] == ["Ferrywake", "Dockrope"]
    assert [paper["name"] for paper in told["papers"]] == [OATLEAF]
    assert sorted(len(recipe["layers"]) for recipe in told["recipes"]) == [0, 1, 2]
    assert len(told["swatches"]) == 3


def test_people_places_works_and_notes_stay_at_home(lark: Catalogue, tmp_path: Path) -> None:
    enter(lark, "QA-0042", title="Nine Tides", inks="Ferrywake", place="Plan chest 2", note="worth a fortune")
    secret = Patch("B1", (41.0, 2.0, -40.0), (("Ferrywake", 90),), more={"work": "QA-0042", "note": "by Wren Tallow"})
    bring_in(lark, tmp_path, secret, name="more.csv")
    with lark.read() as session:
        report = export_evidence(session, tmp_path / "e.json", inks=("Ferrywake",))
        assert report.left_out == 1  # a patch of a work that nobody said may leave
        assert (
            export_evidence(session, tmp_path / "w.json", inks=("Ferrywake",), of_works=True).swatches > report.swatches
        )
    for name in ("e.json", "w.json"):
        text = (tmp_path / name).read_text()
        for word in ("QA-0042", "Nine Tides", "Wren Tallow", "Plan chest", "fortune", "Attic"):
            assert word not in text


def test_nothing_chosen_and_no_name_are_refused(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    with lark.read() as session, pytest.raises(InputError, match="nothing is chosen"):
        export_evidence(session, tmp_path / "e.json")
    with house.read() as session, pytest.raises(InputError, match="workshop has no name"):
        export_evidence(session, tmp_path / "e.json", inks=("Ferrywake",))
    assert not (tmp_path / "e.json").exists()


def test_theirs_never_merges_with_ours_by_name(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    report = take(house, give(lark, tmp_path / "e.json"))
    assert (report.workshop, report.inks, report.papers, report.recipes, report.swatches) == (LARK, 2, 2, 4, 4)
    with house.read() as session:
        inks = {ink.name: ink for ink in session.scalars(select(Ink))}
        assert inks["Ferrywake"].origin is None
        theirs = inks[f"Ferrywake ({LARK})"]
        assert (theirs.origin, theirs.in_house) == (LARK, False)
        assert set(session.scalars(select(Swatch.origin))) == {LARK}
        assert set(session.scalars(select(Measurement.origin))) == {LARK}
        assert set(session.scalars(select(Recipe.origin))) == {LARK}
        machine = session.scalars(select(Machine)).one()
        assert (machine.name, machine.in_house) == (f"Machine of {LARK}", False)  # another machine than any of ours


def test_the_same_file_again_adds_nothing_and_a_dry_run_writes_nothing(
    lark: Catalogue, house: Catalogue, tmp_path: Path
) -> None:
    path = give(lark, tmp_path / "e.json")
    before = living(house)
    assert take(house, path, dry=True).swatches == 4
    assert living(house) == before
    take(house, path)
    after = living(house)
    again = take(house, path)
    assert (again.inks, again.swatches, again.measurements, again.known) == (0, 0, 0, 2 + 2 + 4 + 4 + 4)
    assert living(house) == after


def test_until_an_ink_is_said_to_be_the_same_their_recipes_cannot_be_printed_here(
    lark: Catalogue, house: Catalogue, tmp_path: Path
) -> None:
    add(house, "machine", "Upstairs")
    take(house, give(lark, tmp_path / "e.json"))
    first = ask(house, "lab:52.3,-18.4,12.2").matches[0]
    assert (first.evidence, first.printable_now) == ("proven", False)
    assert [layer["ink"] for layer in first.layers] == [f"Dockrope ({LARK})", f"Ferrywake ({LARK})"]
    assert same(house, "ink", f"Ferrywake ({LARK})", "Ferrywake").swatches == 3
    assert same(house, "ink", f"Dockrope ({LARK})", "Dockrope").swatches == 2
    first = ask(house, "lab:52.3,-18.4,12.2", in_house=True).matches[0]
    assert (first.evidence, first.printable_now) == ("proven", True)
    assert [layer["ink"] for layer in first.layers] == ["Dockrope", "Ferrywake"]
    assert first.paper == f"{OATLEAF} ({LARK})"  # nobody said that the paper is the same
    assert first.settings is not None
    assert first.settings["machine"] == f"Machine of {LARK}"
    with house.read() as session:
        assert set(session.scalars(select(Swatch.origin))) == {LARK}


def test_a_paper_that_is_the_same_takes_recipes_and_leaves_its_white(
    lark: Catalogue, house: Catalogue, tmp_path: Path
) -> None:
    take(house, give(lark, tmp_path / "e.json"))
    assert same(house, "paper", f"{OATLEAF} ({LARK})", OATLEAF).swatches == 2
    found = ask(house, "lab:52.3,-18.4,12.2", paper=OATLEAF).matches[0]
    assert found.paper == OATLEAF
    with house.read() as session:
        bare = session.execute(
            select(Paper.name)
            .join(Recipe, Recipe.paper_id == Paper.id)
            .join(Swatch, Swatch.recipe_id == Recipe.id)
            .where(Swatch.lab_l == 93.0)
        ).scalars()
        assert set(bare) == {f"{OATLEAF} ({LARK})"}


def test_a_later_file_follows_what_was_said_to_be_the_same(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    take(house, give(lark, tmp_path / "e.json"))
    same(house, "ink", f"Ferrywake ({LARK})", "Ferrywake")
    bring_in(lark, tmp_path, Patch("N1", (60.0, 1.0, -30.0), (("Ferrywake", 50),)), name="new.csv")
    assert take(house, give(lark, tmp_path / "f.json")).swatches == 1
    assert ask(house, "lab:60,1,-30").matches[0].layers[0]["ink"] == "Ferrywake"


def test_saying_the_same_and_taking_in_are_undone_whole_and_can_be_done_again(
    lark: Catalogue, house: Catalogue, tmp_path: Path
) -> None:
    path = give(lark, tmp_path / "e.json")
    before = living(house)
    take(house, path)
    taken = living(house)
    same(house, "ink", f"Ferrywake ({LARK})", "Ferrywake")
    undo(house)
    assert living(house) == taken
    assert ask(house, "lab:40.2,2.1,-41").matches[0].layers[0]["ink"] == f"Ferrywake ({LARK})"
    undo(house)
    assert living(house) == before
    assert take(house, path).swatches == 4
    assert living(house) == taken
    assert [damage for damage in check_archive(house) if damage.is_harm] == []


def test_what_is_the_same_is_said_once_and_theirs_first(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    take(house, give(lark, tmp_path / "e.json"))
    theirs = f"Ferrywake ({LARK})"
    with pytest.raises(InputError, match="Ferrywake is one of ours"):
        same(house, "ink", "Ferrywake", theirs)
    with pytest.raises(InputError, match=f"is from {LARK}"):
        same(house, "ink", theirs, f"Dockrope ({LARK})")
    same(house, "ink", theirs, "Ferrywake")
    with pytest.raises(ConflictError, match="is the same as Ferrywake already"):
        same(house, "ink", theirs, "Sootwell")


def test_an_ink_of_another_kind_is_asked_about(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    take(house, give(lark, tmp_path / "e.json"))
    notes = same(house, "ink", f"Ferrywake ({LARK})", "Gullbone").notes
    assert notes == ("theirs is transparent, ours is opaque: is it really the same?",)


def test_our_own_evidence_does_not_come_back_as_somebody_elses(lark: Catalogue, tmp_path: Path) -> None:
    path = give(lark, tmp_path / "e.json")
    with pytest.raises(ConflictError, match="is here already as our own"):
        take(lark, path)


def test_what_others_gave_is_not_given_on(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    take(house, give(lark, tmp_path / "e.json"))
    same(house, "ink", f"Ferrywake ({LARK})", "Ferrywake")
    with house.write(act("name it")) as session:
        set_profile(session, "workshop_name", "Quay Attic Printroom")
    with house.read() as session, pytest.raises(InputError, match="no recipe of these was measured"):
        export_evidence(session, tmp_path / "on.json", inks=("Ferrywake",))
    with house.read() as session, pytest.raises(InputError, match="not ours to give"):
        export_evidence(session, tmp_path / "on.json", inks=(f"Ferrywake ({LARK})",))
    with house.read() as session:
        assert reading_rows(session) == []  # nor written as a file of readings, which would come in as ours


def test_a_month_alone_makes_no_day_and_words_make_no_colour(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    path = give(lark, tmp_path / "e.json")
    told = json.loads(path.read_text())
    for swatch in told["swatches"]:
        swatch["printed_on"] = swatch["measurements"][0]["measured_on"] = "2024-05"
    told["inks"][0]["looks"] = "a deep harbour blue"
    path.write_text(json.dumps(told))
    report = take(house, path)
    assert [notice.code for notice in report.notices] == ["looks_not_read"]
    with house.read() as session:
        assert set(session.scalars(select(Measurement.measured_on))) == {None}
        assert set(session.scalars(select(Measurement.note))) == {"measured 2024-05"}
    assert ask(house, "lab:52.3,-18.4,12.2").matches[0].delta_e_2000 == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ('{"format": "some other evidence", "version": 1}', InputError, "some other evidence"),
        ('{"format": "inkchest evidence", "version": 2}', InputError, "version 2"),
        ('{"format": "inkchest evidence", "version": 1, "colours": []}', ManyErrors, "workshop"),
        ("<html></html>", InputError, "no JSON"),
    ],
)
def test_another_schema_is_named_and_nothing_is_written(
    house: Catalogue, tmp_path: Path, text: str, kind: type[ArchiveError], words: str
) -> None:
    (tmp_path / "e.json").write_text(text)
    before = living(house)
    with pytest.raises(kind, match=r"e\.json") as caught:
        take(house, tmp_path / "e.json")
    assert words in str(caught.value)
    assert living(house) == before


def test_their_recipes_stay_theirs_when_our_ink_is_merged_with_another_of_ours(
    lark: Catalogue, house: Catalogue, tmp_path: Path
) -> None:
    from archive.services.merging import merge_records

    take(house, give(lark, tmp_path / "e.json"))
    same(house, "ink", f"Ferrywake ({LARK})", "Ferrywake")
    with house.read() as session:
        theirs = set(session.scalars(select(Swatch.uid).where(Swatch.origin == LARK)))
    add(house, "ink", "Ferrywake Blue")
    with house.write(act("merge")) as session:
        merge_records(session, "ink", "Ferrywake", "Ferrywake Blue", is_sure=True)
    with house.read() as session:
        query = select(Recipe.key).join(Swatch, Swatch.recipe_id == Recipe.id).where(Swatch.uid.in_(theirs))
        keys = [key or "" for key in session.scalars(query)]
    assert len(keys) == len(theirs)
    assert [key for key in keys if not key.startswith("elsewhere:")] == []


def test_an_answer_says_where_else_it_was_proven(lark: Catalogue, house: Catalogue, tmp_path: Path) -> None:
    take(house, give(lark, tmp_path / "e.json"))
    first = ask(house, "lab:52.3,-18.4,12.2").matches[0]
    assert any(LARK in note and "another machine" in note for note in first.notes)
