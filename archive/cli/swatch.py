"""Swatches: read off pictures, measured again, named."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.blocks import beside, block, hex_of, shows_colour
from archive.cli.command import Group, limit_option
from archive.cli.face import Face
from archive.cli.pages import say_notices, to_option
from archive.cli.swatch_proposals import PROPOSAL_COMMANDS
from archive.cli.words import counted, lab_words, point
from archive.services import bin as bins
from archive.services import swatch_list as swatch_book

if TYPE_CHECKING:
    from archive.services.swatches import SwatchReading

swatch = Group(
    "swatch",
    help="Read colours off pictures; list, name and measure swatches.\n\nExample: inkchest swatch list --ink Ferrywake",
)


@swatch.command("read")
@click.argument("picture", metavar="PICTURE")
@click.option("--at", required=True, metavar="X,Y", help="Where, in pixels of the upright picture.")
@click.option("--radius", "radius_mm", type=float, metavar="MM", help="Radius in millimetres.")
@click.option("--radius-px", type=float, metavar="N", help="Radius in pixels (start: ten screen cells).")
@click.option("--width-mm", type=float, metavar="MM", help="How wide the picture is, where no sitting tells.")
@click.option(
    "--inks", metavar="WORDS", help='Keep it as a swatch with these inks: "Ferrywake 60 % over Dockrope 100 %".'
)
@click.option("--paper", metavar="PAPER", help="The paper, when the work does not say it.")
@click.pass_obj
def swatch_read(
    face: Face, /, picture: str, at: str, inks: str | None, paper: str | None, **sizes: float | None
) -> None:
    """Read the colour at a spot of a picture.

    Example: inkchest swatch read tides.jpg --at 640,420 --radius-px 12
    """
    from archive.services import swatches  # here, so that lists load no numbers' library

    x, y = point(at, "--at")
    catalogue = face.open()
    with catalogue.read() as session:
        radius = swatches.radius_in_pixels(session, picture, sizes["radius_mm"], sizes["radius_px"], sizes["width_mm"])
        region = swatches.Region(x, y, radius)
        reading = swatches.read_swatch(session, catalogue.files, picture, region)
    if inks is not None:
        with catalogue.write(face.act(f"swatch on picture {picture}")) as session:
            reading = swatches.save_swatch(session, picture, region, reading, inks, paper)
    face.show(reading, lambda: _reading_lines(reading))


def _reading_lines(reading: SwatchReading) -> str:
    screen = "" if shows_colour() else f"{hex_of(reading.lab)}, "
    lines = [
        f"{screen}Lab {lab_words(reading.lab)}, known to ± {reading.uncertainty:.1f}",
        "; ".join((f"spread across the patch {reading.spread:.1f}", *reading.flags)),
    ]
    if reading.learnt_from:
        lines.append(f"corrected by {counted(reading.learnt_from, 'patch')} of its pair that were measured too")
    if reading.swatch:
        lines.append(f"kept as swatch {reading.swatch}")
    return "\n".join(beside([reading.lab], lines))


@swatch.command("list")
@click.option("--ink", metavar="INK", help="With this ink.")
@click.option("--over", metavar="INK", help="Printed over this one.")
@click.option("--paper", metavar="PAPER", help="On this paper.")
@limit_option(50, "swatches")
@click.pass_obj
def swatch_list(face: Face, ink: str | None, over: str | None, paper: str | None, limit: int) -> None:
    """List swatches with their inks in printing order and their colour.

    Example: inkchest swatch list --ink Ferrywake --over Dockrope
    """
    with face.read() as session:
        found = swatch_book.list_swatches(session, ink=ink, over=over, paper=paper, limit=limit)
    face.show(found, lambda: "\n".join(_summary_line(each) for each in found) or "No such swatch yet.")


def _summary_line(each: swatch_book.SwatchSummary) -> str:
    lab = " ".join(f"{part:5.1f}" for part in each.lab) if each.lab else "not measured     "
    patch = block(each.lab) if each.lab else " " * 8
    name = f' "{each.name}"' if each.name else ""
    return f"{patch}  {lab}  {each.inks} on {each.paper or 'a paper not told'}{name}  {each.uid}"


def _summary_lines(each: swatch_book.SwatchSummary) -> str:
    lines = [f"{each.inks}, on {each.paper or 'a paper not told'}"]
    if each.lab is None:
        lines.append("not measured")
    else:
        facts = (each.method, each.condition, each.measured_on, counted(each.readings, "reading"))
        screen = "" if shows_colour() else f"{hex_of(each.lab)}, "
        lines.append(f"{screen}Lab {lab_words(each.lab)} ({', '.join(fact for fact in facts if fact)})")
    called = f'called "{each.name}", ' if each.name else ""
    sample = f", sample {each.sample}" if each.sample else ""
    lines.append(f"{called}swatch {each.uid}{sample}")
    return "\n".join(beside([each.lab] if each.lab else [], lines))


@swatch.command("cards")
@click.argument("uids", metavar="[UID...]", nargs=-1)
@click.option("--ink", metavar="INK", help="With this ink.")
@click.option("--over", metavar="INK", help="Printed over this one.")
@click.option("--paper", metavar="PAPER", help="On this paper.")
@limit_option(60, "swatches")
@to_option
@click.pass_obj
def swatch_cards(face: Face, /, uids: tuple[str, ...], to: Path, limit: int, **filters: str | None) -> None:
    """Write cards of swatches with their recipe as a PDF, six on an A4 sheet to cut apart.

    Example: inkchest swatch cards --ink Ferrywake --over Dockrope --to cards.pdf
    """
    from archive.services.swatch_pages import print_swatch_cards  # as above

    with face.read() as session:
        written = print_swatch_cards(session, to, uids, limit=limit, **filters)
    face.show(
        {"file": written.file, "swatches": written.count, "pages": written.pages, "notices": written.notices},
        f"Wrote {counted(written.count, 'card')} on {counted(written.pages, 'page')} to {written.file}.",
    )
    say_notices(written.notices)


@swatch.command("show")
@click.argument("uid", metavar="UID")
@click.pass_obj
def swatch_show(face: Face, uid: str) -> None:
    """Show one swatch.

    Example: inkchest swatch show UID
    """
    with face.read() as session:
        found = swatch_book.show_swatch(session, uid)
    face.show(found, lambda: _summary_lines(found))


@swatch.command("name")
@click.argument("uid", metavar="UID")
@click.argument("name", metavar="NAME")
@click.pass_obj
def swatch_name(face: Face, uid: str, name: str) -> None:
    """Give a swatch's colour a name of your own, for `match colour NAME`.

    Example: inkchest swatch name UID 'tide green'
    """
    with face.write(f"name a swatch {name}") as session:
        found = swatch_book.name_swatch(session, uid, name)
    face.show(found, lambda: _summary_lines(found))


@swatch.command("measure")
@click.argument("uid", metavar="UID")
@click.option("--lab", required=True, metavar="L,A,B", help="The reading (D50, 2°).")
@click.option("--method", default="instrument", show_default=True, metavar="instrument|eye", help="How it was read.")
@click.option("--condition", metavar="M0..M3", help="Measurement condition.")
@click.option("--instrument", metavar="NAME", help="The instrument.")
@click.option("--on", "measured_on", metavar="DAY", help="When (today when left out).")
@click.option("--hours-after", type=float, metavar="H", help="Hours after printing.")
@click.pass_obj
def swatch_measure(face: Face, /, uid: str, lab: str, **facts: object) -> None:
    """Measure a swatch again; the older readings are kept.

    Example: inkchest swatch measure UID --lab 48.5,41.9,37.4 --condition M1
    """
    from archive.services import swatches  # as above

    with face.write(f"measure swatch {uid}") as session:
        found = swatches.measure_again(session, uid, lab, dict(facts))
    face.show(found, lambda: _summary_lines(found))


@swatch.command("remove")
@click.argument("uid", metavar="UID")
@click.pass_obj
def swatch_remove(face: Face, uid: str) -> None:
    """Put a swatch in the bin, with its readings.

    Example: inkchest swatch remove UID
    """
    with face.write(f"remove swatch {uid}") as session:
        gone = bins.remove_row(session, swatch_book.swatch_called(session, uid))
    face.show(
        {"removed": gone},
        f"In the bin: the swatch, with {counted(gone - 1, 'reading')}. `inkchest undo` brings all of it back.",
    )


for _command in PROPOSAL_COMMANDS:
    swatch.add_command(_command)
