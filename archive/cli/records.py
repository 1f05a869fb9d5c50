"""One group of commands for each kind of record: add, list, show, edit, remove."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from archive.cli.face import Face, Group, say, table
from archive.services import bin as bins
from archive.services import records
from archive.services.kinds import Field, Kind, kind_of


def group_for(noun: str) -> Group:
    """Return the commands for a kind of record."""
    kind = kind_of(noun)
    group = Group(noun, help=f"{kind.help}\n\nExample: inkchest {noun} list")
    group.add_command(_add(kind))
    group.add_command(_list(kind))
    group.add_command(_show(kind))
    group.add_command(_edit(kind))
    group.add_command(_remove(kind))
    return group


def record_options(kind: Kind, *, adding: bool = True, leave_out: tuple[str, ...] = ()) -> Callable[[Any], Any]:
    """Return the decorator that gives a command an option for each field of a kind."""

    def decorate(function: Any) -> Any:
        for item in reversed(kind.fields):
            if item.name not in leave_out and (adding or not item.column.startswith("@")):
                function = _option(item)(function)
        return function

    return decorate


def _option(item: Field) -> Any:
    name = item.name
    if item.type == "flag":
        return click.option(f"--{name}/--no-{name}", default=None, help=item.help)
    if item.type in ("things", "parts"):
        return click.option(f"--{name}", multiple=True, metavar=item.kind.upper(), help=item.help)
    metavar = "|".join(item.choices) if item.choices else (item.kind or item.type).upper()
    return click.option(f"--{name}", metavar=metavar, help=item.help)


def given_values(values: dict[str, Any]) -> dict[str, Any]:
    """Return the options that were given on the command line, by the names of their fields."""
    return {name.replace("_", "-"): value for name, value in values.items() if value not in (None, ())}


def _label(kind: Kind, *, required: bool) -> Any:
    metavar = {"name": "NAME", "number": "NUMBER", "path": "NAME"}.get(kind.label, "REF")
    return click.argument("label", metavar=metavar if required else f"[{metavar}]", required=required)


def _needs_label(kind: Kind) -> bool:
    return kind.noun in ("ink", "machine", "drum", "paper", "person", "place")


def _add(kind: Kind) -> click.Command:
    @click.pass_obj
    def add(face: Face, /, label: str | None = None, **values: Any) -> None:
        with face.write(f"add {kind.noun} {label or ''}".strip()) as session:
            record = records.add_record(session, kind.noun, label, given_values(values))
        face.show(record, lambda: f"Added {kind.noun} {record.label}.")

    function = record_options(kind)(add)
    if kind.label != "uid":
        function = _label(kind, required=_needs_label(kind))(function)
    return Group.command_class(
        "add", callback=function, params=_taken(function), help=f"Add {_an(kind.noun)}.\n\nExample: {_example(kind)}"
    )


def _list(kind: Kind) -> click.Command:
    @click.pass_obj
    def list_(face: Face) -> None:
        with face.read() as session:
            found = records.list_records(session, kind.noun)
        face.show(found, lambda: _as_table(kind, found))

    return Group.command_class(
        "list", callback=list_, help=f"List every {kind.noun}.\n\nExample: inkchest {kind.noun} list --json"
    )


def _show(kind: Kind) -> click.Command:
    @click.pass_obj
    def show(face: Face, ref: str) -> None:
        with face.read() as session:
            found = records.show_record(session, kind.noun, ref)
        face.show(found, lambda: in_lines(found))

    function = click.argument("ref", metavar="REF")(show)
    return Group.command_class(
        "show",
        callback=function,
        params=_taken(function),
        help=f"Show one {kind.noun}, by name, ref or uid.\n\nExample: inkchest {kind.noun} show REF",
    )


def _edit(kind: Kind) -> click.Command:
    @click.pass_obj
    def edit(face: Face, /, ref: str, rename: str | None, seen: tuple[str, ...], **values: Any) -> None:
        pairs = dict(_pair(text) for text in seen)
        with face.write(f"edit {kind.noun} {ref}") as session:
            record = records.edit_record(session, kind.noun, ref, given_values(values), seen=pairs, new_label=rename)
        face.show(record, lambda: in_lines(record))

    function = record_options(kind, adding=False)(edit)
    function = click.option(
        "--seen", multiple=True, metavar="FIELD=VALUE", help="What the field held when you looked; refused if changed."
    )(function)
    function = click.option("--rename", metavar="NEW", help="Its new name or ref.")(function)
    function = click.argument("ref", metavar="REF")(function)
    return Group.command_class(
        "edit",
        callback=function,
        params=_taken(function),
        help=f"Change facts of {_an(kind.noun)}.\n\nExample: inkchest {kind.noun} edit REF --note 'seen again'",
    )


def _remove(kind: Kind) -> click.Command:
    @click.pass_obj
    def remove(face: Face, ref: str) -> None:
        with face.write(f"remove {kind.noun} {ref}") as session:
            gone = bins.remove_record(session, kind.noun, ref)
        face.show(
            gone,
            lambda: (
                "In the bin: "
                + ", ".join(f"{each.noun} {each.label}" for each in gone)
                + ". `inkchest undo` brings it back."
            ),
        )

    function = click.argument("ref", metavar="REF")(remove)
    return Group.command_class(
        "remove",
        callback=function,
        params=_taken(function),
        help=f"Put {_an(kind.noun)} in the bin, with what belongs to it.\n\nExample: inkchest {kind.noun} remove REF",
    )


def _taken(function: Any) -> list[click.Parameter]:
    """Return the parameters that click's decorators left on a function, first declared first."""
    found: list[click.Parameter] = list(reversed(getattr(function, "__click_params__", [])))
    return found


def _pair(text: str) -> tuple[str, str]:
    name, _, value = text.partition("=")
    return name.strip(), value.strip()


def _an(noun: str) -> str:
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


def _example(kind: Kind) -> str:
    examples = {
        "ink": "inkchest ink add Ferrywake --looks '#2a5ea8'",
        "machine": "inkchest machine add Upstairs",
        "drum": "inkchest drum add 7 --ink Ferrywake --fits Upstairs --machine Upstairs --position 1",
        "filling": "inkchest filling add --drum 7 --since 2024-05-01 --mix Ferrywake=3 --mix Sootwell=1",
        "paper": "inkchest paper add 'Oatleaf 120' --shade off-white --gsm 120 --sheets-left 800",
        "person": "inkchest person add 'Wren Tallow'",
        "place": "inkchest place add 'Storeroom / Plan chest 2 / drawer 5'",
        "copy": "inkchest copy add --of QA-0042 --place 'drawer 5' --role reference",
        "appearance": "inkchest appearance add --copy QA-0014/1 --variant QA-0003a --role test --region 0,0,50,100",
        "file": "inkchest file add --variant QA-0042a --name tides_blue.tif --lies-at 'grey disk'",
    }
    return examples.get(kind.noun, f"inkchest {kind.noun} add")


def _as_table(kind: Kind, found: list[records.Record]) -> str:
    if not found:
        return f"No {kind.noun} yet. {_example(kind)}"
    filled = [
        item.name
        for item in kind.fields
        if item.name not in ("name", "note")
        and any(record.facts.get(item.name) not in (None, "", [], False) for record in found)
    ]
    head = kind.label if kind.label != "path" else "place"
    rows = [[record.label, *(words_for(record.facts.get(name)) for name in filled)] for record in found]
    return table([head, *filled], rows)


def in_lines(record: records.Record) -> str:
    """Return a record with a line for each fact that is known."""
    lines = [f"{record.noun} {record.label}"]
    for name, value in record.facts.items():
        text = words_for(value)
        if text != "":
            lines.append(f"  {name}: {text}")
    lines.append(f"  uid: {record.uid}")
    return "\n".join(lines)


def words_for(value: Any) -> str:
    """Return a fact as a person reads it; the unknown is empty."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, dict):
        name, extra = list(value.values())
        return f"{name} ({extra:g})" if isinstance(extra, float) else f"{name} ({extra})"
    if isinstance(value, list):
        return ", ".join(words_for(each) for each in value)
    return str(value)


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


@person.command("forget")
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.pass_obj
def person_forget(face: Face, name: str, yes: bool) -> None:
    """Take a person's name out of the archive, the history included. It cannot be undone.

    Example: inkchest person forget 'Wren Tallow'
    """
    from archive.services.people import forget_person

    if not yes:
        click.confirm(f"Forget {name} everywhere, for good?", abort=True, err=True)
    with face.write("forget a person", "forget") as session:
        count = forget_person(session, name)
    say("Backups made before still hold the name: make a new one and destroy the old.")
    face.show({"places": count}, f"Forgotten in {count} places.")
