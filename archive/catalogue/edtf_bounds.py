"""EDTF expressions (ISO 8601-2:2019, levels 0 to 2) and the days they cover.

The edtf package knows the grammar; the bounds are ours, for it gives an unknown end ten years, ends a winter
on 31 December, and takes 1950S2 ("some year of the 1900s, about 1950") for 1950 alone.
"""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta
from typing import Literal

from archive.errors import InputError

Day = tuple[int, int, int]  # year, month, day
Span = tuple[Day | None, Day | None]  # first and last day; None where that side is open or unknown
Unit = Literal["year", "month", "day"]

LENGTH: dict[Unit, int] = {"year": 4, "month": 7, "day": 10}  # characters of an ISO date at that precision

_SET = re.compile(r"\[(.*)\]|\{(.*)\}")
_BETWEEN_DAYS = re.compile(r"\.\.|,")
_OTHER_YEAR = re.compile(r"(?:Y-?\d[\dES]*|-[\dX]{4})(?:[-/?~%].*)?", re.ASCII)  # long, or before year 0
_ATOM = re.compile(
    r"(?![?~%].*S)(?P<mark_y1>[?~%]?)(?P<year>[\dX]{4})(?:S(?P<digits>[1-4]))?(?P<mark_y2>[?~%]?)"
    r"(?:-(?P<mark_m1>[?~%]?)(?P<month>[\dX]{2})(?P<mark_m2>[?~%]?)"
    r"(?:-(?P<mark_d1>[?~%]?)(?P<day>[\dX]{2})(?P<mark_d2>[?~%]?))?)?"
    r"(?:T\d\d:\d\d:\d\d(?:Z|[+-]\d\d(?::\d\d)?)?)?",
    re.ASCII,
)
# Season code: first and last month, above 12 in the next year. The quarters and the other parts of a year
# are ISO 8601-2's; it leaves the months of a season open, and these are the meteorologists'.
SEASON_MONTHS: dict[int, tuple[int, int]] = {
    **dict.fromkeys((21, 25, 31), (3, 5)),
    **dict.fromkeys((22, 26, 32), (6, 8)),
    **dict.fromkeys((23, 27, 29), (9, 11)),
    **dict.fromkeys((24, 28, 30), (12, 14)),
    **{33 + n: (3 * n + 1, 3 * n + 3) for n in range(4)},
    **{37 + n: (4 * n + 1, 4 * n + 4) for n in range(3)},
    **{40 + n: (6 * n + 1, 6 * n + 6) for n in range(2)},
}


def unreadable(text: str) -> InputError:
    """Return the error for what is no date, with examples of what is."""
    return InputError(
        "cannot read “{text}” as a date",
        text=text if len(text) <= 60 else f"{text[:60]}…",
        mend="Write the year in four digits, for example 1998, about 1998, May 2019, 4 May 2019, 2019-05-04, "
        "spring 2007, early 1990s, before 1990, 1985-1991, or undated.",
    )


def checked_edtf(text: str) -> str:
    """Return the expression, without blanks after commas, when it is EDTF within the years 0000 to 9999.

    Raises
    ------
    InputError
        It is not.
    """
    typed = re.sub(r"\s*,\s*", ",", text.upper())
    if _OTHER_YEAR.fullmatch(typed):
        mend = "Write a year of four digits."
        raise InputError("{text} lies outside the years 0000 to 9999", text=text, mend=mend)
    # Our own look comes first, and the package sees no interval: on some nonsense, and on "../199X", it
    # prints to standard output and trips over itself.
    ends = typed.split("/") if "/" in typed else []
    days = ends or _BETWEEN_DAYS.split(_SET.sub(r"\1\2", typed))
    named = [day for day in days if day not in ("", "..")]
    if len(ends) > 2 or not named or not all(_ATOM.fullmatch(day) for day in named):
        raise unreadable(text)
    from edtf import EDTFParseException, parse_edtf  # 60 ms, and most dates never get here

    try:
        for part in named if ends else [typed]:
            parse_edtf(part)
    except EDTFParseException as exc:
        raise unreadable(text) from exc
    return typed


def edtf_span(edtf: str, about: int = 0) -> Span:
    """Return the first and last day covered.

    Parameters
    ----------
    edtf : str
        An expression that `checked_edtf` or `edtf_from_words` returned.
    about : int
        Widens each end that is marked approximate, in the unit that carries the mark.

    Raises
    ------
    InputError
        A day that its month does not have.
    """
    if "/" in edtf:
        start, _, end = edtf.partition("/")
        return _end(start, about)[0], _end(end, about)[1]
    if edtf[0] not in "[{":
        return _atom_span(edtf, about)
    spans = []
    for part in edtf[1:-1].split(","):
        start, dots, end = part.partition("..")
        spans.append((_end(start, about)[0], _end(end, about)[1]) if dots else _atom_span(part, about))
    firsts, lasts = [first for first, _ in spans if first], [last for _, last in spans if last]
    return (
        min(firsts) if len(firsts) == len(spans) else None,
        max(lasts) if len(lasts) == len(spans) else None,
    )


def _end(text: str, about: int) -> Span:
    return (None, None) if text in ("", "..") else _atom_span(text, about)


def _atom_span(atom: str, about: int) -> tuple[Day, Day]:
    found = _ATOM.fullmatch(atom)
    assert found is not None
    first, last = _atom_days(found)
    units: tuple[Unit, ...] = ("year", "month", "day")
    for unit in units:  # the coarsest that is marked
        if {found[f"mark_{unit[0]}1"], found[f"mark_{unit[0]}2"]} & {"~", "%"}:
            return _shifted(first, -about, unit), _shifted(last, about, unit)
    return first, last


def _atom_days(found: re.Match[str]) -> tuple[Day, Day]:
    year, month, day = found["year"], found["month"], found["day"]
    if found["digits"]:
        kept = int(found["digits"])
        year = year[:kept] + "X" * (4 - kept)
    first_year, last_year = int(year.replace("X", "0")), int(year.replace("X", "9"))
    if month and month.isdigit() and int(month) in SEASON_MONTHS:
        start, end = SEASON_MONTHS[int(month)]
        return (first_year, start, 1), _last_of_month(last_year, end)
    months, days = _fitting(month or "XX", 12), _fitting(day or "XX", 31)
    if not months or not days:
        raise unreadable(found[0])
    month_ends = _last_of_month(last_year, months[-1])[2]
    if days[0] > month_ends and "X" not in f"{year}{month}":
        template = "{text} is no date: that month has {days} days"
        raise InputError(template, text=found[0], days=month_ends, mend="Correct the day.")
    first = min(days[0], _last_of_month(first_year, months[0])[2])
    return (first_year, months[0], first), (last_year, months[-1], min(days[-1], month_ends))


def _fitting(pattern: str, highest: int) -> list[int]:
    """Return the numbers from 1 whose two digits fit a pattern with X for any digit."""
    texts = ((number, f"{number:02d}") for number in range(1, highest + 1))
    return [number for number, text in texts if all(p in ("X", t) for p, t in zip(pattern, text, strict=True))]


def _last_of_month(year: int, month: int) -> Day:
    """Return the month's last day; a month above 12 lies in the next year, where there still is one."""
    if month > 12:
        year, month = (year + 1, month - 12) if year < 9999 else (year, 12)
    # The calendar repeats every 400 years; Python's starts with year 1.
    return year, month, calendar.monthrange(year % 400 + 400, month)[1]


def _shifted(day: Day, count: int, unit: Unit) -> Day:
    """Return the day moved by `count` units, at most to the ends of the calendar."""
    year, month, number = day
    if unit == "day":
        return beside(day, count) or day
    months = year * 12 + month - 1 + count * (12 if unit == "year" else 1)
    new_year, new_month = divmod(min(max(months, 0), 9999 * 12 + 11), 12)
    month_ends = _last_of_month(new_year, new_month + 1)[2]
    is_period_end = count > 0 and day == _last_of_month(year, month)
    return new_year, new_month + 1, month_ends if is_period_end else min(number, month_ends)


def beside(day: Day, days: int) -> Day | None:
    """Return the day so many days later; None outside Python's calendar, the years 1 to 9999."""
    try:
        other = date(*day) + timedelta(days=days)
    except (ValueError, OverflowError):
        return None
    return other.year, other.month, other.day


def iso(day: Day) -> str:
    """Return the ISO 8601 date."""
    return f"{day[0]:04d}-{day[1]:02d}-{day[2]:02d}"


def cut(day: Day, unit: Unit) -> str:
    """Return the ISO date cut to a precision: 2019, 2019-05 or 2019-05-04."""
    return iso(day)[: LENGTH[unit]]
