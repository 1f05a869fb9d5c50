"""Flat colour areas of pictures, given their inks one after the other: commands of the group `swatch`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from archive.cli.blocks import beside, block, hex_of, shows_colour
from archive.cli.command import Command, limit_option
from archive.cli.face import Face, progress_line, say
from archive.cli.words import counted, lab_words
from archive.errors import ArchiveError

if TYPE_CHECKING:
    from archive.services.proposals import ProposalCard, ProposeReport
    from archive.services.swatches import SwatchReading

_AS_LAST = "="
_DECLINE = "-"


@click.command("propose", cls=Command)
@click.argument("ref", metavar="PICTURE|PLACE")
@click.pass_obj
def swatch_propose(face: Face, ref: str) -> None:
    """Find the flat colour areas of a picture, or of all pictures in a box, to be given their inks.

    Nothing is proposed where a swatch or an earlier proposal lies, and only on pictures that a sitting corrected.

    Example: inkchest swatch propose 'Box 14'
    """
    from archive.services.proposals import propose_swatches  # here, so that lists load no numbers' library

    report = propose_swatches(
        face.open(), ref, face.act(f"propose swatches of {ref}"), progress=progress_line("Pictures")
    )
    face.show(report, lambda: _report_lines(report))
    for each in report.left_out:
        say(f"  {each['picture']}: {each['why']}")


def _report_lines(report: ProposeReport) -> str:
    looked = f"Looked at {counted(report.pictures, 'picture')}: {counted(report.new, 'new area')}."
    return "\n".join([*(_line(each) for each in report.open), looked])


@click.command("proposals", cls=Command)
@click.argument("ref", required=False, metavar="[PICTURE|PLACE]")
@click.option("--all", "with_decided", is_flag=True, help="Those that were accepted or declined too.")
@limit_option(100, "proposals")
@click.pass_obj
def swatch_proposals(face: Face, ref: str | None, with_decided: bool, limit: int) -> None:
    """List flat colour areas that wait for their inks.

    Example: inkchest swatch proposals 'Box 14'
    """
    from archive.services.proposals import list_proposals

    with face.read() as session:
        found = list_proposals(session, ref, state=None if with_decided else "open", limit=limit)
    face.show(found, lambda: "\n".join(_line(each) for each in found) or "No area waits for its inks.")


def _line(each: ProposalCard) -> str:
    state = "" if each.state == "open" else f"  {each.state}"
    return f"{block(each.lab)}  {_where(each)}{state}  {each.uid}"


def _where(each: ProposalCard) -> str:
    x, y = each.at
    of = f" of {each.work}" if each.work else ""
    return f"{each.in_words}, {100 * each.share:.1f} % of {each.file}{of} at {x:.0f},{y:.0f}"


@click.command("accept", cls=Command)
@click.argument("uid", metavar="UID")
@click.option("--inks", default="", metavar="WORDS", help='Its inks: "Ferrywake 60 % over Dockrope 100 %".')
@click.option("--paper", metavar="PAPER", help="The paper, when the work does not say it.")
@click.option("--as-last", is_flag=True, help="With the inks of the swatch that was read off a picture last.")
@click.pass_obj
def swatch_accept(face: Face, uid: str, inks: str, paper: str | None, as_last: bool) -> None:
    """Keep a proposed area as a swatch with its inks; bare paper needs none.

    Example: inkchest swatch accept UID --inks 'Ferrywake 60 % over Dockrope 100 %'
    """
    from archive.services.proposals import accept_proposal

    act = face.act(f"accept proposal {uid}")
    found = accept_proposal(face.open(), uid, act, inks=inks, paper=paper, as_last=as_last)
    face.show(found, lambda: _kept_line(found))


def _kept_line(reading: SwatchReading) -> str:
    learnt = f", corrected by {counted(reading.learnt_from, 'patch')} of its pair" if reading.learnt_from else ""
    return (
        f"Lab {lab_words(reading.lab)}, known to ± {reading.uncertainty:.1f}{learnt}: kept as swatch {reading.swatch}"
    )


@click.command("decline", cls=Command)
@click.argument("uid", metavar="UID")
@click.pass_obj
def swatch_decline(face: Face, uid: str) -> None:
    """Set a proposed area aside; nothing is proposed there again.

    Example: inkchest swatch decline UID
    """
    from archive.services.proposals import decline_proposal

    with face.write(f"decline proposal {uid}") as session:
        found = decline_proposal(session, uid)
    face.show(found, lambda: f"Declined: {_where(found)}")


@click.command("next", cls=Command)
@click.argument("ref", required=False, metavar="[PICTURE|PLACE]")
@click.option("--paper", metavar="PAPER", help="The paper of those whose work does not say it.")
@click.pass_obj
def swatch_next(face: Face, ref: str | None, paper: str | None) -> None:
    """Ask for the inks of one proposed area after the other; Ctrl-C stops, what was said is kept.

    Enter accepts what is proposed, or leaves the area open; = repeats the last inks, - declines.

    Example: inkchest swatch next 'Box 14' --paper 'Oatleaf 120'
    """
    from archive.services.proposals import accept_proposal, decline_proposal

    counts = {"accepted": 0, "declined": 0, "left_open": 0}
    passed: set[str] = set()
    while waiting := _waiting(face, ref, passed):
        for line in _asked_lines(waiting):
            say(line)
        answer = str(click.prompt("  inks", default=waiting.proposed, show_default=bool(waiting.proposed), err=True))
        inks = answer.strip()
        try:
            if inks == _DECLINE:
                with face.write(f"decline proposal {waiting.uid}") as session:
                    decline_proposal(session, waiting.uid)
                counts["declined"] += 1
            elif inks:
                said: dict[str, Any] = {"as_last": True} if inks == _AS_LAST else {"inks": inks}
                act = face.act(f"accept proposal {waiting.uid}")
                say(f"  {_kept_line(accept_proposal(face.open(), waiting.uid, act, paper=paper, **said))}")
                counts["accepted"] += 1
            else:
                passed.add(waiting.uid)
                counts["left_open"] += 1
        except ArchiveError as error:  # somebody is typing: say what was wrong with it and ask again
            say(f"  {error}")
    face.show(counts, ", ".join(f"{number} {what.replace('_', ' ')}" for what, number in counts.items()))


def _waiting(face: Face, ref: str | None, passed: set[str]) -> ProposalCard | None:
    from archive.services.proposals import list_proposals

    with face.read() as session:
        return next((each for each in list_proposals(session, ref) if each.uid not in passed), None)


def _asked_lines(each: ProposalCard) -> list[str]:
    screen = "" if shows_colour() else f"{hex_of(each.lab)}, "
    return beside([each.lab], [_where(each), f"{screen}Lab {lab_words(each.lab)}, spread {each.spread:.1f}"])


PROPOSAL_COMMANDS = (swatch_propose, swatch_proposals, swatch_accept, swatch_decline, swatch_next)
