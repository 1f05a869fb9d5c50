"""Somebody's list of works as a table of text: CSV or XLSX, every cell read as text before it is anything else.

Nothing is corrected here. A list that was typed over years has mixed dates, lost zeros and sizes that a spreadsheet
took for days: such cells are kept as they stand and told, so that a person decides before anything is written.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path, PurePath
from typing import Any

from archive.errors import InputError, Notice
from archive.exchange.readings import Findings
from archive.exchange.table_doubts import note_doubts
from archive.exchange.text import decode_text, unify_newlines
from archive.exchange.work_columns import fold_heading, known_field
from archive.exchange.work_xlsx import read_sheet

_MOST_BYTES = 256 * 2**20
_DELIMITERS = (",", ";", "\t", "|")
_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_SNIFFED_ROWS = 50
_LINES_ABOVE = 10  # a title and a date may stand above the headings
_UNSAFE = re.compile(r"'*[=+\-@]")  # a spreadsheet takes such a cell for a formula; an apostrophe says: text
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: its line in the file (the row of the sheet), and a text for each column."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text.

    Attributes
    ----------
    name : str
        The file's name without its ending.
    kind : str
        `"csv"` or `"xlsx"`.
    columns : tuple of str
        The headings, each once: a second `Title` is `Title (2)`, a heading that is missing `(column 5)`.
    rows : tuple of TableRow
        As wide as `columns`; empty rows are left out, blanks round a text too.
    notices : tuple of Notice
        What is doubtful; where it is about a cell, it says which.
    sheet : str
        The sheet that was read; empty for CSV.
    """

    name: str
    kind: str
    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]
    notices: tuple[Notice, ...] = ()
    sheet: str = ""


def read_table(source: Path | bytes, name: str = "", sheet: str | None = None) -> Table:
    """Return the table in a CSV or XLSX file, judged by what is in it and not by its name.

    Parameters
    ----------
    source : Path or bytes
        The file, or all of its bytes.
    name : str
        The file's name for the messages; a path brings its own.
    sheet : str, optional
        Which sheet of a workbook; else the first visible one that is not empty.

    Raises
    ------
    ManyErrors
        Rows with more cells than headings, formulas without a value: all of them, by line.
    InputError
        The file is missing, empty, neither of the two, or damaged.
    """
    data, name = _bytes(source, name)
    findings = Findings(name)
    if data.startswith(_OLE):
        mend = "Take the password off, and save it as .xlsx or as CSV"
        raise InputError("the file is an old or a locked workbook", where=name, mend=mend)
    if data.startswith(_ZIP):
        found = read_sheet(data, sheet, findings)
        kind, title = "xlsx", found.sheet
        rows = [(line, [cell.strip() for cell in cells]) for line, cells in found.rows]
    else:
        kind, title = "csv", ""
        rows = list(_csv_rows(unify_newlines(decode_text(data, name).text), name))
    header, body = _split_header(rows, findings)
    is_empty = header is None or not (body or re.search(r"\w", "".join(header[1])))  # ";;;" is no heading
    if is_empty and not findings.errors:
        raise InputError("the table is empty", where=name, mend="Check that the copy is whole")
    columns, table_rows = _shape(header or (0, []), body, kind == "csv", findings)
    findings.raise_errors()
    fields = {place: known_field(column)[0] for place, column in enumerate(columns)}
    note_doubts(columns, [(row.line, row.cells) for row in table_rows], fields, findings)
    return Table(PurePath(name).stem, kind, columns, table_rows, tuple(findings.notices), title)


def _bytes(source: Path | bytes, name: str) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        return source, name
    name = name or source.name
    try:
        if source.stat().st_size > _MOST_BYTES:
            raise InputError("the file has more than 256 MiB", where=name, mend="Save it without pictures")
        return source.read_bytes(), name
    except OSError as exc:
        mend = "Check its name"
        raise InputError("cannot read the file: {why}", why=exc.strerror, where=str(source), mend=mend) from exc


def _csv_rows(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Yield (line, cells) for each row that is not empty; an apostrophe that only says "text" is taken off."""
    lines = text.split("\n")
    head = next((number for number, line in enumerate(lines) if line.strip()), 0)
    told = re.fullmatch(r'"?sep=(.)"?', lines[head].strip(" "), re.IGNORECASE)  # a spreadsheet's own first line
    start = head + 1 if told else head
    body = "\n".join(lines[start:])
    delimiter = told[1] if told and told[1] not in '"\\' else _sniff(body)
    reader = csv.reader(io.StringIO(body, newline=""), **_dialect(delimiter))
    line = start + 1
    try:
        for cells in reader:
            cells = [_unprotect(cell.strip()) for cell in cells]
            if any(cells):
                yield line, cells
            line = start + reader.line_num + 1
    except csv.Error as exc:
        raise InputError(
            "the quotation marks do not pair up, or a cell is too long",
            where=f"{name}, line {line}",
            mend='Close each quotation mark, and write "" for one inside a cell',
        ) from exc


def _dialect(delimiter: str) -> dict[str, Any]:
    return {"delimiter": delimiter, "skipinitialspace": delimiter != " ", "strict": True}


def _sniff(text: str) -> str:
    """Return the delimiter that gives headings we know, then rows as wide as the headings, then the most columns."""

    def score(delimiter: str) -> tuple[int, bool, bool, float, int]:
        rows, is_whole = _first_rows(text, delimiter)
        known = [_known(row) for row in rows[:_LINES_ABOVE]] or [0]
        width = len(rows[known.index(max(known))]) if rows else 0
        alike = sum(len(row) == width for row in rows) / len(rows) if width > 1 else 0
        return max(known), alike > 0, is_whole, alike, width

    return max(_DELIMITERS, key=score)


def _first_rows(text: str, delimiter: str) -> tuple[list[list[str]], bool]:
    """Return the first rows that are not empty, and whether their quotation marks pair up."""
    rows: list[list[str]] = []
    try:
        for row in islice(csv.reader(io.StringIO(text, newline=""), **_dialect(delimiter)), _SNIFFED_ROWS):
            rows += [row] if any(cell.strip() for cell in row) else []
    except csv.Error:
        return rows, False
    return rows, True


def _known(row: Sequence[str]) -> int:
    """Return how many of the cells are headings that we know."""
    return sum(known_field(cell)[0] is not None for cell in row)


def _split_header(
    rows: list[tuple[int, list[str]]], findings: Findings
) -> tuple[tuple[int, list[str]] | None, list[tuple[int, list[str]]]]:
    """Return the row of headings and the rows under it; pass over a title that stands above them."""
    for number, (line, cells) in enumerate(rows[:_LINES_ABOVE]):
        filled = sum(bool(cell) for cell in cells)
        below = [sum(bool(cell) for cell in under) for _, under in rows[number + 1 : _LINES_ABOVE]]
        if filled == 1 and max(below, default=0) > 1:
            text = next(cell for cell in cells if cell)
            findings.notice("line_above", "{text} stands above the headings and is not read", line, text=text[:80])
            continue
        return (line, cells), rows[number + 1 :]
    return None, []


def _shape(
    header: tuple[int, list[str]], body: Sequence[tuple[int, list[str]]], is_csv: bool, findings: Findings
) -> tuple[tuple[str, ...], tuple[TableRow, ...]]:
    """Return headings and rows of one width.

    In CSV a row that is wider than its headings has lost a quotation mark, which is wrong; in a sheet it has a cell
    in a column that nobody gave a heading.
    """
    line, names = header
    widths = [max((place for place, cell in enumerate(cells, 1) if cell), default=0) for _, cells in [header, *body]]
    width = max(widths)
    for (row_line, _), filled in zip(body, widths[1:], strict=True):
        if is_csv and filled > len(names):
            mend = "Give each column a heading, and put quotation marks round cells that hold the delimiter"
            template = "the row has {found} cells, but there are {wanted} headings"
            findings.error(template, row_line, mend=mend, found=filled, wanted=len(names))
    short = [row_line for row_line, cells in body if is_csv and len(cells) < len(names)]
    if short:
        template = "{count} rows have fewer cells than headings: their last cells are taken as empty"
        findings.notice("short_rows", template, short[0], count=len(short))
    columns = _unique([*names, *[""] * width][:width], line, findings)
    return columns, tuple(TableRow(at, tuple([*cells, *[""] * width][:width])) for at, cells in body)


def _unique(names: Sequence[str], line: int, findings: Findings) -> tuple[str, ...]:
    """Return the headings, each once, with a name for those that have none."""
    columns: list[str] = []
    for place, name in enumerate(names, 1):
        column, number = name or f"(column {place})", 2
        taken = {fold_heading(other) or other for other in columns}
        if (fold_heading(column) or column) in taken:
            template = "the heading {column} stands there more than once"
            findings.notice("heading_twice", template, line, column=column)
            while fold_heading(f"{column} ({number})") in taken:
                number += 1
            column = f"{column} ({number})"
        columns.append(column)
    return tuple(columns)


def write_table_csv(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return the table as CSV that `read_table` reads back with the same cells.

    Every cell stands in quotation marks. Where a spreadsheet would take a text for a formula, an apostrophe stands
    before it, which spreadsheets and `read_table` take off again.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    for row in (columns, *rows):
        writer.writerow([_protect(cell) for cell in row])
    return out.getvalue()


def _protect(cell: str) -> str:
    is_unsafe = _UNSAFE.match(cell) is not None and _PLAIN_NUMBER.fullmatch(cell) is None
    return f"'{cell}" if is_unsafe else cell


def _unprotect(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and _UNSAFE.match(cell) else cell
