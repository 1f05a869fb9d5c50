"""Dates in words and in EDTF: what they are read as, and the bounds they give."""

from __future__ import annotations

import calendar
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.catalogue.dates import WrittenDate, read_date
from archive.errors import InputError


def bounds(text: str) -> tuple[str | None, str | None]:
    read = read_date(text)
    return read.earliest, read.latest


def sorting(text: str, **options: int) -> tuple[str | None, str | None]:
    read = read_date(text, **options)
    return read.sort_earliest, read.sort_latest


# ISO 8601-2:2019 examples, as the tests of python-edtf 5.0.2 (MIT) list them with their strict bounds.
SPECIFICATION = [
    ("2001-02-03", "2001-02-03", "2001-02-03"),  # level 0
    ("2008-12", "2008-12-01", "2008-12-31"),
    ("2008", "2008-01-01", "2008-12-31"),
    ("0000", "0000-01-01", "0000-12-31"),
    ("2001-02-03T09:30:01", "2001-02-03", "2001-02-03"),
    ("2004-01-01T10:10:10Z", "2004-01-01", "2004-01-01"),
    ("2004-01-01T10:10:10+05:00", "2004-01-01", "2004-01-01"),
    ("1964/2008", "1964-01-01", "2008-12-31"),
    ("2004-06/2006-08", "2004-06-01", "2006-08-31"),
    ("2004-02-01/2005-02-08", "2004-02-01", "2005-02-08"),
    ("2004-02-01/2005-02", "2004-02-01", "2005-02-28"),
    ("2005/2006-02", "2005-01-01", "2006-02-28"),
    ("1984?", "1984-01-01", "1984-12-31"),  # level 1
    ("2004-06-11?", "2004-06-11", "2004-06-11"),
    ("1984~", "1984-01-01", "1984-12-31"),
    ("1984%", "1984-01-01", "1984-12-31"),
    ("199X", "1990-01-01", "1999-12-31"),
    ("19XX", "1900-01-01", "1999-12-31"),
    ("1999-XX", "1999-01-01", "1999-12-31"),
    ("1999-01-XX", "1999-01-01", "1999-01-31"),
    ("1999-XX-XX", "1999-01-01", "1999-12-31"),
    ("16XX~", "1600-01-01", "1699-12-31"),
    ("1XXX", "1000-01-01", "1999-12-31"),
    ("1984~/2004-06", "1984-01-01", "2004-06-30"),
    ("1984-06?/2004-08?", "1984-06-01", "2004-08-31"),
    ("1984-06-02?/2004-08-08~", "1984-06-02", "2004-08-08"),
    ("../2006", None, "2006-12-31"),
    ("2004-01-01/..", "2004-01-01", None),
    ("2001-21", "2001-03-01", "2001-05-31"),
    ("2003-22", "2003-06-01", "2003-08-31"),
    ("2000-23", "2000-09-01", "2000-11-30"),
    ("2004-06-11%", "2004-06-11", "2004-06-11"),  # level 2
    ("2004?-06-11", "2004-06-11", "2004-06-11"),
    ("2004-06~-11", "2004-06-11", "2004-06-11"),
    ("2004-%06", "2004-06-01", "2004-06-30"),
    ("2004-?06-?11", "2004-06-11", "2004-06-11"),
    ("?2004-%06", "2004-06-01", "2004-06-30"),
    ("2004?-~06-~04", "2004-06-04", "2004-06-04"),
    ("156X-12-25", "1560-12-25", "1569-12-25"),
    ("1560-XX-25", "1560-01-25", "1560-12-25"),
    ("15XX-12-XX", "1500-12-01", "1599-12-31"),
    ("XXXX-XX-23", "0000-01-23", "9999-12-23"),
    ("[1667, 1668, 1670..1672]", "1667-01-01", "1672-12-31"),
    ("[..1760-12-03]", None, "1760-12-03"),
    ("[1760-12..]", "1760-12-01", None),
    ("[1760-01, 1760-02, 1760-12..]", "1760-01-01", None),
    ("[1667, 1760-12]", "1667-01-01", "1760-12-31"),
    ("[1785-07-30..1785-08-06]", "1785-07-30", "1785-08-06"),
    ("{1960, 1961-12}", "1960-01-01", "1961-12-31"),
    ("{1912-03..1912-05}", "1912-03-01", "1912-05-31"),
    ("2004-06-~01/2004-06-~20", "2004-06-01", "2004-06-20"),
    ("2001-29", "2001-09-01", "2001-11-30"),
    ("2001-34", "2001-04-01", "2001-06-30"),
]

# Where python-edtf 5.0.2 differs from the specification's words, or from what a shop needs, by name:
# it gives an unknown end ten years, ends a winter on 31 December, and takes an estimate for the whole.
OUR_OWN_BOUNDS = [
    ("/2006", None, "2006-12-31"),  # there 1996-12-31
    ("2004-06-01/", "2004-06-01", None),  # there 2014-06-01
    ("1984-06-02?/", "1984-06-02", None),  # there 1994-06-02
    ("2010-24", "2010-12-01", "2011-02-28"),  # winter; there 2010-12-31
    ("1950S2", "1900-01-01", "1999-12-31"),  # "some year between 1900 and 1999, estimated to be 1950"
    ("1953S3", "1950-01-01", "1959-12-31"),
]


@pytest.mark.parametrize(("edtf", "earliest", "latest"), SPECIFICATION + OUR_OWN_BOUNDS)
def test_an_edtf_date_gives_the_bounds_of_the_specification(
    edtf: str, earliest: str | None, latest: str | None
) -> None:
    read = read_date(edtf)
    assert (read.earliest, read.latest) == (earliest, latest)
    assert read.edtf == edtf.replace(" ", "")


# python-edtf 5.0.2's list of what is no EDTF (older drafts with brackets, and days that do not exist).
@pytest.mark.parametrize(
    "text",
    [
        "not a edtf string",
        "Y17E7-12-26",
        "2016-13-08",
        "2016-02-39",
        "-0000-01-01",
        "2004-(06)?-11",
        "2004-06-(11)~",
        "2004-(06)%",
        "2004-(06-11)?",
        "2004?-06-(11)~",
        "(2004-(06)~)?",
        "(2004)?-06-04~",
        "(2011)-06-04~",
        "2011-(06-04)~",
        "2004-06-(01)~/2004-06-(20)~",
    ],
)
def test_what_is_no_edtf_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_date(text)


@pytest.mark.parametrize("text", ["-0999", "-0275~", "-2005/-1999-02", "Y170000002", "Y-17E7", "Y3388E2S3"])
def test_valid_edtf_outside_four_digit_years_is_refused_in_words(text: str) -> None:
    with pytest.raises(InputError, match="outside the years 0000 to 9999"):
        read_date(text)


@pytest.mark.parametrize("text", ["2003-02-29", "31.2.2019", "31 April 2019"])
def test_a_day_that_its_month_does_not_have_is_named(text: str) -> None:
    with pytest.raises(InputError, match="that month has"):
        read_date(text)


@pytest.mark.parametrize(
    "text",
    [
        *("hello", "98", "4.5.98", "1985-05-1991", "13.13.2019", "0.5.2019", "May", "spring"),
        *("..", "/", "../XXXX-", "1998//1999", "[1998", "{..}", "x" * 5000, "[" * 150),
    ],
)
def test_the_unreadable_is_refused_with_examples(text: str) -> None:
    with pytest.raises(InputError) as caught:
        read_date(text)
    assert "about 1998" in caught.value.mend
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("text", ["1991-1985", "between 1991 and 1985", "2001-05/2001-04", "[1991..1985]"])
def test_a_range_that_ends_before_it_starts_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="ends before it starts"):
        read_date(text)


# --- words (the readings are common practice) -------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "edtf", "earliest", "latest"),
    [
        ("1998", "1998", "1998-01-01", "1998-12-31"),
        ("1998?", "1998?", "1998-01-01", "1998-12-31"),
        ("probably 1998", "1998?", "1998-01-01", "1998-12-31"),
        ("ca. 1998 (?)", "1998%", "1998-01-01", "1998-12-31"),
        ("[ca. 1998]", "1998~", "1998-01-01", "1998-12-31"),
        ("May 2019", "2019-05", "2019-05-01", "2019-05-31"),
        ("Sept. 2019", "2019-09", "2019-09-01", "2019-09-30"),
        ("5/2019", "2019-05", "2019-05-01", "2019-05-31"),
        ("4 May 2019", "2019-05-04", "2019-05-04", "2019-05-04"),
        ("2019-05-04 00:00:00", "2019-05-04", "2019-05-04", "2019-05-04"),  # a spreadsheet's bare date
        ("spring 2007", "2007-21", "2007-03-01", "2007-05-31"),
        ("winter 2007", "2007-24", "2007-12-01", "2008-02-29"),
        ("1990s", "199X", "1990-01-01", "1999-12-31"),
        ("early 1990s", "[1990..1993]", "1990-01-01", "1993-12-31"),
        ("mid-1990s", "[1994..1996]", "1994-01-01", "1996-12-31"),
        ("late 1990s", "[1997..1999]", "1997-01-01", "1999-12-31"),
        ("late 1998", "1998-39", "1998-09-01", "1998-12-31"),
        ("before 1990", "[..1989]", None, "1989-12-31"),
        ("until 1990", "[..1990]", None, "1990-12-31"),
        ("before 1 March 2004", "[..2004-02-29]", None, "2004-02-29"),
        ("before spring 2007", "[..2007-02]", None, "2007-02-28"),
        ("after 2001", "[2002..]", "2002-01-01", None),
        ("after May 2001", "[2001-06..]", "2001-06-01", None),
        ("since 2001", "[2001..]", "2001-01-01", None),
        ("1985-1991", "1985/1991", "1985-01-01", "1991-12-31"),
        ("1985 – 1991", "1985/1991", "1985-01-01", "1991-12-31"),
        ("1985 to 1991", "1985/1991", "1985-01-01", "1991-12-31"),
        ("1985-91", "1985/1991", "1985-01-01", "1991-12-31"),
        ("between 1985 and 1991", "[1985..1991]", "1985-01-01", "1991-12-31"),
        ("between 1985 and May 1991", "[1985-01..1991-05]", "1985-01-01", "1991-05-31"),
        ("1998 or 2001", "[1998,2001]", "1998-01-01", "2001-12-31"),
        ("4-6 May 2019", "2019-05-04/2019-05-06", "2019-05-04", "2019-05-06"),
        ("May to June 2019", "2019-05/2019-06", "2019-05-01", "2019-06-30"),
    ],
)
def test_words_become_edtf(text: str, edtf: str, earliest: str | None, latest: str | None) -> None:
    read = read_date(text)
    assert (read.edtf, read.earliest, read.latest) == (edtf, earliest, latest)


@pytest.mark.parametrize("text", ["", "  ", "undated", "Undated", "n.d.", "no date", "unknown", "?"])
def test_undated_gives_no_bounds_and_no_error(text: str) -> None:
    assert read_date(text) == WrittenDate(text.strip())


def test_a_one_sided_date_is_open_and_others_are_not() -> None:
    assert read_date("before 1990").is_open
    assert read_date("1985/").is_open
    assert not read_date("1990").is_open
    assert not read_date("undated").is_open


@pytest.mark.parametrize("text", ["about 1998", "ca. 1998", "c. 1998", "ca 1998", "Circa 1998", "1998~", "c1998"])
def test_about_a_year_keeps_its_words_and_strict_bounds_and_sorts_two_years_wider(text: str) -> None:
    read = read_date(text)
    assert read.text == text
    assert (read.earliest, read.latest) == ("1998-01-01", "1998-12-31")
    assert (read.sort_earliest, read.sort_latest) == ("1996-01-01", "2000-12-31")
    assert [notice.code for notice in read.notices] == ["date_about"]
    assert "1996-01-01" in str(read.notices[0])  # the rule is shown
    assert sorting(text, about_years=5) == ("1993-01-01", "2003-12-31")


@pytest.mark.parametrize(
    ("text", "earliest", "latest"),
    [
        ("about 1990s", "1988-01-01", "2001-12-31"),
        ("about the early 1990s", "1988-01-01", "1995-12-31"),
        ("about May 2019", "2019-03-01", "2019-07-31"),
        ("about 30 December 2018", "2018-12-28", "2019-01-01"),
        ("about spring 2007", "2007-01-01", "2007-07-31"),
        ("about 1985-1991", "1983-01-01", "1993-12-31"),
        ("between about 1985 and 1991", "1983-01-01", "1991-12-31"),
        ("1985~/1991", "1983-01-01", "1991-12-31"),
        ("before about 1990", None, "1991-12-31"),
        ("after about 2001", "2000-01-01", None),
        ("2004~-02-29", "2002-02-28", "2006-02-28"),
        ("2004-06~", "2004-04-01", "2004-08-31"),
        ("2004-06-~11", "2004-06-09", "2004-06-13"),
        ("[1667~,1680]", "1665-01-01", "1680-12-31"),
        ("about 9999", "9997-01-01", "9999-12-31"),
        ("0001~", "0000-01-01", "0003-12-31"),
        ("1998?", "1998-01-01", "1998-12-31"),  # doubtful is not about
    ],
)
def test_about_widens_in_the_unit_it_stands_at(text: str, earliest: str | None, latest: str | None) -> None:
    assert sorting(text) == (earliest, latest)


@pytest.mark.parametrize(
    ("text", "edtf", "code"),
    [
        ("4.5.2019", "2019-05-04", "date_day_first"),
        ("4/5/2019", "2019-05-04", "date_day_first"),
        ("5/13/2019", "2019-05-13", "date_month_first"),
        ("2004-06", "2004-06", "date_year_month"),
        ("'90s", "199X", "date_decade"),
        ("2000s", "200X", "date_decade"),
    ],
)
def test_an_ambiguous_date_is_read_and_says_how(text: str, edtf: str, code: str) -> None:
    read = read_date(text)
    assert read.edtf == edtf
    assert [notice.code for notice in read.notices] == [code]


@pytest.mark.parametrize("text", ["13.5.2019", "5.5.2019", "2019-05", "2019-05-04", "1998", "4 May 2019"])
def test_a_plain_date_brings_no_notice(text: str) -> None:
    assert read_date(text).notices == ()


def test_about_cannot_be_less_than_nothing() -> None:
    with pytest.raises(InputError):
        read_date("about 1998", about_years=-1)


# --- properties -------------------------------------------------------------------------------------------

DAYS = st.dates(min_value=date(1, 1, 1), max_value=date(9999, 12, 31))
YEARS = st.integers(min_value=1, max_value=9999)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(day=DAYS)
def test_a_day_reads_the_same_however_it_is_written(day: date) -> None:
    name, year = calendar.month_name[day.month], f"{day.year:04d}"
    for text in (
        day.isoformat(),
        f"{year}/{day.month}/{day.day}",
        f"{day.day}.{day.month}.{year}" if day.day > 12 else f"{day.day:02d}. {name} {year}",
        f"{day.day} {name} {year}",
        f"{name.upper()} {day.day}, {year}",
        f"{day.day}th of {name[:3]}. {year}",
    ):
        assert bounds(text) == (day.isoformat(), day.isoformat()), text


@settings(derandomize=True, deadline=None, max_examples=100)
@given(year=YEARS, month=st.integers(1, 12))
def test_a_month_reads_the_same_however_it_is_written(year: int, month: int) -> None:
    name, last = calendar.month_name[month], calendar.monthrange(year, month)[1]
    wanted = (f"{year:04d}-{month:02d}-01", f"{year:04d}-{month:02d}-{last:02d}")
    for text in (
        f"{year:04d}-{month:02d}",
        f"{name} {year:04d}",
        f"{year:04d} {name}",
        f"{month}/{year:04d}",
    ):
        assert bounds(text) == wanted, text


@settings(derandomize=True, deadline=None, max_examples=100)
@given(a=YEARS, b=YEARS, about=st.integers(0, 30))
def test_about_never_narrows_and_more_widens_more(a: int, b: int, about: int) -> None:
    low, high = sorted((a, b))
    read = read_date(f"ca. {low:04d} to {high:04d}", about_years=about)
    wider = read_date(read.text, about_years=about + 1)
    assert read.earliest is not None
    assert read.latest is not None
    chain = [wider.sort_earliest, read.sort_earliest, read.earliest, read.latest, read.sort_latest]
    assert [*chain, wider.sort_latest] == sorted([*chain, wider.sort_latest], key=str)


PIECES = st.sampled_from(
    [
        *(
            "1998",
            "2001",
            "19XX",
            "199X",
            "1990s",
            "May",
            "4",
            "31",
            "2",
            "spring",
            "early",
            "05",
            "24",
            "S2",
        ),
        *("about", "ca.", "before", "after", "between", "and", "to", "or", "from", "?", "~", "%", "X", "the"),
        *("-", "/", ".", "..", "[", "]", "{", "}", ",", " ", "T10:10:10", "Y", "E3", "(", ")", "–"),
    ]
)


@settings(derandomize=True, deadline=None, max_examples=400)
@given(text=st.one_of(st.lists(PIECES, max_size=7).map("".join), st.lists(PIECES, max_size=7).map(" ".join)))
def test_any_mixture_of_date_words_gives_ordered_bounds_or_an_input_error(text: str) -> None:
    check_any_text(text)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(text=st.text())
def test_any_text_gives_a_date_or_an_input_error(text: str) -> None:
    check_any_text(text)


def check_any_text(text: str) -> None:
    try:
        read = read_date(text)
    except InputError:
        return
    assert read.text == text.strip()
    if read.earliest and read.latest:
        assert read.earliest <= read.latest
        assert (read.sort_earliest or "") <= read.earliest
        assert read.latest <= (read.sort_latest or "")
    if read.edtf:  # what is stored reads back to the same
        again = read_date(read.edtf)
        assert (again.edtf, again.earliest, again.latest) == (read.edtf, read.earliest, read.latest)
        assert (again.sort_earliest, again.sort_latest) == (read.sort_earliest, read.sort_latest)
