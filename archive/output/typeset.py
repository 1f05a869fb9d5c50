"""The one way to make a PDF: a template of ours, plain values, pictures; no network, the same bytes every run."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from archive.errors import InputError, Notice
from archive.output.signs import FONTS_FOLDER, shown

TEMPLATES_FOLDER = Path(__file__).with_name("templates")
_SHARED = "parts.typ"


@dataclass(frozen=True, slots=True)
class Pages:
    """A finished PDF, how many pages it has, and what a person should know of it."""

    pdf: bytes
    count: int
    notices: tuple[Notice, ...] = ()


def typeset(
    template: str, values: Mapping[str, Any], *, day: date, pages: int, pictures: Mapping[str, bytes] | None = None
) -> Pages:
    """Return the PDF of a template filled with plain values.

    It is always PDF/A-2b: fonts and colour space lie inside, and a sign without a glyph would be refused, so that
    none can slip through as an empty box.

    Parameters
    ----------
    template : str
        Name of a file in `templates`, without its ending.
    values : mapping
        Values as JSON holds them; texts are set as they stand, never read as markup.
    day : date
        Stands in the file as the day it was made, so that equal values give equal bytes.
    pages : int
        How many pages the values were laid out for.
    pictures : mapping of str to bytes, optional
        Files (SVG, PNG, JPEG) that the template shows by name.

    Raises
    ------
    InputError
        A picture cannot be read.
    """
    import typst  # here: it brings 80 MB that only pages need

    cleaned, notices = shown(dict(values))
    sources: dict[str, bytes] = {
        "main.typ": (TEMPLATES_FOLDER / f"{template}.typ").read_bytes(),
        _SHARED: (TEMPLATES_FOLDER / _SHARED).read_bytes(),
        **(pictures or {}),
    }
    made = datetime(day.year, day.month, day.day, tzinfo=UTC)
    try:
        pdf = typst.compile(
            sources,
            root=str(TEMPLATES_FOLDER),
            font_paths=_faces(),
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(cleaned, ensure_ascii=False, sort_keys=True)},
            pdf_standards=["a-2b"],
            timestamp=made,
        )
    except typst.TypstError as exc:
        if not pictures:
            raise  # nothing that a person gave: a fault of the template
        raise InputError(
            "the page cannot be set: {why}", why=exc.message, where=template, mend="Look whether its pictures open"
        ) from exc
    return Pages(bytes(pdf), pages, notices)


@cache
def _faces() -> Any:
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(FONTS_FOLDER)])
