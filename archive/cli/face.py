"""What every command shares: the archive it works on, who writes, and how results are shown."""

from __future__ import annotations

import dataclasses
import gc
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.blocks import shows_colour, terminal_width
from archive.errors import CatalogueError

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from archive.catalogue.database import Catalogue
    from archive.catalogue.history import Act


@dataclasses.dataclass
class Face:
    """The options that are taken before and after a command."""

    archive: Path | None = None
    as_json: bool = False
    by: str | None = None
    opened: Catalogue | None = dataclasses.field(default=None, repr=False)

    def is_named(self) -> bool:
        """Return whether the person named an archive, by option or environment."""
        return self.archive is not None or bool(os.environ.get("INKCHEST_ARCHIVE"))

    def folder(self) -> Path:
        """Return the archive's folder: the option, the environment, or where one stands.

        Raises
        ------
        CatalogueError
            None of them names one.
        """
        if self.archive is not None:
            return self.archive
        if given := os.environ.get("INKCHEST_ARCHIVE"):
            return Path(given)
        here = Path.cwd()
        for folder in (here, *here.parents):
            if (folder / "archive.toml").is_file():
                return folder
        raise CatalogueError(
            "no archive is named",
            mend="Name it with --archive DIR, set INKCHEST_ARCHIVE, stand in its folder, "
            "or make one with `inkchest start DIR`",
        )

    def open(self, *, warn: bool = True) -> Catalogue:
        """Open the archive, once for a command; speak up when its last backup is long ago."""
        from archive.catalogue.database import open_archive  # here, so that --help loads no database
        from archive.services.backup_state import backup_warning

        if self.opened is None:
            self.opened = open_archive(self.folder())
            wake_collector()
            click.get_current_context().find_root().call_on_close(self.opened.close)
            if warn:
                with self.opened.read() as session:
                    if words := backup_warning(session):
                        say(words)
        return self.opened

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Give a session that keeps nothing."""
        with self.open().read() as session:
            yield session

    @contextmanager
    def write(self, words: str, kind: str = "edit", *, undoes_id: int | None = None) -> Iterator[Session]:
        """Give a session whose doings become one change in the history."""
        with self.open().write(self.act(words, kind, undoes_id=undoes_id)) as session:
            yield session

    def act(self, words: str, kind: str = "edit", *, undoes_id: int | None = None) -> Act:
        """Return the act that a command does: who, in which words."""
        from archive.catalogue.database import system_user
        from archive.catalogue.history import Act

        return Act(self.by or system_user(), words, kind=kind, undoes_id=undoes_id)

    def show(self, value: Any, text: str | Callable[[], str]) -> None:
        """Print the result: JSON when asked, else the text."""
        if self.as_json:
            click.echo(json.dumps(plain(value), ensure_ascii=not _is_unicode(sys.stdout), indent=2))
        else:
            click.echo(text if isinstance(text, str) else text(), color=shows_colour())


def rest_collector() -> None:
    """Let Python look for no garbage while a command loads its modules: there is none, and it takes a tenth."""
    gc.disable()


def wake_collector() -> None:
    """Let Python look for garbage again, but not among what was loaded."""
    if not gc.isenabled() and gc.get_freeze_count() == 0:  # once a process: a second freeze would keep garbage
        gc.freeze()
    gc.enable()


def plain(value: Any) -> Any:
    """Return a value as JSON holds it: dataclasses as objects, numbers with four decimals."""
    if hasattr(value, "as_json"):
        return plain(value.as_json())
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {item.name: plain(getattr(value, item.name)) for item in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float):
        return round(value, 4)
    return value


def _is_unicode(stream: Any) -> bool:
    return "utf" in (getattr(stream, "encoding", None) or "utf-8").lower()


def say(text: str) -> None:
    """Say something to the person that is no result."""
    click.echo(text, err=True)


def progress_line(what: str) -> Callable[[int, int], None]:
    """Return a progress callback that shows one line on a terminal, and nothing elsewhere."""

    def show(done: int, total: int) -> None:
        if sys.stderr.isatty():
            click.echo(f"\r{what}: {done} of {total}", err=True, nl=done == total)

    return show


def table(headings: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Return rows in columns, numbers to the right; as wide as the terminal where there is one."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    grid = Table(box=None, pad_edge=False, header_style="bold")
    for number, heading in enumerate(headings):
        is_number = number > 0 and all(_is_number(row[number]) for row in cells)  # the first is what it is called
        grid.add_column(heading.replace("-", " "), overflow="fold", justify="right" if is_number else "left")
    for row in cells:
        grid.add_row(*(escape(cell) for cell in row))
    console = Console(width=terminal_width() or 160, color_system=None)
    with console.capture() as captured:
        console.print(grid)
    return "\n".join(line.rstrip() for line in captured.get().splitlines())


def _is_number(cell: str) -> bool:
    return cell == "" or cell.replace(".", "", 1).isdigit()
