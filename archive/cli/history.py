"""Who changed what, taking it back, and the bin."""

from __future__ import annotations

import click

from archive.cli.face import Command, Face, Group, say, table
from archive.services import bin as bins
from archive.services import changes


@click.command(cls=Command)
@click.argument("noun", required=False)
@click.argument("ref", required=False)
@click.option("--limit", default=20, show_default=True, metavar="N", help="How many changes.")
@click.pass_obj
def history(face: Face, noun: str | None, ref: str | None, limit: int) -> None:
    """Show who changed what, newest first; of one record when it is named.

    Example: inkchest history work QA-0042
    """
    with face.read() as session:
        found = changes.list_changes(session, limit=limit, noun=noun, ref=ref)
    face.show(found, lambda: "\n".join(_lines(found)) or "Nothing was changed yet.")


def _lines(found: list[changes.ChangeSummary]) -> list[str]:
    lines = []
    for change in found:
        state = " (undone)" if change.undone else ""
        lines.append(f"{change.id}  {change.at}  {change.by}: {change.words}{state}")
        if change.added:
            lines.append(f"      {change.added} rows added")
        lines.extend(
            f"      {edit.record}: {edit.field} {_value(edit.old)} -> {_value(edit.new)}" for edit in change.edits
        )
    return lines


def _value(value: object) -> str:
    return "empty" if value in (None, "") else str(value)


@click.command(cls=Command)
@click.argument("change", required=False)
@click.pass_obj
def undo(face: Face, change: str | None) -> None:
    """Take a change back whole: the newest, or the one whose number `inkchest history` shows.

    Example: inkchest undo 17
    """
    with face.read() as session:
        change_id, words = changes.change_to_undo(session, change)
    with face.write(f"undo: {words}", "undo", undoes_id=change_id) as session:
        count = changes.undo(session, change_id)
    face.show({"change": change_id, "touched": count}, f"Undone: {words} ({count} rows and fields).")


bin_ = Group("bin", help="See what was removed, or empty the bin.\n\nExample: inkchest bin list")


@bin_.command("list")
@click.pass_obj
def bin_list(face: Face) -> None:
    """List what lies in the bin.

    Example: inkchest bin list
    """
    with face.read() as session:
        found = bins.list_bin(session)
    face.show(
        found,
        lambda: (
            table(["what", "name", "since"], [[item.noun, item.label, item.binned_at] for item in found])
            if found
            else "The bin is empty."
        ),
    )


@bin_.command("empty")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.pass_obj
def bin_empty(face: Face, yes: bool) -> None:
    """Delete what is in the bin for good, and the files that no record names any more.

    Example: inkchest bin empty --yes
    """
    if not yes:
        click.confirm("Delete all of it for good?", abort=True, err=True)
    catalogue = face.open()
    with catalogue.write(face.act("empty the bin")) as session:
        rows, orphans = bins.empty_bin(session, catalogue.files)
    for sha256 in orphans:
        catalogue.files.remove(sha256)
    say("A backup made before still holds it.")
    face.show({"rows": rows, "files": len(orphans)}, f"Deleted {rows} rows and {len(orphans)} files.")
