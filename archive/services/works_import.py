"""Bringing somebody's list of works in: their columns, mapped once; every doubt told before anything is written.

A row is judged first and written afterwards, so that a dry run says what an import would do. A work that is here
already is known by its number, or by the very cells that it came in with. What the list knows and the archive does
not is filled in; where both know and differ, the archive keeps what it has and the report tells of it.
"""

from __future__ import annotations

import difflib
import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.dates import read_date
from archive.catalogue.history import Act
from archive.catalogue.identity import fold
from archive.catalogue.models import Ink, Paper, Person, Place, Setting, Work
from archive.errors import ArchiveError, ConflictError, InputError, ManyErrors, NotFoundError, Notice
from archive.exchange.work_columns import ColumnMap, fold_heading, match_columns
from archive.exchange.work_table import Table, TableRow, read_table
from archive.services.fields import readable
from archive.services.lookup import find_record
from archive.services.told import read_told
from archive.services.works_list import PEOPLE, ListedWork, ListRow, kind_word, listed_works, people_in
from archive.services.works_write import write_row

_UNREAD = ("copies", "size")  # counts and sizes have no place of their own: they stay in notes and cells
_SAMPLES = 3


@dataclass(frozen=True, slots=True)
class ListOptions:
    """How a list is to be understood: the sheet, and columns that a person mapped (an empty field: do not read)."""

    sheet: str | None = None
    columns: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class ListReport:
    """What an import of a list did, or with a dry run would do."""

    file: str
    sheet: str
    columns: tuple[dict[str, Any], ...]
    samples: tuple[dict[str, str], ...]
    rows: int
    added: int
    filled: int
    known: int
    conflicts: tuple[dict[str, Any], ...]
    notices: tuple[Notice, ...]
    dry_run: bool

    def as_json(self) -> dict[str, Any]:
        """Return the report as JSON, notices in words."""
        names = ("file", "sheet", "columns", "samples", "rows", "added", "filled", "known", "conflicts", "dry_run")
        notices = [{"code": item.code, "where": item.where, "what": str(item)} for item in self.notices]
        return {**{name: getattr(self, name) for name in names}, "notices": notices}


def import_works(
    catalogue: Catalogue, path: Path, options: ListOptions, act: Act, *, dry_run: bool = False
) -> ListReport:
    """Bring a list of works (CSV or XLSX) in as one change that can be undone whole.

    Raises
    ------
    InputError, ManyErrors
        The file is missing or wrong, no column is known, or a number stands there twice; nothing was written.
    """
    table = read_table(path, sheet=options.sheet)
    if dry_run:
        with catalogue.read() as session:
            return _Plan(session, table, options, path.name).report(dry_run=True)
    with catalogue.write(act) as session:
        plan = _Plan(session, table, options, path.name)
        for row in sorted(plan.rows, key=lambda row: "ref" not in row.texts):  # numbers that are told come first
            write_row(session, row, path.name)
        _remember(session, table, options)
        return plan.report()


def _map_key(table: Table) -> str:
    """Return the setting that keeps what a person chose for a table with these headings."""
    headings = "\n".join(sorted(fold_heading(column) for column in table.columns))
    return f"column_map:{hashlib.sha256(headings.encode()).hexdigest()[:16]}"


def _remembered(session: Session, table: Table) -> dict[str, str]:
    found = session.scalars(select(Setting).where(Setting.key == _map_key(table), Setting.binned_at.is_(None))).first()
    return dict(found.value) if found else {}


def _remember(session: Session, table: Table, options: ListOptions) -> None:
    if not options.columns:
        return
    chosen = {fold_heading(column): field for column, field in options.columns}
    key = _map_key(table)
    row = session.scalars(select(Setting).where(Setting.key == key, Setting.binned_at.is_(None))).first()
    if row is None:
        session.add(Setting(key=key, value=chosen))
    elif row.value != row.value | chosen:
        row.value = row.value | chosen
    session.flush()


class _Plan:
    """What is to be done with each row, and what a person should look at first."""

    def __init__(self, session: Session, table: Table, options: ListOptions, name: str) -> None:
        self.session, self.table, self.name = session, table, name
        self.errors: list[ArchiveError] = []
        self.notices: list[Notice] = []
        self.conflicts: list[dict[str, Any]] = []
        self.counts = Counter[str]()
        self.map = self._match(options)
        self.names = {noun: _names(session, noun) for noun in ("ink", "paper", "person", "place")}
        self.works = _Works(session)
        read = [self._read(row) for row in table.rows]
        self._refuse_doubles(read)
        if self.errors:
            raise ManyErrors(self.errors, where=name, mend="Mend them and import the list again; nothing was written")
        self.rows = [planned for row in read if (planned := self._judge(row)) is not None]

    def _match(self, options: ListOptions) -> ColumnMap:
        columns = {fold_heading(column): column for column in self.table.columns}
        for column, _ in options.columns:
            if fold_heading(column) not in columns:
                near = difflib.get_close_matches(fold_heading(column), list(columns), n=3, cutoff=0.5)
                told = ", ".join(columns[each] for each in near) or ", ".join(self.table.columns[:12])
                mend = f"Its columns: {told}"
                raise InputError("the list has no column {column}", column=column, where=self.name, mend=mend)
        chosen = {fold_heading(column): field for column, field in options.columns}
        found = match_columns(self.table.columns, _remembered(self.session, self.table) | chosen)
        if not found.fields:
            mend = "Say which column is which: --map COLUMN=FIELD (title, inks, date, place ...)"
            raise InputError("no column of the list is one of ours", where=self.name, mend=mend)
        return found

    def report(self, *, dry_run: bool = False) -> ListReport:
        matches = [
            {"column": m.column, "field": m.field, "how": m.how, "suggestion": m.suggestion} for m in self.map.matches
        ]
        samples = [self._read(row).texts for row in self.table.rows[:_SAMPLES]]
        counts = {name: self.counts[name] for name in ("added", "filled", "known")}
        return ListReport(
            self.name,
            self.table.sheet,
            tuple(matches),
            tuple(samples),
            len(self.table.rows),
            **counts,
            conflicts=tuple(self.conflicts),
            notices=(*self.table.notices, *self.map.notices, *self.notices),
            dry_run=dry_run,
        )

    def _read(self, row: TableRow) -> ListRow:
        """Return the row's texts by field; several columns of one field are joined."""
        texts = {}
        for name in self.map.fields:
            cells = [row.cells[place] for place in self.map.places(name) if row.cells[place]]
            if cells:
                texts[name] = (" and " if name == "inks" else "; ").join(cells)
        cells_by_column = {column: cell for column, cell in zip(self.table.columns, row.cells, strict=True) if cell}
        where = f"{self.name}, line {row.line}"
        for column, cell in cells_by_column.items():
            try:
                readable(cell, f"{where}, {column}")
            except InputError as error:
                self.errors.append(error)
        if len(texts.get("ref", "")) > 200:
            self.errors.append(
                InputError("the ref has more than 200 characters", where=where, mend="Map another column to ref")
            )
        return ListRow(row.line, texts, cells_by_column)

    def _refuse_doubles(self, rows: Sequence[ListRow]) -> None:
        lines: dict[str, list[int]] = defaultdict(list)
        for row in rows:
            if "ref" in row.texts:
                lines[fold(row.texts["ref"])].append(row.line)
        for ref, found in lines.items():
            if len(found) > 1:
                told = ", ".join(map(str, found[:5]))
                mend = "Give each work its own number, or say --map COLUMN=old_number"
                template = "the ref {ref} stands in the lines {lines}"
                self.errors.append(InputError(template, ref=ref, lines=told, where=self.name, mend=mend))

    def _judge(self, row: ListRow) -> ListRow | None:
        """Return what is to be written of a row; None when all of it is known."""
        here = self.works.known(row)
        if here is None:
            self.counts["added"] += 1
            self._doubt(row, row.texts)
            return row
        fills = tuple(self._fills(row, here))
        self.counts["filled" if fills else "known"] += 1
        self._doubt(row, fills)
        return ListRow(row.line, row.texts, row.cells, here, fills) if fills else None

    def _fills(self, row: ListRow, here: ListedWork) -> Iterable[str]:
        """Yield the fields that the list knows and the archive does not; keep where both know and differ."""
        before = (here.work.original or {}).get("cells", {})
        for name, text in row.texts.items():
            columns = [self.table.columns[place] for place in self.map.places(name)]
            is_unchanged = before and all(before.get(each) == row.cells.get(each) for each in columns)
            if name in (*_UNREAD, "ref") or is_unchanged:
                continue
            held = here.texts.get(name, "")
            if not held:
                yield name
            elif not self._is_same(name, text, held):
                conflict = {"line": row.line, "ref": here.work.ref, "field": name, "here": held, "list": text}
                self.conflicts.append(conflict)

    def _is_same(self, name: str, text: str, held: str) -> bool:
        if name == "kind":
            return kind_word(text) == held
        if name == "place" and fold(held).endswith(fold(text)):
            return True
        if name in PEOPLE:
            return {fold(each) for each in people_in(text)} == {fold(each) for each in people_in(held)}
        return fold(text) == fold(held)

    def _doubt(self, row: ListRow, names: Iterable[str]) -> None:
        """Tell what cannot be read as it stands, and which names are new or near to known ones."""
        for name in names:
            text, where = row.texts[name], f"{self.name}, line {row.line}, {name}"
            if name == "kind" and kind_word(text) is None:
                self._tell("kind_not_known", "{text} is no kind here: it becomes other", where, text=text)
            elif name == "date":
                self._doubt_date(text, where)
            elif name == "inks":
                self._doubt_inks(text, where)
            elif name == "paper" and fold(text) not in self.names["paper"]:
                self._near("paper", text, where, "no paper called {text}: kept as said")
            elif name == "place":
                self._doubt_place(text, where)
            elif name in PEOPLE:
                for person in people_in(text):
                    if fold(person) not in self.names["person"]:
                        self._near("person", person, where, "{text} is new among the people")

    def _tell(self, code: str, template: str, where: str, **values: Any) -> None:
        self.notices.append(Notice(code, template, values, where))

    def _near(self, noun: str, text: str, where: str, template: str) -> None:
        """Tell of a name that is not known, with the known one that it may be meant for."""
        known = self.names[noun]
        turned = " ".join(reversed([part.strip() for part in text.split(",")]))  # Tallow, Wren
        near = [known[fold(turned)]] if fold(turned) in known else []
        near += [known[each] for each in difflib.get_close_matches(fold(text), list(known), n=2, cutoff=0.75)]
        meant = "; perhaps {near} is meant" if near else ""
        self._tell(f"{noun}_not_known", template + meant, where, text=text, near=", ".join(dict.fromkeys(near)))

    def _doubt_date(self, text: str, where: str) -> None:
        try:
            notices = read_date(text).notices
        except InputError as error:
            self._tell("date_not_read", "{why}: the words are kept in the note", where, why=error.what)
            return
        self.notices += [Notice(each.code, each.template, each.values, where) for each in notices]

    def _doubt_inks(self, text: str, where: str) -> None:
        inks = self.names["ink"]
        try:
            told = read_told(text, known_inks=tuple(inks.values()))
        except InputError as error:
            self._tell("inks_not_read", "{why}: the words are kept in the note", where, why=error.what)
            return
        for layer in told.layers:
            if fold(layer.ink) not in inks:
                self._near("ink", layer.ink, where, "no ink called {text}: kept as said")

    def _doubt_place(self, text: str, where: str) -> None:
        try:
            find_record(self.session, "place", text)
        except NotFoundError:
            self._near("place", text, where, "{text} is a new place")
        except ConflictError as error:
            self._tell("place_not_sure", "{why}: the words are kept in the copy's note", where, why=error.what)


class _Works:
    """The works that are here, by number and by the cells that they came in with."""

    def __init__(self, session: Session) -> None:
        works = session.scalars(select(Work).where(Work.binned_at.is_(None)).order_by(Work.id)).all()
        self._listed = listed_works(session, works)
        self._by_ref = {each.work.ref_key: each for each in self._listed}
        self._by_number: dict[str, list[ListedWork]] = defaultdict(list)
        self._by_cells: dict[str, list[ListedWork]] = defaultdict(list)
        for each in self._listed:
            if each.work.old_number:
                self._by_number[fold(each.work.old_number)].append(each)
            if each.work.original:
                self._by_cells[_cells_key(each.work.original["cells"])].append(each)

    def known(self, row: ListRow) -> ListedWork | None:
        """Return the work that a row is about: by its ref, its very cells, or an old number that only it has."""
        ref, number = fold(row.texts.get("ref", "")), fold(row.texts.get("old_number", ""))
        if ref in self._by_ref:
            return self._by_ref[ref]
        alike = self._by_cells.get(_cells_key(row.cells), [])
        if alike:
            return alike.pop(0)  # equal rows are so many works
        numbered = self._by_number.get(ref or number, [])
        return numbered[0] if len(numbered) == 1 else None


def _cells_key(cells: dict[str, str]) -> str:
    return repr(sorted((fold_heading(column), cell) for column, cell in cells.items()))


_TABLES: dict[str, Any] = {"ink": Ink.name, "paper": Paper.name, "person": Person.name, "place": Place.path}


def _names(session: Session, noun: str) -> dict[str, str]:
    column = _TABLES[noun]
    living = select(column).where(column.class_.binned_at.is_(None))
    return {fold(name): name for name in session.scalars(living)}
