"""CSV of readings: what spreadsheets do to it is undone or named, and nothing is guessed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from archive.errors import ArchiveError, InputError, ManyErrors
from archive.exchange.readings import ReadingRow, ReadingsFile, ReadLayer, default_passes, renumber_passes
from archive.exchange.readings_csv import read_readings_csv, write_readings_csv
from archive.exchange.text import decode_text

HEADER = "sample,paper,ink_1,tint_1,pass_1,ink_2,tint_2,pass_2,lab_l,lab_a,lab_b"


def read(text: str) -> ReadingsFile:
    return read_readings_csv(text, "strip 7.csv")


def read_row(row: str, header: str = HEADER) -> ReadingRow:
    (found,) = read(f"{header}\n{row}\n").rows
    return found


def faults(text: str) -> list[str]:
    with pytest.raises(ManyErrors) as caught:
        read(text)
    return [str(error) for error in caught.value.errors]


def fault_of(row: str, header: str = HEADER) -> str:
    (fault,) = faults(f"{header}\n{row}\n")
    return fault


def test_a_row_tells_paper_layers_in_printing_order_and_lab() -> None:
    file = read(f"{HEADER}\n0042,Oatleaf 120,Dockrope,100,1,Kilnsong,60,1,48.5,41.9,37.4\n")
    assert (file.name, file.kind, file.inks_known) == ("strip 7", "csv", True)
    (row,) = file.rows
    assert (row.line, row.sample, row.paper) == (2, "0042", "Oatleaf 120")
    assert row.layers == (ReadLayer("Dockrope", 100, 1), ReadLayer("Kilnsong", 60, 1))
    assert row.lab == (48.5, 41.9, 37.4)
    assert (row.xyz, row.spectrum, row.note) == (None, None, None)


def test_a_spreadsheets_file_keeps_its_zeros_through_bom_semicolons_and_decimal_commas() -> None:
    text = "Sample;Paper;Ink 1;TINT_1; Lab_L ;LAB_A;lab-b\r\n0042;Oatleaf 120;Dockrope;100;48,5;-1,9;37,4\r\n"
    decoded = decode_text(text.encode("utf-8-sig"), "strip.csv")
    (row,) = read(decoded.text).rows
    assert (row.sample, row.lab) == ("0042", (48.5, -1.9, 37.4))
    assert row.original[0] == ("Sample", "0042")
    assert row.original[4] == ("Lab_L", "48,5")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters_and_encodings_are_found(delimiter: str, encoding: str) -> None:
    text = delimiter.join(HEADER.split(",")) + "\n"
    text += delimiter.join(["7", "Größe", "Dockrope", "100", "1", "", "", "", "48.5", "41.9", "37.4"])
    (row,) = read(decode_text(text.encode(encoding), "strip.csv").text).rows
    assert (row.paper, row.lab) == ("Größe", (48.5, 41.9, 37.4))


def test_a_quoted_decimal_comma_may_stand_between_commas() -> None:
    assert read_row('1,,,,,,,,"48,5", "-1,9","37,4"').lab == (48.5, -1.9, 37.4)


def test_a_spreadsheets_sep_line_is_taken_at_its_word() -> None:
    assert read("sep=;\n" + HEADER.replace(",", ";") + "\n1;;;;;;;;48,5;1;2\n").rows[0].line == 3


def test_no_inks_is_bare_paper_and_a_missing_pass_stays_unknown() -> None:
    assert read_row("1,Oatleaf 120,,,,,,,92,0,5").layers == ()
    assert read_row("1,,Dockrope,40 %,,,,,92,0,5").layers == (ReadLayer("Dockrope", 40, None),)


def test_a_zero_tint_lays_no_ink() -> None:
    assert read_row("1,,Dockrope,0,1,Kilnsong,60,1,92,0,5").layers == (ReadLayer("Kilnsong", 60, 1),)


def test_empty_rows_and_empty_cells_beyond_the_header_are_skipped() -> None:
    file = read(f"\n{HEADER}\n\n,,,,,,,,,,\n1,,,,,,,,92,0,5,,\n\n2,,,,,,,,91,0,5\n")
    assert [(row.line, row.sample) for row in file.rows] == [(5, "1"), (7, "2")]


def test_line_numbers_count_line_breaks_inside_quoted_cells() -> None:
    header = f"{HEADER},note"
    file = read(f'{header}\n1,,,,,,,,92,0,5,"two\nlines"\n2,,,,,,,,92,0,5,\n')
    assert [(row.line, row.note) for row in file.rows] == [(2, "two\nlines"), (4, None)]


def test_optional_columns_are_read_by_their_kind() -> None:
    header = f"{HEADER},work,run,machine,screen,condition,backing,instrument"
    header += ",measured_on,printed_on,hours_after,n,spread,note"
    cells = 'QA-0042,2019-3,Upstairs,FM,m1,black,the small one,2019-05-04,2019-05,24,3,"0,8",settled'
    row = read_row(f"1,,,,,,,,92,0,5,{cells}", header)
    assert (row.work, row.run, row.machine, row.screen) == ("QA-0042", "2019-3", "Upstairs", "FM")
    assert (row.condition, row.backing, row.instrument) == ("M1", "black", "the small one")
    assert (row.measured_on, row.printed_on, row.hours_after) == ("2019-05-04", "2019-05", 24.0)
    assert (row.n, row.spread, row.note) == (3, 0.8, "settled")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("1,,Dockrope,130,1,,,,92,0,5", "strip 7.csv, line 2, tint_1: tint 130 is beyond 0 to 100"),
        ("1,,Dockrope,-1,1,,,,92,0,5", "tint -1"),
        ("1,,Dockrope,,1,,,,92,0,5", "line 2, tint_1: the tint is empty"),
        ("1,,Dockrope,22.May,1,,,,92,0,5", '"22.May" is a date'),
        ("1,,,40,,,,,92,0,5", "line 2, ink_1: there is a tint or pass, but no ink"),
        ("1,,Dockrope,40,0,,,,92,0,5", "line 2, pass_1: 0 is not a whole number"),
        ("1,,Dockrope,40,1.5,,,,92,0,5", "line 2, pass_1: 1.5 is not a whole number"),
        ("1,,Dockrope,40,2,Kilnsong,40,1,92,0,5", "line 2, pass_2: pass 1 stands after pass 2"),
        ("1,,,,,,,,-1,0,5", "line 2, lab_l: L* -1.0 is beyond 0 to 115"),
        ("1,,,,,,,,115.1,0,5", "L* 115.1 is beyond"),
        ("1,,,,,,,,92,NaN,5", 'line 2, lab_a: "NaN" is not a number'),
        ("1,,,,,,,,92,0,inf", 'line 2, lab_b: "inf" is not a number'),
        ("1,,,,,,,,92,,5", "line 2, lab_a: the cell is empty"),
        ("1,,,,,,,,92,0,4190", "line 2, lab_b: 4190.0 is no a* or b* of a print"),
        ("1,,,,,,,,,,", "line 2, lab_l: the row has no reading"),
        (",Oatleaf 120,,,,,,,92,0,5", "line 2, sample: the sample has no name"),
        ("1,,,,,,,,92,0", "line 2: the row has 10 cells, the header 11"),
        ("1,,,,,,,,48,5,-1,9,37,4", "line 2: the row has 14 cells, the header 11. Put quotation marks"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_named_by_line_and_field(row: str, words: str) -> None:
    assert words in fault_of(row)


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("condition", "D50", "no measurement condition"),
        ("measured_on", "04.05.2019", "not an ISO date"),
        ("hours_after", "-2", "below zero"),
        ("n", "2.5", "whole number"),
        ("spread", "22.May", "is a date"),
    ],
)
def test_a_bad_optional_cell_is_named(column: str, cell: str, words: str) -> None:
    fault = fault_of(f"1,,,,,,,,92,0,5,{cell}", f"{HEADER},{column}")
    assert f"line 2, {column}: " in fault
    assert words in fault


def test_all_bad_rows_are_told_at_once() -> None:
    found = faults(f"{HEADER}\n1,,Dockrope,130,1,,,,92,0,5\n2,,,,,,,,92,0,5\n3,,,,,,,,92,nan,oops\n")
    assert [fault.split(":")[0] for fault in found] == [
        "strip 7.csv, line 2, tint_1",
        "strip 7.csv, line 4, lab_a",
        "strip 7.csv, line 4, lab_b",
    ]


def test_missing_columns_are_named_with_the_nearest_spelling() -> None:
    found = faults("sampel,ink_1,tint_1,lab_l,lab_a\n1,,,1,2\n")
    assert len(found) == 2
    assert "the column sample is missing. Rename sampel to sample" in found[0]
    assert "the column lab_b is missing. Add a column lab_b" in found[1]


def test_an_ink_column_needs_its_tint_and_the_other_way_round() -> None:
    assert "tint_2 is missing" in faults("sample,ink_1,tint_1,ink_2,lab_l,lab_a,lab_b\n")[0]
    assert "ink_2 is missing" in faults("sample,ink_1,tint_1,tint_2,lab_l,lab_a,lab_b\n")[0]


def test_a_column_named_twice_and_inks_out_of_order_are_refused() -> None:
    assert "note stands twice" in faults(f"{HEADER},note,Note\n")[0]
    swapped = "sample,ink_2,tint_2,ink_1,tint_1,lab_l,lab_a,lab_b\n"
    assert "left to right" in faults(swapped)[0]


def test_a_header_without_rows_and_an_empty_file_are_refused() -> None:
    assert "no rows" in faults(f"{HEADER}\n")[0]
    with pytest.raises(InputError, match="empty"):
        read("\n\n")


def test_a_quotation_mark_that_never_closes_swallows_nothing_silently() -> None:
    with pytest.raises(InputError, match=r"strip 7\.csv, line 3: the quotation marks") as caught:
        read(f'{HEADER}\n1,,,,,,,,92,0,5\n2,"Oatleaf,,,,,,,92,0,5\n3,,,,,,,,92,0,5\n')
    assert caught.value.mend


def test_a_cell_below_an_empty_column_name_is_refused() -> None:
    assert "column without a name" in fault_of("1,,,,,,,,92,0,5,stray", f"{HEADER},")
    assert read_row("1,,,,,,,,92,0,5,", f"{HEADER},").sample == "1"


def test_doubtful_things_pass_with_a_notice() -> None:
    file = read(f'{HEADER},shelf,nota\n1,,,,,,,,104,-131,5,A3,\n2,,,,,,,,"92,5",0.5,5,,x\n')
    told = {notice.code: str(notice) for notice in file.notices}
    assert told["lab_l_above_100"] == "strip 7.csv, line 2, lab_l: L* 104.0 is above 100"
    assert "line 2, lab_a: -131.0" in told["lab_ab_unusual"]
    assert "decimal comma" in told["mixed_decimals"]
    assert [str(n) for n in file.notices if n.code == "column_not_read"] == [
        "strip 7.csv: the column shelf is kept, but not read",
        "strip 7.csv: the column nota is kept, but not read; perhaps note was meant",
    ]
    assert file.rows[0].original[-2] == ("shelf", "A3")


def test_l_star_of_115_is_the_last_that_passes() -> None:
    assert read_row("1,,,,,,,,115,0,5").lab == (115.0, 0.0, 5.0)


def test_unknown_passes_are_filled_two_inks_to_a_pass() -> None:
    four = [ReadLayer(ink, 100) for ink in ("Dockrope", "Kilnsong", "Ferrywake", "Sootwell")]
    assert [layer.print_pass for layer in default_passes(four)] == [1, 1, 2, 2]
    assert [layer.print_pass for layer in default_passes(four, 1)] == [1, 2, 3, 4]
    known_third = [*four[:2], replace(four[2], print_pass=3), four[3]]
    assert [layer.print_pass for layer in default_passes(known_third)] == [1, 1, 3, 3]
    assert default_passes([]) == ()


def test_a_pass_that_runs_backwards_is_refused() -> None:
    with pytest.raises(InputError, match="Kilnsong is in pass 1, but an ink before it is in pass 2"):
        default_passes([ReadLayer("Dockrope", 50, 2), ReadLayer("Kilnsong", 50, 1)])


def test_passes_are_renumbered_without_gaps() -> None:
    layers = [ReadLayer("Dockrope", 50, 2), ReadLayer("Kilnsong", 50, 2), ReadLayer("Ferrywake", 50, 4)]
    assert [layer.print_pass for layer in renumber_passes(layers)] == [1, 1, 2]


def numbers(least: float, most: float) -> st.SearchStrategy[float]:
    return st.floats(least, most, allow_nan=False).map(lambda number: number + 0.0)


TEXTS = st.text(st.characters(exclude_categories=["C"]), max_size=12).map(str.strip).filter(bool)
LAYERS = st.lists(st.builds(ReadLayer, TEXTS, numbers(0.1, 100), st.none() | st.integers(1, 9)), max_size=4).map(
    lambda layers: tuple(sorted(layers, key=lambda layer: layer.print_pass or 0))
)
ROWS = st.builds(
    ReadingRow,
    line=st.just(0),
    sample=TEXTS,
    paper=st.none() | TEXTS,
    layers=LAYERS,
    lab=st.tuples(numbers(0, 115), numbers(-300, 300), numbers(-300, 300)),
    work=st.none() | TEXTS,
    condition=st.none() | st.sampled_from(["M0", "M1", "M2", "M3", "camera", "eye"]),
    measured_on=st.none() | st.dates().map(str),
    hours_after=st.none() | numbers(0, 1e6),
    n=st.none() | st.integers(1, 1000),
    spread=st.none() | numbers(0, 50),
    note=st.none() | TEXTS,
)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(st.lists(ROWS, min_size=1, max_size=4))
def test_written_rows_read_back_the_same(rows: list[ReadingRow]) -> None:
    found = read(write_readings_csv(rows)).rows
    assert [replace(row, line=0, original=()) for row in found] == rows


def test_csv_has_no_place_for_a_row_without_lab() -> None:
    with pytest.raises(InputError, match="sample 7 has no Lab"):
        write_readings_csv([ReadingRow(1, "7", xyz=(0.5, 0.5, 0.4))])


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.text(max_size=80), st.booleans())
@example("\x00", True)
@example('"', True)
@example('sep="\n1', False)
def test_any_text_gives_rows_or_our_own_error(text: str, with_header: bool) -> None:
    try:
        file = read(f"{HEADER}\n{text}" if with_header else text)
    except ArchiveError:
        return
    assert file.rows


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.lists(st.text("0123456789.,;-eEMay %\"' \t", max_size=6), min_size=11, max_size=11))
def test_any_cells_give_a_row_or_our_own_error(cells: list[str]) -> None:
    try:
        file = read(f"{HEADER}\n{','.join(cells)}\n")
    except ArchiveError:
        return
    (row,) = file.rows
    assert row.lab is not None
    assert 0 <= row.lab[0] <= 115
