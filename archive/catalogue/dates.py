"""Dates as people write them: the words are kept, bounds are worked out for searching and sorting.

Two steps. What was typed becomes an EDTF expression (ISO 8601-2:2019, levels 0 to 2); the expression gives
the bounds. So a date in words and the same date typed as EDTF can never disagree. All dates lie in the years
0000 to 9999, which lets ISO text sort as text in any database.
"""

from __future__ import annotations

from dataclasses import dataclass

from archive.catalogue.date_words import edtf_from_words, plain_words, without_brackets
from archive.catalogue.edtf_bounds import checked_edtf, edtf_span, iso, unreadable
from archive.errors import InputError, Notice

_LONGEST = 200  # characters; the EDTF grammar slows down steeply on long nonsense
_UNDATED = {"", "?", "undated", "not dated", "no date", "date unknown", "unknown", "n.d", "nd", "s.d"}


@dataclass(frozen=True, slots=True)
class WrittenDate:
    """A date in its own words, with what it means.

    Attributes
    ----------
    text : str
        As written, without the blanks around it.
    edtf : str or None
        The same as an ISO 8601-2 expression; None when undated.
    earliest, latest : str or None
        Strict bounds as ISO dates, both inclusive; None where there is no bound.
    sort_earliest, sort_latest : str or None
        The bounds for sorting and searching: wider than the strict ones where it says "about".
    notices : tuple of Notice
        How an ambiguous date was read, and how far "about" widened it.
    """

    text: str
    edtf: str | None = None
    earliest: str | None = None
    latest: str | None = None
    sort_earliest: str | None = None
    sort_latest: str | None = None
    notices: tuple[Notice, ...] = ()

    @property
    def is_open(self) -> bool:
        """Return whether just one end is known, as in "before 1990"."""
        return (self.earliest is None) != (self.latest is None)


def read_date(text: str, *, about_years: int = 2) -> WrittenDate:
    """Return what a written date means.

    Parameters
    ----------
    text : str
        about 1998, 1998?, May 2019, 4.5.2019 (day first), spring 2007, early 1990s, before 1990, 1985-1991,
        between 1985 and 1991, undated, or an EDTF expression.
    about_years : int
        How far "about" (ca., circa, ~) widens the bounds for sorting: by as many years for a year, months
        for a month or season, days for a day.

    Returns
    -------
    WrittenDate
        Without bounds when undated.

    Raises
    ------
    InputError
        The text is no date, ends before it starts, or leaves the years 0000 to 9999.

    Source: ISO 8601-2:2019 (EDTF) for the notation. Day before month, and what "early" and a season cover,
    are common practice.
    """
    if about_years < 0:
        raise InputError("a date cannot widen by {years} years", years=about_years, mend="Use 0 or more.")
    written = text.strip()
    if len(written) > _LONGEST:
        raise unreadable(written)
    words = plain_words(written)
    if without_brackets(words) in _UNDATED:
        return WrittenDate(written)
    edtf, notices = edtf_from_words(words) or (checked_edtf(written), ())
    strict, wide = edtf_span(edtf), edtf_span(edtf, about_years)
    if strict[0] and strict[1] and strict[0] > strict[1]:
        raise InputError("{text} ends before it starts", text=written, mend="Write the earlier date first.")
    earliest, latest, sort_earliest, sort_latest = (day and iso(day) for day in (*strict, *wide))
    if wide != strict:
        notices = (*notices, _widened(sort_earliest, sort_latest))
    return WrittenDate(written, edtf, earliest, latest, sort_earliest, sort_latest, notices)


def _widened(earliest: str | None, latest: str | None) -> Notice:
    if earliest is None or latest is None:
        template = '"about": sorted as {edge} or later' if earliest else '"about": sorted as {edge} or earlier'
        return Notice("date_about", template, {"edge": earliest or latest})
    values = {"earliest": earliest, "latest": latest}
    return Notice("date_about", '"about": sorted as {earliest} to {latest}', values)
