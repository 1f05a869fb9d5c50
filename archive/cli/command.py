"""Commands and groups that share their options, the layout of their help, and how they tell errors."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import click

from archive.cli.face import Face
from archive.errors import ArchiveError

_EXAMPLE = "Example: "


def _set(name: str) -> Callable[[click.Context, click.Parameter, Any], None]:
    def callback(context: click.Context, _parameter: click.Parameter, value: Any) -> None:
        if value not in (None, False):
            setattr(context.ensure_object(Face), name, value)

    return callback


class SharedOption(click.Option):
    """An option that every command takes, before and after its name."""


def shared_options() -> list[click.Parameter]:
    """Return the options taken before and after every command."""
    return [
        SharedOption(
            ["--archive"],
            type=click.Path(path_type=Path),
            metavar="DIR",
            expose_value=False,
            callback=_set("archive"),
            help="The archive's folder (else INKCHEST_ARCHIVE, or the one you stand in).",
        ),
        SharedOption(["--json"], is_flag=True, expose_value=False, callback=_set("as_json"), help="Print JSON."),
        SharedOption(
            ["--by"],
            metavar="NAME",
            expose_value=False,
            callback=_set("by"),
            help="Who does this, for the history (else who is logged in).",
        ),
    ]


class _Laid(click.Command):
    """The layout of help: what it does, examples on lines of their own, own options before the shared ones."""

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what the command does; an example is never broken, so that it can be copied."""
        paragraphs, examples = help_parts(self)
        for paragraph in paragraphs:
            formatter.write_paragraph()
            with formatter.indentation():
                formatter.write_text(paragraph)
        if examples:
            formatter.write_paragraph()
        for example in examples:
            formatter.write(f"  {_EXAMPLE}{example}\n")

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the command's own options, then those that every command takes."""
        own: list[tuple[str, str]] = []
        everywhere: list[tuple[str, str]] = []
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is not None and isinstance(parameter, click.Option):  # arguments stand in the usage line
                is_shared = isinstance(parameter, SharedOption) or "--help" in parameter.opts
                (everywhere if is_shared else own).append(record)
        if own:
            with formatter.section("Options"):
                formatter.write_dl(own)
        with formatter.section("With every command"):
            formatter.write_dl(everywhere)


def help_parts(command: click.Command) -> tuple[list[str], list[str]]:
    """Return the paragraphs of a command's help, and its examples as they are typed."""
    paragraphs, examples = [], []
    for part in (command.help or "").split("\n\n"):
        text = " ".join(part.split())
        if text.startswith(_EXAMPLE):
            examples.append(text.removeprefix(_EXAMPLE))
        elif text:
            paragraphs.append(text)
    return paragraphs, examples


def first_sentence(command: click.Command) -> str:
    """Return what a list of commands says of one."""
    paragraphs, _ = help_parts(command)
    first, stop, _ = (paragraphs[0] if paragraphs else "").partition(". ")
    return first + stop.strip()


class Command(_Laid):
    """A command that takes the shared options too."""

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.params.extend(shared_options())


class Group(_Laid, click.Group):
    """A group whose commands and options follow the same ways."""

    command_class = Command
    group_class = type

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.params.extend(shared_options())

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order they were written: add, list, show, edit, remove, the rest."""
        return list(self.commands)

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands, then the options."""
        self.format_commands(ctx, formatter)
        super().format_options(ctx, formatter)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write each command with the whole first sentence of its help."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, first_sentence(self.commands[name])) for name in self.list_commands(ctx)])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command named first, or say which come nearest."""
        name = args[0] if args else ""
        known = self.list_commands(ctx)
        if name and not name.startswith("-") and name not in known:
            near = get_close_matches(name, known, n=3)
            hint = f"Did you mean {' or '.join(near)}?" if near else f"There are {', '.join(known)}."
            ctx.fail(f"{ctx.command_path} has no command {name!r}. {hint}")
        return super().resolve_command(ctx, args)


class ShownError(click.ClickException):
    """An error of ours on its way to the person: `Error: ...`, exit code 1."""

    def __init__(self, error: ArchiveError) -> None:
        super().__init__(str(error))


def from_one(_context: click.Context, _parameter: click.Parameter, value: int | None) -> int | None:
    """Return a number of things, which is one or more.

    Raises
    ------
    click.BadParameter
        It is none.
    """
    if value is not None and value < 1:
        raise click.BadParameter(f"{value} is too few. Give 1 or more.")
    return value


def limit_option(default: int, what: str) -> Callable[[Any], Any]:
    """Return the option that says how many are shown."""
    return click.option(
        "--limit",
        type=int,
        callback=from_one,
        default=default,
        show_default=True,
        metavar="N",
        help=f"Show at most so many {what}.",
    )


def yes_option(function: Any) -> Any:
    """Give a command the option that answers its question beforehand."""
    return click.option("--yes", is_flag=True, help="Do not ask first.")(function)


def ask(question: str, *, yes: bool) -> None:
    """Ask before something that cannot be taken back; without an answer nothing is done."""
    if not yes:
        click.confirm(f"{question} (--yes answers this beforehand)", abort=True, err=True)
