"""The workshop's own values."""

from __future__ import annotations

import click

from archive.cli.command import Group
from archive.cli.face import Face, table
from archive.cli.words import fact_words
from archive.services import profile as profiles

profile = Group("profile", help="See and set the workshop's own values.\n\nExample: inkchest profile list")


@profile.command("list")
@click.pass_obj
def profile_list(face: Face) -> None:
    """List every value, and the start value where it was changed.

    Example: inkchest profile list
    """
    with face.read() as session:
        found = profiles.list_profile(session)
    rows = [
        [item.key, _value(item.value), "" if item.value == item.start else _value(item.start), item.meaning]
        for item in found
    ]
    face.show(found, lambda: table(["key", "now", "at first", "meaning"], rows))


@profile.command("set")
@click.argument("key", metavar="KEY")
@click.argument("value", metavar="VALUE")
@click.pass_obj
def profile_set(face: Face, key: str, value: str) -> None:
    """Set one value.

    Example: inkchest profile set house_paper 'Oatleaf 120'
    """
    with face.write(f"set {key}") as session:
        found = profiles.set_profile(session, key, value)
    face.show(found, f"{found.key} is now {_value(found.value)} (at first: {_value(found.start)}).")


def _value(value: object) -> str:
    return fact_words(value) or "empty"
