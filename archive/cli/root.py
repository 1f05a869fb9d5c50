"""The root command. Groups are loaded when they are used, so that help and small commands start at once."""

from __future__ import annotations

import importlib
from typing import Any

import click

from archive import __version__
from archive.cli.face import Face, Group, ShownError, say
from archive.errors import ArchiveError

# name: (module, attribute, what the list of commands says)
_COMMANDS: dict[str, tuple[str, str, str]] = {
    "start": ("archive.cli.keeping", "start", "Make a new, empty archive."),
    "demo": ("archive.cli.keeping", "demo", "Build the demo archive of an invented workshop."),
    "match": ("archive.cli.match", "match", "Find the past prints that hold a colour or a picture's colours."),
    "find": ("archive.cli.find", "find", "Find works by words, ink, paper, person, year."),
    "work": ("archive.cli.work", "work", "Add, list, show, edit or remove works."),
    "variant": ("archive.cli.work", "variant", "Add, list, show, edit or remove variants; tell their inks."),
    "copy": ("archive.cli.records", "copy", "Add, list, show, edit or remove copies, and say where they are."),
    "appearance": ("archive.cli.records", "appearance", "Say what is on a copy, and where."),
    "file": ("archive.cli.records", "file", "Keep the files a job was made from."),
    "run": ("archive.cli.run", "run", "Write printings down."),
    "picture": ("archive.cli.picture", "picture", "Add and look up photos and scans."),
    "swatch": ("archive.cli.swatch", "swatch", "Read colours off pictures; list and measure swatches."),
    "readings": ("archive.cli.readings", "readings", "Bring measurements in, write them out."),
    "recipe": ("archive.cli.recipe", "recipe", "List the ways colours were made, and what was put over what."),
    "ink": ("archive.cli.records", "ink", "Add, list, show, edit or remove inks."),
    "filling": ("archive.cli.records", "filling", "Keep what is in a drum since when."),
    "drum": ("archive.cli.records", "drum", "Keep drums: ink, machines they fit, where they are."),
    "machine": ("archive.cli.records", "machine", "Add, list, show, edit or remove machines."),
    "paper": ("archive.cli.records", "paper", "Add, list, show, edit or remove papers."),
    "place": ("archive.cli.records", "place", "Keep rooms, chests, drawers, boxes."),
    "person": ("archive.cli.records", "person", "Add, list, show, edit, remove or forget people."),
    "claim": ("archive.cli.claim", "claim", "Write down who says so; list what was said."),
    "profile": ("archive.cli.profile", "profile", "See and set the workshop's own values."),
    "history": ("archive.cli.history", "history", "See who changed what."),
    "undo": ("archive.cli.history", "undo", "Take a change back."),
    "bin": ("archive.cli.history", "bin_", "See or empty the bin."),
    "check": ("archive.cli.keeping", "check", "Look for damage: wrong files, orphans, broken references."),
    "backup": ("archive.cli.keeping", "backup", "Copy what is new to a stick or disk, and verify it."),
    "restore": ("archive.cli.keeping", "restore", "Bring a backup back into an empty folder."),
}


class Root(Group):
    """The root group: lazy commands, errors in words."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of a day's work."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, loading its module."""
        if cmd_name not in _COMMANDS:
            return None
        module, attribute, _ = _COMMANDS[cmd_name]
        found: click.Command = getattr(importlib.import_module(module), attribute)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, _, words) in _COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command named first, or say which come nearest."""
        name = args[0] if args else ""
        if name and not name.startswith("-") and name not in _COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(name, _COMMANDS, n=3)
            hint = f" Did you mean {', '.join(near)}?" if near else " See `inkchest --help`."
            ctx.fail(f"No command {name!r}.{hint}")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; an error of ours is shown in words, a bug keeps its traceback."""
        try:
            return super().invoke(ctx)
        except ArchiveError as error:
            raise ShownError(error) from error


@click.group(cls=Root, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="inkchest")
@click.pass_context
def main(context: click.Context) -> None:
    """Keep a print workshop's past colours: how each was made, and whether it can be made again.

    Example: inkchest match colour '#c8553d' --in-house
    """
    face = context.ensure_object(Face)
    if context.invoked_subcommand is None:
        _say_what_next(face)


def _say_what_next(face: Face) -> None:
    from archive.services.welcome import what_next

    try:
        with face.read() as session:
            lines = what_next(session)
    except ArchiveError:
        lines = [
            "No archive here yet. Two ways to begin:",
            "  inkchest start DIR             a new archive of your own",
            "  inkchest demo DIR              an invented workshop to try things on",
        ]
    for line in lines:
        say(line)
