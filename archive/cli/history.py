"""Who changed what, taking it back, and the bin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby

import click

from archive.cli.claim import NOUN
from archive.cli.command import Command, Group, ask, limit_option, yes_option
from archive.cli.face import Face, say
from archive.cli.records import gone_words
from archive.cli.words import counted, fact_words, local_time
from archive.services import bin as bins
from archive.services import changes

_FEW = 4  # records named one by one


@click.command(cls=Command)
@click.argument("noun", metavar="[NOUN]", type=NOUN, required=False)
@click.argument("ref", metavar="[REF]", required=False)
@limit_option(20, "changes")
@click.pass_obj
def history(face: Face, noun: str | None, ref: str | None, limit: int) -> None:
    """Show who changed what, newest first; of one record when it is named.

    Example: inkchest history --limit 5

    Example: inkchest history work QA-0042
    """
    if noun is not None and ref is None:
        raise click.UsageError(f"Which {noun}? Name it too: inkchest history {noun} NAME")
    with face.read() as session:
        found = changes.list_changes(session, limit=limit, noun=noun, ref=ref)
    face.show(found, lambda: "\n".join(_lines(found)) or "Nothing was changed yet.")


def _lines(found: list[changes.ChangeSummary]) -> list[str]:
    widest = max((len(str(change.id)) for change in found), default=0)
    indent = " " * (widest + 2)
    lines = []
    for change in found:
        state = " (undone)" if change.undone else ""
        lines.append(f"{change.id:>{widest}}  {local_time(change.at)}  {change.by}: {change.words}{state}")
        if change.added > 1:
            lines.append(f"{indent}{change.added} rows added")
        lines.extend(f"{indent}{_edit(edit)}" for edit in change.edits if edit.field != "binned_at")
        lines.extend(f"{indent}{words}" for words in _bin_words(change.edits))
    return lines


def _bin_words(edits: Sequence[changes.FieldEdit]) -> list[str]:
    """Return what went to the bin or came out of it; of many records, how many of each kind."""
    found = []
    for words, is_in in (("put in the bin", True), ("taken out of the bin", False)):
        names = [edit.record for edit in edits if edit.field == "binned_at" and bool(edit.new) is is_in]
        if len(names) > _FEW:
            nouns = Counter(name.partition(" ")[0].replace("_", " ") for name in names)
            names = [counted(number, noun) for noun, number in nouns.most_common()]
        if names:
            found.append(f"{words}: {', '.join(names)}")
    return found


def _edit(edit: changes.FieldEdit) -> str:
    field = edit.field.removesuffix("_id").replace("_", " ")
    old, new = _value(edit.old), _value(edit.new)
    return f"{edit.record}: {field} changed" if old == new else f"{edit.record}: {field} was {old}, now {new}"


def _value(value: object) -> str:
    return fact_words(value) or "empty"


@click.command(cls=Command)
@click.argument("change", metavar="[CHANGE]", required=False)
@click.pass_obj
def undo(face: Face, change: str | None) -> None:
    """Take a change back whole: the newest, or the one whose number `inkchest history` shows.

    Example: inkchest undo

    Example: inkchest undo 17
    """
    with face.read() as session:
        change_id, words = changes.change_to_undo(session, change)
    with face.write(f"undo: {words}", "undo", undoes_id=change_id) as session:
        count = changes.undo(session, change_id)
    face.show({"change": change_id, "touched": count}, f"Undone: change {change_id}, {words}.")


bin_ = Group("bin", help="See what was removed, or empty the bin.\n\nExample: inkchest bin list")


@bin_.command("list")
@click.pass_obj
def bin_list(face: Face) -> None:
    """List what lies in the bin, newest first; what was removed together stands together.

    Example: inkchest bin list
    """
    with face.read() as session:
        found = bins.list_bin(session)
    face.show(found, lambda: "\n".join(_bin_lines(found)) or "The bin is empty.")


def _bin_lines(found: list[bins.Binned]) -> list[str]:
    together = groupby(found, key=lambda item: item.binned_at)
    return [f"{local_time(at)}  {gone_words(sorted(items, key=_rank))}" for at, items in together]


def _rank(item: bins.Binned) -> int:
    """Return where a record stands among what was removed with it: owners first."""
    owned = ("work", "variant", "run", "copy", "picture", "appearance", "file")
    return owned.index(item.noun) if item.noun in owned else -1


@bin_.command("empty")
@yes_option
@click.pass_obj
def bin_empty(face: Face, yes: bool) -> None:
    """Delete what is in the bin for good, and the files that no record names any more.

    Example: inkchest bin empty --yes
    """
    ask("Delete all that lies in the bin, for good?", yes=yes)
    catalogue = face.open()
    with catalogue.write(face.act("empty the bin")) as session:
        rows, orphans = bins.empty_bin(session, catalogue.files)
    for sha256 in orphans:
        catalogue.files.remove(sha256)
    face.show(
        {"rows": rows, "files": len(orphans)},
        f"Deleted {counted(rows, 'row')} and {counted(len(orphans), 'file')}.",
    )
    say("A backup made before still holds them.")
