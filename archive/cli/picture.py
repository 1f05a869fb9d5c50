"""Photos and scans."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.blocks import strip
from archive.cli.face import Face, progress_line, say
from archive.cli.records import group_for
from archive.cli.words import counted

if TYPE_CHECKING:
    from archive.services.pictures import PictureOutcome

picture = group_for("picture")


@picture.command("add")
@click.argument("paths", nargs=-1, required=True, metavar="FILES|DIR", type=click.Path(path_type=Path))
@click.option("--work", "work_ref", metavar="REF", help="The work, variant or copy that they show.")
@click.pass_obj
@click.pass_context
def picture_add(context: click.Context, face: Face, paths: tuple[Path, ...], work_ref: str | None) -> None:
    """Add photos: each is copied in untouched, read, and known again when it comes twice.

    A file that cannot be read is told, the rest goes on; then the exit code is 1.

    Example: inkchest picture add tides.jpg tides-back.jpg --work QA-0042

    Example: inkchest picture add ~/phone
    """
    from archive.services import pictures  # here, so that lists load no numbers' library
    from archive.services.works import copy_for_pictures

    files = pictures.picture_files(paths)
    target = (lambda session, _path: copy_for_pictures(session, work_ref)) if work_ref else None
    act = face.act(f"add {counted(len(files), 'picture')}")
    outcomes = pictures.add_pictures(face.open(), files, act, target=target, progress=progress_line("Pictures"))
    read = [outcome for outcome in outcomes if outcome.status != "refused"]
    refused = [outcome for outcome in outcomes if outcome.status == "refused"]
    face.show(outcomes, lambda: "\n".join(_line(outcome) for outcome in read) or "No picture was added.")
    for outcome in refused:
        say(f"Error: {outcome.notes[0]}")
    if refused:
        say(f"{counted(len(refused), 'file')} refused, {counted(len(read), 'picture')} read.")
        context.exit(1)


def _line(outcome: PictureOutcome) -> str:
    colours = strip([colour["lab"] for colour in outcome.palette[:8]], 3)
    of = f" of {outcome.copy}" if outcome.copy else ""
    notes = f" ({'; '.join(outcome.notes)})" if outcome.notes else ""
    return f"{outcome.status:6} {outcome.file}{of}{notes}{'  ' if colours else ''}{colours}"


@picture.command("loose")
@click.pass_obj
def picture_loose(face: Face) -> None:
    """List pictures that belong to no work yet.

    Example: inkchest picture loose
    """
    from archive.services.counts import list_loose_pictures

    with face.read() as session:
        found = list_loose_pictures(session)
    face.show(
        [{"uid": uid, "name": name} for uid, name in found],
        lambda: "\n".join(f"{name}  {uid}" for uid, name in found) or "Every picture belongs to a work.",
    )
