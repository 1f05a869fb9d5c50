"""Deciding what sheets that look alike are: the group `sitting alike`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from archive.cli.command import Group
from archive.cli.face import Face

if TYPE_CHECKING:
    from archive.services.alike import AlikeCard, Decided

alike = Group(
    "alike",
    help="Say what sheets that look like earlier ones are; nothing merges by itself.\n\n"
    "Example: inkchest sitting alike list",
)


@alike.command("list")
@click.option("--all", "with_decided", is_flag=True, help="Those that were decided too.")
@click.pass_obj
def alike_list(face: Face, with_decided: bool) -> None:
    """List pictures that look like earlier ones and wait for somebody to decide.

    Example: inkchest sitting alike list
    """
    from archive.services.alike import list_alike  # here, so that small commands load nothing of it

    with face.read() as session:
        found = list_alike(session, state=None if with_decided else "open")
    face.show(found, lambda: "\n".join(line for each in found for line in _lines(each)) or "Nothing waits.")


def _lines(each: AlikeCard) -> list[str]:
    lines = [f"{each.file}, work {each.work}  {each.picture}"]
    for like in each.like:
        state = "" if like.state == "open" else f", {like.state}"
        lines.append(f"  {like.as_} of {like.file}, work {like.work}{state}  {like.picture}")
    return lines


@alike.command("accept")
@click.argument("picture", metavar="PICTURE")
@click.option("--as", "kind", type=click.Choice(["same copy", "variant"]), help="What it is (else what was proposed).")
@click.option("--of", metavar="PICTURE", help="The earlier picture (else the likeliest).")
@click.pass_obj
def alike_accept(face: Face, picture: str, kind: str | None, of: str | None) -> None:
    """Make a picture a second one of the same copy, or its work a variant of the earlier one.

    The work that was entered for it goes to the bin when nothing is left of it; `inkchest undo` takes all of it back.

    Example: inkchest sitting alike accept tides_again.jpg

    Example: inkchest sitting alike accept tides_green.jpg --as variant
    """
    from archive.services.alike import accept_alike

    with face.write(f"decide what {picture} shows") as session:
        found = accept_alike(session, picture, as_=kind, of=of)
    face.show(found, lambda: _decided_line(found))


@alike.command("decline")
@click.argument("picture", metavar="PICTURE")
@click.pass_obj
def alike_decline(face: Face, picture: str) -> None:
    """Say that a picture shows none of what it looks like.

    Example: inkchest sitting alike decline tides_again.jpg
    """
    from archive.services.alike import decline_alike

    with face.write(f"decide what {picture} shows") as session:
        found = decline_alike(session, picture)
    face.show(found, lambda: _decided_line(found))


def _decided_line(found: Decided) -> str:
    if found.gone is None:
        return f"Declined: it stays work {found.work}."
    return f"{found.decided.capitalize()}: copy {found.copy} of work {found.work} now; work {found.gone} is in the bin."
