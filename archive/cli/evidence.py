"""Evidence from workshop to workshop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.command import Group
from archive.cli.face import Face, say
from archive.cli.words import counted

if TYPE_CHECKING:
    from archive.services.evidence_out import ExchangeReport

evidence = Group(
    "evidence",
    help="Give measured recipes to another workshop, take theirs in, say which inks are the same.\n\n"
    "Example: inkchest evidence in lark_lane.json",
)


@evidence.command("out")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--ink", "inks", multiple=True, metavar="INK", help="Recipes of this ink; say it again for each.")
@click.option("--paper", "papers", multiple=True, metavar="PAPER", help="On this paper; say it again for each.")
@click.option("--of-works", is_flag=True, help="Also patches measured on works; nothing of the works is written.")
@click.pass_obj
def evidence_out(face: Face, file: Path, inks: tuple[str, ...], papers: tuple[str, ...], of_works: bool) -> None:
    """Write chosen inks, papers, their recipes and measurements to a JSON file for another workshop.

    Persons, places, values, works, pictures and notes stay at home.

    Example: inkchest evidence out for_lark_lane.json --ink Ferrywake --ink Dockrope --paper 'Oatleaf 120'
    """
    from archive.services.evidence_out import export_evidence

    with face.read() as session:
        report = export_evidence(session, file, inks=inks, papers=papers, of_works=of_works)
    if report.left_out:
        say(f"  left at home: {counted(report.left_out, 'patch')} measured on works (--of-works gives them too)")
    face.show(report, lambda: f"Wrote {_words(report)} to {file}.")


@evidence.command("in")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Show what would come in, and write nothing.")
@click.pass_obj
def evidence_in(face: Face, file: Path, dry_run: bool) -> None:
    """Take another workshop's evidence in; it stays theirs, and the same file again adds nothing.

    Example: inkchest evidence in lark_lane.json --dry-run
    """
    from archive.services.evidence_exchange import import_evidence

    act = face.act(f"take in evidence from {file.name}", "import")
    report = import_evidence(face.open(), file, act, dry_run=dry_run)
    for notice in report.notices[:20]:
        say(f"  doubtful: {notice}")
    known = f"; {report.known} known already" if report.known else ""
    verb = "Would take in" if dry_run else "Took in"
    face.show(report, lambda: f"{verb} {_words(report)} of {report.workshop}{known}.")


def _words(report: ExchangeReport) -> str:
    nouns = {"ink": report.inks, "paper": report.papers, "recipe": report.recipes}
    nouns |= {"patch": report.swatches, "measurement": report.measurements}
    return ", ".join(counted(count, noun) for noun, count in nouns.items())


@evidence.command("same")
@click.argument("kind", metavar="ink|paper", type=click.Choice(["ink", "paper"]))
@click.argument("theirs", metavar="THEIRS")
@click.argument("ours", metavar="OURS")
@click.pass_obj
def evidence_same(face: Face, kind: str, theirs: str, ours: str) -> None:
    """Say that another workshop's ink (or paper) is the same as ours: their recipes count with ours from then on.

    Example: inkchest evidence same ink 'Ferrywake (Lark Lane Press)' Ferrywake
    """
    from archive.services.evidence_same import say_same

    with face.write(f"{theirs} is the same {kind} as {ours}") as session:
        report = say_same(session, kind, theirs, ours)
    for note in report.notes:
        say(f"  {note}")
    moved = counted(report.swatches, "patch")
    face.show(
        report, f"{report.theirs} is the same {kind} as {report.ours}: {moved} of {report.origin} count with ours."
    )
