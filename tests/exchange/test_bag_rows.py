"""Rows as lines of JSON: the standard library's own words for every value, and the same rows back."""

from __future__ import annotations

import json
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from archive.exchange.bag_rows import lines_of, rows_of

COLUMNS = ("id", "is_plain", "note", "share")
KINDS = (int, bool, str, float)
TEXT = st.text(st.characters(exclude_categories=["Cs"]))
ROWS = st.lists(
    st.tuples(
        st.integers(-(2**63), 2**63 - 1),
        st.none() | st.booleans(),
        st.none() | TEXT,
        st.none() | st.floats(allow_nan=False),
    ),
    max_size=6,
)


@given(ROWS)
def test_lines_are_what_the_standard_library_says_and_give_the_same_rows(tmp_path: Path, rows: list[tuple]) -> None:  # type: ignore[type-arg]
    lines = lines_of(COLUMNS, KINDS, rows)
    told = [{name: value for name, value in zip(COLUMNS, row, strict=True) if value is not None} for row in rows]
    plain = "".join(json.dumps(row, ensure_ascii=False, separators=(",", ":")) + "\n" for row in told)
    assert lines == plain.encode()
    file = tmp_path / "rows.jsonl"
    file.write_bytes(lines)
    found = [row for batch in rows_of(file, COLUMNS, KINDS, where="rows") for row in batch]
    assert [tuple(map(repr, row)) for row in found] == [tuple(map(repr, row)) for row in rows]


def test_a_yes_or_no_may_come_as_a_number() -> None:
    assert lines_of(("is_plain",), (bool,), [(1,), (0,)]) == b'{"is_plain":true}\n{"is_plain":false}\n'
