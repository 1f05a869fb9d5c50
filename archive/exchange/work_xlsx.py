"""A workbook's sheet as rows of text: what a person saw in the cells, as far as the file tells it.

A spreadsheet keeps numbers apart from how they look: 42 that was shown as 0042 comes back as 0042, a day as an ISO
date. What cannot be trusted is told by cell: formulas, merged cells, a number that became a date.
"""

from __future__ import annotations

import io
import math
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from archive.errors import ArchiveError, InputError
from archive.exchange.readings import Findings

_MOST_BYTES = 256 * 2**20  # of all that the file unpacks to
_MOST_PARTS = 10_000
_MOST_COLUMNS = 1000
_MOST_EMPTY_ROWS = 2000
_CHUNK = 2**20
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LITERAL = r'(?:"[^"]*"|\\.|[-/ +()$€£.:])*'
_DIGITS = re.compile(rf"({_LITERAL}?)(?:#,##|#)?(0+)(?:\.(0+))?({_LITERAL})(%?)({_LITERAL})")
_DECORATION = re.compile(r"\[[^\]]*\]|_.|\*.")  # colours, conditions, paddings of a number format
# Serial numbers 1900 to 2100 are these days: a year in a cell that was formatted as a date.
_YEAR_AS_DAY = (date(1905, 3, 14), date(1905, 9, 30))
_MEND_FORMULA = "Open the file in a spreadsheet and save it, or copy the column and paste it as values"


@dataclass(frozen=True, slots=True)
class SheetText:
    """The rows of one sheet, (row number, cells), empty rows left out."""

    sheet: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_sheet(data: bytes, sheet: str | None, findings: Findings) -> SheetText:
    """Return the text of one sheet of an XLSX workbook; what is doubtful or wrong goes to `findings`.

    Parameters
    ----------
    data : bytes
        The whole file.
    sheet : str or None
        The sheet's name in any case of letters; None takes the first visible sheet that is not empty.
    findings : Findings
        Gets a notice for merged cells, formulas, hidden and other sheets, and an error for a formula whose value
        the file does not hold.

    Raises
    ------
    InputError
        The file is no XLSX workbook or is damaged, unpacks to more than 256 MiB, has a document type in its XML, or
        has no such sheet.
    """
    _refuse_bomb(data, findings.name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that have no text
            return _Book(data, findings).read(sheet)
    except ArchiveError:
        raise
    except Exception as exc:  # the parsers of a damaged file raise whatever they stumble over
        raise InputError(
            "the workbook is damaged, or is no XLSX workbook",
            where=findings.name,
            mend="Open it in a spreadsheet and save it as .xlsx or as CSV",
        ) from exc


def _refuse_bomb(data: bytes, name: str) -> None:
    """Refuse a zip that unpacks to too much, or whose XML could expand itself."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > _MOST_BYTES:
                raise InputError(
                    "the workbook unpacks to more than 256 MiB", where=name, mend="Save it without pictures"
                )
            for part in parts:
                if not part.filename.endswith((".xml", ".rels")):
                    continue
                with archive.open(part) as file:
                    head = file.read(65536).replace(b"\x00", b"")
                if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
                    told = "Save it again with a spreadsheet: none writes that"
                    raise InputError("the workbook declares a document type (DTD)", where=name, mend=told)
    except (zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, RuntimeError, ValueError) as exc:
        mend = "Copy it again from where it came, and take a password off"
        raise InputError("the workbook cannot be unpacked", where=name, mend=mend) from exc


class _Book:
    """A workbook opened for its text."""

    def __init__(self, data: bytes, findings: Findings) -> None:
        from openpyxl import load_workbook

        self._data, self._findings = data, findings
        self._book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)

    def read(self, wanted: str | None) -> SheetText:
        """Return the text of the sheet that is wanted."""
        sheets = self._book.worksheets
        if wanted is not None:
            named = [sheet for sheet in sheets if sheet.title.casefold() == wanted.strip().casefold()]
            if not named:
                mend = f"It has {', '.join(sheet.title for sheet in sheets)}"
                raise InputError("there is no sheet {sheet}", sheet=wanted, where=self._findings.name, mend=mend)
            return SheetText(named[0].title, tuple(self._rows(named[0])))
        visible = [sheet for sheet in sheets if sheet.sheet_state == "visible"]
        hidden = [sheet.title for sheet in sheets if sheet.sheet_state == "hidden"]
        if hidden:
            template = "hidden sheets were not read: {sheets}"
            self._findings.notice("hidden_sheets", template, sheets=", ".join(hidden))
        for number, sheet in enumerate(visible):
            rows = tuple(self._rows(sheet))
            if rows:
                others = ", ".join(other.title for other in visible[number + 1 :])
                if others:
                    template = "the sheet {sheet} is read, these are not: {others}"
                    self._findings.notice("other_sheets", template, sheet=sheet.title, others=others)
                return SheetText(sheet.title, rows)
        return SheetText(visible[0].title if visible else "", ())

    def _rows(self, sheet: Any) -> Iterator[tuple[int, tuple[str, ...]]]:
        """Yield (row number, cells) for each row with text; stop when thousands of rows in a row have none."""
        has_formulas = self._scan(sheet)
        formulas = self._formula_rows(sheet.title) if has_formulas else None
        sheet.reset_dimensions()
        last = 0
        for number, cells in enumerate(sheet.iter_rows(), 1):
            twins = next(formulas, ()) if formulas else ()
            texts = self._texts(cells, twins)
            while texts and not texts[-1].strip():
                texts = texts[:-1]
            if texts:
                if len(texts) > _MOST_COLUMNS:
                    self._findings.error("the row has more than 1000 columns", number, mend="Take empty columns out")
                    return
                last = number
                yield number, texts
            elif number - last > _MOST_EMPTY_ROWS:
                template = "after row {last} come 2000 empty rows: what stands below them is not read"
                self._findings.notice("stopped_at_empty_rows", template, last=last)
                return

    def _texts(self, cells: Sequence[Any], twins: Sequence[Any]) -> tuple[str, ...]:
        """Return the texts of a row; of a row of styled but empty cells, none."""
        if not twins and all(cell.value is None for cell in cells):
            return ()
        padded = [*twins, *[None] * (len(cells) - len(twins))]
        return tuple(self._text(cell, twin) for cell, twin in zip(cells, padded, strict=True))

    def _formula_rows(self, title: str) -> Iterator[Sequence[Any]]:
        """Return the rows of the same sheet with formulas instead of their values."""
        from openpyxl import load_workbook

        book = load_workbook(io.BytesIO(self._data), read_only=True, data_only=False, keep_links=False)
        twin = next(sheet for sheet in book.worksheets if sheet.title == title)
        twin.reset_dimensions()
        return iter(twin.iter_rows())

    def _scan(self, sheet: Any) -> bool:
        """Tell of merged cells; return whether the sheet has formulas.

        The reader that keeps memory small knows neither in advance, so the sheet's XML is looked through once.
        """
        ranges: dict[str, None] = {}
        has_formulas = False
        tail = b""
        with zipfile.ZipFile(io.BytesIO(self._data)) as archive, archive.open(sheet._worksheet_path) as part:
            while chunk := part.read(_CHUNK):
                text = tail + chunk
                has_formulas = has_formulas or re.search(rb"<(?:\w+:)?f[\s>/]", text) is not None
                found = re.findall(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z0-9:]+)[\"']", text)
                ranges |= dict.fromkeys(ref.decode() for ref in found)
                tail = text[-200:]
        if ranges:
            shown = ", ".join(list(ranges)[:10]) + (" …" if len(ranges) > 10 else "")
            template = "{count} merged cells, whose text counts for the first row and column only: {ranges}"
            self._findings.notice("merged_cells", template, field=sheet.title, count=len(ranges), ranges=shown)
        return has_formulas

    def _text(self, cell: Any, twin: Any) -> str:
        """Return a cell's text; tell what is doubtful about it."""
        value = cell.value
        if twin is not None and twin.data_type == "f":
            if value is None:
                template = "the formula in {cell} has no value in the file"
                self._findings.error(template, twin.row, mend=_MEND_FORMULA, cell=twin.coordinate)
            else:
                template = "{cell} is a formula: the value that was last worked out is read"
                self._findings.notice("formula", template, twin.row, cell=twin.coordinate)
        if value is None or isinstance(value, str):
            return value or ""
        if isinstance(value, datetime | date) and _YEAR_AS_DAY[0] <= _day(value) <= _YEAR_AS_DAY[1]:
            year = (_day(value) - date(1899, 12, 30)).days
            template = "{cell} is a day in 1905: perhaps the year {year} was typed into a date cell"
            self._findings.notice("doubtful_year", template, cell.row, cell=cell.coordinate, year=year)
        number_format = cell.number_format or "General"
        text = shown_text(value, number_format)
        if number_format != "General" and not isinstance(value, bool | date) and _zeros_unshown(text, number_format):
            template = "{cell} is shown with the number format {format}, which was not understood"
            self._findings.notice("number_format", template, cell.row, cell=cell.coordinate, format=number_format)
        return text


def _day(value: date) -> date:
    return value.date() if isinstance(value, datetime) else value


def _zeros_unshown(text: str, number_format: str) -> bool:
    """Return whether a format asks for leading zeros that the text has not."""
    plain = _DECORATION.sub("", number_format.split(";")[0]).partition(".")[0]
    zeros = re.sub(r'"[^"]*"|\\.', "", plain).count("0")
    return zeros > 1 and sum(character.isdigit() for character in text.partition(".")[0]) < zeros


def shown_text(value: object, number_format: str) -> str:
    """Return the text of a cell's value as its number format shows it.

    Days are given as ISO dates, no more exact than the format shows them; thousands separators are left out.

    Parameters
    ----------
    value : object
        Text, a number, a truth value, a day or a time, as a workbook holds it.
    number_format : str
        The cell's format: `0000`, `0.00`, `dd.mm.yyyy`, `General` ...
    """
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _shown_number(value, number_format)
    if isinstance(value, datetime | date):
        return _shown_day(value, number_format)
    if isinstance(value, time):
        return value.isoformat("seconds").removesuffix(":00")
    if isinstance(value, timedelta):
        return str(value)
    return str(value)


def _shown_number(number: float, number_format: str) -> str:
    if not math.isfinite(number):
        return str(number)
    if number_format == "General":
        return _plain_number(number)
    sections = _DECORATION.sub("", number_format).split(";")
    is_own_section = number < 0 and len(sections) > 1
    match = _DIGITS.fullmatch(sections[1] if is_own_section else sections[0])
    if match is None:
        return _plain_number(number)
    before, zeros, decimals, between, percent, after = match.groups()
    size = abs(number) * 100 if percent else abs(number)
    width = len(zeros) + (len(decimals) + 1 if decimals else 0)
    digits = f"{size:0{width}.{len(decimals or '')}f}"
    sign = "-" if number < 0 and not is_own_section else ""
    return f"{sign}{_literal(before)}{digits}{_literal(between)}{percent}{_literal(after)}".strip()


def _literal(text: str) -> str:
    """Return the words of a format's literal part: without quotation marks and backslashes."""
    return re.sub(r'"([^"]*)"|\\(.)', lambda match: match[1] or match[2] or "", text)


def _plain_number(number: float) -> str:
    """Return a number as a general cell shows it: without the noise beyond its fifteen digits."""
    if isinstance(number, int) or (number.is_integer() and abs(number) < 1e15):
        return str(int(number))
    return f"{number:.15g}".replace("e", "E")


def _shown_day(value: date, number_format: str) -> str:
    """Return a day as exactly as the format shows it: 2019-05-04, 2019-05, 2019, 22-May, May."""
    plain = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]', "", number_format.split(";")[0]).casefold()
    without_time = re.sub(r"h+[:. ]?m+|m+[:. ]?s+", "h", plain)
    has_year, has_month, has_day = ("y" in plain, "m" in without_time, "d" in without_time)
    month = _MONTHS[value.month - 1]
    if has_year and has_month and has_day:
        text = _day(value).isoformat()
    elif has_year and has_month:
        text = f"{value.year:04}-{value.month:02}"
    elif has_year:
        text = f"{value.year:04}"
    elif has_day and has_month:
        text = f"{value.day}-{month}"
    else:
        text = month if has_month else str(value.day) if has_day else ""
    clock = value.time() if isinstance(value, datetime) else time()
    has_clock = "h" in without_time or "s" in without_time
    if has_clock and (clock != time() or not text):
        text = f"{text} {clock.isoformat('seconds').removesuffix(':00')}".strip()
    return text or _day(value).isoformat()
