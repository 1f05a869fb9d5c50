"""The command reference, written from the commands' own help: `python -m archive.cli.reference`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from archive.cli.root import main

REFERENCE_FILE = Path(__file__).with_name("COMMANDS.md")
_WIDTH = 100
_HEAD = """# Commands

Written from `--help` by `python -m archive.cli.reference`; edit the help, not this file.

Results go to standard output, talk and progress to standard error. `--archive`, `--json` and `--by` are taken
before and after every command. Exit codes: 0 done (an answer without a match is done too), 1 it could not be done
(the reason stands on standard error), 2 the command was not understood, 130 stopped by Ctrl-C.

With `--json`, lists are arrays of objects, `add` and `edit` print the object. Keys are added to, never renamed;
values are not translated; numbers have four decimals at most. Colour blocks need a terminal: `FORCE_COLOR=1` shows
them anyway, `NO_COLOR=1` never.
"""


def walk(command: click.Command = main, name: str = "inkchest") -> Iterator[tuple[str, click.Command]]:
    """Yield every command with its whole name, a group before its commands, in the order of the help."""
    yield name, command
    if isinstance(command, click.Group):
        context = click.Context(command, info_name=name)
        for each in command.list_commands(context):
            found = command.get_command(context, each)
            if found is not None:
                yield from walk(found, f"{name} {each}")


def help_text(command: click.Command, name: str) -> str:
    """Return what `--help` prints, laid out the same on every screen."""
    context = click.Context(
        command, info_name=name, terminal_width=_WIDTH, help_option_names=["-h", "--help"], color=False
    )
    return command.get_help(context)


def reference_text() -> str:
    """Return the whole reference as Markdown; what every command takes stands with the first alone."""
    parts = []
    for name, command in walk():
        own, everywhere, shared = help_text(command, name).partition("\nWith every command:")
        text = own + everywhere + shared if command is main else own
        parts.append(f"\n## {name}\n\n```text\n{text.rstrip()}\n```\n")
    return _HEAD + "".join(parts)


if __name__ == "__main__":
    REFERENCE_FILE.write_text(reference_text(), encoding="utf-8", newline="\n")
