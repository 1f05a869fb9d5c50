"""Somebody's list of works comes in by its own headings, doubts first, once, and never over what the archive knows."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, Claim, Copy, Person, Place, Setting, Variant, Work
from archive.errors import ArchiveError, InputError, ManyErrors
from archive.services.records import list_records
from archive.services.work_cards import work_card
from archive.services.works_import import ListOptions, ListReport, import_works
from archive.services.works_list import people_in, write_work_sheet
from tests.acts import act
from tests.services.keeping import edit, enter, every_row, show, undo
from tests.services.make import add, enter_house

LIST = (
    "Nr;Titel;Datum;Farben;Papier;Ort;Künstler;Höhe;Shelf mark\n"
    "0042;Nine Tides;ca. 1998;Ferywake over Dockrope;Oatleaf 120;Plan chest 2 / drawer 5;Tallow, Wren;22,5;K 3\n"
    "0043;Bus Stop Choir;1999;blue and yellow;Oatlef 120;drawer 5;Pip Saltmarsh & Ada Reed;21,0;\n"
    ";Loose sheet;;;;;;;\n"
)


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    enter_house(catalogue)
    add(catalogue, "person", "Wren Tallow")
    return catalogue


def bring(catalogue: Catalogue, path: Path, *columns: tuple[str, str], dry: bool = False, **more: Any) -> ListReport:
    return import_works(
        catalogue, path, ListOptions(columns=columns, **more), act("import", kind="import"), dry_run=dry
    )


def written(folder: Path, text: str, name: str = "list.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode("utf-8-sig"))
    return path


def told(report: ListReport) -> str:
    return "\n".join(str(notice) for notice in report.notices)


def refs(catalogue: Catalogue) -> list[str]:
    with catalogue.read() as session:
        return [record.label for record in list_records(session, "work")]


# --- before anything is written


def test_scenario_12_a_dry_import_keeps_zeros_lists_doubtful_cells_and_writes_nothing(
    house: Catalogue, tmp_path: Path
) -> None:
    # trap by trap: a BOM glued to the first heading, lost zeros, a size that a spreadsheet took for a day, mixed dates
    text = (
        "Id;Title;Date;Size\n0042;Nine Tides;04.05.2019;22,5\n43;Bus Stop Choir;2019-05-04;22. Mai\n"
        "0044;Peel;5/4/19;21\n"
    )
    path = written(tmp_path, text)
    before = every_row(house)
    report = bring(house, path, dry=True)
    assert every_row(house) == before
    assert refs(house) == []
    assert (report.rows, report.added, report.dry_run) == (3, 3, True)
    assert report.columns[0] == {"column": "Id", "field": "ref", "how": "synonym", "suggestion": None}
    assert [sample["ref"] for sample in report.samples] == ["0042", "43", "0044"]
    codes = [notice.code for notice in report.notices]
    assert len(codes) >= 3, told(report)
    assert "43" in told(report)  # its zeros may be lost
    assert "22. Mai" in told(report)
    bring(house, path)
    assert refs(house) == ["0042", "43", "0044"]
    assert show(house, "work", "0042")["title"] == "Nine Tides"


def test_three_rows_are_shown_as_they_would_be_entered(house: Catalogue, tmp_path: Path) -> None:
    text = "Title;Date\n" + "".join(f"Sheet {number};1998\n" for number in range(9))
    report = bring(house, written(tmp_path, text), dry=True)
    assert list(report.samples) == [{"title": f"Sheet {number}", "date": "1998"} for number in range(3)]


def test_spellings_are_suggested_and_never_forced(house: Catalogue, tmp_path: Path) -> None:
    report = bring(house, written(tmp_path, LIST))
    words = told(report)
    assert "no ink called Ferywake: kept as said; perhaps Ferrywake is meant" in words
    assert "no paper called Oatlef 120: kept as said; perhaps Oatleaf 120 is meant" in words
    assert "Tallow, Wren is new among the people; perhaps Wren Tallow is meant" in words
    with house.read() as session:
        card = work_card(session, "0042")
        assert card.variants[0]["words"] == "Ferywake over Dockrope"
        assert card.variants[0]["paper"] == "Oatleaf 120"
        assert [each["name"] for each in card.record.facts["maker"]] == ["Tallow, Wren"]
        assert session.scalars(select(Claim.value).where(Claim.field == "paper")).all() == ["Oatlef 120"]
        assert work_card(session, "0043").variants[0]["paper"] is None


# --- what is written


def test_a_list_comes_in_with_people_inks_and_places_as_one_change(house: Catalogue, tmp_path: Path) -> None:
    before = every_row(house), refs(house)
    bring(house, written(tmp_path, LIST))
    assert refs(house) == ["0042", "0043", "W-0001"]
    with house.read() as session:
        makers = work_card(session, "0043").record.facts["maker"]
        assert [(each["name"], each["role"]) for each in makers] == [
            ("Pip Saltmarsh", "artist"),
            ("Ada Reed", "artist"),
        ]
        assert {copy["place"] for copy in work_card(session, "0043").copies} == {"Plan chest 2 / drawer 5"}
        assert work_card(session, "0042").record.facts["date"] == "ca. 1998"
        assert len({work.change_id for work in session.scalars(select(Work))}) == 1
        assert session.scalars(select(Change.kind).order_by(Change.id.desc())).first() == "import"
    undo(house)
    assert refs(house) == before[1] == []
    with house.read() as session:
        for table in (Variant, Copy, Place, Setting):
            assert session.scalars(select(table).where(table.binned_at.is_(None))).all() == []
        assert session.scalars(select(Person.name).where(Person.binned_at.is_(None))).all() == ["Wren Tallow"]


def test_the_cells_are_kept_as_they_stood_also_of_columns_that_are_not_read(house: Catalogue, tmp_path: Path) -> None:
    bring(house, written(tmp_path, LIST))
    with house.read() as session:
        work = session.scalars(select(Work).where(Work.ref == "0042")).one()
        assert (work.original["file"], work.original["line"]) == ("list.csv", 2)
        assert work.original["cells"]["Höhe"] == "22,5"
        assert work.original["cells"]["Shelf mark"] == "K 3"
        assert work.original["cells"]["Nr"] == "0042"


def test_what_cannot_be_read_stays_in_words(house: Catalogue, tmp_path: Path) -> None:
    text = "Title,Date,Inks,Kind,Copies,Size,Place\nPeel,sometime,130 % blue,widget,40,A3,Box 3\n"
    report = bring(house, written(tmp_path, text))
    assert {"date_not_read", "inks_not_read", "kind_not_known"} <= {notice.code for notice in report.notices}
    facts = show(house, "work", "W-0001")
    assert facts["note"] == "Size: A3\nDate: sometime\nInks: 130 % blue"
    assert (facts["kind"], facts["date"]) == ("other", "")
    with house.read() as session:
        assert session.scalars(select(Copy.note)).all() == ["Copies: 40"]


def test_a_row_that_knows_a_title_alone_is_a_work(house: Catalogue, tmp_path: Path) -> None:
    bring(house, written(tmp_path, "Title\nPeel\n"))
    assert show(house, "work", "W-0001")["title"] == "Peel"


def test_given_numbers_come_before_those_that_are_made(house: Catalogue, tmp_path: Path) -> None:
    bring(house, written(tmp_path, "Ref,Title\n,First\nW-0001,Second\n"))
    assert show(house, "work", "W-0001")["title"] == "Second"
    assert show(house, "work", "W-0002")["title"] == "First"


@pytest.mark.parametrize(
    ("cell", "names"),
    [
        ("Wren Tallow", ["Wren Tallow"]),
        ("Wren Tallow; Pip  Saltmarsh", ["Wren Tallow", "Pip Saltmarsh"]),
        ("Tallow, Wren & Ada Reed", ["Tallow, Wren", "Ada Reed"]),
        ("Anders Sandhand und Ada Reed", ["Anders Sandhand", "Ada Reed"]),
        ("?", []),
    ],
)
def test_people_in_a_cell_are_parted_and_a_comma_stays_in_a_name(cell: str, names: list[str]) -> None:
    assert people_in(cell) == names


# --- columns mapped once


def test_forty_columns_are_mapped_by_name_once_and_remembered(house: Catalogue, tmp_path: Path) -> None:
    headings = ["Werk-Nr. alt", "Was", "Wo es liegt", *(f"Feld {number}" for number in range(37))]
    text = ";".join(headings) + "\n" + ";".join(["0042", "Nine Tides", "Box 3", *["x"] * 37]) + "\n"
    path = written(tmp_path, text)
    chosen = (("Werk-Nr. alt", "ref"), ("Was", "title"), ("wo es LIEGT", "place"))
    bring(house, path, *chosen)
    assert show(house, "work", "0042")["title"] == "Nine Tides"
    # another list with the same headings in another order needs no --map
    again = ";".join(reversed(headings)) + "\n" + ";".join([*["y"] * 37, "Box 4", "Peel", "0043"]) + "\n"
    report = bring(house, written(tmp_path, again, "next.csv"))
    assert {each["column"]: each["how"] for each in report.columns if each["field"]} == {
        "Werk-Nr. alt": "remembered",
        "Was": "remembered",
        "Wo es liegt": "remembered",
    }
    assert show(house, "work", "0043")["title"] == "Peel"


def test_a_column_that_is_none_of_ours_can_be_left_unread(house: Catalogue, tmp_path: Path) -> None:
    report = bring(house, written(tmp_path, LIST), ("Ort", ""))
    assert next(each for each in report.columns if each["column"] == "Ort")["field"] is None
    with house.read() as session:
        assert session.scalars(select(Place)).all() == []


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ((("Titl", "title"),), "no column Titl"),
        ((("Titel", "caption"),), "no field caption"),
    ],
)
def test_a_wrong_map_is_refused(
    house: Catalogue, tmp_path: Path, columns: tuple[tuple[str, str], ...], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        bring(house, written(tmp_path, LIST), *columns)
    assert refs(house) == []


# --- again


def test_the_same_list_again_adds_nothing_whatever_was_edited_meanwhile(house: Catalogue, tmp_path: Path) -> None:
    path = written(tmp_path, LIST)
    bring(house, path)
    edit(house, "work", "0042", title="Nine Tides, second state")
    report = bring(house, path)
    assert (report.added, report.filled, report.known, report.conflicts) == (0, 0, 3, ())
    assert show(house, "work", "0042")["title"] == "Nine Tides, second state"


def test_what_the_list_changed_is_told_and_never_written_over(house: Catalogue, tmp_path: Path) -> None:
    bring(house, written(tmp_path, LIST))
    report = bring(house, written(tmp_path, LIST.replace("Nine Tides;ca. 1998", "Ten Tides;ca. 1998")))
    assert report.conflicts == (
        {"line": 2, "ref": "0042", "field": "title", "here": "Nine Tides", "list": "Ten Tides"},
    )
    assert (report.added, report.known) == (0, 3)
    assert show(house, "work", "0042")["title"] == "Nine Tides"


def test_what_the_archive_lacks_is_filled_in(house: Catalogue, tmp_path: Path) -> None:
    enter(house, "0043", title="Bus Stop Choir")
    report = bring(house, written(tmp_path, LIST))
    assert (report.added, report.filled, report.conflicts) == (2, 1, ())
    with house.read() as session:
        card = work_card(session, "0043")
        assert card.record.facts["date"] == "1999"
        assert card.variants[0]["words"] == "blue and yellow"
        assert [copy["place"] for copy in card.copies] == ["Plan chest 2 / drawer 5"]
    undo(house)
    assert show(house, "work", "0043")["date"] == ""


def test_a_work_is_known_by_its_old_number(house: Catalogue, tmp_path: Path) -> None:
    enter(house, "QA-0001", title="Nine Tides")
    edit(house, "work", "QA-0001", **{"old-number": "0042"})
    report = bring(house, written(tmp_path, "Number,Title,Date\n0042,Nine Tides,1998\n"))
    assert (report.added, report.filled) == (0, 1)
    assert show(house, "work", "QA-0001")["date"] == "1998"


def test_equal_rows_are_so_many_works_and_stay_so_many(house: Catalogue, tmp_path: Path) -> None:
    path = written(tmp_path, "Title,Date\nPeel,1998\nPeel,1998\n")
    assert bring(house, path).added == 2
    assert bring(house, path).known == 2


# --- bad lists


def test_a_number_that_stands_twice_is_refused_with_its_lines(house: Catalogue, tmp_path: Path) -> None:
    path = written(tmp_path, "Ref,Title\n0042,Nine Tides\n0043,Peel\n0042,Ten Tides\n")
    with pytest.raises(ManyErrors, match="the ref 0042 stands in the lines 2, 4"):
        bring(house, path)
    assert refs(house) == []


def test_a_list_without_a_known_column_asks_for_one(house: Catalogue, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no column of the list is one of ours"):
        bring(house, written(tmp_path, "Xyz,Qrs\n1,2\n"))


def workbook(path: Path, fill: Any) -> Path:
    book = openpyxl.Workbook()
    fill(book.active)
    book.save(path)
    return path


def test_formulas_without_values_are_named_and_nothing_is_written(house: Catalogue, tmp_path: Path) -> None:
    def fill(sheet: Any) -> None:
        sheet.append(["Ref", "Title"])
        sheet.append(["0042", '=CONCATENATE("Nine"," Tides")'])

    with pytest.raises(ArchiveError, match=r"list\.xlsx.*formula"):
        bring(house, workbook(tmp_path / "list.xlsx", fill))
    assert refs(house) == []


def test_merged_cells_and_two_hundred_thousand_empty_rows_come_in_with_a_word(house: Catalogue, tmp_path: Path) -> None:
    def fill(sheet: Any) -> None:
        sheet.append(["Ref", "Title", "Place"])
        sheet.append(["0042", "Nine Tides", "Box 3"])
        sheet.append(["0043", "Peel", None])
        sheet.merge_cells("C2:C3")
        sheet.cell(200_000, 1).number_format = "@"  # styled to the end, as a spreadsheet leaves it

    report = bring(house, workbook(tmp_path / "list.xlsx", fill))
    assert report.added == 2
    assert "merged" in told(report)


# --- a sheet to fill in


def test_a_sheet_goes_out_with_pictures_and_what_was_filled_in_comes_back(house: Catalogue, tmp_path: Path) -> None:
    photo = tmp_path / "tides.jpg"
    Image.new("RGB", (240, 320), "#2a5ea8").save(photo)
    enter(house, "0042", photo)
    enter(house, "0043", title="Bus Stop Choir", date="1999", inks="Ferrywake")  # nothing is missing
    assert write_work_sheet(house, tmp_path / "sheet.xlsx") == 1
    (picture,) = openpyxl.load_workbook(tmp_path / "sheet.xlsx")["works"]._images
    with Image.open(io.BytesIO(picture._data())) as small:
        assert small.height == 96  # pixels: what a cell of the sheet shows
    book = openpyxl.load_workbook(tmp_path / "sheet.xlsx")
    sheet = book["works"]
    headings = [cell.value for cell in sheet[1]]
    assert headings[0] == "Picture"
    assert sheet.cell(2, headings.index("Ref") + 1).value == "0042"
    sheet.cell(2, headings.index("Title") + 1).value = "Nine Tides"
    sheet.cell(2, headings.index("Inks") + 1).value = "Ferrywake over Dockrope"
    sheet.cell(3, headings.index("Title") + 1).value = "Peel"
    book.save(tmp_path / "sheet.xlsx")
    report = bring(house, tmp_path / "sheet.xlsx")
    assert (report.added, report.filled, report.conflicts) == (1, 1, ())
    assert show(house, "work", "0042")["title"] == "Nine Tides"
    assert bring(house, tmp_path / "sheet.xlsx").known == 2


def test_a_sheet_is_a_workbook(house: Catalogue, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the sheet is a workbook"):
        write_work_sheet(house, tmp_path / "sheet.csv")
