"""Finding works."""

from __future__ import annotations

from typing import Any

import click

from archive.cli.face import Command, Face, table
from archive.services.finding import FindOptions, find_works


@click.command(cls=Command)
@click.argument("text", nargs=-1)
@click.option("--ink", metavar="INK", help="Printed with this ink.")
@click.option("--over", metavar="INK", help="The ink printed over this one.")
@click.option("--paper", metavar="PAPER", help="On this paper.")
@click.option("--person", metavar="NAME", help="Made or printed by.")
@click.option("--year", "years", metavar="Y..Y", help="From that span of years.")
@click.option("--undated", is_flag=True, help="Without any date.")
@click.option("--limit", type=click.IntRange(1), default=50, show_default=True, metavar="N")
@click.pass_obj
def find(face: Face, /, text: tuple[str, ...], **given: Any) -> None:
    """Find works by words in ref, title, note and people, and by ink, paper, person, year.

    Example: inkchest find tides --ink Ferrywake --over Dockrope --year 1998..2004
    """
    with face.read() as session:
        found = find_works(session, FindOptions(" ".join(text), **given))
    face.show(
        found,
        lambda: (
            table(
                ["ref", "title", "date", "inks", "paper", "lies in"],
                [
                    [
                        each.ref,
                        each.title,
                        each.date,
                        "; ".join(each.inks),
                        ", ".join(each.papers),
                        ", ".join(each.places),
                    ]
                    for each in found
                ],
            )
            if found
            else "Nothing found. Try fewer conditions."
        ),
    )
