"""Copying what is new to a stick, and bringing it back."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from archive.catalogue.base import Base
from archive.catalogue.database import Catalogue, open_archive, start_archive
from archive.catalogue.models import Fact
from archive.errors import CatalogueError, ConflictError, InputError
from archive.services.backup import BackupReport, backup, restore
from archive.services.backup_state import backup_state, backup_warning, backup_words
from archive.services.check import check_archive
from archive.services.welcome import what_next
from tests.acts import act
from tests.services.keeping import add, enter, photo, remove


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    return tmp_path / "stick"


def back_up(catalogue: Catalogue, stick: Path) -> BackupReport:
    return backup(catalogue, stick, act=act("backup"))


def content(catalogue: Catalogue) -> dict[str, list[Any]]:
    with catalogue.read() as session:
        return {
            table.name: session.execute(text(f"SELECT * FROM {table.name} ORDER BY 1, 2")).all()
            for table in Base.metadata.sorted_tables
            if table.name != "fact"
        }


def fill(catalogue: Catalogue, folder: Path, count: int = 3) -> None:
    for number in range(count):
        enter(catalogue, f"QA-{number}", photo(folder / f"{number}.png", number), inks="blue over yellow")


def spoil(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(data)


def test_a_backup_copies_only_what_is_new_and_verifies_all(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path)
    sizes = sum(path.stat().st_size for path in tmp_path.glob("*.png"))
    assert back_up(catalogue, stick) == BackupReport(str(stick), copied=3, kept=0, verified=3, bytes=sizes)
    enter(catalogue, "QA-9", photo(tmp_path / "9.png", 9))
    report = back_up(catalogue, stick)
    assert (report.copied, report.kept, report.verified) == (1, 3, 4)
    report = back_up(catalogue, stick)
    assert (report.copied, report.bytes) == (0, 0)


def test_a_backup_brought_back_equals_the_archive(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path)
    remove(catalogue, "work", "QA-1")
    back_up(catalogue, stick)
    restore(stick, tmp_path / "again")
    again = open_archive(tmp_path / "again")
    assert content(again) == content(catalogue)
    assert list(again.files.all_originals()) == list(catalogue.files.all_originals())
    assert check_archive(again) == []
    add(again, "ink", "Ferrywake")  # and it works
    again.close()


def test_a_backup_opens_as_it_is(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path, 1)
    back_up(catalogue, stick)
    opened = open_archive(stick)
    assert content(opened) == content(catalogue)
    opened.close()


def test_a_backup_is_whole_while_somebody_writes(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path, 1)
    with closing(sqlite3.connect(catalogue.folder / "archive.sqlite3", isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode=WAL")
        other.execute("INSERT INTO user_name (uid, name, name_key) VALUES ('u', 'Ada Quill', 'ada quill')")
        back_up(catalogue, stick)  # what was committed lies in the log still, not in the database's own file
    with closing(sqlite3.connect(stick / "archive.sqlite3")) as copy:
        assert ("Ada Quill",) in copy.execute("SELECT name FROM user_name").fetchall()


@pytest.mark.parametrize("holds", ["letter.txt", "archive.toml", "nothing but a file"])
def test_a_folder_with_other_things_is_refused(catalogue: Catalogue, stick: Path, holds: str) -> None:
    if holds == "nothing but a file":
        stick.write_text("mine")
        with pytest.raises(InputError, match="no folder"):
            back_up(catalogue, stick)
        return
    stick.mkdir()
    (stick / holds).write_text("format = 1")
    with pytest.raises(ConflictError, match=r"other things|an archive itself"):
        back_up(catalogue, stick)
    assert [path.name for path in stick.iterdir()] == [holds]


def test_the_backup_of_another_archive_is_not_written_over(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    other = start_archive(tmp_path / "other")
    add(other, "ink", "Dockrope")
    back_up(other, stick)
    other.close()
    before = (stick / "archive.sqlite3").read_bytes()
    # `catalogue` was copied from one that was started apart, so that it has its own uid
    with pytest.raises(ConflictError, match="another archive"):
        back_up(catalogue, stick)
    assert (stick / "archive.sqlite3").read_bytes() == before


def test_a_backup_does_not_lie_inside_its_archive(catalogue: Catalogue) -> None:
    for inside in (catalogue.folder, catalogue.folder / "backup"):
        with pytest.raises(InputError, match="inside its archive"):
            back_up(catalogue, inside)


def test_a_damaged_original_is_told_and_all_else_is_backed_up(
    catalogue: Catalogue, tmp_path: Path, stick: Path
) -> None:
    fill(catalogue, tmp_path)
    first, second, third = catalogue.files.all_originals()
    spoil(catalogue.files.path(second))
    with pytest.raises(CatalogueError, match=rf"{second}: 1 originals are damaged.*everything else was backed up"):
        back_up(catalogue, stick)
    opened = open_archive(stick)
    assert list(opened.files.all_originals()) == [first, third]
    assert content(opened) == content(catalogue)
    opened.close()
    with catalogue.read() as session:
        assert backup_state(session).at is None  # not one to rely on


def test_a_copy_that_was_damaged_on_the_stick_is_told(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path, 2)
    back_up(catalogue, stick)
    name = next(catalogue.files.all_originals())
    spoil(stick / "originals" / name[:2] / name)
    with pytest.raises(CatalogueError, match="damaged or read back wrong"):
        back_up(catalogue, stick)
    with pytest.raises(CatalogueError, match="everything else was restored"):
        restore(stick, tmp_path / "again")
    again = open_archive(tmp_path / "again")
    assert [(damage.code, damage.is_harm) for damage in check_archive(again)] == [("missing_file", True)]
    again.close()


def test_a_backup_that_was_stopped_half_way_goes_on(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path)

    def pull_the_stick(done: int, _total: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        backup(catalogue, stick, act=act(), progress=pull_the_stick)
    assert not (stick / "archive.sqlite3").exists()  # it would name an original that is not there
    with pytest.raises(InputError, match="no backup"):
        restore(stick, tmp_path / "again")
    (stick / "incoming").mkdir(exist_ok=True)
    (stick / "incoming" / "half").write_bytes(b"half a picture")
    report = back_up(catalogue, stick)
    assert (report.copied, report.kept, report.verified) == (1, 2, 3)
    assert not (stick / "incoming").exists()


def test_what_is_no_backup_is_not_restored(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no backup"):
        restore(tmp_path, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_backup_is_not_restored_over_other_things(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    back_up(catalogue, stick)
    with pytest.raises(ConflictError, match="not empty"):
        restore(stick, catalogue.folder)


def test_a_damaged_database_is_not_taken_for_a_backup(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    back_up(catalogue, stick)
    (stick / "archive.sqlite3").write_bytes(b"no database at all" * 500)
    with pytest.raises(CatalogueError, match="cannot be copied"):
        restore(stick, tmp_path / "again")


def test_a_missing_original_does_not_stop_a_backup(catalogue: Catalogue, tmp_path: Path, stick: Path) -> None:
    fill(catalogue, tmp_path, 2)
    shutil.rmtree(catalogue.files.path(next(catalogue.files.all_originals())).parent)
    assert back_up(catalogue, stick).verified == 1


# --- when it was ---------------------------------------------------------------------------------------------------


def days_ago(days: float) -> str:
    return (datetime.now(UTC) - timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%SZ")


def set_fact(catalogue: Catalogue, key: str, value: Any) -> None:
    with catalogue.write(act()) as session:
        session.merge(Fact(key=key, value=value))


def warning(catalogue: Catalogue) -> str:
    with catalogue.read() as session:
        return backup_warning(session)


def test_a_fresh_archive_is_not_warned_of(catalogue: Catalogue) -> None:
    assert warning(catalogue) == ""
    with catalogue.read() as session:
        assert "No backup yet" in backup_words(session)


def test_an_archive_a_week_old_without_a_backup_is_warned_of_loudly(catalogue: Catalogue) -> None:
    set_fact(catalogue, "started_at", days_ago(6.9))
    assert warning(catalogue) == ""
    set_fact(catalogue, "started_at", days_ago(7.1))
    assert warning(catalogue).startswith("!!! THIS ARCHIVE WAS NEVER BACKED UP")
    with catalogue.read() as session:
        assert what_next(session)[-1] == warning(catalogue)


def test_a_backup_older_than_a_week_is_warned_of_loudly(catalogue: Catalogue, stick: Path) -> None:
    set_fact(catalogue, "started_at", days_ago(400))
    back_up(catalogue, stick)
    assert warning(catalogue) == ""
    with catalogue.read() as session:
        assert str(stick) in backup_words(session)
    set_fact(catalogue, "last_backup", {"at": days_ago(9.2), "to": str(stick)})
    assert warning(catalogue).startswith("!!! THE LAST BACKUP IS 9 DAYS OLD")
