"""Somebody's list of works: every cell comes in as the text a person saw, and what is doubtful is told by cell."""

from __future__ import annotations

import io
import re
import time
import tracemalloc
import zipfile
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.formula import ArrayFormula
from PIL import Image

from archive.errors import InputError, ManyErrors
from archive.exchange.work_columns import FIELDS, HEADINGS, match_columns
from archive.exchange.work_sheet import SheetRow, blank_sheet
from archive.exchange.work_table import Table, read_table, write_table_csv
from archive.exchange.work_xlsx import shown_text


def csv_table(text: str | bytes) -> Table:
    return read_table(text if isinstance(text, bytes) else text.encode(), "works.csv")


def cells(table: Table) -> list[tuple[str, ...]]:
    return [row.cells for row in table.rows]


def codes(table: Table) -> list[str]:
    return [notice.code for notice in table.notices]


def told(table: Table, code: str) -> list[str]:
    return [str(notice) for notice in table.notices if notice.code == code]


# ---- CSV


def test_a_spreadsheets_list_keeps_its_zeros_through_bom_semicolons_and_decimal_commas() -> None:
    table = csv_table("Ref;Title;Size\r\n0042;Nine Tides;29,7\r\n0043;Bus Stop Choir;21,0\r\n".encode("utf-8-sig"))
    assert (table.name, table.kind, table.sheet) == ("works", "csv", "")
    assert table.columns == ("Ref", "Title", "Size")
    assert cells(table) == [("0042", "Nine Tides", "29,7"), ("0043", "Bus Stop Choir", "21,0")]
    assert [row.line for row in table.rows] == [2, 3]
    assert table.notices == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters_and_encodings_are_found(delimiter: str, encoding: str) -> None:
    rows = [["Kat.-Nr.", "Größe", "Was"], ["0042", "30 x 42", "Plakat, groß" if delimiter != "," else "Plakat groß"]]
    text = "".join(delimiter.join(row) + "\n" for row in rows)
    assert [csv_table(text.encode(encoding)).columns, *cells(csv_table(text.encode(encoding)))] == [
        tuple(row) for row in rows
    ]


def test_forty_foreign_headings_with_decimal_commas_are_split_at_the_semicolon() -> None:
    text = ";".join(f"feld{n}" for n in range(40)) + "\n" + ";".join(["1,5"] * 40) + "\n"
    assert len(csv_table(text).columns) == 40


def test_a_list_of_one_column_is_a_list() -> None:
    table = csv_table('Title\nNine Tides\n"Yes; no, maybe"\n')
    assert (table.columns, cells(table)) == (("Title",), [("Nine Tides",), ("Yes; no, maybe",)])


def test_quotes_line_breaks_and_blanks_in_cells_are_read() -> None:
    table = csv_table('Ref,Note\n1, "say ""yes"", then\nno"\n2,5" x 7"\n')
    assert cells(table) == [("1", 'say "yes", then\nno'), ("2", '5" x 7"')]
    assert [row.line for row in table.rows] == [2, 4]


def test_a_spreadsheets_sep_line_is_taken_at_its_word() -> None:
    table = csv_table("sep=;\nRef;Title\n1;a, b\n")
    assert (table.columns, table.rows[0].line, table.rows[0].cells) == (("Ref", "Title"), 3, ("1", "a, b"))


def test_empty_rows_are_passed_over_and_lines_stay_right() -> None:
    table = csv_table("\n\nRef,Title\n,\n1,a\n , \n\n2,b\n")
    assert [(row.line, row.cells) for row in table.rows] == [(5, ("1", "a")), (8, ("2", "b"))]


def test_a_title_above_the_headings_is_passed_over_and_told() -> None:
    table = csv_table("Works in the attic,,\n\nRef,Title,Kind\n1,a,poster\n")
    assert table.columns == ("Ref", "Title", "Kind")
    assert told(table, "line_above") == [
        "works.csv, line 1: Works in the attic stands above the headings and is not read"
    ]


def test_rows_wider_than_their_headings_are_all_told() -> None:
    with pytest.raises(ManyErrors) as caught:
        csv_table("Ref,Size\n1,29,7\n2,21\n3,21,0\n")
    assert [error.where for error in caught.value.errors] == ["works.csv, line 2", "works.csv, line 4"]
    assert "has 3 cells, but there are 2 headings" in str(caught.value)


def test_short_rows_are_filled_and_told_once() -> None:
    table = csv_table("Ref,Title,Note\n1,a\n2,b\n3,c,d\n")
    assert cells(table)[0] == ("1", "a", "")
    assert told(table, "short_rows") == [
        "works.csv, line 2: 2 rows have fewer cells than headings: their last cells are taken as empty"
    ]


def test_headings_that_are_missing_or_double_get_names() -> None:
    table = csv_table("Title,,TITLE,Note\na,b,c,d\n")
    assert table.columns == ("Title", "(column 2)", "TITLE (2)", "Note")
    assert codes(table) == ["heading_twice"]


@pytest.mark.parametrize("text", ["", "\n\n", ";;;\n"])
def test_an_empty_table_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="is empty"):
        csv_table(text)


def test_open_quotation_marks_are_told_with_their_line() -> None:
    with pytest.raises(InputError, match=r"works.csv, line 3: the quotation marks do not pair up"):
        csv_table('Ref,Title\n1,a\n2,"b\n3,c\n')


@pytest.mark.parametrize("data", [b"%PDF-1.7", b"\x89PNG\r\n", b"SQLite format 3\x00", b"a\x00b\x01\xff" * 9])
def test_what_is_no_table_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match="the file is"):
        read_table(data, "works.csv")


def test_a_file_is_read_from_its_path_and_a_missing_one_is_told(tmp_path: Path) -> None:
    (tmp_path / "attic.csv").write_text("Ref\n1\n")
    assert read_table(tmp_path / "attic.csv").name == "attic"
    with pytest.raises(InputError, match="cannot read the file"):
        read_table(tmp_path / "gone.csv")


# ---- what is doubtful


def test_a_day_where_a_number_belongs_is_told_by_cell() -> None:
    # a spreadsheet takes 22.5 for the 22nd of May
    table = csv_table("Ref;Width\n1;21.0\n2;22. May\n3;29.7\n4;22.05.2024\n")
    assert [cell for _, cell in cells(table)] == ["21.0", "22. May", "29.7", "22.05.2024"]
    assert told(table, "doubtful_date") == [
        "works.csv, line 3, Width: 22. May is a day where a number belongs",
        "works.csv, line 5, Width: 22.05.2024 is a day where a number belongs",
    ]


def test_days_are_at_home_in_a_column_of_dates_and_editions_in_theirs() -> None:
    table = csv_table("Date,Edition,Note\n1998,50,x\n1999,12/30,on 2019-05-04\n22-May-24,100,2019-05-04\n")
    assert codes(table) == []


@pytest.mark.parametrize("heading", ["Ref", "Copies", "Size", "Old number", "Auflage"])
def test_a_day_in_a_column_that_never_holds_one_is_told(heading: str) -> None:
    assert codes(csv_table(f"{heading},Title\n12-Oct,a\n")) == ["doubtful_date"]


def test_dates_in_several_styles_are_kept_and_told_once() -> None:
    table = csv_table("Ref,Date\n1,2019-05-04\n2,04.05.2019\n3,05/04/2019\n4,ca. 1998\n5,3 May 2019\n6,7.5.19\n")
    assert [row[1] for row in cells(table)][3:] == ["ca. 1998", "3 May 2019", "7.5.19"]
    (notice,) = told(table, "mixed_dates")
    assert notice == (
        "works.csv, Date: dates are written in several ways: like 2019-05-04 (line 2), like 4.5.2019 (line 3), "
        "like 4/5/2019 (line 4), like 4 May 2019 (line 6)"
    )


def test_zeros_that_were_lost_are_told() -> None:
    table = csv_table("Ref,Copies\n0041,1\n42,12\n0107,3\n1234,0\n")
    assert told(table, "doubtful_zeros") == [
        "works.csv, line 3, Ref: 42 may have lost its leading zeros: others in the column have them"
    ]


def test_points_and_commas_in_one_column_are_told() -> None:
    assert told(csv_table("Ref;Width\n1;29,7\n2;21.0\n"), "mixed_decimals") == [
        "works.csv, Width: some numbers have a decimal comma (line 2), others a point (line 3)"
    ]


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("#REF!", "doubtful_error"),
        ("#N/A", "doubtful_error"),
        ("#NAME?", "doubtful_error"),
        ("#####", "doubtful_error"),
        ("1.23E+11", "doubtful_number"),
        ("9,78E+12", "doubtful_number"),
        ("Gr\ufffd\ufffde", "doubtful_letters"),
        ("GrÃ¶ÃŸe", "doubtful_letters"),
    ],
)
def test_what_a_spreadsheet_spoilt_is_told(cell: str, code: str) -> None:
    assert codes(csv_table(f"Ref;Title\n1;{cell}\n")) == [code]


@pytest.mark.parametrize("cell", ["Größe", "Été", "№ 5", "#1", "E5", "Ã", "“quoted”", "C#"])
def test_what_only_looks_odd_is_not(cell: str) -> None:
    assert codes(csv_table(f"Ref;Title\n1;{cell}\n")) == []


def test_doubts_without_end_are_counted() -> None:
    table = csv_table("Ref,Title\n" + "".join(f"{n},#REF!\n" for n in range(100, 180)))
    assert len(told(table, "doubtful_error")) == 50
    assert told(table, "more_doubts") == ["works.csv: and 30 more cells of the kind doubtful_error"]


# ---- CSV written and read back

CELLS = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\t"), max_size=15).map(str.strip)
UNSAFE = st.sampled_from(["=1+1", "'=x", "''+1", "-1.9", "+49 30", "@a", "-", "'", "'-1", "0042", "a;b", 'say "x"'])


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    width = draw(st.integers(1, 4))
    columns = [f"{draw(CELLS)} {n}".strip() for n in range(width)]
    rows = draw(st.lists(st.lists(CELLS | UNSAFE, min_size=width, max_size=width).filter(any), max_size=4))
    return columns, rows


@settings(max_examples=150)
@given(tables())
@example((["a;b 0", "c;d 1"], [["e;f", "g;h"]]))
@example((["a 0"], [["x, y"], ['"']]))
def test_any_table_reads_back_equal_from_csv(table: tuple[list[str], list[list[str]]]) -> None:
    columns, rows = table
    found = csv_table(write_table_csv(columns, rows))
    assert list(found.columns) == columns
    assert cells(found) == [tuple(row) for row in rows]


def test_a_text_that_a_spreadsheet_would_run_is_written_as_text() -> None:
    text = write_table_csv(["Title"], [["=1+1"], ["@sum"], ["-x"], ["+x"], ["-1.9"], ["fine"]])
    assert text.split("\n")[1:-1] == ['"\'=1+1"', '"\'@sum"', '"\'-x"', '"\'+x"', '"-1.9"', '"fine"']


# ---- XLSX


def workbook(rows: Sequence[Sequence[Any]], edit: Callable[[Any], None] | None = None) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(list(row))
    if edit:
        edit(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(data: bytes, edit: Callable[[str], str], part: str = "xl/worksheets/sheet1.xml") -> bytes:
    """Return the workbook with the XML of one part changed, as other programs write it."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            content = old.read(info)
            new.writestr(info, edit(content.decode()).encode() if info.filename == part else content)
    return out.getvalue()


def xlsx(data: bytes, sheet: str | None = None) -> Table:
    return read_table(data, "works.xlsx", sheet)


def test_text_numbers_and_days_come_as_a_person_saw_them() -> None:
    def formats(book: Any) -> None:
        sheet = book.active
        sheet["A2"].number_format = "0000"
        sheet["C2"].number_format = "dd.mm.yyyy"
        sheet["D2"].number_format = "mmm yyyy"
        sheet["E2"].number_format = "0.0"

    rows = [
        ["Ref", "Title", "Date", "Seen", "Width", "Old"],
        [42, "Nine Tides", date(2019, 5, 4), date(2019, 5, 1), 21, "007"],
    ]
    table = xlsx(workbook(rows, formats))
    assert (table.kind, table.sheet, table.rows[0].line) == ("xlsx", "Sheet", 2)
    assert cells(table) == [("0042", "Nine Tides", "2019-05-04", "2019-05", "21.0", "007")]
    assert table.notices == ()


# number formats and what a spreadsheet shows for them: common practice
@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (42, "General", "42"),
        (42.0, "General", "42"),
        (0.1 + 0.2, "General", "0.3"),
        (42, "0000", "0042"),
        (42, "@", "42"),
        (12345, "0000", "12345"),
        (-42, "0000", "-0042"),
        (29.7, "0.00", "29.70"),
        (1234.5, "#,##0.00", "1234.50"),
        (0.6, "0%", "60%"),
        (0.125, "0.0%", "12.5%"),
        (42, '"QA-"0000', "QA-0042"),
        (42, "\\Q\\A\\-0000", "QA-0042"),
        (42, '0000" a"', "0042 a"),
        (42, "[Red]0000;[Blue]0000", "0042"),
        (-42, "0000;(0000)", "(0042)"),
        (True, "General", "TRUE"),
        (1.5e20, "General", "1.5E+20"),
        (datetime(2019, 5, 4), "dd/mm/yyyy", "2019-05-04"),
        (datetime(2019, 5, 4, 10, 30), "dd/mm/yyyy hh:mm", "2019-05-04 10:30"),
        (datetime(2019, 5, 4, 10, 30), "h:mm", "10:30"),
        (datetime(2019, 5, 4), "mmmm yyyy", "2019-05"),
        (datetime(2019, 5, 4), "yyyy", "2019"),
        (datetime(2024, 5, 22), "d-mmm", "22-May"),
        (datetime(2024, 5, 22), '[$-407]d. mmm "x"', "22-May"),
        (datetime(2024, 5, 22), "mm-dd-yy", "2024-05-22"),
    ],
)
def test_a_value_is_shown_by_its_number_format(value: object, number_format: str, text: str) -> None:
    assert shown_text(value, number_format) == text


def test_a_number_that_became_a_day_is_told() -> None:
    def formats(book: Any) -> None:
        book.active["B3"].number_format = "d-mmm"

    table = xlsx(workbook([["Ref", "Width"], ["1", 21.5], ["2", date(2024, 5, 22)], ["3", 29.5]], formats))
    assert cells(table)[1] == ("2", "22-May")
    assert told(table, "doubtful_date") == ["works.xlsx, line 3, Width: 22-May is a day where a number belongs"]


def test_a_year_in_a_date_cell_is_told() -> None:
    # 1998 days after the last day of 1899 (the spreadsheets' count, which has a 29 February 1900): 20 June 1905
    table = xlsx(workbook([["Ref", "Date"], ["1", date(1905, 6, 20)]]))
    assert told(table, "doubtful_year") == [
        "works.xlsx, line 2: B2 is a day in 1905: perhaps the year 1998 was typed into a date cell"
    ]


def test_leading_zeros_in_a_format_that_is_not_understood_are_told() -> None:
    def formats(book: Any) -> None:
        book.active["A2"].number_format = "00-00"

    table = xlsx(workbook([["Ref", "Title"], [42, "a"]], formats))
    assert (cells(table), codes(table)) == ([("42", "a")], ["number_format"])


FORMULA_ROWS = [["Ref", "Copies"], ["1", 3], ["2", "=B2*2"]]


def test_a_formula_gives_its_last_value_and_is_told() -> None:
    data = with_part(workbook(FORMULA_ROWS), lambda xml: re.sub(r"</f><v ?/>|</f><v></v>", "</f><v>6</v>", xml))
    table = xlsx(data)
    assert cells(table) == [("1", "3"), ("2", "6")]
    assert told(table, "formula") == ["works.xlsx, line 3: B3 is a formula: the value that was last worked out is read"]


def test_a_formula_without_a_value_is_refused_by_its_cell() -> None:
    def array(book: Any) -> None:
        book.active["B2"] = ArrayFormula("B2", "=SUM(1,2)")

    with pytest.raises(ManyErrors) as caught:
        xlsx(workbook(FORMULA_ROWS, array))
    assert [str(error).split(". ")[0] for error in caught.value.errors] == [
        "works.xlsx, line 2: the formula in B2 has no value in the file",
        "works.xlsx, line 3: the formula in B3 has no value in the file",
    ]


def test_a_text_that_begins_like_a_formula_is_text() -> None:
    def text(book: Any) -> None:
        book.active["A2"].data_type = "s"

    assert cells(xlsx(workbook([["Title", "Ref"], ["=1+1", "1"]], text))) == [("=1+1", "1")]


def test_merged_cells_are_told_and_only_the_first_has_the_text() -> None:
    table = xlsx(workbook([["Ref", "Title"], ["1", "a"], ["2", "b"]], lambda book: book.active.merge_cells("B2:B3")))
    assert cells(table) == [("1", "a"), ("2", "")]
    assert told(table, "merged_cells") == [
        "works.xlsx, Sheet: 1 merged cells, whose text counts for the first row and column only: B2:B3"
    ]


def test_hidden_and_other_sheets_are_told_and_the_first_with_text_is_read() -> None:
    def sheets(book: Any) -> None:
        hidden = book.create_sheet("Old", 0)
        hidden.sheet_state = "hidden"
        hidden.append(["Ref"])
        book.create_sheet("Works").append(["Ref", "Title"])
        book["Works"].append(["0042", "a"])
        book.create_sheet("Loans").append(["Who"])

    data = workbook([], sheets)
    table = xlsx(data)
    assert (table.sheet, cells(table)) == ("Works", [("0042", "a")])
    assert told(table, "hidden_sheets") == ["works.xlsx: hidden sheets were not read: Old"]
    assert told(table, "other_sheets") == ["works.xlsx: the sheet Works is read, these are not: Loans"]
    assert xlsx(data, "loans").columns == ("Who",)
    assert xlsx(data, "Old").columns == ("Ref",)
    with pytest.raises(InputError, match=r"no sheet Lent.* It has Old, Sheet, Works, Loans"):
        xlsx(data, "Lent")


def test_a_cell_beside_the_table_is_kept_in_a_column_of_its_own() -> None:
    table = xlsx(workbook([["Ref", "Title"], ["1", "a", None, "look here"], ["2", "b"]]))
    assert table.columns == ("Ref", "Title", "(column 3)", "(column 4)")
    assert cells(table)[0] == ("1", "a", "", "look here")


def test_two_hundred_thousand_empty_rows_are_not_read() -> None:
    def empties(xml: str) -> str:
        rows = "".join(f'<row r="{n}"><c r="A{n}" s="0"/><c r="ZZ{n}" s="0"/></row>' for n in range(3, 200_003))
        return xml.replace("</sheetData>", f"{rows}</sheetData>")

    data = with_part(workbook([["Ref", "Title"], ["1", "a"]]), empties)
    begun = time.process_time()
    table = xlsx(data)
    taken = time.process_time() - begun
    tracemalloc.start()
    xlsx(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (table.columns, cells(table)) == (("Ref", "Title"), [("1", "a")])
    assert codes(table) == ["stopped_at_empty_rows"]
    assert taken < 4  # seconds of one processor
    assert peak < 32e6  # bytes


def test_a_gap_of_a_few_rows_is_passed_over() -> None:
    def last(book: Any) -> None:
        book.active["A1900"] = "2"

    assert [row.line for row in xlsx(workbook([["Ref"], ["1"]], last)).rows] == [2, 1900]


def test_an_empty_workbook_is_refused() -> None:
    with pytest.raises(InputError, match="the table is empty"):
        xlsx(workbook([]))


def test_a_zip_bomb_is_refused_before_it_is_unpacked() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        zeros = bytes(2**20)
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            for _ in range(257):
                part.write(zeros)
    with pytest.raises(InputError, match="unpacks to more than 256 MiB"):
        xlsx(out.getvalue())


def test_entities_in_a_workbook_are_refused() -> None:
    bomb = '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;">]>'
    data = with_part(workbook([["Ref"], ["1"]]), lambda xml: bomb + xml)
    with pytest.raises(InputError, match="declares a document type"):
        xlsx(data)


def test_damaged_and_locked_workbooks_are_refused() -> None:
    data = workbook([["Ref"], ["1"]])
    for bad in (data[:200], data[:-30], data[:400] + b"\x00" * 60 + data[460:]):
        with pytest.raises(InputError, match=r"cannot be unpacked|is damaged"):
            xlsx(bad)
    with pytest.raises(InputError, match="is damaged, or is no XLSX"):
        xlsx(with_part(data, lambda xml: xml[:-30]))
    with pytest.raises(InputError, match="old or a locked workbook"):
        xlsx(b"\xd0\xcf\x11\xe0" + bytes(600))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
    with pytest.raises(InputError, match="is no XLSX workbook"):
        xlsx(out.getvalue())


# ---- whose column is it


def field_of(heading: str, remembered: dict[str, str] | None = None) -> str | None:
    return match_columns([heading], remembered).matches[0].field


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("Ref", "ref"),
        ("REF.", "ref"),
        ("Inventory No.", "ref"),
        ("Kat.-Nr.", "ref"),
        ("N° d’inventaire", "ref"),
        ("Title", "title"),
        ("Titel", "title"),
        ("titre", "title"),
        ("Type", "kind"),
        ("Year", "date"),
        ("Datierung", "date"),
        ("Année", "date"),
        ("ANNEE", "date"),
        ("Künstlerin", "artist"),
        ("Printed by", "printer"),
        ("Druckerei", "printer"),
        ("Colours", "inks"),
        ("Encre", "inks"),
        ("Papier", "paper"),
        ("Standort", "place"),
        ("Print run", "edition"),
        ("Auflagenhöhe", "edition"),
        ("Qty", "copies"),
        ("Stück", "copies"),
        ("Größe", "size"),
        ("GROESSE", "size"),
        ("Maße", "size"),
        ("Size (mm)", "size"),
        ("old_number", "old_number"),
        ("Alte Nr.", "old_number"),
        ("Remarks:", "note"),
        ("Bemerkung", "note"),
        ("Mood", None),
        ("", None),
    ],
)
def test_a_heading_matches_by_its_words_in_any_case_and_accents(heading: str, field: str | None) -> None:
    assert field_of(heading) == field


@pytest.mark.parametrize("field", FIELDS)
def test_our_own_headings_and_field_names_match(field: str) -> None:
    assert (field_of(HEADINGS[field]), field_of(field)) == (field, field)


def test_what_looks_alike_is_suggested_and_not_taken() -> None:
    found = match_columns(["Titlle", "Name of the paper", "Whereabouts"])
    assert [(m.field, m.suggestion) for m in found.matches] == [(None, "title"), (None, "paper"), (None, None)]
    assert found.unknown == ("Titlle", "Name of the paper", "Whereabouts")
    assert [str(notice) for notice in found.notices] == [
        "the column Titlle is kept, but not read; perhaps it is title",
        "the column Name of the paper is kept, but not read; perhaps it is paper",
        "the column Whereabouts is kept, but not read",
    ]


def test_two_columns_for_one_field_are_told_and_the_better_one_is_read() -> None:
    found = match_columns(["Jahr", "Date", "Year"])
    assert found.places("date") == (1,)
    assert [m.suggestion for m in found.matches] == ["date", None, "date"]
    assert [notice.code for notice in found.notices] == ["columns_doubled", "columns_doubled"]
    assert str(found.notices[0]) == "the columns Date and Jahr could both be date: Date is read, Jahr is kept"


def test_inks_and_notes_may_have_several_columns() -> None:
    found = match_columns(["Ink 1", "Ink 2", "Farbe 3", "Notes", "Remarks", "Title 2"])
    assert (found.places("inks"), found.places("note"), found.fields) == ((0, 1, 2), (3, 4), ("inks", "note"))


def test_what_a_person_chose_before_comes_first() -> None:
    found = match_columns(["Mood", "Title", "Notes"], {"MOOD": "title", "notes": ""})
    assert [m.field for m in found.matches] == ["title", None, None]
    assert [m.how for m in found.matches] == ["remembered", "none", "remembered"]
    assert [notice.code for notice in found.notices] == ["columns_doubled"]
    with pytest.raises(InputError, match="there is no field mood"):
        match_columns(["Mood"], {"Mood": "mood"})


@given(st.lists(st.text(max_size=12) | st.sampled_from(list(HEADINGS.values())), max_size=12))
def test_every_column_is_accounted_for(columns: list[str]) -> None:
    found = match_columns(columns)
    assert [m.column for m in found.matches] == columns
    assert sum(len(found.places(field)) for field in FIELDS) + len(found.unknown) == len(columns)


# ---- a workbook to fill in


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (600, 400), (200, 85, 61)).save(out, "JPEG")
    return out.getvalue()


def test_a_sheet_to_fill_in_has_headings_lists_and_pictures() -> None:
    rows = [SheetRow({"ref": "0042"}, picture()), SheetRow({"ref": "0043", "kind": "zine"})]
    data = blank_sheet(rows, choices={"kind": ("poster", "zine", "book, bound")}, blank_rows=10)
    sheet = load_workbook(io.BytesIO(data))["works"]
    assert [cell.value for cell in sheet[1]] == ["Picture", *HEADINGS.values()]
    (image,) = sheet._images
    assert max(image.width, image.height) <= 96  # pixels
    (rule,) = sheet.data_validations.dataValidation
    assert (rule.type, str(rule.sqref), rule.formula1) == ("list", "D2:D13", "lists!$A$1:$A$3")
    lists = load_workbook(io.BytesIO(data))["lists"]
    assert [row[0].value for row in lists["A1:A3"]] == ["poster", "zine", "book, bound"]


def test_cells_that_are_still_to_be_typed_are_text() -> None:
    sheet = load_workbook(io.BytesIO(blank_sheet(fields=("ref", "title"))))["works"]
    assert [sheet.column_dimensions[letter].number_format for letter in "AB"] == ["@", "@"]


def test_nothing_that_is_written_is_a_formula() -> None:
    texts = ["=1+1", "+1", "-1", "@x", "=HYPERLINK(1)", "#REF!", "'x", "0042", "1e5", "TRUE"]
    data = blank_sheet([SheetRow({"title": text}) for text in texts], fields=("title",))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")
    sheet = load_workbook(io.BytesIO(data))["works"]
    assert {cell.data_type for (cell,) in sheet["A2:A11"]} == {"s"}
    assert [cell.value for (cell,) in sheet["A2:A11"]] == texts
    assert [cell.quotePrefix for (cell,) in sheet["A2:A5"]] == [True] * 4


SHEET_CELLS = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufffe\uffff"), max_size=12)


@settings(max_examples=25)
@given(st.lists(st.dictionaries(st.sampled_from(FIELDS), SHEET_CELLS.map(str.strip), min_size=1), max_size=4))
def test_a_filled_sheet_reads_back_equal(filled: list[dict[str, str]]) -> None:
    table = xlsx(blank_sheet([SheetRow(row) for row in filled], choices={"kind": ("poster", "zine")}))
    assert match_columns(table.columns).fields == FIELDS
    expected = [tuple(row.get(field, "") for field in FIELDS) for row in filled if any(row.values())]
    assert cells(table) == expected


def test_what_a_sheet_cannot_hold_is_refused() -> None:
    for wrong in (
        lambda: blank_sheet(fields=("ref", "mood")),
        lambda: blank_sheet([SheetRow({"title": "x"})], fields=("ref",)),
        lambda: blank_sheet(fields=("ref",), choices={"kind": ("a",)}),
    ):
        with pytest.raises(InputError, match="there is no column for"):
            wrong()
    with pytest.raises(InputError, match="stands there twice"):
        blank_sheet(fields=("ref", "ref"))
    with pytest.raises(InputError, match="row 2, Title: the text has 32768 characters"):
        blank_sheet([SheetRow({"title": "x" * 32768})])
    with pytest.raises(InputError, match="row 2: the thumbnail is no picture"):
        blank_sheet([SheetRow({}, b"no picture")])
