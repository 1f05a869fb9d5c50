"""Cells of a table that a person should look at: what spreadsheets and years of typing do to text.

Nothing is changed. Each doubt names its cell, or its column where the whole column is in doubt.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from archive.exchange.readings import Findings

Rows = Sequence[tuple[int, tuple[str, ...]]]

_MOST_OF_A_KIND = 50  # cells told one by one; of the others only their number
_MONTHS = "jan feb fév fev mar mär apr avr may mai jun jui jul aug aoû aou sep oct okt nov dec dez déc"
_MONTH = rf"(?:{_MONTHS.replace(' ', '|')})\w*\.?"  # English, German, French: what spreadsheets write
_DATE = re.compile(
    rf"[0-9]{{1,4}}[./ -]{{1,2}}{_MONTH}(?:[./ -]{{1,2}}[0-9]{{1,4}})?"  # 22.May, 22-May-24
    rf"|{_MONTH}[./ -]{{1,2}}[0-9]{{1,4}}"  # May-22
    r"|[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}|[0-9]{1,2}([./-])[0-9]{1,2}\1[0-9]{2,4}|[0-9]{1,2}\.[0-9]{1,2}\.",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?%?")
_DIGITS = re.compile(r"[0-9]+")
_ERROR_VALUE = re.compile(r"#(?:REF!|N/A|NAME\?|VALUE!|DIV/0!|NUM!|NULL!|#+)|Err:[0-9]{3}")
_SCIENTIFIC = re.compile(r"[+-]?[0-9](?:[.,][0-9]+)?E\+?[0-9]{1,3}")
_STYLES = {  # 04.05.2019 and 05/04/2019 in one column: which is the month?
    "2019-05-04": re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}"),
    "4.5.2019": re.compile(r"[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{2,4}"),
    "4/5/2019": re.compile(r"[0-9]{1,2}/[0-9]{1,2}/[0-9]{2,4}"),
    "4-5-2019": re.compile(r"[0-9]{1,2}-[0-9]{1,2}-[0-9]{2,4}"),
    "4 May 2019": re.compile(rf".*\b{_MONTH}.*", re.IGNORECASE),
}
_NEVER_DATES = ("ref", "old_number", "copies", "edition", "size")


def note_doubts(columns: Sequence[str], rows: Rows, fields: Mapping[int, str | None], findings: Findings) -> None:
    """Keep a notice for each cell or column that is doubtful.

    Parameters
    ----------
    columns : sequence of str
        The headings.
    rows : sequence of (line, cells)
        The table's rows.
    fields : mapping of column to field
        What each column is for, where that is known: a day is at home in `date` and not in `copies`.
    findings : Findings
        Gets the notices: `doubtful_date`, `doubtful_number`, `doubtful_error`, `doubtful_letters`,
        `doubtful_zeros`, `mixed_dates`, `mixed_decimals`, and `more_doubts` for what is too much to tell.
    """
    counts: dict[str, int] = {}
    for place, column in enumerate(columns):
        cells = [(line, row[place]) for line, row in rows if row[place]]
        field = fields.get(place)
        doubts = [*_cell_doubts(cells), *_date_doubts(cells, field), *_zero_doubts(cells)]
        for line, cell, code, template in sorted(doubts):
            counts[code] = counts.get(code, 0) + 1
            if counts[code] <= _MOST_OF_A_KIND:
                findings.notice(code, template, line, column, cell=cell if len(cell) <= 60 else f"{cell[:59]}…")
        _note_mixed(cells, field, column, findings)
    for code, count in counts.items():
        if count > _MOST_OF_A_KIND:
            template = "and {count} more cells of the kind {kind}"
            findings.notice("more_doubts", template, count=count - _MOST_OF_A_KIND, kind=code)


_Doubt = tuple[int, str, str, str]  # line, cell, code, template
_Cells = Sequence[tuple[int, str]]


def _cell_doubts(cells: _Cells) -> Iterator[_Doubt]:
    """Yield what a cell alone gives away: a formula's error, a number cut short, letters in a wrong encoding."""
    for line, cell in cells:
        if _ERROR_VALUE.fullmatch(cell):
            yield line, cell, "doubtful_error", "{cell} is a spreadsheet's error, not what was typed"
        elif _SCIENTIFIC.fullmatch(cell):
            yield line, cell, "doubtful_number", "{cell} is a long number that a spreadsheet has cut short"
        elif "\ufffd" in cell:
            yield line, cell, "doubtful_letters", "{cell} has a letter that was lost"
        elif not cell.isascii() and _is_doubly_encoded(cell):
            yield line, cell, "doubtful_letters", "{cell} was read in a wrong encoding before it came here"


def _is_doubly_encoded(cell: str) -> bool:
    """Return whether the text makes sense as UTF-8 that somebody took for Windows-1252."""
    try:
        cell.encode("cp1252").decode("utf-8")
    except UnicodeError:
        return False
    return True


def _date_doubts(cells: _Cells, field: str | None) -> Iterator[_Doubt]:
    """Yield the days in a column of numbers: a spreadsheet takes 22.5 for the 22nd of May."""
    if field == "date":
        return
    numbers = sum(_NUMBER.fullmatch(cell) is not None for _, cell in cells)
    if field not in _NEVER_DATES and (numbers < 2 or numbers * 2 < len(cells)):
        return
    for line, cell in cells:
        if _DATE.fullmatch(cell):
            yield line, cell, "doubtful_date", "{cell} is a day where a number belongs"


def _zero_doubts(cells: _Cells) -> Iterator[_Doubt]:
    """Yield the numbers that are shorter than their neighbours with leading zeros: 42 among 0041 and 0043."""
    whole = [(line, cell) for line, cell in cells if _DIGITS.fullmatch(cell)]
    widths = {len(cell) for _, cell in whole if cell.startswith("0") and len(cell) > 1}
    if not widths:
        return
    for line, cell in whole:
        if cell != "0" and not cell.startswith("0") and len(cell) < min(widths):
            yield line, cell, "doubtful_zeros", "{cell} may have lost its leading zeros: others in the column have them"


def _note_mixed(cells: _Cells, field: str | None, column: str, findings: Findings) -> None:
    """Tell of a column whose dates are written in several ways, or whose numbers have point and comma."""
    styles: dict[str, int] = {}
    for line, cell in cells:
        style = next((name for name, pattern in _STYLES.items() if pattern.fullmatch(cell)), "")
        if style and (field == "date" or _DATE.fullmatch(cell)):
            styles.setdefault(style, line)
    if len(styles) > 1:
        template = "dates are written in several ways: {styles}"
        shown = ", ".join(f"like {style} (line {line})" for style, line in styles.items())
        findings.notice("mixed_dates", template, 0, column, styles=shown)
    signs: dict[str, int] = {}
    for line, cell in cells:
        if _NUMBER.fullmatch(cell):
            signs |= {sign: line for sign in ",." if sign in cell and sign not in signs}
    if len(signs) == 2:
        template = "some numbers have a decimal comma (line {comma}), others a point (line {point})"
        findings.notice("mixed_decimals", template, 0, column, comma=signs[","], point=signs["."])
