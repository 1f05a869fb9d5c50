"""Dates in words, as people type them, turned into EDTF expressions (ISO 8601-2:2019)."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from archive.catalogue.edtf_bounds import LENGTH, SEASON_MONTHS, Day, Unit, beside, cut, edtf_span
from archive.errors import Notice

Reading = tuple[str, tuple[Notice, ...]]  # an EDTF expression and how the words were understood

# --- words to EDTF: one date, with "about" and "perhaps" around it ----------------------------------------

_ABOUT = re.compile(r"(?:about|around|approximately|approx\.?|roughly|circa|ca?\.?|~)\s*")
_MAYBE = re.compile(r"(?:probably|possibly|perhaps|maybe|likely)\s+")
_MARK_AT_END = re.compile(r"\s*([?~%])$")


@dataclass(frozen=True, slots=True)
class _Piece:
    """One date inside what was typed; `edtf` is without its mark (`?`, `~`, `%` or none)."""

    edtf: str
    first: Day
    last: Day
    unit: Unit
    mark: str
    notices: tuple[Notice, ...]

    @property
    def start(self) -> str:
        return cut(self.first, self.unit) + self.mark

    @property
    def end(self) -> str:
        return cut(self.last, self.unit) + self.mark

    @property
    def whole(self) -> str:
        # A set takes no mark in EDTF; the interval has the same bounds.
        return f"{self.start}/{self.end}" if self.mark and self.edtf[0] == "[" else self.edtf + self.mark


def plain_words(text: str) -> str:
    """Return the text casefolded, with plain dashes, apostrophes and single blanks."""
    plain = re.sub("[\u2010-\u2015\u2212]", "-", text).replace("\u2019", "'").replace("(?)", "?")
    return re.sub(r"[\s,_]+", " ", plain.casefold()).strip()


def without_brackets(text: str) -> str:
    """Return the text without a cataloguer's brackets, "[ca. 1998]", and without a full stop."""
    inner = re.sub(r"^[\[(]\s*(.*?)\s*[\])]$", r"\1", text)
    return re.sub(r"(?<!\.)\.$", "", inner)


def _piece(text: str) -> _Piece | None:
    text, about, maybe = text.strip(), False, False
    while True:
        if found := _ABOUT.match(text):
            text, about = text[found.end() :], True
        elif found := _MAYBE.match(text):
            text, maybe = text[found.end() :], True
        elif found := _MARK_AT_END.search(text):
            text, about, maybe = text[: found.start()], about or found[1] != "?", maybe or found[1] != "~"
        else:
            break
    read = _single(text)
    if read is None:
        return None
    edtf, unit, notices = read
    first, last = edtf_span(edtf)
    assert first is not None  # only ranges are open
    assert last is not None
    return _Piece(edtf, first, last, unit, ("", "?", "~", "%")[2 * about + maybe], notices)


# --- words to EDTF: the shapes of one date ----------------------------------------------------------------

_Single = tuple[str, Unit, tuple[Notice, ...]]

_MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_SEASON_CODES = {"spring": 21, "summer": 22, "autumn": 23, "fall": 23, "winter": 24}
_THIRD_OF_YEAR = {"early": 37, "mid": 38, "late": 39}  # ISO 8601-2 quadrimesters
_PART_OF_DECADE = {"early": (0, 3), "mid": (4, 6), "late": (7, 9)}  # years; common practice in cataloguing


def _month_number(name: str) -> int | None:
    """Return 1 to 12 for a month's English name or its first three letters (or "sept")."""
    for number, month in enumerate(_MONTHS, start=1):
        if name in (month, month[:3]) or (name == "sept" and number == 9):
            return number
    return None


def _year(year: str) -> _Single:
    return year, "year", ()


def _named_month(name: str, year: str) -> _Single | None:
    if name in _SEASON_CODES:
        return f"{year}-{_SEASON_CODES[name]}", "month", ()
    month = _month_number(name)
    return (f"{year}-{month:02d}", "month", ()) if month else None


def _named_day(day: str, name: str, year: str) -> _Single | None:
    month = _month_number(name)
    return _numbered_day(year, str(month), day) if month else None


def _numbered_day(year: str, month: str, day: str) -> _Single | None:
    if not (1 <= int(month) <= 12 and 1 <= int(day) <= 31):
        return None
    return f"{year}-{int(month):02d}-{int(day):02d}", "day", ()


def _numbered_month(month: str, year: str) -> _Single | None:
    return (f"{year}-{int(month):02d}", "month", ()) if 1 <= int(month) <= 12 else None


def _iso_month(year: str, sign: str, number: str) -> _Single | None:
    is_part = sign == "-" and int(number) in SEASON_MONTHS
    if not (1 <= int(number) <= 12 or is_part):
        return None
    edtf = f"{year}-{int(number):02d}"
    if len(number) == 1 or number <= year[2:]:
        return edtf, "month", ()
    template = "{text} is read as a {unit}; for the years write {year}-{century}{number}"
    unit = "part of a year" if is_part else "month"
    values = {"text": edtf, "unit": unit, "year": year, "century": year[:2], "number": number}
    return edtf, "month", (Notice("date_year_month", template, values),)


def _day_month_year(one: str, sign: str, two: str, year: str) -> _Single | None:
    """Return the day first; the month first only where nothing else is possible."""
    day_first, month_first = _numbered_day(year, two, one), _numbered_day(year, one, two)
    values = {"text": f"{one}{sign}{two}{sign}{year}"}
    if day_first is None:
        if month_first is None:
            return None
        values["date"] = month_first[0]
        notice = Notice("date_month_first", "{text} is read month first: {date}", values)
        return month_first[0], "day", (notice,)
    if month_first is None or one == two:
        return day_first
    values |= {"date": day_first[0], "other": month_first[0]}
    template = "{text} is read day first: {date}; if the month comes first, write {other}"
    return day_first[0], "day", (Notice("date_day_first", template, values),)


def _part_of_year(part: str, year: str) -> _Single:
    return f"{year}-{_THIRD_OF_YEAR[part]}", "month", ()


def _decade(part: str | None, digits: str) -> _Single:
    century = "" if len(digits) == 4 else "19" if digits >= "30" else "20"
    start = int(century + digits)
    notices: tuple[Notice, ...] = ()
    if century or start % 100 == 0:
        template = "{text}s is read as {first:04d} to {last:04d}"
        values = {"text": digits, "first": start, "last": start + 9}
        notices = (Notice("date_decade", template, values),)
    if part is None:
        return f"{start // 10:03d}X", "year", notices
    low, high = _PART_OF_DECADE[part]
    return f"[{start + low:04d}..{start + high:04d}]", "year", notices


_SHAPES: tuple[tuple[re.Pattern[str], Callable[..., _Single | None]], ...] = tuple(
    (re.compile(pattern, re.ASCII), build)
    for pattern, build in (
        (r"(\d{4})", _year),
        (r"(?:the )?(?:(early|mid|late)[ -])?'?(\d{3}0|\d0)'?s", _decade),
        (r"(early|mid|late)[ -](\d{4})", _part_of_year),
        (r"([a-z]+)\.?(?: of)? (\d{4})", _named_month),
        (r"(\d{4}) ([a-z]+)\.?", lambda year, name: _named_month(name, year)),
        (r"(\d{1,2})(?:st|nd|rd|th|\.)?(?: of)? ([a-z]+)\.? (\d{4})", _named_day),
        (
            r"([a-z]+)\.? (\d{1,2})(?:st|nd|rd|th)? (\d{4})",
            lambda name, day, year: _named_day(day, name, year),
        ),
        # Spreadsheets add a time to a bare date.
        (r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?: \d\d:\d\d(?::\d\d(?:\.\d+)?)?)?", _numbered_day),
        (r"(\d{4})([-./])(\d{1,2})", _iso_month),
        (r"(\d{1,2})([-./])(\d{1,2})\2(\d{4})", _day_month_year),
        (r"(\d{1,2})[-./](\d{4})", _numbered_month),
    )
)


def _single(text: str) -> _Single | None:
    for pattern, build in _SHAPES:
        if (found := pattern.fullmatch(text)) and (read := build(*found.groups())):
            return read
    return None


# --- words to EDTF: ranges and one-sided dates ------------------------------------------------------------

_ONE_SIDED = (  # how it begins, whether it has an end (else a start), whether the date named is left out
    (re.compile(r"(?:before|prior to|pre)[\s-]+"), True, True),
    (re.compile(r"(?:until|till|up to|by|not after|not? later than)\s+"), True, False),
    (re.compile(r"(?:after|post)[\s-]+"), False, True),
    (re.compile(r"(?:since|from|not before|not? earlier than)\s+"), False, False),
)
_BETWEEN = re.compile(r"between (.+) and (.+)")
_EITHER = re.compile(r"(?:either )?(.+) or (.+)")
_RANGE_SIGN = re.compile(r"\s+(?:to|until|till|through)\s+|\s*[-/]\s*")
_SHORT_YEAR = re.compile(r"\b(\d\d)(\d\d)(\s*[-/]\s*)(\d\d)(?=[?~%]?$)", re.ASCII)  # 1985-91
_LISTABLE = re.compile(r"\d{3}[\dX](-(0\d|1[0-2])(-\d\d)?)?[?~%]?", re.ASCII)  # EDTF lists no seasons


def edtf_from_words(words: str) -> Reading | None:
    """Return the EDTF expression and notices, or None for what is not understood as words."""
    for text in dict.fromkeys((words, without_brackets(words))):
        if piece := _piece(text):
            return piece.whole, piece.notices
        for read in (_one_sided, _one_of, _range):
            if reading := read(text):
                return reading
    return None


def _one_sided(text: str) -> Reading | None:
    for begins, closes, excludes in _ONE_SIDED:
        found = begins.match(text)
        piece = _piece(text[found.end() :]) if found else None
        if piece is None:
            continue
        edge: Day | None = piece.last if closes else piece.first
        if excludes:
            edge = beside(piece.first, -1) if closes else beside(piece.last, 1)
        if edge is None:
            return None
        named = cut(edge, piece.unit) + piece.mark
        if piece.mark:  # a set takes no mark in EDTF; the open interval has the same bounds
            return (f"../{named}" if closes else f"{named}/.."), piece.notices
        return (f"[..{named}]" if closes else f"[{named}..]"), piece.notices
    return None


def _one_of(text: str) -> Reading | None:
    found = _BETWEEN.fullmatch(text) or _EITHER.fullmatch(text)
    if found is None:
        return None
    a, b = _piece(found[1]), _piece(found[2])
    if a is None or b is None:
        return None
    notices = (*a.notices, *b.notices)
    if not text.startswith("between "):
        is_listable = _LISTABLE.fullmatch(a.whole) and _LISTABLE.fullmatch(b.whole)
        return (f"[{a.whole},{b.whole}]", notices) if is_listable else None
    if a.mark or b.mark:
        return f"{a.start}/{b.end}", notices
    unit = max(a.unit, b.unit, key=LENGTH.__getitem__)  # EDTF wants one precision on both sides of ".."
    return f"[{cut(a.first, unit)}..{cut(b.last, unit)}]", notices


def _range(text: str) -> Reading | None:
    """Return the interval; None when no split, or more than one, gives two dates."""
    body = text.removeprefix("from ")
    if (short := _SHORT_YEAR.search(body)) and short[4] > short[2]:
        body = _SHORT_YEAR.sub(r"\1\2 - \1\4", body)
    readings: dict[str, tuple[Notice, ...]] = {}
    for sign in _RANGE_SIGN.finditer(body):
        left, right = body[: sign.start()], body[sign.end() :]
        b = _piece(right)
        a = _piece_completed(left, right) if b else None
        if a and b:
            # "about 1985-1991" is about both; "1985~/1991" is not.
            mark = a.mark if body[0].isalpha() and not b.mark else ""
            readings[f"{a.start}/{b.end}{mark}"] = (*a.notices, *b.notices)
    return readings.popitem() if len(readings) == 1 else None


def _piece_completed(left: str, right: str) -> _Piece | None:
    """Return the first date of a range, with the month and year it shares ("4-6 May 2019")."""
    shared = right.split(" ")
    candidates = [left, *(" ".join([left, *shared[n:]]) for n in range(1, len(shared)))]
    return next((piece for text in candidates if (piece := _piece(text))), None)
