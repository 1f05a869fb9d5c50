"""Sessions, and what is said when an archive cannot be opened or written."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, insert, inspect, select, text

from archive.catalogue import database
from archive.catalogue.database import Catalogue, open_archive, start_archive
from archive.catalogue.models import Change, Fact, Ink, Layer
from archive.errors import CatalogueError, ConflictError, InputError
from tests.acts import act
from tests.services.keeping import every_row


def ink(name: str, **more: Any) -> Ink:
    return Ink(name=name, name_key=name.casefold(), **more)


def ink_names(catalogue: Catalogue) -> list[str]:
    with catalogue.read() as session:
        return list(session.scalars(select(Ink.name).order_by(Ink.id)))


def test_a_started_archive_knows_itself_and_opens_again(tmp_path: Path) -> None:
    start_archive(tmp_path / "new" / "chest").close()
    opened = open_archive(tmp_path / "new" / "chest")
    with opened.read() as session:
        facts = dict(session.execute(select(Fact.key, Fact.value)).all())
    opened.close()
    assert set(facts) == {"archive_uid", "started_at"}
    assert (tmp_path / "new" / "chest" / "originals").is_dir()


def test_an_archive_is_not_started_over_another(catalogue: Catalogue) -> None:
    with pytest.raises(ConflictError, match="an archive already"):
        start_archive(catalogue.folder)


def test_an_archive_is_not_started_among_other_things(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    with pytest.raises(ConflictError, match="not empty"):
        start_archive(tmp_path)
    with pytest.raises(ConflictError, match="not empty"):
        start_archive(tmp_path / "letter.txt")


def test_reading_keeps_nothing(catalogue: Catalogue) -> None:
    with catalogue.read() as session:
        session.add(ink("Ferrywake", change_id=1))
        session.execute(text("INSERT INTO fact (key, value) VALUES ('stray', '1')"))
    assert ink_names(catalogue) == []
    with catalogue.read() as session:
        assert session.get(Fact, "stray") is None


def test_writing_is_one_change(catalogue: Catalogue) -> None:
    with catalogue.write(act("two inks")) as session:
        session.add(ink("Ferrywake"))
        session.flush()
        session.add(ink("Dockrope"))
    with catalogue.read() as session:
        assert session.scalars(select(Change.words)).all() == ["two inks"]
        assert set(session.scalars(select(Ink.change_id))) == {1}


def test_a_rollback_leaves_nothing_not_even_tables(catalogue: Catalogue) -> None:
    # without explicit transactions Python's sqlite3 commits before DDL
    def break_off() -> None:
        with catalogue.write(act()) as session:
            session.add(ink("Ferrywake"))
            session.flush()
            session.execute(text("CREATE TABLE stray (id INTEGER)"))
            raise RuntimeError("the lamp went out")

    with pytest.raises(RuntimeError, match="lamp"):
        break_off()
    assert ink_names(catalogue) == []
    with catalogue.read() as session:
        assert not inspect(session.connection()).has_table("stray")


def test_foreign_keys_are_on(catalogue: Catalogue) -> None:
    with pytest.raises(ConflictError, match=r"(?i)foreign key"), catalogue.write(act()) as session:
        session.execute(insert(Layer).values(recipe_id=77, position=1, ink_words=""))


def test_a_duplicate_is_a_conflict(catalogue: Catalogue) -> None:
    with pytest.raises(ConflictError, match="clashes"), catalogue.write(act()) as session:
        session.add_all([ink("Ferrywake"), ink("Ferrywake")])


def test_a_value_out_of_range_is_refused_by_the_schema_too(catalogue: Catalogue) -> None:
    with pytest.raises(InputError, match="lightest_tint_range"), catalogue.write(act()) as session:
        session.add(ink("Ferrywake", lightest_tint=140.0))


def test_only_the_words_of_a_list_are_kept(catalogue: Catalogue) -> None:
    with pytest.raises(InputError, match="kind_word"), catalogue.write(act()) as session:
        session.add(ink("Ferrywake", kind="shiny"))


# --- who else is there ---------------------------------------------------------------------------------------------


@contextmanager
def held_by_another(folder: Path) -> Iterator[None]:
    other = open_archive(folder)
    with other.engine.execution_options(inkchest_writes=True).connect() as connection:
        connection.begin()
        yield
    other.close()


@pytest.fixture
def impatient(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> Iterator[Catalogue]:
    monkeypatch.setattr(database, "PATIENCE_SECONDS", 0.2)
    opened = open_archive(catalogue.folder)
    yield opened
    opened.close()


def test_a_writer_waits_and_then_says_that_another_writes(impatient: Catalogue) -> None:
    with (
        held_by_another(impatient.folder),
        pytest.raises(CatalogueError, match="another program is writing"),
        impatient.write(act()) as session,
    ):
        session.add(ink("Ferrywake"))
    with impatient.write(act()) as session:
        session.add(ink("Dockrope"))
    assert ink_names(impatient) == ["Dockrope"]


def test_a_reader_reads_beside_a_writer(impatient: Catalogue) -> None:
    with held_by_another(impatient.folder):
        assert ink_names(impatient) == []


def test_an_archive_that_another_program_holds_alone_is_told(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    catalogue.close()
    monkeypatch.setattr(database, "PATIENCE_SECONDS", 0.2)
    with closing(sqlite3.connect(catalogue.folder / "archive.sqlite3", isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode=DELETE")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(CatalogueError, match="another program is writing"):
            open_archive(catalogue.folder)


_WRITER = """
import sys
from pathlib import Path
from sqlalchemy import select
from archive.catalogue.database import open_archive
from archive.catalogue.history import Act
from archive.catalogue.models import Ink
catalogue = open_archive(Path(sys.argv[1]))
for number in range(200):
    with catalogue.write(Act(sys.argv[2], f"ink {number}")) as session:
        session.scalars(select(Ink.id)).all()  # reads first, as services do: a deferred transaction would fail here
        name = f"{sys.argv[2]} {number}"
        session.add(Ink(name=name, name_key=name))
"""


def test_two_programs_that_write_200_records_each_lose_none(catalogue: Catalogue) -> None:
    command = [sys.executable, "-c", _WRITER, str(catalogue.folder)]
    writers = [subprocess.Popen([*command, name], stderr=subprocess.PIPE) for name in ("upstairs", "downstairs")]
    for writer in writers:
        _, errors = writer.communicate(timeout=60)
        assert writer.returncode == 0, errors.decode()
    names = ink_names(catalogue)
    assert sorted(names) == sorted(f"{who} {number}" for who in ("upstairs", "downstairs") for number in range(200))
    with catalogue.read() as session:
        assert len(session.scalars(select(Change)).all()) == 400


# --- what is wrong with the folder ---------------------------------------------------------------------------------


def test_a_folder_that_is_no_archive_is_told(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match=r"no archive here.*inkchest start"):
        open_archive(tmp_path)
    with pytest.raises(CatalogueError, match="no archive here"):
        open_archive(tmp_path / "nowhere")
    (tmp_path / "file").touch()
    with pytest.raises(CatalogueError, match="no archive here"):
        open_archive(tmp_path / "file")


def test_settings_that_cannot_be_read_are_told_with_their_line(catalogue: Catalogue) -> None:
    settings = catalogue.folder / "archive.toml"
    settings.write_text("format = 1\ndatabase = oops\n")
    with pytest.raises(CatalogueError, match=r"archive\.toml.*line 2"):
        open_archive(catalogue.folder)
    settings.write_bytes(b"\xff\xfe")
    with pytest.raises(CatalogueError, match="settings"):
        open_archive(catalogue.folder)


def test_a_missing_database_is_told_and_not_made(catalogue: Catalogue) -> None:
    catalogue.close()
    (catalogue.folder / "archive.sqlite3").unlink()
    with pytest.raises(CatalogueError, match=r"missing.*restore"):
        open_archive(catalogue.folder)
    assert not (catalogue.folder / "archive.sqlite3").exists()


def test_a_database_that_is_none_is_told(catalogue: Catalogue) -> None:
    catalogue.close()
    (catalogue.folder / "archive.sqlite3").write_bytes(b"no database at all " * 500)
    with pytest.raises(CatalogueError, match=r"damaged or is none.*restore"):
        open_archive(catalogue.folder)


def test_a_damaged_database_is_told(catalogue: Catalogue) -> None:
    with catalogue.write(act()) as session:
        session.add_all([ink(f"Ink {number}", note="x" * 500) for number in range(200)])
    catalogue.close()
    path = catalogue.folder / "archive.sqlite3"
    content = bytearray(path.read_bytes())
    page = 4096  # SQLite's default page size; the first page, which names the tables, stays
    content[page:] = b"\xa5" * (len(content) - page)
    path.write_bytes(content)
    with pytest.raises(CatalogueError, match="damaged"):
        ink_names(open_archive(catalogue.folder))


def test_another_programs_database_is_told(catalogue: Catalogue) -> None:
    catalogue.close()
    path = catalogue.folder / "archive.sqlite3"
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipes (cake TEXT)")
    with pytest.raises(CatalogueError, match="holds no archive"):
        open_archive(catalogue.folder)


def test_an_archive_of_a_newer_version_is_left_alone(catalogue: Catalogue) -> None:
    catalogue.close()
    with catalogue.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    before = every_row(catalogue)
    with pytest.raises(CatalogueError, match=r"newer inkchest.*9999"):
        open_archive(catalogue.folder)
    assert every_row(catalogue) == before
    assert not list(catalogue.folder.glob("*before*"))


# --- the disk ------------------------------------------------------------------------------------------------------


def test_a_full_disk_changes_nothing_and_is_told(catalogue: Catalogue) -> None:
    catalogue.close()
    opened = open_archive(catalogue.folder)

    @event.listens_for(opened.engine, "connect")
    def _full(connection: sqlite3.Connection, _record: object) -> None:
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count={pages}")  # what a full disk is to SQLite: SQLITE_FULL

    opened.engine.dispose()
    with pytest.raises(CatalogueError, match="disk is full; nothing was changed"), opened.write(act()) as session:
        session.add_all([ink(f"Ink {number}", note="x" * 500) for number in range(2000)])
    assert ink_names(opened) == []
    opened.close()


_PUT = """
import resource, sys
from pathlib import Path
from archive.catalogue.files import Files
files = Files(Path(sys.argv[1]))
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    files.put(Path(sys.argv[2]).open("rb"))
except Exception as error:
    print(type(error).__name__, error)
"""


def test_a_file_that_finds_no_room_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "big.tif").write_bytes(b"\x00" * 300_000)
    command = [sys.executable, "-c", _PUT, str(tmp_path / "chest"), str(tmp_path / "big.tif")]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert said.startswith("CatalogueError")
    assert "disk is full; nothing was added" in said
    assert [path for path in (tmp_path / "chest").rglob("*") if path.is_file()] == []


_READ_ONLY = """
import os, sys
from io import BytesIO
from pathlib import Path
from archive.catalogue import database
from archive.catalogue.history import Act
from archive.catalogue.models import Ink
import sqlalchemy.dialects.sqlite
folder = Path(sys.argv[1])
if os.getuid() == 0:  # root may write everywhere
    os.setgroups([])
    os.setresgid(65534, 65534, 65534)
    os.setresuid(65534, 65534, 65534)
def tried(what):
    try:
        what()
    except Exception as error:
        print(type(error).__name__, error)
def write():
    with database.open_archive(folder).write(Act("nobody", "add")) as session:
        session.add(Ink(name="Ferrywake", name_key="ferrywake"))
tried(write)
tried(lambda: database.Files(folder).put(BytesIO(b"tides")))
tried(lambda: database.start_archive(folder / "inside"))
"""


def test_a_folder_that_may_not_be_written_is_told(started: Path) -> None:
    # not below tmp_path: its parents are closed to everybody but the one who runs the tests
    outer = Path(tempfile.mkdtemp())
    folder = outer / "chest"
    try:
        shutil.copytree(started, folder)
        for path in (outer, *outer.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        command = [sys.executable, "-c", _READ_ONLY, str(folder)]
        environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
        done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
        assert done.returncode == 0, done.stderr
        database_said, file_said, start_said = done.stdout.splitlines()
        assert database_said.startswith("CatalogueError")
        assert "cannot be written" in database_said
        assert file_said.startswith("CatalogueError")
        assert "cannot write in the archive's folder" in file_said
        assert start_said.startswith("CatalogueError")
        assert "may write in" in start_said
    finally:
        for path in (outer, folder, *folder.rglob("*")):
            path.chmod(0o755)
        shutil.rmtree(outer)
