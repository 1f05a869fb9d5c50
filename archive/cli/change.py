"""One change to many works."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from archive.cli.command import Command
from archive.cli.face import Face
from archive.cli.find import asked, find_options, fits_of
from archive.cli.words import counted

if TYPE_CHECKING:
    from archive.services.bulk import BulkReport


@click.command(cls=Command)
@find_options
@click.option("--set", "pairs", multiple=True, required=True, metavar="FIELD=VALUE", help="What they are to hold.")
@click.option("--said-by", metavar="NAME", help="Who says so.")
@click.option("--dry-run", is_flag=True, help="Show how many and which, and change nothing.")
@click.pass_obj
def change(
    face: Face,
    /,
    text: tuple[str, ...],
    kept: str | None,
    pairs: tuple[str, ...],
    said_by: str | None,
    dry_run: bool,
    **given: Any,
) -> None:
    """Change a fact of many works at once: those that `find` finds with the same words and options.

    FIELD is paper (of their variants), title, kind, date, date-basis, old-number, note, or place, whereabouts, role
    (of their copies). `inkchest undo` takes all of it back.

    Example: inkchest change --works QA-0010..QA-0039 --set paper='Oatleaf 120' --dry-run

    Example: inkchest change --person 'Wren Tallow' --undated --set date='about 1998' --said-by 'Wren Tallow'
    """
    from archive.services.bulk import change_works

    values = dict(_pair(each) for each in pairs)
    words = ", ".join(f"{field} {value}" for field, value in values.items())
    with face.write(f"change many works: {words}") as session:
        options = asked(session, text, kept, given)
        fits = fits_of(session, options)
        report = change_works(session, options, values, fits=fits, said_by=said_by, dry_run=dry_run)
    face.show(report, lambda: _lines(report))


def _pair(text: str) -> tuple[str, str]:
    field, sign, value = text.partition("=")
    if not sign:
        raise click.BadParameter(f"{text!r} is no pair. Write FIELD=VALUE.", param_hint="--set")
    return field.strip(), value.strip()


def _lines(report: BulkReport) -> str:
    values = ", ".join(f"{field} {value or 'empty'}" for field, value in report.set.items())
    verb = "Would change" if report.dry_run else "Changed"
    same = f"; {counted(report.same, 'work')} held it already" if report.same else ""
    lines = [f"{verb} {counted(len(report.works), 'work')} to {values}{same}."]
    for each in report.works:
        was = ", ".join(f"{field} was {old or 'empty'}" for field, old in each.was.items())
        lines.append(f"  {each.ref}{f' {each.title}' if each.title else ''}: {was}")
    return "\n".join(lines)
