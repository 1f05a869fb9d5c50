"""Help begins with a verb, shows an example that can be typed, and the written reference is up to date."""

from __future__ import annotations

import shlex

import click
import pytest

from archive.cli.command import SharedOption, first_sentence, help_parts
from archive.cli.reference import REFERENCE_FILE, help_text, reference_text, walk
from archive.cli.root import main
from tests.cli.shop import Shop

COMMANDS = list(walk())
# every verb that help may begin with
VERBS = {
    *("Add", "Ask", "Bring", "Build", "Capture", "Change", "Close", "Copy", "Delete", "Find", "Give", "Keep", "List"),
    *("Look", "Make", "Mark", "Measure", "Open", "Print", "Put", "Read", "Say", "See", "Set", "Show", "Take", "Write"),
}
EXAMPLES = [(name, example) for name, command in COMMANDS for example in help_parts(command)[1]]


def test_help_starts_with_a_verb_and_shows_an_example() -> None:
    faults = []
    for name, command in COMMANDS:
        paragraphs, examples = help_parts(command)
        if paragraphs[0].split()[0] not in VERBS or not paragraphs[0].endswith("."):
            faults.append(f"{name}: {paragraphs[0]}")
        if not examples or not all(f"{example} ".startswith(f"{name} ") for example in examples):
            faults.append(f"{name}: {examples}")
    assert faults == []


def test_every_option_is_explained_and_the_shared_ones_are_taken() -> None:
    faults = []
    for name, command in COMMANDS:
        options = [option for option in command.params if isinstance(option, click.Option)]
        faults += [f"{name} {option.name}" for option in options if not option.help]
        shared = {part for option in options if isinstance(option, SharedOption) for part in option.opts}
        if shared != {"--archive", "--json", "--by"}:
            faults.append(name)
    assert faults == []


@pytest.mark.parametrize(
    ("name", "example"), EXAMPLES, ids=[f"{name} {number}" for number, (name, _) in enumerate(EXAMPLES)]
)
def test_every_example_can_be_typed(name: str, example: str) -> None:
    first, *rest = shlex.split(example)
    assert first == "inkchest"
    context = click.Context(main, info_name="inkchest")
    command: click.Command = main
    while isinstance(command, click.Group) and rest:
        _, found, rest = command.resolve_command(context, rest)
        assert found is not None
        command = found
    command.make_context(example, rest)  # parses, and runs nothing


def test_a_list_of_commands_shows_whole_sentences() -> None:
    for name, command in COMMANDS:
        if isinstance(command, click.Group) and command is not main:
            text = " ".join(help_text(command, name).split())
            assert [each for each in command.commands.values() if first_sentence(each) not in text] == []


def test_the_list_of_commands_begins_with_verbs(shop: Shop) -> None:
    lines = shop.do("--help").partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    assert len(lines) == len(main.list_commands(click.Context(main)))
    assert {line.split()[1].rstrip(",") for line in lines} <= VERBS


def test_the_written_reference_is_not_stale() -> None:
    # mend: python -m archive.cli.reference
    assert REFERENCE_FILE.read_text(encoding="utf-8") == reference_text()
