"""Which schema this version writes, and the way from an older one to it."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, inspect, text

from archive.catalogue.shipped import shipped_folder
from archive.errors import CatalogueError

REVISION = "0001"


def stored_revision(engine: Engine) -> str | None:
    """Return the revision the database is at, or None when it holds no archive yet."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        return found


def upgrade(engine: Engine, revision: str = REVISION, *, where: str = "") -> None:
    """Bring the database to the revision (up or down); a failed step leaves the old one whole.

    Raises
    ------
    CatalogueError
        The database was written by a newer version.
    """
    # alembic costs 70 ms at start-up and is needed only when the revision differs
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(shipped_folder("migrations")).replace("%", "%%"))
    scripts = ScriptDirectory.from_config(config)
    stored = stored_revision(engine)
    try:
        if stored is not None:
            scripts.get_revision(stored)
    except CommandError as exc:
        raise CatalogueError(
            "the archive was written by a newer inkchest (revision {stored}, this one knows {known})",
            stored=stored,
            known=REVISION,
            where=where,
            mend="Install the newest inkchest and open it with that",
        ) from exc
    going_down = stored is not None and _comes_before(scripts, revision, stored)
    config.attributes["engine"] = engine
    (command.downgrade if going_down else command.upgrade)(config, revision)


def _comes_before(scripts: object, revision: str, stored: str) -> bool:
    if revision == "base":
        return True
    order = [script.revision for script in scripts.walk_revisions()]  # type: ignore[attr-defined]
    return order.index(revision) > order.index(stored)  # newest first


def copy_before_upgrade(database: Path, stored: str) -> Path:
    """Copy an archive's database beside itself before an upgrade and return the copy's path."""
    import sqlite3

    target = database.with_name(f"{database.stem}-before-{stored}.sqlite3")
    source = sqlite3.connect(database)
    copy = sqlite3.connect(target)
    with copy:
        source.backup(copy)
    copy.close()
    source.close()
    return target
