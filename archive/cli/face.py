"""What every command shares: the archive it works on, who writes, and how results are shown."""

from __future__ import annotations

import dataclasses
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.errors import ArchiveError, CatalogueError

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from archive.catalogue.database import Catalogue


@dataclasses.dataclass
class Face:
    """The options that are taken before and after a command."""

    archive: Path | None = None
    as_json: bool = False
    by: str | None = None

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

    def open(self) -> Catalogue:
        """Open the archive; speak up when its last backup is long ago."""
        from archive.catalogue.database import open_archive  # here, so that --help loads no database
        from archive.services.backup_state import backup_warning

        catalogue = open_archive(self.folder())
        with catalogue.read() as session:
            warning = backup_warning(session)
        if warning:
            say(warning)
        return catalogue

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

    def act(self, words: str, kind: str = "edit", *, undoes_id: int | None = None) -> Any:
        """Return the act of this command: who, in what words."""
        from archive.catalogue.database import system_user
        from archive.catalogue.history import Act

        return Act(self.by or system_user(), words, kind, undoes_id)

    def show(self, value: Any, text: str | Callable[[], str]) -> None:
        """Print the result: JSON when asked, else the text."""
        if self.as_json:
            click.echo(json.dumps(plain(value), ensure_ascii=False, indent=2))
        else:
            click.echo(text if isinstance(text, str) else text())


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

    grid = Table(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        grid.add_column(heading, overflow="fold")
    for row in rows:
        grid.add_row(*(escape("" if cell is None else str(cell)) for cell in row))
    width = None if sys.stdout.isatty() else 200
    console = Console(width=width, color_system=None)
    with console.capture() as captured:
        console.print(grid)
    return "\n".join(line.rstrip() for line in captured.get().splitlines())


def _set(name: str) -> Callable[[click.Context, click.Parameter, Any], None]:
    def callback(context: click.Context, _parameter: click.Parameter, value: Any) -> None:
        if value not in (None, False):
            setattr(context.ensure_object(Face), name, value)

    return callback


def shared_options() -> list[click.Parameter]:
    """Return the options taken before and after every command."""
    return [
        click.Option(
            ["--archive"],
            type=click.Path(path_type=Path),
            metavar="DIR",
            expose_value=False,
            callback=_set("archive"),
            help="The archive's folder.",
        ),
        click.Option(["--json"], is_flag=True, expose_value=False, callback=_set("as_json"), help="Print JSON."),
        click.Option(
            ["--by"], metavar="NAME", expose_value=False, callback=_set("by"), help="Who does this, for the history."
        ),
    ]


class Command(click.Command):
    """A command that takes the shared options too."""

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.params.extend(shared_options())


class Group(click.Group):
    """A group whose commands and options follow the same ways; errors are told in words."""

    command_class = Command
    group_class = type

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.params.extend(shared_options())


class ShownError(click.ClickException):
    """An error of ours on its way to the person: `Error: ...`, exit code 1."""

    def __init__(self, error: ArchiveError) -> None:
        super().__init__(str(error))
