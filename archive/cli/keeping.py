"""Starting an archive, and keeping it whole: start, demo, check, backup, restore, pack, unpack."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.command import Command
from archive.cli.face import Face, progress_line, say
from archive.cli.words import counted

if TYPE_CHECKING:
    from archive.services.check import Damage
    from archive.services.packing import PackReport
    from archive.services.stale import StaleGroup

_SHOWN = 3  # patches that a stale ink or paper is shown with
_FOLDER = click.Path(path_type=Path)


@click.command(cls=Command)
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option("--database", metavar="URL", help="An empty PostgreSQL database: postgresql+psycopg://host/name.")
@click.pass_obj
def start(face: Face, folder: Path, database: str | None) -> None:
    """Make a new, empty archive in a new folder.

    Example: inkchest start ~/chest
    """
    from archive.catalogue.database import start_archive

    start_archive(folder, database).close()
    face.show({"archive": str(folder)}, f"An empty archive lies in {folder}.")
    say("Next, name the inks in the house, one by one:")
    say(f"  inkchest --archive {shlex.quote(str(folder))} ink add NAME --looks '#2a5ea8'")


@click.command(cls=Command)
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option("--first-evening", is_flag=True, help="Sixty works with a photo and two inks each, nothing measured.")
@click.pass_obj
def demo(face: Face, folder: Path, first_evening: bool) -> None:
    """Build the archive of an invented workshop, printed by a simulated press.

    Example: inkchest demo ~/demo
    """
    from archive.services.demo import build_demo

    say("Printing the demo on a simulated press; it takes half a minute or so.")
    counts = build_demo(folder, first_evening=first_evening, progress=progress_line)
    held = ", ".join(f"{count} {noun}" for noun, count in counts.items())
    face.show({"archive": str(folder), **counts}, f"The demo lies in {folder}: {held}.")
    say(f"Next, ask it something: inkchest --archive {shlex.quote(str(folder))} match colour 'dusty green'")


@click.command(cls=Command)
@click.option(
    "--stale", is_flag=True, help="List the evidence that has gone stale instead, and what to print or measure."
)
@click.pass_obj
@click.pass_context
def check(context: click.Context, face: Face, stale: bool) -> None:
    """Look for damage: wrong files, leftovers, broken references. With harm found, the exit code is 1.

    Example: inkchest check

    Example: inkchest check --stale
    """
    if stale:
        from archive.services.stale import list_stale

        with face.read() as session:
            groups = list_stale(session)
        face.show(groups, lambda: "\n".join(map(_stale, groups)) or "Nothing has gone stale.")
        return
    from archive.services.backup_state import backup_words
    from archive.services.check import check_archive

    catalogue = face.open(warn=False)
    found = check_archive(catalogue, progress=progress_line("Reading originals"))
    face.show(found, lambda: "\n".join(_damage(item) for item in found) or "All is whole.")
    with catalogue.read() as session:
        say(backup_words(session))
    if any(item.is_harm for item in found):
        context.exit(1)


def _stale(group: StaleGroup) -> str:
    patches = [f"{each['inks']} ({each['uid']})" for each in group.swatches[:_SHOWN]]
    more = len(group.swatches) - len(patches)
    lines = [
        f"{group.reason}: {group.noun} {group.name}: {counted(len(group.swatches), 'patch')}; {group.why}.",
        f"  To mend it: {group.mend}.",
        *(f"  {each}" for each in patches),
    ]
    return "\n".join([*lines, f"  and {more} more; --json lists all"] if more else lines)


def _damage(item: Damage) -> str:
    return f"{'HARM' if item.is_harm else 'untidy'}: {item.where}: {item.what}. {item.mend}."


@click.command(cls=Command)
@click.argument("to", metavar="TO", type=_FOLDER)
@click.pass_obj
def backup(face: Face, to: Path) -> None:
    """Copy what is new to a stick or disk, and verify every file there.

    Example: inkchest backup /media/stick/inkchest
    """
    from archive.services.backup import backup as back_up

    catalogue = face.open(warn=False)
    report = back_up(catalogue, to, act=face.act(f"backup to {to}"), progress=progress_line("Copying"))
    kept = f", {report.kept} there already" if report.kept else ""
    face.show(
        report,
        f"Backed up to {report.to}: the catalogue, and {counted(report.copied, 'new file')} "
        f"({report.bytes / 1e6:.1f} MB){kept}. Every one of {report.verified} was read back and is whole.",
    )


@click.command(cls=Command)
@click.argument("source", metavar="FROM", type=_FOLDER)
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.pass_obj
def restore(face: Face, source: Path, folder: Path) -> None:
    """Bring a backup back into a new folder.

    Example: inkchest restore /media/stick/inkchest ~/chest
    """
    from archive.services.backup import restore as bring_back

    report = bring_back(source, folder, progress=progress_line("Copying"))
    face.show(report, f"Restored to {report.to}: the catalogue and {counted(report.copied, 'file')}, all verified.")


@click.command(cls=Command)
@click.argument("bag", metavar="BAG", type=_FOLDER)
@click.pass_obj
def pack(face: Face, bag: Path) -> None:
    """Write the whole archive as a bag: one folder with checksums, the same from either database.

    Example: inkchest pack /media/stick/chest-bag
    """
    from archive.services.packing import pack as pack_archive

    report = pack_archive(face.open(warn=False), bag, progress=progress_line("Packing"))
    face.show(report, f"Packed into {report.bag}: {_held(report)}.")


@click.command(cls=Command)
@click.argument("bag", metavar="BAG", type=_FOLDER)
@click.option("--to", metavar="DIR", type=_FOLDER, required=True, help="The new archive's folder.")
@click.option("--database", metavar="URL", help="An empty PostgreSQL database: postgresql+psycopg://host/name.")
@click.pass_obj
def unpack(face: Face, bag: Path, to: Path, database: str | None) -> None:
    """Make an archive of a bag, in a new folder; every file is checked first.

    Example: inkchest unpack /media/stick/chest-bag --to ~/chest
    """
    from archive.services.packing import unpack as unpack_archive

    report = unpack_archive(bag, to, database=database, progress=progress_line("Checking"))
    face.show(report, f"Unpacked into {to}: {_held(report)}.")


def _held(report: PackReport) -> str:
    files = counted(report.originals, "original")
    return f"{counted(report.rows, 'row')} and {files} ({report.bytes / 1e6:.1f} MB)"
