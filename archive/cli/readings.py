"""Measurements in and out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.command import Group
from archive.cli.face import Face, say
from archive.cli.words import counted
from archive.errors import InputError

if TYPE_CHECKING:
    from archive.services.readings import ImportReport

_BY_SUFFIX = {".csv": "csv", ".cxf": "cxf", ".cxfx": "cxf"}

readings = Group(
    "readings",
    help="Bring measurements in from CSV, CGATS text or CxF3, and write them out.\n\n"
    "Example: inkchest readings import strip.csv --paper 'Oatleaf 120'",
)


@readings.command("import")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--paper", metavar="PAPER", help="The paper, where the file does not name it.")
@click.option(
    "--ink", "inks", multiple=True, metavar="FIELD=INK", help="Which ink a device field is; in printing order."
)
@click.option("--pass", "passes", multiple=True, metavar="INK=N", help="An ink's pass, where it is not two to a pass.")
@click.option("--dry-run", is_flag=True, help="Show what would be made, and write nothing.")
@click.pass_obj
def readings_import(
    face: Face, file: Path, paper: str | None, inks: tuple[str, ...], passes: tuple[str, ...], dry_run: bool
) -> None:
    """Bring a file of readings in, whole or not at all; the same set again adds nothing.

    FILE is CSV (sample, paper, ink_1, tint_1, pass_1, ..., lab_l, lab_a, lab_b), CGATS text
    or CxF3 (ISO 17972).

    Example: inkchest readings import strip.csv --paper 'Oatleaf 120' --dry-run

    Example: inkchest readings import chart.cxf --paper 'Oatleaf 120' --ink 'Spot 1=Ferrywake'

    Example: inkchest readings import press.txt --paper 'Chalkroad 90' --ink CMYK_C=Ferrywake --ink CMYK_Y=Dockrope
    """
    from archive.services.readings import ImportOptions, import_readings

    options = ImportOptions(
        paper,
        tuple(_pair(text, "--ink") for text in inks),
        {ink: _pass(n) for ink, n in (_pair(p, "--pass") for p in passes)},
    )
    act = face.act(f"import readings from {file.name}", "import")
    report = import_readings(face.open(), file, options, act, dry_run=dry_run)
    for notice in report.notices[:20]:
        say(f"  doubtful: {notice}")
    if len(report.notices) > 20:
        say(f"  and {len(report.notices) - 20} more (--json lists all)")
    face.show(report, lambda: _words(report))


def _words(report: ImportReport) -> str:
    added = f"{report.added} would be added" if report.dry_run else f"{report.added} added"
    known = f", {report.known} known already" if report.known else ""
    bare = f", {report.bare_paper} of them bare paper" if report.bare_paper else ""
    inks = f"; {' and '.join(report.inks)}" if report.inks else ""
    papers = f" on {' and '.join(report.papers)}" if report.papers else ""
    recipes = f"; {counted(report.new_recipes, 'new recipe')}" if report.new_recipes else ""
    return f"{report.file}: {counted(report.rows, 'row')}, {added}{bare}{known}{inks}{papers}{recipes}."


def _pair(text: str, option: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign or not name.strip() or not value.strip():
        raise InputError("{text} is no pair", text=text, where=option, mend="Write it as NAME=VALUE")
    return name.strip(), value.strip()


def _pass(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 9:
        raise InputError("{text} is no pass", text=text, where="--pass", mend="Give a number from 1: Ferrywake=2")
    return int(text)


@readings.command("export")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--format", "form", type=click.Choice(["csv", "cgats", "cxf"]), help="The format (else by the file's name)."
)
@click.option("--paper", metavar="PAPER", help="Only swatches on this paper.")
@click.option("--ink", metavar="INK", help="Only swatches with this ink.")
@click.pass_obj
def readings_export(face: Face, file: Path, form: str | None, paper: str | None, ink: str | None) -> None:
    """Write measured swatches to a CSV, CGATS or CxF3 file.

    Example: inkchest readings export oatleaf.csv --paper 'Oatleaf 120'

    Example: inkchest readings export ferrywake.cxf --ink Ferrywake
    """
    from archive.services.readings_out import export_readings

    chosen = form or _BY_SUFFIX.get(file.suffix.lower(), "cgats")
    with face.read() as session:
        count = export_readings(session, file, chosen, paper=paper, ink=ink)
    face.show(
        {"file": str(file), "rows": count, "format": chosen},
        f"Wrote {counted(count, 'row')} to {file} as {chosen.upper()}.",
    )
