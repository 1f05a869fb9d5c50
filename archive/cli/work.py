"""Works and their variants, entered in one go.

What reads pictures is imported by the commands that do: a list needs no numbers' library.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.face import Face, say
from archive.cli.records import given_values, group_for, in_lines, record_options
from archive.cli.words import counted, fact_words
from archive.errors import InputError
from archive.services.kinds import kind_of

if TYPE_CHECKING:
    from archive.services.work_cards import WorkCard
    from archive.services.works_import import ListReport

work = group_for("work")
variant = group_for("variant")
_WORK = kind_of("work")
_AFTER_PLACE = ("date", "maker", "kind")


@work.command("add")
@click.argument("ref", required=False, metavar="[REF]")
@record_options(_WORK, only=("title",))
@click.option("--inks", default="", metavar="WORDS", help='The inks as they are told: "blue? over yellow, about half".')
@click.option("--paper", metavar="PAPER", help="The paper.")
@click.option(
    "--picture",
    "pictures",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A photo of it; say it again for each.",
)
@click.option("--place", metavar="PLACE", help="Where the sheet lies; made when it is new.")
@record_options(_WORK, only=_AFTER_PLACE)
@click.option("--said-by", metavar="NAME", help="Who tells the inks.")
@click.option("--role", metavar="ROLE", help="What the sheet is for: good to print, trial, reference, leftover.")
@click.option("--edition", default="", metavar="TEXT", help="The edition wording on the sheet.")
@click.option("--side", default="front", metavar="SIDE", help="What the picture shows: front, back, page, spread.")
@record_options(_WORK, leave_out=("title", *_AFTER_PLACE))
@click.pass_obj
def work_add(face: Face, /, ref: str | None, **given: Any) -> None:
    """Add a work in one go. Three facts are enough; a ref is given to it when you name none.

    Example: inkchest work add --title 'Nine Tides' --inks 'blue? over yellow, about half' --picture tides.jpg

    Example: inkchest work add --inks 'Ferrywake 60 % over Dockrope' --paper 'Oatleaf 120' --place 'drawer 5'
    """
    from archive.services.works import NewWork, add_work

    extra = {name: given.pop(name) for name in ("inks", "paper", "place", "role", "edition", "side", "said_by")}
    pictures = tuple(given.pop("pictures"))
    new = NewWork(ref=ref, facts=given_values(given), pictures=pictures, **extra)
    card = add_work(face.open(), new, face.act(f"add work {ref or given.get('title') or ''}".strip()))
    face.show(card, lambda: f"Added work {_named(card)}.")
    for note in card.notes:
        say(f"  {note}")


def _named(card: WorkCard) -> str:
    title = card.record.facts.get("title")
    return card.record.label + (f", {title}" if title else "")


@work.command("show")
@click.argument("ref", metavar="REF")
@click.pass_obj
def work_show(face: Face, ref: str) -> None:
    """Show a work with its variants, inks, copies, runs and pictures.

    Example: inkchest work show QA-0042
    """
    from archive.services.work_cards import work_card

    with face.read() as session:
        card = work_card(session, ref)
    face.show(card, lambda: "\n".join(_card_lines(card)))


def _card_lines(card: WorkCard) -> list[str]:
    lines = [in_lines(card.record)]
    for each in card.variants:
        name = f" ({each['name']})" if each["name"] else ""
        paper = f", on {each['paper']}" if each["paper"] else ""
        lines.append(f"  variant {each['ref']}{name}: {each['inks'] or 'no inks told'}{paper}")
        if each["words"]:
            lines.append(f'    as told: "{each["words"]}"')
    lines += [f"  copy {each['ref']}: {_copy_facts(each)}" for each in card.copies]
    lines += [f"  run {each['ref']}: {_run_facts(each)}" for each in card.runs]
    lines += [f"  picture {each['name']}" for each in card.pictures]
    return lines


def _copy_facts(each: dict[str, Any]) -> str:
    """Return what tells a copy apart; that it is here goes without saying when a place is named."""
    whereabouts = each["whereabouts"] if each["whereabouts"] != "here" or not each["place"] else ""
    facts = (each["role"], each["edition"], each["place"], whereabouts, each["person"])
    return ", ".join(dict.fromkeys(fact_words(fact) for fact in facts if fact)) or "nothing known of it yet"


def _run_facts(each: dict[str, Any]) -> str:
    facts = [
        each["printed_on"],
        each["machine"] and f"on {each['machine']}",
        *(f"{name} {fact_words(each[name])}" for name in ("density", "speed") if each[name] is not None),
        each["screen"] and f"{each['screen']} screen",
        each["good"] is not None and f"{each['good']} good",
        each["spoiled"] is not None and f"{each['spoiled']} spoiled",
        each["person"] and f"by {each['person']}",
    ]
    return ", ".join(fact for fact in facts if fact) or "nothing known of it yet"


@variant.command("tell")
@click.argument("ref", metavar="REF")
@click.argument("words", metavar="WORDS")
@click.option("--paper", metavar="PAPER", help="The paper.")
@click.option("--said-by", metavar="NAME", help="Who says so.")
@click.pass_obj
def variant_tell(face: Face, ref: str, words: str, paper: str | None, said_by: str | None) -> None:
    """Write down the inks of a variant as somebody tells them; what was told before is kept as a claim.

    Example: inkchest variant tell QA-0042 'Ferrywake 60 % over Dockrope' --said-by 'Wren Tallow'
    """
    from archive.services import work_cards, works
    from archive.services.lookup import find_record
    from archive.services.told import read_told

    with face.write(f"tell the inks of {ref}") as session:
        found = find_record(session, "variant", ref)
        told = read_told(words, known_inks=works.ink_names(session))
        paper_id = find_record(session, "paper", paper).id if paper else work_cards.paper_of(session, found)
        notes = works.tell_variant(session, found, told, paper_id, said_by=said_by)
        card = work_cards.variant_facts(session, found)
    face.show(card, lambda: f"variant {card['ref']}: {card['inks']}")
    for note in notes[1:]:
        say(f"  {note}")


@work.command("import")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--sheet", metavar="NAME", help="The sheet of a workbook; else the first that is not empty.")
@click.option(
    "--map", "columns", multiple=True, metavar="COLUMN=FIELD", help="What a column holds; remembered for such a list."
)
@click.option("--dry-run", is_flag=True, help="Show how the list is understood and what is doubtful; write nothing.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.pass_obj
def work_import(face: Face, file: Path, sheet: str | None, columns: tuple[str, ...], dry_run: bool, yes: bool) -> None:
    """Bring a list of works in from CSV or XLSX: first how it is understood, then, when you say yes, all of it.

    FIELD is ref, title, kind, date, maker, artist, printer, inks, paper, place, edition, copies, size, old_number
    or note; with nothing behind the = a column is kept and not read. Works that are here already get what they lack;
    where list and archive differ, the archive keeps what it has and the difference is shown.

    Example: inkchest work import storeroom.csv --dry-run

    Example: inkchest work import storeroom.xlsx --sheet posters --map 'Shelf mark=place' --yes
    """
    from archive.services.works_import import ListOptions, import_works

    options = ListOptions(sheet, tuple(_column(text) for text in columns))
    act = face.act(f"import works from {file.name}", "import")
    if dry_run or not yes:
        report = import_works(face.open(), file, options, act, dry_run=True)
        _say_list(report)
        if dry_run:
            face.show(report, lambda: _list_words(report))
            return
        say(_list_words(report))
        click.confirm("Write it?", abort=True, err=True)
    report = import_works(face.open(), file, options, act)
    if yes:
        _say_list(report)
    face.show(report, lambda: _list_words(report))


def _column(text: str) -> tuple[str, str]:
    column, sign, field = text.rpartition("=")
    if not sign or not column.strip():
        raise InputError("{text} is no pair", text=text, where="--map", mend="Write it as COLUMN=FIELD")
    return column.strip(), field.strip()


def _say_list(report: ListReport) -> None:
    """Say how the columns are understood, three rows as they would be entered, and every doubt."""
    for each in report.columns:
        perhaps = f" (perhaps {each['suggestion']}?)" if each["suggestion"] else ""
        say(f"  column {each['column']}: {each['field'] or 'kept, not read'}{perhaps}")
    for sample in report.samples:
        say("  row: " + "; ".join(f"{name} {text!r}" for name, text in sample.items()))
    for notice in report.notices:
        say(f"  doubtful: {notice}")
    for each in report.conflicts:
        template = "  differs: line {line}, {ref}, {field}: the archive has {here!r}, the list {list!r}"
        say(template.format(**each))


def _list_words(report: ListReport) -> str:
    would = "would be " if report.dry_run else ""
    parts = [f"{report.added} {would}added"]
    parts += [f"{report.filled} {would}filled in"] if report.filled else []
    parts += [f"{report.known} known already"] if report.known else []
    parts += [f"{counted(len(report.conflicts), 'difference')} left as the archive has it"] if report.conflicts else []
    return f"{report.file}: {counted(report.rows, 'row')}, {', '.join(parts)}."


@work.command("sheet")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--limit", default=500, show_default=True, metavar="N", help="The most works to put in.")
@click.pass_obj
def work_sheet(face: Face, file: Path, limit: int) -> None:
    """Write a workbook to print or fill in: works that lack title, date or inks with their picture, and blank rows.

    `inkchest work import` takes it back in.

    Example: inkchest work sheet to_fill_in.xlsx
    """
    from archive.services.works_list import write_work_sheet

    count = write_work_sheet(face.open(), file, limit=limit)
    rows = f"{counted(count, 'work')} that lack facts" if count != 1 else "1 work that lacks facts"
    face.show({"file": str(file), "works": count}, f"Wrote {file}: {rows}, and blank rows.")
