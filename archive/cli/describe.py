"""Describing what was photographed: the list, the short facts, the pace."""

from __future__ import annotations

from typing import Any

import click

from archive.cli.command import Group, limit_option
from archive.cli.face import Face, say
from archive.cli.words import counted
from archive.errors import ArchiveError
from archive.services import describing

describe = Group(
    "describe",
    help="Capture now, describe later: what is photographed and has no words yet.\n\nExample: inkchest describe next",
)
_AS_LAST = "="
_UNKNOWN = "?"
_NOBODY = "??"
_ASKED = ("title", "date", "inks", "paper", "maker")


@describe.command("list")
@click.option("--place", metavar="PLACE", help="Only what lies in this place.")
@limit_option(50, "works")
@click.pass_obj
def describe_list(face: Face, place: str | None, limit: int) -> None:
    """List photographed works that nobody described yet.

    Example: inkchest describe list --place 'Box 14'
    """
    with face.read() as session:
        found = describing.list_undescribed(session, place=place, limit=limit)
    face.show(found, lambda: "\n".join(_line(each) for each in found) or "Everything photographed is described.")


def _line(each: describing.Undescribed) -> str:
    title = f" {each.title}" if each.title else ""
    where = f", in {each.place}" if each.place else ""
    names = ", ".join(name for _, name in each.pictures[:3])
    return f"{each.ref}{title}{where}: lacks {', '.join(each.lacks)}  ({names})"


@describe.command("work")
@click.argument("ref", metavar="WORK")
@click.option("--title", default="", metavar="TEXT", help="The title.")
@click.option("--date", default="", metavar="DATE", help='The date as it is known: "about 1998".')
@click.option("--inks", default="", metavar="WORDS", help='The inks: "Ferrywake over Dockrope?".')
@click.option("--paper", default="", metavar="PAPER", help="The paper.")
@click.option("--maker", default="", metavar="NAME", help="Who made it.")
@click.option("--kind", default="", metavar="KIND", help="poster, zine, book, card, test or other.")
@click.option("--note", default="", metavar="TEXT", help="A note.")
@click.option("--unknown", multiple=True, metavar="FACT", help="Cannot be told from the sheet; say it for each.")
@click.option("--nobody-left", multiple=True, metavar="FACT", help="Unknown, and nobody is left to ask.")
@click.option("--said-by", metavar="NAME", help="Who says so.")
@click.option("--as-last", is_flag=True, help="What is not said is as with the work described last.")
@click.pass_obj
def describe_work(face: Face, /, ref: str, as_last: bool, **given: Any) -> None:
    """Give a photographed work its short facts; unknown is fine.

    Example: inkchest describe work W-0012 --title 'Bus Stop Choir' --inks 'Ferrywake and Kilnsong?' --unknown date

    Example: inkchest describe work W-0013 --as-last
    """
    with face.write(f"describe {ref}") as session:
        facts = describing.ShortFacts(**given, as_last=describing.AS_LAST if as_last else ())
        card = describing.describe_work(session, ref, facts)
    face.show(card, lambda: f"Described {card.record.label}")
    for note in card.notes:
        say(f"  {note}")


@describe.command("next")
@click.option("--place", metavar="PLACE", help="Only what lies in this place.")
@click.pass_obj
def describe_next(face: Face, place: str | None) -> None:
    """Ask for the short facts of one work after the other; Ctrl-C stops, what was said is kept.

    Enter leaves a fact open, = takes it from the last one, ? means unknown, ?? unknown and nobody left to ask.
    == takes all but the title from the last one.

    Example: inkchest describe next --place 'Box 14'
    """
    done: list[str] = []
    while waiting := _waiting(face, place):
        say(_line(waiting))
        try:
            facts = _ask()
            with face.write(f"describe {waiting.ref}") as session:
                describing.describe_work(session, waiting.uid, facts)
        except ArchiveError as error:  # somebody is typing: say what was wrong with it and ask again
            say(f"  {error}")
            continue
        done.append(waiting.ref)
    face.show({"described": done}, f"{counted(len(done), 'work')} described; nothing is left here.")


def _waiting(face: Face, place: str | None) -> describing.Undescribed | None:
    with face.read() as session:
        return next(iter(describing.list_undescribed(session, place=place, limit=1)), None)


def _ask() -> describing.ShortFacts:
    given: dict[str, str] = {}
    apart: dict[str, list[str]] = {_UNKNOWN: [], _NOBODY: [], _AS_LAST: []}
    for name in _ASKED:
        answer = str(click.prompt(f"  {name}", default="", show_default=False, err=True)).strip()
        if answer == _AS_LAST * 2:
            apart[_AS_LAST] = list(describing.AS_LAST)
            break
        if answer in apart:
            apart[answer].append(name)
        elif answer:
            given[name] = answer
    return describing.ShortFacts(
        **given,
        unknown=tuple(apart[_UNKNOWN]),
        nobody_left=tuple(apart[_NOBODY]),
        as_last=tuple(apart[_AS_LAST]),
    )


@describe.command("pace")
@click.option("--since", metavar="DAY", help="Since this day; else ever.")
@click.pass_obj
def describe_pace(face: Face, since: str | None) -> None:
    """Show how many works are captured and described, how fast it goes, and what is left.

    Example: inkchest describe pace --since 2025-03-14
    """
    with face.read() as session:
        found = describing.pace(session, since=since)
    face.show(found, lambda: _pace_lines(found))


def _pace_lines(found: describing.Pace) -> str:
    def speed(an_hour: float | None) -> str:
        return f", {an_hour:.0f} an hour" if an_hour else ""

    left = f"left to describe: {found.left}"
    if found.hours_left is not None:
        left += f", about {max(found.hours_left, 0.1):.1f} hours at this pace"
    return "\n".join(
        (
            f"captured: {counted(found.captured, 'work')}{speed(found.captured_an_hour)}",
            f"described: {counted(found.described, 'work')}{speed(found.described_an_hour)}",
            left,
        )
    )
