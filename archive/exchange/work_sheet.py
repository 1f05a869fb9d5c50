"""A workbook to fill in, for the people who list on paper first: headings, pick-lists, a small picture a row.

Every cell is text, so that 0042 keeps its zeros, 10-12 does not become a day, and a title that begins with `=` is
no formula. `read_table` reads the filled-in workbook again.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.errors import InputError
from archive.exchange.work_columns import FIELDS, HEADINGS

_TEXT_FORMAT = "@"
_LISTS = "lists"
_THUMBNAIL_HEADING = "Picture"
_THUMBNAIL_PIXELS = 96
_POINTS_A_PIXEL = 0.75
_WIDTHS = {"title": 36, "inks": 28, "paper": 20, "note": 40, "artist": 24, "maker": 24, "printer": 24}  # characters
_WIDTH = 14
_LONGEST_CELL = 32767  # what a spreadsheet can hold


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A row that is partly filled in: texts by field, and a picture (PNG or JPEG) for who sorts by sight."""

    cells: Mapping[str, str] = field(default_factory=dict)
    thumbnail: bytes | None = None


def blank_sheet(
    rows: Sequence[SheetRow] = (),
    *,
    fields: Sequence[str] = FIELDS,
    choices: Mapping[str, Sequence[str]] | None = None,
    blank_rows: int = 200,
) -> bytes:
    """Return an XLSX workbook to fill in, with one sheet called `works`.

    Parameters
    ----------
    rows : sequence of SheetRow
        What is known already, a row each; with pictures there is a first column for them.
    fields : sequence of str
        The columns, in order (`work_columns.FIELDS`).
    choices : mapping of field to words, optional
        Pick-lists: `{"kind": ("poster", "zine")}`. Another word may be typed after a warning.
    blank_rows : int
        Empty rows under the filled ones that get the pick-lists.

    Raises
    ------
    InputError
        A field is not known or stands twice, a text is longer than a cell can hold, or a thumbnail is no picture.
    """
    from openpyxl import Workbook

    _check_fields(rows, fields, choices or {})
    has_pictures = any(row.thumbnail is not None for row in rows)
    book = Workbook()
    sheet = book.active
    sheet.title = "works"
    offset = 1 if has_pictures else 0
    _write_headings(sheet, fields, has_pictures)
    for number, row in enumerate(rows, 2):
        for place, name in enumerate(fields, 1 + offset):
            _write_text(sheet.cell(number, place), row.cells.get(name, ""), f"row {number}, {HEADINGS[name]}")
        if row.thumbnail is not None:
            _write_picture(sheet, number, row.thumbnail)
    last = 1 + len(rows) + blank_rows
    _write_choices(
        book, sheet, [(fields.index(name) + 1 + offset, words) for name, words in (choices or {}).items()], last
    )
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _check_fields(rows: Sequence[SheetRow], fields: Sequence[str], choices: Mapping[str, Sequence[str]]) -> None:
    asked = [*fields, *choices, *(name for row in rows for name in row.cells)]
    strangers = sorted({name for name in asked if name not in HEADINGS or name not in fields})
    if strangers:
        mend = f"Fields are {', '.join(FIELDS)}"
        raise InputError("there is no column for {field}", field=strangers[0], mend=mend)
    if len(set(fields)) < len(fields):
        raise InputError("a column stands there twice", mend="Name each field once")


def _write_headings(sheet: Any, fields: Sequence[str], has_pictures: bool) -> None:
    from openpyxl.styles import Font

    headings = [*([_THUMBNAIL_HEADING] if has_pictures else []), *(HEADINGS[name] for name in fields)]
    for place, heading in enumerate(headings, 1):
        cell = sheet.cell(1, place, heading)
        cell.font = Font(bold=True)
        column = sheet.column_dimensions[cell.column_letter]
        name = fields[place - 1 - has_pictures] if place > has_pictures else ""
        column.width = _WIDTHS.get(name, _WIDTH)
        column.number_format = _TEXT_FORMAT  # for cells that are still to be typed
    sheet.freeze_panes = "A2"


def _write_text(cell: Any, text: str, where: str) -> None:
    """Write a text as text, whatever it begins with."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    if len(text) > _LONGEST_CELL:
        template = "the text has {length} characters, a cell holds 32767"
        raise InputError(template, length=len(text), where=where, mend="Shorten it")
    cell.number_format = _TEXT_FORMAT
    if text:
        cell.value = ILLEGAL_CHARACTERS_RE.sub("", text)
        cell.data_type = "s"  # the library takes "=…" for a formula and "#REF!" for an error
        cell.quotePrefix = text.startswith(("=", "+", "-", "@", "'"))  # it stays text when a person edits it


def _write_picture(sheet: Any, number: int, picture: bytes) -> None:
    """Put a picture into the first cell of a row, small enough for it."""
    from openpyxl.drawing.image import Image
    from PIL import Image as Pictures
    from PIL import UnidentifiedImageError

    try:
        with Pictures.open(io.BytesIO(picture)) as opened:
            opened.thumbnail((_THUMBNAIL_PIXELS, _THUMBNAIL_PIXELS))
            small = io.BytesIO()
            opened.convert("RGB").save(small, "PNG")
    except (UnidentifiedImageError, OSError, ValueError, Pictures.DecompressionBombError) as exc:
        mend = "Give a PNG or JPEG picture"
        raise InputError("the thumbnail is no picture", where=f"row {number}", mend=mend) from exc
    image = Image(small)
    sheet.add_image(image, f"A{number}")
    sheet.row_dimensions[number].height = (_THUMBNAIL_PIXELS + 4) * _POINTS_A_PIXEL


def _write_choices(book: Any, sheet: Any, choices: Sequence[tuple[int, Sequence[str]]], last: int) -> None:
    """Give columns their pick-lists, whose words stand in a sheet that nobody sees."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    if not choices:
        return
    lists = book.create_sheet(_LISTS)
    lists.sheet_state = "veryHidden"
    for number, (place, words) in enumerate(choices, 1):
        for row, word in enumerate(words, 1):
            _write_text(lists.cell(row, number), word, f"choice {row}")
        letter, column = get_column_letter(number), get_column_letter(place)
        rule = DataValidation("list", formula1=f"{_LISTS}!${letter}$1:${letter}${max(len(words), 1)}", allow_blank=True)
        rule.errorStyle, rule.error = "warning", "The word is not in the list."
        sheet.add_data_validation(rule)
        rule.add(f"{column}2:{column}{max(last, 2)}")
