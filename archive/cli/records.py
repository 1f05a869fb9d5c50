"""One group of commands for each kind of record: add, list, show, edit, remove."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import click

from archive.cli.blocks import painted
from archive.cli.command import Command, Group, ask, yes_option
from archive.cli.face import Face, say, table
from archive.cli.words import counted, fact_words, plural
from archive.services import bin as bins
from archive.services import records
from archive.services.kinds import Field, Kind, kind_of, with_article

_HELP = {
    "ink": "Keep inks: the colourants, by the names the workshop gives them.",
    "machine": "Keep machines: the presses, and how many drums they take.",
    "drum": "Keep drums: the cylinders, their ink, the machines they fit, where they are.",
    "filling": "Keep fillings: what is in a drum since when, a batch or a mix.",
    "paper": "Keep papers: shade, weight, lot, sheets left.",
    "person": "Keep people: who made, printed, own or remember a work.",
    "place": "Keep places: rooms, shelves, chests, drawers, boxes.",
    "work": "Keep works: posters, zines, books.",
    "variant": "Keep variants: one colourway, paper or state of a work.",
    "copy": "Keep copies: one physical sheet or book, and where it is.",
    "appearance": "Say what is on a copy, and where: a side, a page, a part of the sheet.",
    "file": "Keep note of the files a job was made from, and where they lie.",
    "run": "Write printings down: variant, day, machine, settings, sheets.",
    "picture": "Add photos and scans of copies, and look them up.",
}
# what is added and edited in the examples: (a name or ref as it is typed, options of add, options of edit)
_EXAMPLES = {
    "ink": ("Ferrywake", "--looks '#2a5ea8'", "--no-in-house"),
    "machine": ("Upstairs", "--drums 2", "--note 'feeds thick sheets badly'"),
    "drum": ("7", "--ink Ferrywake --machine Upstairs --position 1", "--state away"),
    "filling": ("F-7", "--drum 7 --since 2024-05-01 --mix Ferrywake=3 --mix Sootwell=1", "--until 2024-11-30"),
    "paper": ("'Oatleaf 120'", "--shade off-white --gsm 120 --sheets-left 800", "--sheets-left 650"),
    "person": ("'Wren Tallow'", "--note 'printed here from 2004'", "--rename 'Wren Tallow-Grebe'"),
    "place": ("'Storeroom / Plan chest 2 / drawer 5'", "--kind drawer", "--state checked"),
    "work": ("QA-0042", "--title 'Nine Tides'", "--date 'about 1998'"),
    "variant": ("QA-0042b", "--work QA-0042 --name green", "--name 'on grey'"),
    "copy": ("QA-0042/1", "--of QA-0042 --place 'drawer 5' --role reference", "--whereabouts lent --until 2025-03-31"),
    "appearance": ("UID", "--copy QA-0014/1 --variant QA-0003a --role test --region 0,0,50,100", "--page 4"),
    "file": ("UID", "--variant QA-0042a --name tides_blue.tif --lies-at 'grey disk'", "--ink Ferrywake"),
    "run": ("R-042a", "--variant QA-0042a", "--good 118 --spoiled 9"),
    "picture": ("tides.jpg", "", "--copy QA-0042/1"),
}
_LABELS = {"name": "NAME", "number": "NUMBER", "path": "NAME", "uid": "UID"}
_METAVARS = {"whole": "N", "number": "NUMBER", "box": "X,Y,W,H", "day": "DAY", "date": "WHEN", "text": "TEXT"}
_NEEDS_NAME = ("ink", "machine", "drum", "paper", "person", "place")
# facts that a list leaves out: they are seen in `show`, and a place's path says what it is in
_NOT_LISTED = {"note", "title-kind", "date-basis", "in", "lightest-tint", "closing-tint", "grain", "lot"}


def group_for(noun: str) -> Group:
    """Return the commands for a kind of record."""
    kind = kind_of(noun)
    group = Group(noun, help=f"{_HELP[noun]}\n\nExample: inkchest {noun} list")
    for make in (_add, _list, _show, _edit, _remove):
        group.add_command(make(kind))
    return group


def record_options(
    kind: Kind, *, adding: bool = True, only: Sequence[str] = (), leave_out: Sequence[str] = ()
) -> Callable[[Any], Any]:
    """Return the decorator that gives a command an option for each field of a kind, or for those named."""

    def decorate(function: Any) -> Any:
        named = only or [item.name for item in kind.fields if item.name not in leave_out]
        for item in [kind.field(name) for name in reversed(named)]:
            if adding or not item.column.startswith("@"):
                function = _option(item)(function)
        return function

    return decorate


def _option(item: Field) -> Any:
    name = item.name
    if item.type == "flag":
        return click.option(f"--{name}/--no-{name}", default=None, help=item.help)
    if item.type in ("things", "parts"):
        part = {"person": "NAME=PART", "ink": "INK=PARTS"}.get(item.kind, item.kind.upper())
        return click.option(f"--{name}", multiple=True, metavar=part, help=item.help)
    metavar = "|".join(item.choices) or item.kind.upper() or _METAVARS[item.type]
    return click.option(f"--{name}", metavar=metavar, help=item.help)


def given_values(values: dict[str, Any]) -> dict[str, Any]:
    """Return the options that were given on the command line, by the names of their fields."""
    return {name.replace("_", "-"): value for name, value in values.items() if value not in (None, ())}


def _label(kind: Kind) -> str:
    return _LABELS.get(kind.label, "REF")


def _command(name: str, function: Any, words: str, example: str) -> click.Command:
    taken: list[click.Parameter] = list(reversed(getattr(function, "__click_params__", [])))
    return Command(name, callback=function, params=taken, help=f"{words}\n\nExample: inkchest {example}")


def _add(kind: Kind) -> click.Command:
    @click.pass_obj
    def add(face: Face, /, label: str | None = None, **values: Any) -> None:
        with face.write(f"add {kind.noun} {label or ''}".strip()) as session:
            record = records.add_record(session, kind.noun, label, given_values(values))
        face.show(record, lambda: f"Added {kind.noun} {record.label}.")

    function = record_options(kind)(add)
    needs = kind.noun in _NEEDS_NAME
    if kind.label != "uid":
        metavar = _label(kind) if needs else f"[{_label(kind)}]"
        function = click.argument("label", metavar=metavar, required=needs)(function)
    return _command("add", function, f"Add {with_article(kind.noun)}.", _add_example(kind))


def _add_example(kind: Kind) -> str:
    name, adding, _ = _EXAMPLES[kind.noun]
    named = f" {name}" if kind.noun in _NEEDS_NAME else ""
    return f"{kind.noun} add{named} {adding}".strip()


def _list(kind: Kind) -> click.Command:
    @click.pass_obj
    def list_(face: Face) -> None:
        with face.read() as session:
            found = records.list_records(session, kind.noun)
        face.show(found, lambda: _as_table(kind, found))

    return _command("list", list_, f"List all {plural(kind.noun)}.", f"{kind.noun} list")


def _show(kind: Kind) -> click.Command:
    @click.pass_obj
    def show(face: Face, ref: str) -> None:
        with face.read() as session:
            found = records.show_record(session, kind.noun, ref)
        face.show(found, lambda: in_lines(found))

    function = click.argument("ref", metavar=_label(kind))(show)
    return _command("show", function, f"Show one {kind.noun}.", f"{kind.noun} show {_EXAMPLES[kind.noun][0]}")


def _edit(kind: Kind) -> click.Command:
    @click.pass_obj
    def edit(face: Face, /, ref: str, seen: tuple[str, ...], rename: str | None = None, **values: Any) -> None:
        pairs = dict(_pair(text) for text in seen)
        with face.write(f"edit {kind.noun} {ref}") as session:
            record = records.edit_record(session, kind.noun, ref, given_values(values), seen=pairs, new_label=rename)
        face.show(record, lambda: in_lines(record))

    function = click.option(
        "--seen",
        multiple=True,
        metavar="FIELD=VALUE",
        help="What the field held when you looked; refused, with both values, if somebody changed it since.",
    )(edit)
    if kind.label != "uid":
        words = "name" if _label(kind) == "NAME" else _label(kind).lower()
        function = click.option("--rename", metavar=_label(kind), help=f"Its new {words}.")(function)
    function = record_options(kind, adding=False)(function)
    function = click.argument("ref", metavar=_label(kind))(function)
    name, _, editing = _EXAMPLES[kind.noun]
    words = f"Change facts of {with_article(kind.noun)}; '' empties one."
    return _command("edit", function, words, f"{kind.noun} edit {name} {editing}")


def _remove(kind: Kind) -> click.Command:
    @click.pass_obj
    def remove(face: Face, ref: str) -> None:
        with face.write(f"remove {kind.noun} {ref}") as session:
            gone = bins.remove_record(session, kind.noun, ref)
        face.show(gone, lambda: f"In the bin: {gone_words(gone)}. `inkchest undo` brings all of it back.")

    function = click.argument("ref", metavar=_label(kind))(remove)
    words = f"Put {with_article(kind.noun)} in the bin, with what belongs to it."
    return _command("remove", function, words, f"{kind.noun} remove {_EXAMPLES[kind.noun][0]}")


def gone_words(gone: Sequence[bins.Binned]) -> str:
    """Return what went to the bin together: the first by name, what went with it by number."""
    first = gone[0]
    head = f"{first.noun} {first.label}"
    counts: dict[str, int] = {}
    for each in gone:
        if each is not first:
            counts[each.noun] = counts.get(each.noun, 0) + 1
    more = [
        f"{number} more {noun if number == 1 else plural(noun)}" if noun == first.noun else counted(number, noun)
        for noun, number in counts.items()
    ]
    return head + (f", with {', '.join(more)}" if more else "")


def _pair(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        raise click.BadParameter(f"{text!r} is no pair. Write FIELD=VALUE.", param_hint="--seen")
    return name.strip(), value.strip()


def _as_table(kind: Kind, found: list[records.Record]) -> str:
    if not found:
        add = "picture add FILES" if kind.noun == "picture" else _add_example(kind)
        return f"No {kind.noun} yet. Add one: inkchest {add}"
    filled = [
        item.name
        for item in kind.fields
        if item.name not in _NOT_LISTED
        and (kind.noun, item.name) != ("place", "name")  # its path ends with it
        and any(record.facts.get(item.name) not in (None, "", [], False) for record in found)
    ]
    head = kind.label if kind.label != "path" else "place"
    rows = [[record.label, *(fact_words(record.facts.get(name)) for name in filled)] for record in found]
    return table([head, *filled], rows)


def in_lines(record: records.Record) -> str:
    """Return a record with a line for each fact that is known."""
    lines = [f"{record.noun} {record.label}"]
    for name, value in record.facts.items():
        if (text := fact_words(value)) and text != record.label:
            lines.append(f"  {name.replace('-', ' ')}: {text}{_looks(name, text)}")
    if record.label != record.uid:
        lines.append(f"  uid: {record.uid}")
    return "\n".join(lines)


def _looks(name: str, text: str) -> str:
    is_hex = name == "looks" and len(text) == 7 and text.startswith("#")
    return f"  {painted(text, 8)}" if is_hex and painted(text, 8) else ""


def _merge(kind: Kind) -> click.Command:
    @click.pass_obj
    def merge(face: Face, wrong: str, right: str, yes: bool) -> None:
        from archive.services.merging import merge_records

        with face.write(f"merge {kind.noun} {wrong} into {right}") as session:
            merged = merge_records(session, kind.noun, wrong, right, is_sure=yes)
        moved = ", ".join(counted(count, noun.replace("_", " ")) for noun, count in merged.moved.items())
        tail = "`inkchest undo` brings both back."
        face.show(merged, lambda: f"{merged.gone} is {merged.name} now; moved: {moved or 'nothing'}. {tail}")

    function = click.option("--yes", is_flag=True, help="They are one, though they look like two.")(merge)
    function = click.option("--into", "right", required=True, metavar="NAME", help="The one that stays.")(function)
    function = click.argument("wrong", metavar="NAME")(function)
    words = (
        f"Make one of two {plural(kind.noun)}: all that refers to NAME moves to the other, and NAME goes to the bin."
    )
    return _command("merge", function, words, f"{kind.noun} merge {_MERGES[kind.noun]}")


_MERGES = {
    "ink": "'Ferry wake' --into Ferrywake",
    "paper": "'Oatleaf' --into 'Oatleaf 120'",
    "person": "'W. Tallow' --into 'Wren Tallow'",
}

copy = group_for("copy")
appearance = group_for("appearance")
file = group_for("file")
ink = group_for("ink")
filling = group_for("filling")
drum = group_for("drum")
machine = group_for("machine")
paper = group_for("paper")
place = group_for("place")
person = group_for("person")
for _group in (ink, paper, person):
    _group.add_command(_merge(kind_of(str(_group.name))))


@person.command("forget")
@click.argument("name", metavar="NAME")
@yes_option
@click.pass_obj
def person_forget(face: Face, name: str, yes: bool) -> None:
    """Take a person's name out of the archive, the history included. It cannot be undone.

    Example: inkchest person forget 'Wren Tallow'
    """
    from archive.services.people import forget_person

    ask(f"Forget {name} everywhere, for good?", yes=yes)
    with face.write("forget a person", "forget") as session:
        count = forget_person(session, name)
    face.show({"mentions": count}, f"Forgotten: {counted(count, 'mention')} taken out.")
    say("Backups made before still hold the name: make a new one and destroy the old.")
