"""Which schema this version writes, and the way from an older one to it."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, inspect, text

from archive.catalogue.shipped import shipped_folder
from archive.errors import CatalogueError

REVISION = "0002"


def stored_revision(engine: Engine) -> str | None:
    """Return the revision the database is at, or None when it holds no archive yet."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        return found


def upgrade(engine: Engine, revision: str = REVISION) -> None:
    """Bring the database to the revision (up or down); a failed step leaves the old one whole."""
    # alembic costs 70 ms at start-up and is needed only when the revision differs
    from alembic import command

    config, scripts = _migrations()
    stored = stored_revision(engine)
    going_down = stored is not None and _comes_before(scripts, revision, stored)
    config.attributes["engine"] = engine
    (command.downgrade if going_down else command.upgrade)(config, revision)


def take_tables_away(engine: Engine) -> None:
    """Leave the database as empty as it was before an archive that could not be made."""
    upgrade(engine, "base")
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE alembic_version"))


def refuse_newer(stored: str, *, where: str) -> None:
    """Refuse a database that was written by a newer version.

    Raises
    ------
    CatalogueError
        This version does not know its revision.
    """
    from alembic.util import CommandError

    _, scripts = _migrations()
    try:
        scripts.get_revision(stored)
    except CommandError as exc:
        raise CatalogueError(
            "the archive was written by a newer inkchest (revision {stored}, this one knows {known})",
            stored=stored,
            known=REVISION,
            where=where,
            mend="Install the newest inkchest and open it with that",
        ) from exc


def _migrations() -> tuple[Any, Any]:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(shipped_folder("migrations")).replace("%", "%%"))
    return config, ScriptDirectory.from_config(config)


def _comes_before(scripts: Any, revision: str, stored: str) -> bool:
    if revision == "base":
        return True
    order = [script.revision for script in scripts.walk_revisions()]
    return order.index(revision) > order.index(stored)  # newest first


def copy_before_upgrade(database: Path, stored: str) -> Path:
    """Copy an archive's database beside itself before an upgrade and return the copy's path."""
    target = database.with_name(f"{database.stem}-before-{stored}.sqlite3")
    source, copy = sqlite3.connect(database), sqlite3.connect(target)
    try:
        source.backup(copy)
    finally:
        copy.close()
        source.close()
    return target
