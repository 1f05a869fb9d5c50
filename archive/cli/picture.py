"""Photos and scans."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.face import Face, progress_line, say
from archive.cli.records import group_for
from archive.services import pictures

picture = group_for("picture")


@picture.command("add")
@click.argument("paths", nargs=-1, required=True, metavar="FILES|DIR", type=click.Path(path_type=Path))
@click.option("--work", "work_ref", metavar="REF", help="The work, variant or copy that they show.")
@click.pass_obj
@click.pass_context
def picture_add(context: click.Context, face: Face, paths: tuple[Path, ...], work_ref: str | None) -> None:
    """Add photos: each is copied in untouched, read, and known again when it comes twice.

    A file that cannot be read is told, the rest goes on; then the exit code is 1.

    Example: inkchest picture add ~/phone --work QA-0042
    """
    from archive.services.works import copy_for_pictures

    files = pictures.picture_files(paths)
    target = (lambda session, _path: copy_for_pictures(session, work_ref)) if work_ref else None
    outcomes = pictures.add_pictures(
        face.open(), files, face.act(f"add {len(files)} pictures"), target=target, progress=progress_line("Pictures")
    )
    face.show(outcomes, lambda: "\n".join(_line(outcome) for outcome in outcomes))
    refused = [outcome for outcome in outcomes if outcome.status == "refused"]
    for outcome in refused:
        say(f"Error: {outcome.notes[0]}")
    if refused:
        context.exit(1)


def _line(outcome: pictures.PictureOutcome) -> str:
    from archive.cli.blocks import block

    strip = "".join(block(colour["lab"], 2) for colour in outcome.palette[:8])
    of = f" of {outcome.copy}" if outcome.copy else ""
    notes = f" ({'; '.join(outcome.notes)})" if outcome.notes and outcome.status != "refused" else ""
    return f"{outcome.status:8}{outcome.file}{of} {strip}{notes}"


@picture.command("loose")
@click.pass_obj
def picture_loose(face: Face) -> None:
    """List pictures that belong to no work yet.

    Example: inkchest picture loose
    """
    with face.read() as session:
        found = pictures.list_loose_pictures(session)
    face.show(
        [{"uid": uid, "name": name} for uid, name in found],
        lambda: "\n".join(f"{name}  {uid}" for uid, name in found) or "Every picture belongs to a work.",
    )
