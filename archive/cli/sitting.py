"""Sittings at the copy stand: opened, fed with frames, closed."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.command import Group
from archive.cli.face import Face, progress_line, say
from archive.cli.picture_words import joined_lines
from archive.cli.sitting_alike import alike
from archive.cli.words import counted, point
from archive.errors import InputError

if TYPE_CHECKING:
    from archive.services.sitting_take import FrameOutcome, TakeReport
    from archive.services.sittings import SittingCard

_FILE = click.Path(path_type=Path)

sitting = Group(
    "sitting",
    help="Take prints in at the copy stand, with colours that can be trusted as far as the tool says.\n\n"
    "Example: inkchest sitting take ~/phone",
)


@sitting.command("open")
@click.option("--white", required=True, metavar="FILE", type=_FILE, help="The shot of a blank white sheet.")
@click.option("--card", required=True, metavar="FILE", type=_FILE, help="The shot of the 24-patch colour card.")
@click.option("--edition", metavar="1976|2005|2014a|2014b|averaged", help="The card's edition (else the profile's).")
@click.option("--card-mm", metavar="WxH", help="The card's size in millimetres (else the profile's).")
@click.option("--place", metavar="PLACE", help="Where lies what is taken until a place card says otherwise.")
@click.option("--leave-out", metavar="N,N", help="Patches of the card, from 1, that are covered or known to be wrong.")
@click.option("--corners", nargs=4, metavar="X,Y X,Y X,Y X,Y", help="The card's four corners by hand, in pixels.")
@click.option("--anyway", is_flag=True, help="Open it although the card is no good: for looks only.")
@click.pass_obj
def sitting_open(face: Face, /, white: Path, card: Path, **given: Any) -> None:
    """Open a sitting with a shot of a white sheet and one of the colour card.

    Example: inkchest sitting open --white white.jpg --card card.jpg --place 'Box 14'
    """
    from archive.services.safety import START
    from archive.services.sittings import NewSitting, open_sitting

    new = NewSitting(
        white,
        card,
        edition=given["edition"],
        card_mm=_size(given["card_mm"]),
        place=given["place"],
        left_out=_patches(given["leave_out"]),
        corners=tuple(point(text, "--corners") for text in given["corners"] or ()) or None,
        anyway=given["anyway"],
    )
    found = open_sitting(face.open(), new, face.act("open a sitting"))
    face.show(found, lambda: _lines(found))
    for note in found.notes:
        say(f"  {note}")
    for line in START:
        say(f"  {line}")


def _size(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    try:
        width, height = (float(part) for part in text.lower().replace("×", "x").split("x"))
    except ValueError as exc:
        raise InputError("{text} is no size", text=text, where="--card-mm", mend="Write it as 279x216") from exc
    if min(width, height) <= 0:
        raise InputError("{text} is no size", text=text, where="--card-mm", mend="Write it as 279x216")
    return width, height


def _patches(text: str | None) -> tuple[int, ...]:
    try:
        found = tuple(int(part) - 1 for part in text.split(",")) if text else ()
    except ValueError as exc:
        raise InputError("{text} are no patches", text=text, where="--leave-out", mend="Number them: 3,17") from exc
    if any(not 0 <= each < 24 for each in found):
        raise InputError("patches go from 1 to 24", where="--leave-out", mend="Count them row by row")
    return found


@sitting.command("take")
@click.argument("paths", nargs=-1, required=True, metavar="FILES|DIR", type=_FILE)
@click.option("--work", metavar="REF", help="All of them show this work, variant or copy.")
@click.option(
    "--as", "role", metavar="ROLE", help="What of it: front, back, page, spread, imposed sheet, test, or part."
)
@click.option("--anyway", is_flag=True, help="Go on although the first frames give no colour.")
@click.pass_obj
@click.pass_context
def sitting_take(
    context: click.Context, face: Face, paths: tuple[Path, ...], work: str | None, role: str | None, anyway: bool
) -> None:
    """Take frames in, in the order given: a place card first, then what lies there, each print a work of its own.

    A stopped command goes on where it was when it is given the same files again. Frames taken as parts of one sheet are
    joined where that can be proven to a millimetre, else they stay parts.

    Example: inkchest sitting take ~/phone/*.jpg

    Example: inkchest sitting take spread*.jpg --work QA-0051 --as spread

    Example: inkchest sitting take poster*.jpg --work QA-0042 --as part
    """
    from archive.services.sitting_take import ROLES, TakeOptions, take_frames

    if role is not None and role not in ROLES:
        raise InputError("{role} is no role", role=role, where="--as", mend=f"Use {', '.join(ROLES)}")
    options = TakeOptions(work, role, anyway)
    report = take_frames(
        face.open(), paths, face.act(f"take {counted(len(paths), 'file')}"), options, progress=progress_line("Frames")
    )
    face.show(report, lambda: _report_lines(report))
    if any(frame.status == "refused" for frame in report.frames):
        context.exit(1)


def _report_lines(report: TakeReport) -> str:
    lines = [line for frame in report.frames for line in _frame_lines(frame)]
    counts = Counter(frame.status for frame in report.frames)
    lines += joined_lines(report.joined) if report.joined is not None else []
    return "\n".join([*lines, ", ".join(f"{count} {status}" for status, count in sorted(counts.items()))])


def _frame_lines(frame: FrameOutcome) -> list[str]:
    name = Path(frame.file).name
    if frame.status != "taken":
        return [f"{frame.status:7} {name}: {frame.why}"]
    what = {"print": f"work {frame.work}", "place card": f"place card of {frame.place}"}.get(frame.kind, frame.kind)
    where = f", in {frame.place}" if frame.place and frame.kind == "print" else ""
    lines = [f"taken   {name}: {what}{where}"]
    lines += [f"        like {each['name']} of {each['work']}: {each['as']}" for each in frame.like]
    lines += [f"        {each['code'].replace('_', ' ')}: {each['what']}. {each['mend']}" for each in frame.warnings]
    return lines


@sitting.command("close")
@click.pass_obj
def sitting_close(face: Face) -> None:
    """Close the open sitting and show what it took.

    Example: inkchest sitting close
    """
    from archive.services.sittings import close_sitting

    with face.write("close the sitting") as session:
        found = close_sitting(session)
    face.show(found, lambda: _lines(found))


@sitting.command("list")
@click.pass_obj
def sitting_list(face: Face) -> None:
    """List the sittings, the newest first.

    Example: inkchest sitting list
    """
    from archive.services.sittings import list_sittings

    with face.read() as session:
        found = list_sittings(session)
    face.show(found, lambda: "\n".join(_head(each) for each in found) or "No sitting yet.")


@sitting.command("show")
@click.argument("ref", metavar="REF")
@click.pass_obj
def sitting_show(face: Face, ref: str) -> None:
    """Show a sitting: what its colours are good for, each criterion measured, and how many were not.

    Example: inkchest sitting show 2025-03-14a
    """
    from archive.services.sittings import show_sitting

    with face.read() as session:
        found = show_sitting(session, ref)
    face.show(found, lambda: "\n".join([_lines(found), *_criteria(found)]))


def _head(found: SittingCard) -> str:
    frames = ", ".join(f"{count} {status}" for status, count in sorted(found.frames.items())) or "no frames"
    state = "open" if found.closed_at is None else "closed"
    return f"sitting {found.ref}: {state}, {found.verdict}, {frames}"


def _lines(found: SittingCard) -> str:
    lines = [_head(found), f"  {found.why}"]
    if found.card is not None:
        residual = found.card["residual"]
        lines.append(
            f"  colour card, edition {found.edition}: off by {residual['mean']:.1f} on average, "
            f"{residual['worst']:.1f} at worst{', its corners set by hand' if found.card['by_hand'] else ''}"
        )
    return "\n".join(lines)


def _criteria(found: SittingCard) -> list[str]:
    lines = []
    for each in found.criteria:
        limits = "; ".join(f"{edition}: {limit}" for edition, limit in each["limits"].items())
        lines.append(f"  {each['name']}: {each['measured']:.2f} {each['unit']} ({each['formula']}; limits {limits})")
    lines.append(f"  not measured: {counted(len(found.not_measured), 'criterion')} ({', '.join(found.not_measured)})")
    return lines


sitting.add_command(alike)
