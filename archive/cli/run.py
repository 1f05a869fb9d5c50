"""Printings, written down at the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.face import Face, say
from archive.cli.pages import say_notices, to_option
from archive.cli.records import given_values, group_for, in_lines, record_options
from archive.cli.words import counted
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


@run.command("slip")
@click.option("--ink", "inks", multiple=True, metavar="INK", help="An ink to tick (all in the house when left out).")
@click.option("--paper", "papers", multiple=True, metavar="PAPER", help="A paper to tick (the most used ones).")
@click.option("--passes", type=click.IntRange(1, 4), default=2, show_default=True, help="Room for so many passes.")
@click.option("--count", type=click.IntRange(1, 500), default=1, show_default=True, help="How many, each for one run.")
@to_option
@click.pass_obj
def run_slip(face: Face, inks: tuple[str, ...], papers: tuple[str, ...], passes: int, count: int, to: Path) -> None:
    """Write job slips as a PDF: tick one at the machine and photograph it beside the sheet.

    Example: inkchest run slip --count 20 --to slips.pdf
    """
    from archive.services.slips import print_slips  # as above

    with face.write("print job slips") as session:
        printed = print_slips(session, to, inks=inks, papers=papers, passes=passes, count=count)
    face.show(printed, f"Wrote {counted(count, 'job slip')} to {printed.file}, for one run each.")
    say_notices(printed.notices)
