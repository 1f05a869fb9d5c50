"""From an older schema to the newest and back, on files with real rows."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, select, text

from archive.catalogue import revision, shipped
from archive.catalogue.base import Base
from archive.catalogue.database import Catalogue, make_engine, open_archive
from archive.catalogue.models import Claim, Ink, Layer, Measurement, Recipe, Setting, Swatch, Work
from archive.catalogue.revision import REVISION, stored_revision, upgrade
from archive.catalogue.shipped import shipped_folder
from archive.errors import CatalogueError
from tests.acts import act


def fill(catalogue: Catalogue) -> None:
    """Add rows that refer to each other, with text, numbers and JSON."""
    with catalogue.write(act("fill")) as session:
        blue = Ink(name="Ferrywake", name_key="ferrywake", looks="#2a5ea8", lightest_tint=4.0)
        session.add(blue)
        session.flush()
        recipe = Recipe(key="1|1.1:1@1000|FM", screen="FM")
        recipe.layers = [Layer(position=1, print_pass=1, ink_id=blue.id, tint_low=100.0, tint_high=100.0)]
        session.add_all([recipe, Setting(key="about_years", value=3), Setting(key="conditions", value=["M1", "M0"])])
        session.flush()
        swatch = Swatch(recipe_id=recipe.id, lab_l=41.0, lab_a=5.5, lab_b=-40.25)
        work = Work(ref="0042", ref_key="0042", title="Nine Tides", date_text="about 1998")
        session.add_all([swatch, work])
        session.flush()
        claim = Claim(subject_table="work", subject_id=work.id, field="order", value="Dockrope first", basis="stated")
        session.add_all([Measurement(swatch_id=swatch.id, lab_l=41.0, lab_a=5.5, lab_b=-40.25), claim])
    with catalogue.write(act("edit")) as session:
        session.scalars(select(Ink)).one().note = "été"


def rows(path: Path) -> dict[str, list[Any]]:
    """Return everything in a database, by table, read without our own code."""
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name <> 'alembic_version' ORDER BY name"
        tables = [name for (name,) in connection.execute(query)]
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall() for name in tables}


def test_the_newest_revision_is_the_one_this_version_writes(catalogue: Catalogue) -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(shipped_folder("migrations")))
    assert ScriptDirectory.from_config(config).get_heads() == [REVISION]
    assert stored_revision(catalogue.engine) == REVISION


def test_the_migrations_make_what_the_models_say(catalogue: Catalogue) -> None:
    with catalogue.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []


def test_the_migrations_make_every_check_of_the_models(catalogue: Catalogue) -> None:
    # the comparison above does not look at checks
    found = inspect(catalogue.engine)
    for table in Base.metadata.sorted_tables:
        there = {str(check["name"]): str(check["sqltext"]) for check in found.get_check_constraints(table.name)}
        wanted = {str(rule.name): str(rule.sqltext) for rule in table.constraints if hasattr(rule, "sqltext")}
        assert there == wanted, table.name


def test_down_to_nothing_and_up_again_is_the_same_schema(catalogue: Catalogue) -> None:
    def schema() -> set[tuple[str, ...]]:
        with catalogue.engine.connect() as connection:
            query = text("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY 1, 2")
            return {tuple(row) for row in connection.execute(query)}

    fill(catalogue)
    before = schema()
    upgrade(catalogue.engine, "base")
    assert not set(inspect(catalogue.engine).get_table_names()) & set(Base.metadata.tables)
    upgrade(catalogue.engine)
    assert schema() == before
    fill(catalogue)  # and it works


def test_an_archive_of_this_version_is_not_touched_on_opening(catalogue: Catalogue) -> None:
    fill(catalogue)
    catalogue.close()
    before = rows(catalogue.folder / "archive.sqlite3")
    open_archive(catalogue.folder).close()
    assert rows(catalogue.folder / "archive.sqlite3") == before
    assert not list(catalogue.folder.glob("*before*"))


def test_an_archive_of_an_older_release_comes_up_with_every_row_and_goes_back_as_it_was(catalogue: Catalogue) -> None:
    fill(catalogue)
    path = catalogue.folder / "archive.sqlite3"
    upgrade(catalogue.engine, "0001")
    older = rows(path)
    upgrade(catalogue.engine)
    newer = rows(path)
    assert set(older) < set(newer)
    for name, found in older.items():
        assert [row[: len(old)] for row, old in zip(newer[name], found, strict=True)] == found, name
    upgrade(catalogue.engine, "0001")
    assert rows(path) == older


# --- a revision to come --------------------------------------------------------------------------------------------

_NEXT = """
import sqlalchemy as sa
from alembic import op
revision = "tomorrow"
down_revision = "{today}"
branch_labels = depends_on = None

def upgrade():
    with op.batch_alter_table("ink") as batch:       # SQLite rebuilds the table, which the keys would feel
        batch.add_column(sa.Column("smell", sa.Text(), nullable=False, server_default="none"))
        batch.alter_column("note", existing_type=sa.Text(), nullable=True)
    {then}

def downgrade():
    with op.batch_alter_table("ink") as batch:
        batch.alter_column("note", existing_type=sa.Text(), nullable=False)
        batch.drop_column("smell")
"""


@pytest.fixture
def tomorrow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a copy of the migrations that the archive takes for its own; a test adds a revision to it."""
    package = tmp_path / "tomorrow" / "archive"
    package.mkdir(parents=True)
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(shipped_folder("migrations"), package.parent / "migrations", ignore=ignored)
    monkeypatch.setattr(shipped, "_PACKAGE", package)
    return package.parent / "migrations" / "versions"


def add_revision(versions: Path, monkeypatch: pytest.MonkeyPatch, *, then: str = "") -> None:
    (versions / "tomorrow.py").write_text(_NEXT.format(then=then, today=REVISION))
    monkeypatch.setattr(revision, "REVISION", "tomorrow")
    monkeypatch.setattr("archive.catalogue.database.REVISION", "tomorrow")
    monkeypatch.setattr(upgrade, "__defaults__", ("tomorrow",))


def test_an_older_archive_is_copied_and_brought_up(
    catalogue: Catalogue, tomorrow: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(catalogue)
    catalogue.close()
    path = catalogue.folder / "archive.sqlite3"
    before = rows(path)
    add_revision(tomorrow, monkeypatch)
    opened = open_archive(catalogue.folder)
    assert stored_revision(opened.engine) == "tomorrow"
    with opened.read() as session:
        assert session.execute(text("SELECT smell FROM ink")).scalars().all() == ["none"]
        assert session.execute(text("PRAGMA foreign_keys")).scalar() == 1
        assert session.execute(text("PRAGMA foreign_key_check")).all() == []
    assert rows(catalogue.folder / f"archive-before-{REVISION}.sqlite3") == before
    after = rows(path)
    # rebuilding `ink` with the keys on would have emptied `layer`: every row is there, and every value
    assert {name: len(found) for name, found in after.items()} == {name: len(found) for name, found in before.items()}
    assert {name: found for name, found in after.items() if name != "ink"} == {
        name: found for name, found in before.items() if name != "ink"
    }
    upgrade(opened.engine, REVISION)
    opened.close()
    assert rows(path) == before


def test_ids_are_not_used_again_after_a_table_was_rebuilt(
    catalogue: Catalogue, tomorrow: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with catalogue.write(act()) as session:
        session.add_all([Ink(name=f"Ink {number}", name_key=f"ink {number}") for number in range(3)])
    with catalogue.write(act()) as session:
        session.execute(text("DELETE FROM ink WHERE id = 3"))
    catalogue.close()
    add_revision(tomorrow, monkeypatch)
    opened = open_archive(catalogue.folder)
    with opened.write(act()) as session:
        fresh = Ink(name="Ferrywake", name_key="ferrywake")
        session.add(fresh)
        session.flush()
        assert fresh.id == 4
    opened.close()


@pytest.mark.parametrize(
    ("then", "error"),
    [
        ('raise RuntimeError("the lamp went out")', RuntimeError),
        ('op.execute("INSERT INTO nowhere VALUES (1)")', CatalogueError),
        ('op.execute("DELETE FROM ink")', CatalogueError),  # leaves layers without their ink
    ],
)
def test_a_migration_that_fails_half_way_leaves_the_old_archive_whole(
    catalogue: Catalogue, tomorrow: Path, monkeypatch: pytest.MonkeyPatch, then: str, error: type[Exception]
) -> None:
    fill(catalogue)
    catalogue.close()
    path = catalogue.folder / "archive.sqlite3"
    before = rows(path)
    add_revision(tomorrow, monkeypatch, then=then)
    with pytest.raises(error):
        open_archive(catalogue.folder)
    assert rows(path) == before
    engine = make_engine(f"sqlite:///{path}")
    assert stored_revision(engine) == REVISION
    engine.dispose()


def test_foreign_keys_are_on_again_after_a_migration_that_failed(
    catalogue: Catalogue, tomorrow: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_revision(tomorrow, monkeypatch, then='raise RuntimeError("the lamp went out")')
    with pytest.raises(RuntimeError):
        upgrade(catalogue.engine)
    with catalogue.engine.connect() as connection:  # the same connection, from the pool
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1


def test_an_id_is_never_used_again(catalogue: Catalogue) -> None:
    def add() -> int:
        with catalogue.write(act()) as session:
            row = Ink(name="Ferrywake", name_key="ferrywake")
            session.add(row)
            session.flush()
            return row.id

    first = add()
    with catalogue.write(act()) as session:
        session.execute(text("DELETE FROM ink"))
    assert add() == first + 1


def test_every_table_with_ids_never_uses_one_again(catalogue: Catalogue) -> None:
    with catalogue.engine.connect() as connection:
        query = text("SELECT name, sql FROM sqlite_master WHERE type = 'table'")
        made: dict[str, str] = dict(connection.execute(query).all())  # type: ignore[arg-type]
    with_ids = [table.name for table in Base.metadata.sorted_tables if "id" in table.columns]
    assert len(with_ids) > 15
    for name in with_ids:
        assert "AUTOINCREMENT" in made[name], name
