"""Strips: sheets of patches that teach what inks do. Made, read, listed, shown; and what to print next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.command import Group, limit_option
from archive.cli.face import Face, say, table
from archive.cli.words import counted
from archive.errors import InputError

if TYPE_CHECKING:
    from archive.services.strip_keeping import StripReport
    from archive.services.strip_list import StripCard, StripWhole

_FILE = click.Path(path_type=Path)

strip = Group(
    "strip",
    help="Print sheets of patches and read them: a pair of inks is proven by eleven.\n\n"
    "Example: inkchest strip make --inks Ferrywake,Dockrope --to masters",
)


@strip.command("make")
@click.option(
    "--inks", "sets", multiple=True, required=True, metavar="A,B[,C[,D]]", help="In printing order; again for more."
)
@click.option(
    "--design",
    metavar="DESIGN",
    help="eleven (a pair), sixteen, twenty-five, row, lightest, closing, twenty-seven, sixty-four, hundred; "
    "both: the eleven in either order.",
)
@click.option("--paper", metavar="PAPER", help="The paper it is printed on (else the profile's house paper).")
@click.option("--machine", metavar="MACHINE", help="The machine that prints it: its resolution, its drums.")
@click.option("--screen", metavar="FM|AM", help="The screen (else the profile's).")
@click.option("--sheet", metavar="A4|A3", default="A4", show_default=True, help="The sheet.")
@click.option("--as", "form", metavar="pdf|tiff", default="pdf", show_default=True, help="The kind of file.")
@click.option("--to", required=True, type=_FILE, metavar="DIR", help="The folder for a file a drum.")
@click.pass_obj
def strip_make(face: Face, /, sets: tuple[str, ...], to: Path, **given: Any) -> None:
    """Write the masters of a strip, a grey file a drum.

    Example: inkchest strip make --inks Ferrywake,Dockrope --paper 'Oatleaf 120' --to masters

    Example: inkchest strip make --inks Kilnsong --design lightest --to masters
    """
    from archive.services.strips import NewStrips, make_strips

    inks = tuple(tuple(name.strip() for name in each.split(",") if name.strip()) for each in sets)
    with face.write(f"make {counted(len(inks), 'strip')}") as session:
        made = make_strips(session, NewStrips(inks=inks, **given), to)
    face.show(made, lambda: "\n".join(line for each in made for line in _made_lines(each)))
    for note in (note for each in made for note in each.notes):
        say(f"  {note}")


def _made_lines(made: StripCard) -> list[str]:
    patches = counted(made.patches, "patch")
    what = f"strip {made.ref}: {made.design}, {' then '.join(made.inks)} on {made.paper}, {patches}"
    return [what, *(f"  pass {each['pass']}, {each['ink']}: {each['file']}" for each in made.files)]


@strip.command("read")
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=_FILE)
@click.option("--strip", "ref", metavar="STRIP", help="Which strip, where its code does not name it.")
@click.option("--wet", is_flag=True, help="The sheet came off the machine just now.")
@click.option("--settled", is_flag=True, help="It was printed yesterday or before.")
@click.option("--hours", type=float, metavar="N", help="Hours after printing.")
@click.option("--order", metavar="rows|columns|reversed", default="rows", show_default=True, help="Of readings.")
@click.option("--printed-on", metavar="DATE", help="When it was printed.")
@click.option("--machine", metavar="MACHINE", help="The machine it was printed on.")
@click.option("--density", metavar="N", help="The machine's density setting.")
@click.option("--speed", metavar="N", help="The machine's speed setting.")
@click.option("--dry-run", is_flag=True, help="Show what would be read, and write nothing.")
@click.pass_obj
def strip_read(face: Face, /, files: tuple[Path, ...], **given: Any) -> None:
    """Read a printed strip: a photo in a sitting's light, a scan, or a file of readings in the order of its patches.

    Example: inkchest strip read strip.jpg --wet --printed-on 2025-03-14 --density 3 --speed 3

    Example: inkchest strip read readings.csv --strip S-1 --settled
    """
    from archive.services.strip_keeping import ReadOptions
    from archive.services.strip_reading import read_strip_file

    run = {name: given[name.replace("-", "_")] for name in ("printed-on", "machine", "density", "speed")}
    options = ReadOptions(
        strip=given["ref"],
        hours_after=_hours(face, given["wet"], given["settled"], given["hours"]),
        order=given["order"],
        run={name: value for name, value in run.items() if value is not None},
        dry_run=given["dry_run"],
    )
    reports = [
        read_strip_file(face.open(), path, options, face.act(f"read a strip from {path.name}")) for path in files
    ]
    face.show(reports, lambda: "\n".join(line for each in reports for line in _report_lines(each)))
    for note in (note for each in reports for note in each.notes):
        say(f"  {note}")


def _hours(face: Face, wet: bool, settled: bool, hours: float | None) -> float | None:
    from archive.services.profile import read_profile

    if wet + settled + (hours is not None) > 1:
        raise InputError("wet, settled and hours exclude each other", where="strip read", mend="Say one of them")
    if hours is not None and not 0 <= hours < 1e6:
        raise InputError("{hours:g} are no hours after printing", hours=hours, where="--hours", mend="Say 24")
    if settled:
        with face.read() as session:
            return float(read_profile(session)["settled_hours"])
    return 0.0 if wet else hours


def _report_lines(report: StripReport) -> list[str]:
    kept = "would be kept" if report.dry_run else "kept"
    count = sum(each.usable for each in report.patches)
    how = f", claimed to {report.claim:.1f} ΔE00 on average" if report.claim is not None else ""
    lines = [f"{Path(report.file).name}: strip {report.ref}, {count} of {len(report.patches)} patches {kept}{how}"]
    drifted = [each for each in report.drums if each["drift_mm"] > 0.1]
    lines += [f"  drum {each['ink']}: drifted {each['drift_mm']:.1f} mm" for each in drifted]
    lines += [f"  not kept: {each}" for each in report.rejected]
    lines += [f"  lost: {each} equals the paper" for each in report.lost]
    return [*lines, *(f"  closed: {each} equals its solid" for each in report.closed)]


@strip.command("list")
@click.pass_obj
def strip_list(face: Face) -> None:
    """List the strips, the newest first.

    Example: inkchest strip list
    """
    from archive.services.strip_list import list_strips

    with face.read() as session:
        found = list_strips(session)
    face.show(found, lambda: "\n".join(_head(each) for each in found) or "No strip yet: inkchest strip make --help")


def _head(found: StripCard) -> str:
    measured = f"read {counted(found.read, 'time')}, {found.measured} of {found.patches} measured"
    state = measured if found.read else "not read yet"
    return f"strip {found.ref}: {found.design}, {' then '.join(found.inks)} on {found.paper}, {state}"


@strip.command("show")
@click.argument("ref", metavar="STRIP")
@click.pass_obj
def strip_show(face: Face, ref: str) -> None:
    """Show a strip: its patches as they were measured, and every time it was read.

    Example: inkchest strip show S-1
    """
    from archive.services.strip_list import show_strip

    with face.read() as session:
        found = show_strip(session, ref)
    face.show(found, lambda: _whole(found))


def _whole(found: StripWhole) -> str:
    card = found.strip
    lines = [_head(card)]
    for each in found.readings:
        when = "wet" if each["hours_after"] == 0 else f"{each['hours_after']:g} hours after printing"
        lines.append(f"  {each['read_on']}: {each['kind']} {each['file']}, {when}")
    if card.shift is not None:
        lab = ", ".join(f"{part:+.1f}" for part in card.shift["lab"])
        lines.append(f"  settled less wet: Lab {lab}; {card.shift['delta_e_2000']:.1f} ΔE00 on average")
    rows = [
        [each["number"], *(f"{tint:g}" for tint in each["tints"]), *_colour(each["lab"]), each["measured_on"]]
        for each in found.patches
    ]
    return "\n".join([*lines, table(["patch", *(f"{ink} %" for ink in card.inks), "L*", "a*", "b*", "measured"], rows)])


def _colour(lab: Any) -> list[str]:
    return [f"{part:.1f}" for part in lab] if lab else ["", "", ""]


@strip.command("next")
@click.option("--with", "pairs", multiple=True, metavar="A,B", help="A pair that is asked for, B over A.")
@limit_option(5, "strips")
@click.pass_obj
def strip_next(face: Face, pairs: tuple[str, ...], limit: int) -> None:
    """Say which strips to print next: pairs that are used and asked for, and were never measured.

    Example: inkchest strip next
    """
    from archive.services.strip_next import next_strips

    with face.read() as session:
        found = next_strips(session, with_pairs=tuple(_pair(text) for text in pairs), limit=limit)
    none = "Every pair that is used or asked for was measured."
    lines = [
        f"{' then '.join(each.inks)}, {each.design}: {each.why}" + ("" if each.printable_now else "; not printable now")
        for each in found
    ]
    face.show(found, lambda: "\n".join(lines) or none)


def _pair(text: str) -> tuple[str, str]:
    names = [name.strip() for name in text.split(",")]
    if len(names) != 2 or not all(names):
        raise InputError("{text} is no pair", text=text, where="--with", mend="Write it as Dockrope,Ferrywake")
    return names[0], names[1]
