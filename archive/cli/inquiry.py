"""What people who can still be reached are to be asked."""

from __future__ import annotations

import click

from archive.cli.command import Group
from archive.cli.face import Face
from archive.services import inquiries
from archive.services.kinds import KINDS

inquiry = Group(
    "inquiry",
    help="Keep what to ask people who are still reachable, and what they answer.\n\nExample: inkchest inquiry list",
)


@inquiry.command("add")
@click.argument("ref", metavar="REF")
@click.argument("field", metavar="FACT")
@click.argument("words", metavar="[WORDS]", default="")
@click.option("--ask", "person", metavar="NAME", help="Who could know.")
@click.option(
    "--of",
    "noun",
    default="work",
    show_default=True,
    type=click.Choice(list(KINDS)),
    metavar="NOUN",
    help="What REF is.",
)
@click.pass_obj
def inquiry_add(face: Face, ref: str, field: str, words: str, person: str | None, noun: str) -> None:
    """Write down what is to be asked: FACT is title, date, inks, paper, maker or any other.

    Example: inkchest inquiry add QA-0042 date 'Before or after the move?' --ask 'Wren Tallow'
    """
    with face.write(f"ask for the {field} of {ref}") as session:
        found = inquiries.add_inquiry(session, noun, ref, field, words, person)
    face.show(found, lambda: _line(found))


@inquiry.command("list")
@click.option("--ask", "person", metavar="NAME", help="What to ask this person.")
@click.option("--all", "everything", is_flag=True, help="What is answered or past asking, too.")
@click.pass_obj
def inquiry_list(face: Face, person: str | None, everything: bool) -> None:
    """List what is to be asked, by person.

    Example: inkchest inquiry list --ask 'Wren Tallow'
    """
    with face.read() as session:
        found = inquiries.list_inquiries(session, state=None if everything else "open", person=person)
    face.show(found, lambda: "\n".join(_line(each) for each in found) or "Nothing is to be asked.")


@inquiry.command("answer")
@click.argument("uid", metavar="UID")
@click.argument("value", metavar="ANSWER")
@click.option("--said-by", metavar="NAME", help="Who answered, when it was somebody else.")
@click.option("--said-on", metavar="DAY", help="When (today when left out).")
@click.option("--words", default="", metavar="TEXT", help="The words themselves.")
@click.pass_obj
def inquiry_answer(face: Face, uid: str, value: str, said_by: str | None, said_on: str | None, words: str) -> None:
    """Keep an answer as a claim by the one who gave it.

    Example: inkchest inquiry answer UID 1998 --words 'the summer of the flood'
    """
    with face.write("keep an answer") as session:
        found = inquiries.answer_inquiry(session, uid, value, said_by=said_by, said_on=said_on, words=words)
    face.show(found, lambda: _line(found))


@inquiry.command("nobody-left")
@click.argument("uid", metavar="UID")
@click.pass_obj
def inquiry_nobody_left(face: Face, uid: str) -> None:
    """Keep that it is unknown and nobody is left to ask.

    Example: inkchest inquiry nobody-left UID
    """
    with face.write("nobody is left to ask") as session:
        found = inquiries.nobody_left(session, uid)
    face.show(found, lambda: _line(found))


def _line(each: inquiries.InquirySummary) -> str:
    who = each.person or "anybody"
    words = f' "{each.words}"' if each.words else ""
    came = {"open": f"asked since {each.asked_on}", "answered": f"answered: {each.answer}"}
    return f"{who}: {each.noun} {each.record}, {each.field}?{words} ({came.get(each.state, each.state)})  {each.uid}"
