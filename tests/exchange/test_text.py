"""Bytes become text, lines become cells, and cells become numbers only when they are numbers."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.errors import ArchiveError, InputError
from archive.exchange.text import (
    decode_text,
    read_date,
    read_number,
    split_cells,
    strip_comment,
    unify_newlines,
    write_number,
)

WORDS = "sample;note\n0042;Größe – 5 €\n"


@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8"),
        ("utf-16", "utf-16-le"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("utf-32", "utf-32-le"),
        ("cp1252", "cp1252"),
    ],
)
def test_text_is_the_same_whatever_the_encoding(encoding: str, found: str) -> None:
    decoded = decode_text(WORDS.encode(encoding), "list.csv")
    assert (decoded.text, decoded.encoding) == (WORDS, found)


@pytest.mark.parametrize(("end", "kind"), [("\n", "LF"), ("\r\n", "CRLF"), ("\r", "CR")])
def test_line_ends_become_lf_and_are_remembered(end: str, kind: str) -> None:
    decoded = decode_text(f"a{end}b{end}".encode(), "list.csv")
    assert (decoded.text, decoded.newlines) == ("a\nb\n", kind)


def test_mixed_and_missing_line_ends_are_told() -> None:
    assert decode_text(b"a\r\nb\n", "x").newlines == "mixed"
    assert decode_text(b"a", "x").newlines == "none"


def test_a_dos_end_of_file_mark_is_dropped() -> None:
    assert decode_text(b"a\r\nb\r\n\x1a", "x").text == "a\nb\n"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (b"\xff\xfe", "empty"),
        (b" \r\n", "empty"),
        (b"PK\x03\x04rest", "workbook"),
        (b"\xd0\xcf\x11\xe0rest", "workbook"),
        (b"%PDF-1.7", "PDF"),
        (b"\x89PNG\r\n", "picture"),
        (b"a\x00\x01\x02\x03b", "binary"),
        (bytes(range(256)), "binary"),
        (b"\xff\xfea\x00b", "binary"),  # UTF-16 cut in the middle of a letter
        (b"caf\x81 is no letter of Windows-1252", "neither"),
    ],
)
def test_what_is_no_text_is_refused_by_name(data: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        decode_text(data, "list.csv")
    assert caught.value.where == "list.csv"
    assert caught.value.mend


@settings(derandomize=True, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_give_text_or_our_own_error(data: bytes) -> None:
    try:
        decoded = decode_text(data, "list.csv")
    except ArchiveError:
        return
    assert "\r" not in decoded.text


def test_newlines_are_unified_and_the_mark_goes() -> None:
    assert unify_newlines("\ufeffa\r\nb\rc\n") == "a\nb\nc\n"


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("22.5", 22.5),
        ("22,5", 22.5),
        (" -0,30 ", -0.3),
        ("\u22124.5", -4.5),  # a typographer's minus sign
        ("+7", 7.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("1e-3", 0.001),
        ("007", 7.0),
        ("\u00a09", 9.0),
    ],
)
def test_decimal_comma_and_point_are_both_read(cell: str, number: float) -> None:
    assert read_number(cell) == number


@pytest.mark.parametrize(
    "cell", ["22.May", "22-May", "22. Mai", "May-22", "22.05.2024", "2024-05-22", "22/05/24", "22/5", "5-févr"]
)
def test_a_number_that_a_spreadsheet_made_a_date_is_named_so(cell: str) -> None:
    with pytest.raises(InputError, match="is a date"):
        read_number(cell)


@pytest.mark.parametrize(
    "cell",
    [
        "",
        " ",
        "NaN",
        "nan",
        "inf",
        "-Infinity",
        "1e999",
        "1_000",
        "1.234,5",
        "1,234.5",
        "12 3",
        "#VALUE!",
        "0x10",
        "١٢",
        "-",
        ".",
        "e5",
        "1e99999",
    ],
)
def test_what_is_no_number_is_refused(cell: str) -> None:
    with pytest.raises(InputError):
        read_number(cell)


@settings(derandomize=True, deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_written_number_reads_back_the_same(number: float) -> None:
    assert read_number(write_number(number)) == number


@settings(derandomize=True, deadline=None)
@given(st.integers(-(10**9), 10**9))
def test_moving_the_decimal_sign_rounds_nothing(thousandths: int) -> None:
    # 81.066 percent is the double nearest to 0.81066, which division by 100 may miss by one bit
    sign, digits = ("-" if thousandths < 0 else ""), f"{abs(thousandths):09d}"
    percent = f"{sign}{digits[:-3]}.{digits[-3:]}"
    assert read_number(percent, shift=-2) == float(f"{sign}{digits[:-5]}.{digits[-5:]}")


def test_a_very_long_cell_is_cut_in_the_message() -> None:
    with pytest.raises(InputError) as caught:
        read_number("x" * 10_000)
    assert len(str(caught.value)) < 200


@settings(derandomize=True, deadline=None)
@given(st.text(max_size=30))
def test_any_cell_gives_a_finite_number_or_our_own_error(cell: str) -> None:
    with contextlib.suppress(InputError):
        assert math.isfinite(read_number(cell))


@pytest.mark.parametrize("cell", ["2019-05-04", "2019-05", "2019", " 2020-02-29 "])
def test_iso_dates_are_kept_as_text(cell: str) -> None:
    assert read_date(cell) == cell.strip()


@pytest.mark.parametrize(
    "cell", ["04.05.2019", "2019-13-01", "2019-02-30", "2019-5-4", "May 2019", "0000", "", "20190504"]
)
def test_other_dates_are_refused_with_the_right_spelling(cell: str) -> None:
    with pytest.raises(InputError, match="2019-05-04"):
        read_date(cell)


@pytest.mark.parametrize(
    ("line", "cells"),
    [
        ("1 2   3", ["1", "2", "3"]),
        ("1\t2\t3", ["1", "2", "3"]),
        ("1\t\t3", ["1", "", "3"]),  # single tabs: the middle cell is empty
        ("1\t2\t3\t", ["1", "2", "3"]),  # a tab at the end of the line
        ("1\t2\t", ["1", "2", ""]),
        ("1\t\t2 \t 3", ["1", "2", "3"]),  # runs of blanks
        ('"a b" 2 3', ["a b", "2", "3"]),
        ('"a\tb"\t2\t3', ["a\tb", "2", "3"]),
        ('"say ""hi""" \'it\'\'s\' ""', ['say "hi"', "it's", ""]),
        ("5' 2 3", ["5'", "2", "3"]),
        ("'tis 2 3", ["'tis", "2", "3"]),
        ("1 2 3 # rest of it", ["1", "2", "3"]),
        ("#1\t2\t3", ["#1", "2", "3"]),
    ],
)
def test_a_line_is_split_by_tabs_or_blanks_whichever_fits(line: str, cells: list[str]) -> None:
    assert split_cells(line, 3) == cells


@pytest.mark.parametrize("line", ['"a b 2 3', '1\t"2\t3', '"a"b 2 3'])
def test_quotation_marks_that_do_not_pair_up_are_refused(line: str) -> None:
    with pytest.raises(InputError, match="pair up"):
        split_cells(line, 3)


@pytest.mark.parametrize(
    ("text", "plain"),
    [('"a # b" # c', "a # b"), ("a # b", "a"), ("# b", ""), ("a#b", "a#b"), ("'x'", "x"), ('"open', '"open')],
)
def test_comments_end_a_keyword_line(text: str, plain: str) -> None:
    assert strip_comment(text) == plain
