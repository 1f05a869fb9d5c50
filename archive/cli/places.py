"""Rooms, shelves, drawers and boxes: moved whole, counted and closed, kept apart, labelled."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.face import Face, say
from archive.cli.pages import say_notices, to_option
from archive.cli.records import place
from archive.cli.words import counted as count_words
from archive.services import place_states


@place.command("move")
@click.argument("name", metavar="NAME")
@click.option("--to", required=True, metavar="PLACE", help="The place it goes into; '' for none.")
@click.pass_obj
def place_move(face: Face, name: str, to: str) -> None:
    """Put a whole box, drawer or chest into another place, with all that lies in it.

    Example: inkchest place move 'drawer 5' --to Attic
    """
    from archive.services.bulk import move_place

    with face.write(f"move {name} to {to or 'no other place'}") as session:
        moved = move_place(session, name, to)
    inside = f"{count_words(moved.copies, 'copy')} and {count_words(moved.places, 'place')} in it"
    face.show(moved, lambda: f"Moved: it is {moved.record.label} now, with {inside}.")


@place.command("check")
@click.argument("name", metavar="NAME")
@click.option("--count", "counted", type=int, metavar="N", help="How many sheets and books you counted in it.")
@click.option("--anyway", is_flag=True, help="Although the counts differ or pictures are missing.")
@click.pass_obj
def place_check(face: Face, name: str, counted: int | None, anyway: bool) -> None:
    """Mark a box as checked: what you counted is what the archive holds.

    Example: inkchest place check 'Box 14' --count 23
    """
    with face.write(f"check {name}") as session:
        found = place_states.set_box_state(session, name, "checked", counted, anyway=anyway)
    face.show(found, lambda: _box_line(found))


@place.command("close")
@click.argument("name", metavar="NAME")
@click.option("--count", "counted", type=int, metavar="N", help="How many sheets and books you counted in it.")
@click.option("--anyway", is_flag=True, help="Although the counts differ or pictures are missing.")
@click.pass_obj
def place_close(face: Face, name: str, counted: int | None, anyway: bool) -> None:
    """Close a box: what you counted is what the archive holds, and all of it has a picture.

    Example: inkchest place close 'Box 14' --count 23
    """
    with face.write(f"close {name}") as session:
        found = place_states.set_box_state(session, name, "closed", counted, anyway=anyway)
    face.show(found, lambda: _box_line(found))


def _box_line(found: place_states.BoxCount) -> str:
    bare = f", {len(found.without_picture)} without a picture" if found.without_picture else ""
    return f"{found.place}: {found.state}, {count_words(found.copies, 'copy')}{bare}"


@place.command("quarantine")
@click.argument("name", metavar="NAME")
@click.option("--why", required=True, metavar="TEXT", help='What was seen: "mould suspected", "silverfish".')
@click.pass_obj
def place_quarantine(face: Face, name: str, why: str) -> None:
    """Keep a box or a whole shelf apart, and show what to mind; nothing in it is asked to be photographed.

    Example: inkchest place quarantine 'Box 14' --why 'mould suspected'
    """
    with face.write(f"quarantine {name}: {why}") as session:
        found = place_states.quarantine(session, name, why)
    inside = f"{count_words(found.copies, 'copy')} in it"
    face.show(found, lambda: "\n".join((f"Kept apart: {found.place} ({found.why}), {inside}.", *found.card)))


@place.command("release")
@click.argument("name", metavar="NAME")
@click.pass_obj
def place_release(face: Face, name: str) -> None:
    """Take a place out of quarantine.

    Example: inkchest place release 'Box 14'
    """
    with face.write(f"release {name}") as session:
        path = place_states.release(session, name).path
    face.show({"ref": path}, f"Released: {path}")
    say("Look at it again in a few weeks, and at its neighbours.")


@place.command("queue")
@click.pass_obj
def place_queue(face: Face) -> None:
    """List the places with sheets that nobody photographed yet; what is in quarantine is not among them.

    Example: inkchest place queue
    """
    with face.read() as session:
        found = place_states.photo_queue(session)
    face.show(found, lambda: "\n".join(_waiting_line(each) for each in found) or "Every sheet has its picture.")


def _waiting_line(each: place_states.Waiting) -> str:
    shown = ", ".join(each.copies[:6]) + (" …" if len(each.copies) > 6 else "")
    return f"{each.place} ({each.state}): {count_words(len(each.copies), 'copy')} without a picture: {shown}"


@place.command("labels")
@click.argument("names", metavar="[PLACE...]", nargs=-1)
@to_option
@click.pass_obj
def place_labels(face: Face, names: tuple[str, ...], to: Path) -> None:
    """Write labels of places with what lies there and a code as a PDF, ten on an A4 sheet to cut apart.

    Example: inkchest place labels 'drawer 5' 'Box 14' --to labels.pdf
    """
    from archive.services.place_pages import print_labels

    with face.read() as session:
        written = print_labels(session, to, names)
    face.show(
        {"file": written.file, "places": written.count, "pages": written.pages, "notices": written.notices},
        f"Wrote {count_words(written.count, 'label')} on {count_words(written.pages, 'page')} to {written.file}.",
    )
    say_notices(written.notices)


@place.command("cards")
@click.argument("names", metavar="[PLACE...]", nargs=-1)
@to_option
@click.pass_obj
def place_cards(face: Face, names: tuple[str, ...], to: Path) -> None:
    """Write cards of boxes and drawers as a PDF, a page each: photograph one before what lies in its place.

    Example: inkchest place cards 'Box 14' --to cards.pdf
    """
    from archive.services.place_pages import print_cards

    with face.read() as session:
        written = print_cards(session, to, names)
    face.show(
        {"file": written.file, "places": written.count, "pages": written.pages, "notices": written.notices},
        f"Wrote {count_words(written.count, 'card')} on {count_words(written.pages, 'page')} to {written.file}.",
    )
    say_notices(written.notices)
