"""Photos and scans."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.face import Face, progress_line, say
from archive.cli.picture_words import forecast_line, outcome_words, plan_words
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
