"""Photos and scans."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.face import Face, progress_line, say
from archive.cli.picture_words import forecast_line, joined_lines, outcome_words, plan_words
from archive.cli.records import group_for
from archive.cli.words import counted

if TYPE_CHECKING:
    from archive.services.picture_tree_import import WorksFrom

picture = group_for("picture")


@picture.command("add")
@click.argument("paths", nargs=-1, required=True, metavar="FILES|DIR", type=click.Path(path_type=Path))
@click.option("--work", "work_ref", metavar="REF", help="The work, variant or copy that they show.")
@click.option(
    "--works-from",
    type=click.Choice(["folder", "file"]),
    help="Make an undescribed work for each folder, or each file, of no known work.",
)
@click.option("--dry-run", is_flag=True, help="Show what would happen, and add nothing.")
@click.pass_obj
@click.pass_context
def picture_add(
    context: click.Context,
    face: Face,
    paths: tuple[Path, ...],
    work_ref: str | None,
    works_from: WorksFrom | None,
    dry_run: bool,
) -> None:
    """Add photos: each is copied in untouched, read, and known again when it comes twice.

    A folder is walked with all that lies in it. Names of files and folders that hold a work's ref or old number tell
    which work a picture is of; the folders are kept with the picture. Hidden files, folders of thumbnails and links
    are passed over. A file that cannot be read is told at the end, the rest goes on; then the exit code is 1. When it
    was stopped, the same command goes on where it was, and all of it stays one change that `inkchest undo` takes back.

    Example: inkchest picture add tides.jpg tides-back.jpg --work QA-0042

    Example: inkchest picture add "~/old drive" --dry-run
    """
    from archive.services import picture_tree_import as trees  # here, so that lists load no numbers' library
    from archive.services.picture_tree import walk

    tree = walk(paths)
    if dry_run:
        plan = trees.plan_tree(face.open(), tree, works_from=works_from, progress=progress_line("Looked at"))
        face.show(plan, lambda: plan_words(plan, works_from))
        return
    act = face.act(_act_words(paths, len(tree.files)))
    outcomes = trees.add_tree(
        face.open(), tree, act, work=work_ref, works_from=works_from, progress=forecast_line("Pictures")
    )
    face.show(outcomes, lambda: outcome_words(outcomes))
    for passed in tree.passed_over:
        say(f"Passed over: {counted(len(passed.files), 'name')}: {passed.reason}.")
    refused = [outcome for outcome in outcomes if outcome.status == "refused"]
    for outcome in refused:
        say(f"Error: {outcome.notes[0]}")
    if refused:
        say(f"{counted(len(refused), 'file')} refused, {counted(len(outcomes) - len(refused), 'picture')} read.")
        context.exit(1)


def _act_words(paths: Sequence[Path], count: int) -> str:
    """Return what the import is called: the same words again when it was stopped and goes on."""
    folders = [path.resolve().name for path in paths if path.is_dir()]
    return f"add the pictures of {', '.join(folders)}" if folders else f"add {counted(count, 'picture')}"


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


_to_option = click.option(
    "--to", required=True, metavar="FILE", type=click.Path(path_type=Path), help="The file: .tif, .png or .jpg."
)
_ppi_option = click.option(
    "--ppi", type=float, metavar="N", help="Pixels an inch that are enough; never more than it has."
)


@picture.command("square")
@click.argument("ref", metavar="PICTURE")
@_to_option
@_ppi_option
@click.pass_obj
def picture_square(face: Face, ref: str, to: Path, ppi: float | None) -> None:
    """Write a picture's sheet alone, squared, in the colours that its sitting corrected; sRGB, full size.

    Example: inkchest picture square tides.jpg --to tides.tif
    """
    from archive.services.picture_square import write_square  # as above

    with face.read() as session:
        found = write_square(session, face.open().files, ref, to, ppi=ppi)
    face.show(
        found,
        lambda: (
            f"Wrote {found.file}: {found.width_mm:.0f} × {found.height_mm:.0f} mm, "
            f"{found.width_px} × {found.height_px} pixels, {found.ppi:.0f} an inch"
        ),
    )


@picture.command("join")
@click.argument("refs", nargs=-1, required=True, metavar="PICTURE...")
@click.pass_obj
def picture_join(face: Face, refs: tuple[str, ...]) -> None:
    """Find how pictures of one sheet fit together; they stay parts where that cannot be proven to a millimetre.

    Example: inkchest picture join tides1.jpg tides2.jpg tides3.jpg tides4.jpg
    """
    from archive.services.joins import join_pictures

    found = join_pictures(face.open(), refs, face.act(f"join {counted(len(refs), 'picture')}"))
    face.show(found, lambda: "\n".join(joined_lines(found)))


@picture.command("joined")
@click.argument("ref", metavar="WORK")
@_to_option
@_ppi_option
@click.pass_obj
def picture_joined(face: Face, ref: str, to: Path, ppi: float | None) -> None:
    """Write the joined picture of a sheet that was taken in parts, to look at; colours are read in its parts.

    Example: inkchest picture joined QA-0042 --to tides.jpg --ppi 100
    """
    from archive.services.joins import write_joined

    with face.read() as session:
        found = write_joined(session, face.open().files, ref, to, ppi=ppi)
    face.show(
        found,
        lambda: (
            f"Wrote {found.file}: {counted(found.parts, 'part')} that meet within {found.residual_mm:.2f} mm, "
            f"{found.width_px} × {found.height_px} pixels"
        ),
    )
