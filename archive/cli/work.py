"""Works and their variants, entered in one go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.face import Face, say
from archive.cli.records import given_values, group_for, record_options
from archive.services import works
from archive.services.kinds import kind_of
from archive.services.lookup import find_record
from archive.services.told import read_told

work = group_for("work")
variant = group_for("variant")


@work.command("add")
@click.argument("ref", required=False)
@record_options(kind_of("work"))
@click.option("--inks", default="", metavar="WORDS", help='The inks as they are told: "blue? over yellow, about half".')
@click.option("--paper", metavar="PAPER", help="The paper.")
@click.option("--place", metavar="PLACE", help="Where the sheet lies; made when it is new.")
@click.option("--role", metavar="ROLE", help="What the sheet is for: good to print, trial, reference, leftover.")
@click.option("--edition", default="", metavar="TEXT", help="The edition wording on the sheet.")
@click.option("--side", default="front", metavar="SIDE", help="What the picture shows: front, back, page, spread.")
@click.option("--said-by", metavar="NAME", help="Who tells the inks.")
@click.option("--picture", "pictures", multiple=True, type=click.Path(path_type=Path), metavar="FILE")
@click.pass_obj
def work_add(face: Face, /, ref: str | None, **given: Any) -> None:
    """Add a work in one go. Three facts are enough; a ref is given to it when you name none.

    Example: inkchest work add --title 'Nine Tides' --inks 'blue? over yellow, about half' --picture tides.jpg
    """
    extra = {name: given.pop(name) for name in ("inks", "paper", "place", "role", "edition", "side", "said_by")}
    pictures = tuple(given.pop("pictures"))
    new = works.NewWork(ref=ref, facts=given_values(given), pictures=pictures, **extra)
    card = works.add_work(face.open(), new, face.act(f"add work {ref or given.get('title') or ''}".strip()))
    face.show(card, lambda: f"Added work {card.record.label}.")
    for note in card.notes:
        say(f"  {note}")


@work.command("show")
@click.argument("ref")
@click.pass_obj
def work_show(face: Face, ref: str) -> None:
    """Show a work with its variants, inks, copies, runs and pictures.

    Example: inkchest work show QA-0042
    """
    with face.read() as session:
        card = works.work_card(session, ref)
    face.show(card, lambda: "\n".join(_card_lines(card)))


def _card_lines(card: works.WorkCard) -> list[str]:
    from archive.cli.records import in_lines, words_for

    lines = [in_lines(card.record)]
    for each in card.variants:
        paper = f" on {each['paper']}" if each["paper"] else ""
        name = f" {each['name']}" if each["name"] else ""
        lines.append(f"  variant {each['ref']}{name}: {each['inks'] or 'no inks told'}{paper}")
        if each["words"]:
            lines.append(f'    as told: "{each["words"]}"')
    for each in card.copies:
        facts = [words_for(each[name]) for name in ("role", "edition", "place", "whereabouts") if each[name]]
        lines.append(f"  copy {each['ref']}: {', '.join(facts)}")
    for each in card.runs:
        facts = [
            f"{name} {words_for(each[name])}"
            for name in ("printed_on", "machine", "density", "speed", "screen", "good")
            if each[name] not in (None, "")
        ]
        lines.append(f"  run {each['ref']}: {', '.join(facts)}")
    lines += [f"  picture {each['name']} ({each['uid']})" for each in card.pictures]
    return lines


@variant.command("tell")
@click.argument("ref")
@click.argument("words")
@click.option("--paper", metavar="PAPER", help="The paper.")
@click.option("--said-by", metavar="NAME", help="Who says so.")
@click.pass_obj
def variant_tell(face: Face, ref: str, words: str, paper: str | None, said_by: str | None) -> None:
    """Write down the inks of a variant as somebody tells them; what was told before is kept as a claim.

    Example: inkchest variant tell QA-0042 'Ferrywake 60 % over Dockrope' --said-by 'Wren Tallow'
    """
    with face.write(f"tell the inks of {ref}") as session:
        found = find_record(session, "variant", ref)
        told = read_told(words, known_inks=works.ink_names(session))
        paper_id = find_record(session, "paper", paper).id if paper else works.paper_of(session, found)
        notes = works.tell_variant(session, found, told, paper_id, said_by=said_by)
        card = works.variant_facts(session, found)
    face.show(card, lambda: f"variant {card['ref']}: {card['inks']}")
    for note in notes[1:]:
        say(f"  {note}")
