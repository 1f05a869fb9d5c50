"""Starting an archive, and keeping it whole: start, demo, check, backup, restore."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.face import Command, Face, progress_line, say

_FOLDER = click.Path(path_type=Path)


@click.command(cls=Command)
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.pass_obj
def start(face: Face, folder: Path) -> None:
    """Make a new, empty archive in a new folder.

    Example: inkchest start ~/chest
    """
    from archive.catalogue.database import start_archive

    start_archive(folder).close()
    face.show({"archive": str(folder)}, f"An empty archive lies in {folder}.")
    say(f"Next, name the inks in the house: inkchest --archive {folder} ink add NAME --looks '#2a5ea8'")


@click.command(cls=Command)
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option(
    "--first-evening", is_flag=True, help="Sixty works with a photo and two ink names each, nothing measured."
)
@click.pass_obj
def demo(face: Face, folder: Path, first_evening: bool) -> None:
    """Build the archive of an invented workshop, printed by a simulated press.

    Example: inkchest demo ~/demo
    """
    from archive.services.demo import build_demo

    counts = build_demo(folder, first_evening=first_evening, progress=progress_line)
    held = ", ".join(f"{count} {noun}" for noun, count in counts.items())
    face.show({"archive": str(folder), **counts}, f"The demo lies in {folder}: {held}.")


@click.command(cls=Command)
@click.pass_obj
@click.pass_context
def check(context: click.Context, face: Face) -> None:
    """Look for damage: wrong files, orphans, broken references. Exit code 1 when something is harmed.

    Example: inkchest check
    """
    from archive.services.backup_state import backup_words
    from archive.services.check import check_archive

    catalogue = face.open()
    found = check_archive(catalogue, progress=progress_line("Reading originals"))
    lines = [f"{'HARM' if item.is_harm else 'untidy'}: {item.where}: {item.what}. {item.mend}." for item in found]
    face.show(found, "\n".join(lines) or "All is whole.")
    with catalogue.read() as session:
        say(backup_words(session))
    if any(item.is_harm for item in found):
        context.exit(1)


@click.command(cls=Command)
@click.argument("to", metavar="TO", type=_FOLDER)
@click.pass_obj
def backup(face: Face, to: Path) -> None:
    """Copy what is new to a stick or disk, and verify every file there.

    Example: inkchest backup /media/stick/inkchest
    """
    from archive.services.backup import backup as back_up

    report = back_up(face.open(), to, act=face.act(f"backup to {to}"), progress=progress_line("Copying"))
    face.show(
        report,
        f"Backed up to {report.to}: {report.copied} new files ({report.bytes / 1e6:.1f} MB), "
        f"{report.kept} were there, all {report.verified} verified.",
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
    face.show(report, f"Restored to {report.to}: {report.copied} files, all verified.")
