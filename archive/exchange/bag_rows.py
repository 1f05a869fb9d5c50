"""Rows of a table as lines of JSON, a column at a time: the quick way there and back for whole tables.

A line holds what the row knows, its columns in the order of their names; what is unknown is left out.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import islice
from json.encoder import encode_basestring
from pathlib import Path
from typing import Any

from archive.errors import InputError

Row = tuple[Any, ...]
BATCH = 2000  # lines that are in hand at a time
_ALLOWED: dict[type, set[type]] = {str: {str}, int: {int}, bool: {bool}, float: {float, int}}
_AGAIN = "Pack the archive again"


def lines_of(columns: Sequence[str], kinds: Sequence[type], rows: Sequence[Sequence[Any]]) -> bytes:
    """Return the rows as lines in UTF-8, each with its line end.

    Parameters
    ----------
    columns : sequence of str
        In the order in which they stand in a line.
    kinds : sequence of type
        str, int, float or bool for each; a bool may come as 1 or 0.
    rows : sequence of rows
        A value or None for each column.
    """
    if not rows:
        return b""
    cells = [
        _cells(name, kind, values) for name, kind, values in zip(columns, kinds, zip(*rows, strict=True), strict=True)
    ]
    lines = map("".join, zip(*cells, strict=True))
    return "".join(f"{{{line[1:]}}}\n" for line in lines).encode()  # each cell begins with its comma


def _cells(name: str, kind: type, values: Sequence[Any]) -> list[str]:
    start = f",{json.dumps(name)}:"
    if kind is str:
        return [start + encode_basestring(value) if value is not None else "" for value in values]
    if kind is bool:
        values = [None if value is None else bool(value) for value in values]
    words = json.dumps(values, separators=(",", ":"))[1:-1].split(",")  # no comma is in a number
    return [start + word if word != "null" else "" for word in words]


def rows_of(
    file: Path, columns: Sequence[str], kinds: Sequence[type], *, where: str
) -> Iterator[list[tuple[Any, ...]]]:
    """Yield the rows of a file of lines in batches, a value or None for each column.

    Parameters
    ----------
    where : str
        What the file is called in messages.

    Raises
    ------
    InputError
        A line is no row of the table; which one is told.
    """
    first = 1
    with file.open(encoding="utf-8", newline="\n") as stream:
        while lines := _next_lines(stream, where):
            rows = _rows(lines, columns, kinds)
            if rows is None:
                raise _bad_row(lines, columns, kinds, where, first)
            yield rows
            first += len(lines)


def _next_lines(stream: Iterator[str], where: str) -> list[str]:
    try:
        return list(islice(stream, BATCH))
    except UnicodeDecodeError as exc:
        raise InputError("the rows are no text in UTF-8", where=where, mend=_AGAIN) from exc


def _rows(lines: Sequence[str], columns: Sequence[str], kinds: Sequence[type]) -> list[Row] | None:
    """Return the rows; None when a line is no row of the table."""
    try:
        found = json.loads(f"[{','.join(lines)}]")  # one call for all is twice as fast as one for each
    except (ValueError, RecursionError):
        return None
    if len(found) != len(lines) or set(map(type, found)) != {dict}:
        return None
    values = [[row.get(name) for row in found] for name in columns]
    told = sum(len(column) - column.count(None) for column in values)
    if told != sum(map(len, found)):  # a column that the table does not have, or one that is told to be unknown
        return None
    for kind, column in zip(kinds, values, strict=True):
        if not set(map(type, column)) <= _ALLOWED[kind] | {type(None)}:
            return None
    return list(zip(*values, strict=True))


def _bad_row(lines: Sequence[str], columns: Sequence[str], kinds: Sequence[type], where: str, first: int) -> InputError:
    alone = (number for number, line in enumerate(lines, first) if _rows([line], columns, kinds) is None)
    number = next(alone, first)  # lines that are rows only together begin with one that is none
    return InputError("the row cannot be read", where=f"{where}, line {number}", mend=_AGAIN)
