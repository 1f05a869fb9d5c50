"""The workshop's own values."""

from __future__ import annotations

import json

import click

from archive.cli.face import Face, Group, table
from archive.services import profile as profiles

profile = Group("profile", help="See and set the workshop's own values.\n\nExample: inkchest profile list")


@profile.command("list")
@click.pass_obj
def profile_list(face: Face) -> None:
    """List every value, with the start value it began with.

    Example: inkchest profile list
    """
    with face.read() as session:
        found = profiles.list_profile(session)
    rows = [[item.key, json.dumps(item.value), json.dumps(item.start), item.meaning] for item in found]
    face.show(found, lambda: table(["setting", "now", "start", "meaning"], rows))


@profile.command("set")
@click.argument("key")
@click.argument("value")
@click.pass_obj
def profile_set(face: Face, key: str, value: str) -> None:
    """Set one value.

    Example: inkchest profile set house_paper 'Oatleaf 120'
    """
    with face.write(f"set {key}") as session:
        found = profiles.set_profile(session, key, value)
    face.show(found, f"{found.key} is now {json.dumps(found.value)} (start: {json.dumps(found.start)}).")
