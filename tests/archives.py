"""Empty archives for a test, on the database that it runs on."""

from __future__ import annotations

import shutil
from pathlib import Path

from archive.catalogue.database import Catalogue, open_archive, write_settings
from archive.catalogue.identity import new_uid
from archive.catalogue.models import Fact
from tests.acts import act
from tests.server import Databases, Server


class Archives:
    """Makes archives on the database that the test runs on."""

    def __init__(self, started: Path, server: Server | None, databases: Databases | None) -> None:
        self._started = started
        self._server = server
        self._databases = databases
        self._open: list[Catalogue] = []

    def start(self, folder: Path) -> Catalogue:
        """Return a new archive in a folder, open until the end of the test."""
        if self._server is None or self._databases is None:
            shutil.copytree(self._started, folder)
        else:
            (folder / "originals").mkdir(parents=True)
            write_settings(folder, self._server.url(self._databases.give()))
        opened = open_archive(folder)
        if self._open:  # the first has the uid of what it was copied from, the next are other archives
            with opened.write(act("another archive")) as session:
                session.get_one(Fact, "archive_uid").value = new_uid()
        self._open.append(opened)
        return opened

    def close(self) -> None:
        """Close all that were opened, and have their databases for the next test."""
        for opened in self._open:
            opened.close()
        if self._databases is not None:
            self._databases.take_back()
