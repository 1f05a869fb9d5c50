"""Finding works."""

from __future__ import annotations

from typing import Any

import click

from archive.cli.blocks import beside
from archive.cli.command import Command, limit_option
from archive.cli.face import Face
from archive.services.finding import FindOptions, FoundWork, find_works


@click.command(cls=Command)
@click.argument("text", metavar="[WORDS]...", nargs=-1)
@click.option("--ink", metavar="INK", help="Printed with this ink.")
@click.option("--over", metavar="INK", help="The ink was printed over this one.")
@click.option("--paper", metavar="PAPER", help="On this paper.")
@click.option("--person", metavar="NAME", help="Made or printed by this person.")
@click.option("--year", "years", metavar="Y..Y", help="From that year or span of years.")
@click.option("--undated", is_flag=True, help="Without any date.")
@limit_option(50, "works")
@click.pass_obj
def find(face: Face, /, text: tuple[str, ...], **given: Any) -> None:
    """Find works by words in ref, title, note and people, and by ink, paper, person, year.

    Example: inkchest find tides

    Example: inkchest find --ink Ferrywake --over Dockrope --year 1998..2004
    """
    with face.read() as session:
        found = find_works(session, FindOptions(" ".join(text), **given))
    face.show(found, lambda: _lines(found))


def _lines(found: list[FoundWork]) -> str:
    """Return a few lines for each work: a table of them would be wider than any screen."""
    if not found:
        return "Nothing found. Try fewer conditions."
    widest = max(len(each.ref) for each in found)
    return "\n".join(line for each in found for line in beside([], _work_lines(each), lead=f"{each.ref:{widest}}  "))


def _work_lines(each: FoundWork) -> list[str]:
    where = f"lies in {', and in '.join(each.places)}" if each.places else ""
    on = f"on {' and '.join(each.papers)}" if each.papers else ""
    facts = ", ".join(part for part in (on, where) if part)
    head = ", ".join(part for part in (each.title, each.kind, each.date) if part)
    return [part for part in (head, *each.inks, facts) if part] or ["nothing known of it yet"]
