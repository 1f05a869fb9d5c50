"""Readings as CSV: one swatch a row, every cell read as text before it is anything else.

Spreadsheets glue marks to the first column name, strip zeros from ids, write decimal commas and turn 22.5
into the 22nd of May; so the delimiter is found, not assumed, and each bad cell is named.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from archive.errors import InputError
from archive.exchange.readings import (
    DETAILS,
    Findings,
    ReadingRow,
    ReadingsFile,
    ReadLayer,
    read_count,
    read_details,
    read_lab,
    read_tint,
)
from archive.exchange.text import unify_newlines, write_number

_LAB = ("lab_l", "lab_a", "lab_b")
_NEEDED = ("sample", "ink_1", "tint_1", *_LAB)
_KNOWN = (*_NEEDED, "paper", "pass_1", *DETAILS)
_LAYER_COLUMN = re.compile(r"(ink|tint|pass)_([1-9][0-9]?)")
_NUMBERS = re.compile(r"(tint|pass)_[0-9]+|lab_[lab]|hours_after|n|spread")
_DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class _Header:
    """The header line: names as written, where each column stands, and the layers' numbers in order."""

    written: tuple[str, ...]
    places: dict[str, int]
    layers: tuple[int, ...]
    needed: tuple[str, ...]


def read_readings_csv(text: str, name: str, *, tells_inks: bool = True) -> ReadingsFile:
    """Return the readings of a CSV file.

    Parameters
    ----------
    text : str
        The decoded file (`decode_text`).
    name : str
        The file's name; its stem names the set.
    tells_inks : bool
        False where only the colours are wanted, as of a strip whose recipes are known: then sample and inks may lack.

    Returns
    -------
    ReadingsFile
        A row each patch. Layers with a tint of zero are dropped; passes the file does not name are None.

    Raises
    ------
    ManyErrors
        All that is wrong with the rows, by line and field.
    InputError
        The file has no rows, or its quotation marks do not pair up.
    """
    findings = Findings(name)
    rows = _split(unify_newlines(text), name)
    first = next(rows, None)
    if first is None:
        raise InputError("the file is empty", where=name, mend="Check that the copy is whole")
    header = _read_header(*first, _NEEDED if tells_inks else _LAB, findings)
    findings.raise_errors()
    body = [row for line, cells in rows if (row := _whole_row(line, cells, header, findings))]
    read = tuple(_read_row(line, cells, header, findings) for line, cells in body)
    if not body and not findings.errors:
        findings.error("there are no rows under the header")
    findings.raise_errors()
    _note_mixed_decimals(body, header, findings)
    return ReadingsFile(PurePath(name).stem, "csv", (), read, tuple(findings.notices))


def _split(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Yield (line number, cells) for each row that is not empty."""
    lines = text.split("\n")
    head = next((number for number, line in enumerate(lines) if line.strip()), 0)
    told = re.fullmatch(r'"?sep=(.)"?', lines[head].strip(" "), re.IGNORECASE)  # a spreadsheet's own first line
    delimiter = told[1] if told and told[1] not in '"\\' else _sniff(lines[head])
    start = head + 1 if told else head
    reader = csv.reader(
        io.StringIO("\n".join(lines[start:]), newline=""),
        delimiter=delimiter,
        skipinitialspace=delimiter != " ",
        strict=True,
    )
    line = start + 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield line, cells
            line = start + reader.line_num + 1
    except csv.Error as exc:
        raise InputError(
            "the quotation marks do not pair up, or a cell is too long",
            where=f"{name}, line {line}",
            mend='Close each quotation mark, and write "" for one inside a cell',
        ) from exc


def _sniff(header: str) -> str:
    """Return the delimiter that finds the most known column names; the most columns when none does."""

    def found(delimiter: str) -> tuple[int, int]:
        names = [_plain(part.strip('" ')) for part in header.split(delimiter)]
        return sum(name in _KNOWN for name in names), len(names)

    return max(_DELIMITERS, key=found)


def _plain(name: str) -> str:
    """Return a column name as this module spells it."""
    return re.sub(r"[\s-]+", "_", name.strip().casefold())


def _read_header(line: int, cells: Sequence[str], needed: tuple[str, ...], findings: Findings) -> _Header:
    places: dict[str, int] = {}
    for place, cell in enumerate(cells):
        column = _plain(cell)
        if column and column in places:
            findings.error("the column {column} stands twice in the header", line, column=column)
        elif column:
            places[column] = place
    _check_needed(places, line, needed, findings)
    _note_unread(places, findings)
    return _Header(tuple(cell.strip() for cell in cells), places, _layer_numbers(places, line, findings), needed)


def _check_needed(places: dict[str, int], line: int, needed: tuple[str, ...], findings: Findings) -> None:
    spare = [column for column in places if not _is_read(column)]
    for missing in (column for column in needed if column not in places):
        near = difflib.get_close_matches(missing, spare, n=1)
        mend = f"Rename {near[0]} to {missing}" if near else f"Add a column {missing}"
        findings.error("the column {column} is missing", line, mend=mend, column=missing)


def _is_read(column: str) -> bool:
    return column in _KNOWN or _LAYER_COLUMN.fullmatch(column) is not None


def _note_unread(places: dict[str, int], findings: Findings) -> None:
    """Tell which columns are kept but not read, with the name each may have been meant for."""
    for column in (column for column in places if not _is_read(column)):
        near = difflib.get_close_matches(column, _KNOWN, n=1, cutoff=0.75)
        if near:
            template = "the column {column} is kept, but not read; perhaps {meant} was meant"
            findings.notice("column_not_read", template, column=column, meant=near[0])
        else:
            findings.notice("column_not_read", "the column {column} is kept, but not read", column=column)


def _layer_numbers(places: dict[str, int], line: int, findings: Findings) -> tuple[int, ...]:
    """Return the layers' numbers in printing order: left to right, which must be rising."""
    matches = [(match, place) for column, place in places.items() if (match := _LAYER_COLUMN.fullmatch(column))]
    numbers = sorted({int(match[2]) for match, _ in matches})
    for number in numbers:
        for column in (f"ink_{number}", f"tint_{number}"):
            if column not in places and column not in _NEEDED:
                findings.error("the column {column} is missing", line, mend=f"Add {column}", column=column)
    inks = [int(match[2]) for match, _ in matches if match[1] == "ink"]
    if inks != sorted(inks):
        findings.error(
            "the ink columns are not in rising order",
            line,
            mend="Printing order is left to right: ink_1 prints first",
        )
    return tuple(numbers)


def _whole_row(line: int, cells: list[str], header: _Header, findings: Findings) -> tuple[int, list[str]] | None:
    """Return the row when it has a cell for each column; empty cells beyond the header do not count."""
    width = len(header.written)
    while len(cells) > width and not cells[-1].strip():
        cells = cells[:-1]
    unnamed = [cell for cell, name in zip(cells, header.written, strict=False) if not name and cell.strip()]
    if len(cells) == width and not unnamed:
        return line, cells
    if unnamed:
        findings.error("{cell} stands in a column without a name", line, cell=repr(unnamed[0][:40]))
        return None
    many = "Put quotation marks round cells that hold the delimiter, such as decimal commas"
    findings.error(
        "the row has {found} cells, the header {wanted}",
        line,
        mend=many if len(cells) > width else "Add the empty cells that are missing",
        found=len(cells),
        wanted=width,
    )
    return None


def _read_row(line: int, cells: Sequence[str], header: _Header, findings: Findings) -> ReadingRow:
    def cell(column: str) -> str:
        place = header.places.get(column)
        return "" if place is None else cells[place].strip()

    if not cell("sample") and "sample" in header.needed:
        findings.error("the sample has no name", line, "sample", mend="Give each row a name or number")
    lab_cells = [(column, cell(column)) for column in _LAB]
    lab = read_lab(lab_cells, line, findings)
    if not any(text for _, text in lab_cells):
        findings.error("the row has no reading", line, "lab_l", mend="Fill in L*, a*, b*, or take the row out")
    details = read_details({detail: (detail, cell(detail)) for detail in DETAILS}, line, findings)
    return ReadingRow(
        line,
        sample=cell("sample"),
        paper=cell("paper") or None,
        layers=_read_layers(
            {n: tuple(cell(f"{part}_{n}") for part in ("ink", "tint", "pass")) for n in header.layers},
            line,
            findings,
        ),
        lab=lab,
        original=tuple(zip(header.written, cells, strict=True)),
        **details,
    )


def _read_layers(layers: dict[int, tuple[str, ...]], line: int, findings: Findings) -> tuple[ReadLayer, ...]:
    """Return the layers of {number: (ink, tint, pass)} in printing order, without zero tints."""
    read: list[ReadLayer] = []
    for number, (ink, tint_cell, pass_cell) in layers.items():
        if not ink:
            if tint_cell or pass_cell:
                findings.error("there is a tint or pass, but no ink", line, f"ink_{number}")
            continue
        tint = findings.read(read_tint, tint_cell, line, f"tint_{number}")
        print_pass = findings.read(read_count, pass_cell, line, f"pass_{number}") if pass_cell else None
        known = [layer.print_pass for layer in read if layer.print_pass is not None]
        if print_pass is not None and known and print_pass < known[-1]:
            findings.error(
                "pass {later} stands after pass {earlier}",
                line,
                f"pass_{number}",
                mend="Printing order is left to right",
                later=print_pass,
                earlier=known[-1],
            )
        if tint:
            read.append(ReadLayer(ink, tint, print_pass))
    return tuple(read)


def _note_mixed_decimals(body: Sequence[tuple[int, list[str]]], header: _Header, findings: Findings) -> None:
    """Tell when some numbers have a decimal comma and others a point: one of them may be a thousands mark."""
    places = [place for column, place in header.places.items() if _NUMBERS.fullmatch(column)]
    signs = {sign for _, cells in body for place in places for sign in ",." if sign in cells[place]}
    if len(signs) == 2:
        findings.notice(
            "mixed_decimals",
            "some numbers have a decimal comma and others a decimal point; both were read so",
        )


def write_readings_csv(rows: Sequence[ReadingRow]) -> str:
    """Return the rows as CSV text: commas, LF, only the optional columns that some row fills.

    XYZ, spectra and device columns have no place in this format; CGATS keeps them.

    Raises
    ------
    InputError
        A row has no Lab.
    """
    count = max([1, *(len(row.layers) for row in rows)])
    details = [detail for detail in DETAILS if any(getattr(row, detail) is not None for row in rows)]
    layer_columns = [f"{part}_{number}" for number in range(1, count + 1) for part in ("ink", "tint", "pass")]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["sample", "paper", *layer_columns, *_LAB, *details])
    for row in rows:
        if row.lab is None:
            raise InputError(
                "sample {sample} has no Lab",
                sample=row.sample,
                mend="Write a CGATS file, which keeps XYZ and spectra",
            )
        layers = [part for layer in row.layers for part in (layer.ink, layer.tint, layer.print_pass)]
        padding = [None] * (3 * count - len(layers))
        cells = [row.sample, row.paper, *layers, *padding, *row.lab, *(getattr(row, d) for d in details)]
        writer.writerow([_cell(cell) for cell in cells])
    return out.getvalue()


def _cell(content: str | float | int | None) -> str:
    if content is None:
        return ""
    return content if isinstance(content, str) else write_number(content)
