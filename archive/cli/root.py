"""The root command. Groups are loaded when they are used, so that help and small commands start at once."""

from __future__ import annotations

import importlib
import sys
from typing import Any

import click

from archive import __version__
from archive.cli.command import Group, ShownError
from archive.cli.face import Face, rest_collector, say, wake_collector
from archive.errors import ArchiveError

STOPPED = 130  # exit code of a command stopped by Ctrl-C, as shells have it

# name: (module, attribute, what the list of commands says)
_COMMANDS: dict[str, tuple[str, str, str]] = {
    "start": ("archive.cli.keeping", "start", "Make a new, empty archive."),
    "demo": ("archive.cli.keeping", "demo", "Build the demo archive of an invented workshop."),
    "match": ("archive.cli.match", "match", "Find the past prints that hold a colour, or a picture's colours."),
    "find": ("archive.cli.find", "find", "Find works by words, colour, ink, paper, person, date, trust."),
    "question": ("archive.cli.find", "question", "List and remove the questions that were kept."),
    "change": ("archive.cli.change", "change", "Change a fact of many works at once."),
    "pair": ("archive.cli.pair", "pair", "See what inks give together at tints that nobody printed."),
    "recipe": ("archive.cli.recipe", "recipe", "List what was printed over what, and how often."),
    "work": ("archive.cli.work", "work", "Add, list, show, edit or remove works."),
    "variant": ("archive.cli.work", "variant", "Add, list, show, edit or remove variants; tell their inks."),
    "copy": ("archive.cli.records", "copy", "Add, list, show, edit or remove copies; say where they are."),
    "appearance": ("archive.cli.records", "appearance", "Say what is on a copy, and where."),
    "picture": ("archive.cli.picture", "picture", "Add photos and scans, and look them up."),
    "run": ("archive.cli.run", "run", "Write printings down."),
    "file": ("archive.cli.records", "file", "Keep note of the files a job was made from."),
    "swatch": ("archive.cli.swatch", "swatch", "Read colours off pictures; list, name and measure swatches."),
    "strip": ("archive.cli.strip", "strip", "Print sheets of patches and read them: what inks do."),
    "readings": ("archive.cli.readings", "readings", "Bring measurements in, or write them out."),
    "evidence": ("archive.cli.evidence", "evidence", "Give evidence to another workshop, or take theirs in."),
    "ink": ("archive.cli.records", "ink", "Add, list, show, edit, remove or merge inks."),
    "drum": ("archive.cli.records", "drum", "Keep drums: their ink, the machines they fit, where they are."),
    "filling": ("archive.cli.records", "filling", "Keep what is in a drum since when."),
    "machine": ("archive.cli.records", "machine", "Add, list, show, edit or remove machines."),
    "paper": ("archive.cli.records", "paper", "Add, list, show, edit, remove or merge papers."),
    "place": ("archive.cli.places", "place", "Keep rooms, shelves, chests, drawers, boxes; move a whole one."),
    "person": ("archive.cli.records", "person", "Add, list, show, edit, remove, merge or forget people."),
    "claim": ("archive.cli.claim", "claim", "Write down who says so; list what was said."),
    "sitting": ("archive.cli.sitting", "sitting", "Take prints in at the copy stand, colour-true."),
    "describe": ("archive.cli.describe", "describe", "Give photographed works their short facts, one after the other."),
    "inquiry": ("archive.cli.inquiry", "inquiry", "Keep what to ask people who are still reachable."),
    "profile": ("archive.cli.profile", "profile", "See and set the workshop's own values."),
    "history": ("archive.cli.history", "history", "See who changed what."),
    "undo": ("archive.cli.history", "undo", "Take a change back."),
    "bin": ("archive.cli.history", "bin_", "See what was removed, or empty the bin."),
    "check": ("archive.cli.keeping", "check", "Look for damage: wrong files, leftovers, broken references."),
    "backup": ("archive.cli.keeping", "backup", "Copy what is new to a stick or disk, and verify it."),
    "restore": ("archive.cli.keeping", "restore", "Bring a backup back into a new folder."),
    "pack": ("archive.cli.keeping", "pack", "Write the whole archive as a bag, to move it."),
    "unpack": ("archive.cli.keeping", "unpack", "Make an archive of a bag, on either database."),
}
_TWO_WAYS = (
    "No archive here yet. Two ways to begin:",
    "  inkchest start DIR    a new archive of your own",
    "  inkchest demo DIR     an invented workshop to try things on",
)


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

    def main(self, *args: Any, **settings: Any) -> Any:
        """Run; a sign that the terminal's alphabet lacks is shown as `?` and stops nothing."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")
        return super().main(*args, **settings)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; an error of ours is shown in words, a bug keeps its traceback."""
        rest_collector()
        try:
            return super().invoke(ctx)
        except ArchiveError as error:
            raise ShownError(error) from error
        except click.Abort:
            say("\nNothing was done.")
            ctx.exit(1)
        except KeyboardInterrupt:
            say("\nStopped. What was finished is kept, the rest was not begun.")
            ctx.exit(STOPPED)
        finally:
            wake_collector()


@click.group(cls=Root, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="inkchest", message="%(prog)s %(version)s", help="Show the version.")
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
        with face.open(warn=False).read() as session:
            lines = what_next(session)
    except ArchiveError as error:
        lines = [str(error)] if face.is_named() else list(_TWO_WAYS)
    for line in lines:
        say(line)
