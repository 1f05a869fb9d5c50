"""Printings, written down at the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.face import Face, say
from archive.cli.records import given_values, group_for, in_lines, record_options
from archive.services.kinds import kind_of

run = group_for("run")
_RUN = kind_of("run")
_AT_THE_MACHINE = ("machine", "density", "speed", "screen", "good", "spoiled")


@run.command("add")
@click.argument("of", required=False, metavar="[WORK]")
@click.option("--title", default="", metavar="TEXT", help="The title, when it is a new work.")
@click.option("--inks", default="", metavar="WORDS", help='The inks, as "Ferrywake 60 % over Dockrope".')
@click.option("--paper", metavar="PAPER", help="The paper.")
@click.option(
    "--picture",
    "pictures",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A photo of the sheet; say it again for each.",
)
@record_options(_RUN, only=_AT_THE_MACHINE)
@record_options(_RUN, leave_out=("variant", *_AT_THE_MACHINE))
@click.option("--fresh", is_flag=True, help="Take nothing over from the last run.")
@click.pass_obj
def run_add(face: Face, /, of: str | None, fresh: bool, **given: Any) -> None:
    """Write a printing down. What you do not say is taken from the last run; a photo alone may do.

    Example: inkchest run add QA-0042 --inks 'Ferrywake 60 % over Dockrope' --good 120 --picture sheet.jpg

    Example: inkchest run add --picture sheet.jpg
    """
    from archive.services.runs import NewRun, add_run  # here, so that lists load no pictures

    extra = {name: given.pop(name) for name in ("title", "inks", "paper")}
    pictures = tuple(given.pop("pictures"))
    new = NewRun(of=of, facts=given_values(given), pictures=pictures, as_last=not fresh, **extra)
    card = add_run(face.open(), new, face.act(f"run of {of or extra['title'] or 'a new work'}"))
    face.show(card, lambda: f"Wrote {in_lines(card.record)}")
    if card.taken_from_last:
        taken = ", ".join(card.taken_from_last)
        say(f"  taken from the last run: {taken} (mend with `inkchest run edit {card.record.label}`)")
    for note in card.notes:
        say(f"  {note}")
