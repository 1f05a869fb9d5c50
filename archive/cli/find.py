"""Finding works, and keeping a question to ask it again."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from archive.cli.blocks import beside
from archive.cli.command import Command, Group, limit_option
from archive.cli.face import Face, say
from archive.cli.words import counted
from archive.services import saved_questions
from archive.services.claims import BASES
from archive.services.finding import FindOptions, find_works

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from archive.services.found_facts import ColourFit, FoundWork

_SHOWN = 4  # copies, and printings, that a work is shown with
_FEW = 5  # works that are shown with all that is known of them


def find_options(function: Any) -> Any:
    """Give a command the words and options that say which works are meant."""
    for option in reversed(
        (
            click.argument("text", metavar="[WORDS]...", nargs=-1),
            click.option("--works", metavar="REF..REF,REF", help="These works, by ref."),
            click.option(
                "--colour", metavar="COLOUR", help="Whose print holds this colour, as `match colour` reads it."
            ),
            click.option("--ink", metavar="INK", help="Printed with this ink, or with one of this kind: fluorescent."),
            click.option("--over", metavar="INK", help="The ink was printed over this one."),
            click.option("--paper", metavar="PAPER", help="On this paper, or on any of this shade: grey."),
            click.option("--person", metavar="NAME", help="Made or printed by this person."),
            click.option("--year", "years", metavar="Y..Y", help="From that year, month or span: 1998..2004, 2019-05."),
            click.option("--like", metavar="REF", help="Printed in the same month as this work."),
            click.option("--undated", is_flag=True, help="Without any date."),
            click.option("--basis", metavar="|".join(BASES), help="With a fact known in this way; unknown: by nobody."),
            click.option(
                "--printable/--not-printable",
                default=None,
                help="What the inks and machines in the house can print now, or cannot.",
            ),
            click.option("--kept", metavar="NAME", help="As in a kept question; what is given besides holds instead."),
        )
    ):
        function = option(function)
    return function


def asked(session: Session, text: tuple[str, ...], kept: str | None, given: Mapping[str, Any]) -> FindOptions:
    """Return the question that the options ask, a kept one included."""
    named = {name: value for name, value in given.items() if value not in (None, False) or name == "printable"}
    named = {name: value for name, value in named.items() if value is not None}
    if text:
        named["text"] = " ".join(text)
    return saved_questions.kept_question(session, kept, named) if kept else FindOptions(**named)


def fits_of(session: Session, options: FindOptions) -> dict[int, ColourFit] | None:
    """Return the works that hold the asked colour; None where no colour is asked."""
    if options.colour is None:
        return None
    from archive.services.finding_colour import works_of_colour  # here: it loads the mathematics of colour

    return works_of_colour(session, options)


@click.command(cls=Command)
@find_options
@click.option("--keep", metavar="NAME", help="Keep this question under a name.")
@click.option("--full", is_flag=True, help=f"All that is known of each, also of more than {_FEW} works.")
@limit_option(50, "works")
@click.pass_obj
def find(
    face: Face,
    /,
    text: tuple[str, ...],
    kept: str | None,
    keep: str | None,
    full: bool,
    limit: int,
    **given: Any,
) -> None:
    """Find works by words, colour, ink, paper, person, date, trust, and by what can be printed now.

    WORDS stand in ref, title, note, makers. Of up to five works it also tells who printed them, whether the file is
    left, which copy is the one to go by, its edition, and whether it can be printed now.

    Example: inkchest find tides

    Example: inkchest find --colour 'dusty rose' --paper grey

    Example: inkchest find --ink Ferrywake --over Dockrope --year 1998..2004

    Example: inkchest find --like QA-0042 --keep 'that month'
    """
    with face.read() as session:
        options = asked(session, text, kept, {**given, "limit": limit})
        found = find_works(session, options, fits_of(session, options))
    if keep is not None:
        with face.write(f"keep the question {keep}") as session:
            saved = saved_questions.keep_question(session, keep, options)
        say(f"Kept: inkchest find --kept {shlex.quote(saved.name)}")
    face.show(found, lambda: _lines(found, options, full=full or len(found) <= _FEW))
    if options.colour is not None:
        say(f"How it was made: inkchest match colour {shlex.quote(options.colour)}")


def _lines(found: list[FoundWork], options: FindOptions, *, full: bool) -> str:
    """Return a few lines for each work: a table of them would be wider than any screen."""
    head = [_pair_line(found, options)] if options.ink and options.over else []
    if not found:
        nothing = "Nothing found. Try fewer conditions."
        colour = f" How a colour was made: inkchest match colour {shlex.quote(options.text)}" if options.text else ""
        return "\n".join([*head, nothing + colour])
    widest = max(len(each.ref) for each in found)
    works = [
        line
        for each in found
        for line in beside([], _work_lines(each, options, full=full), lead=f"{each.ref:{widest}}  ")
    ]
    return "\n".join([*head, *works])


def _pair_line(found: list[FoundWork], options: FindOptions) -> str:
    strips = sum(each.kind == "strip" for each in found)
    counts = [(len(found) - strips, "work"), (strips, "strip")]
    told = " and ".join(counted(count, noun) for count, noun in counts if count)
    pair = f"{options.ink} over {options.over}"
    return f"Yes, {pair} was printed: {told}." if found else f"No, {pair} is on no work and no strip here."


def _work_lines(each: FoundWork, options: FindOptions, *, full: bool) -> list[str]:
    where = f"lies in {', and in '.join(each.places)}" if each.places else ""
    on = f"on {' and '.join(each.papers)}" if each.papers else ""
    facts = ", ".join(part for part in (on, where) if part)
    head = ", ".join(part for part in (each.title, each.kind, each.date) if part)
    answers = [_colour_line(each.colour)] if each.colour is not None else []
    if each.patches:
        answers.append(f"{counted(each.patches, 'patch')} with it")
    if each.kind != "strip":
        if full or options.person:
            answers.append(_people_line(each))
        if full:
            answers += [_file_line(each), *_copy_lines(each)]
        if full or options.printable is not None:
            answers.append(_printable_line(each))
        if full or options.basis:
            answers += [_claim_line(claim) for claim in each.claims if options.basis or claim["basis"] == "unknown"]
    return [part for part in (head, *each.inks, facts, *answers) if part] or ["nothing known of it yet"]


def _colour_line(fit: ColourFit) -> str:
    return f"{fit.verdict} (ΔE00 {fit.delta_e_2000:.1f}), {fit.evidence}: {fit.recipe}"


def _people_line(each: FoundWork) -> str:
    made = [f"{person['name']} ({person['role']})" for person in each.makers]
    printed = _first(
        [f"{person['name']} ({person['on']})" if person["on"] else person["name"] for person in each.printed_by]
    )
    parts = [f"made by {', '.join(made)}" if made else "", f"printed by {', '.join(printed)}" if printed else ""]
    return "; ".join(part for part in parts if part)


def _file_line(each: FoundWork) -> str:
    files = [f"{file['name']} ({file['lies_at'] or 'nobody knows where'})" for file in each.files]
    return f"{'file' if len(files) == 1 else 'files'}: {', '.join(files)}" if files else "no file is noted"


def _copy_lines(each: FoundWork) -> list[str]:
    """Return the copies that tell something: the one to go by first, then editions."""
    right = ("good to print", "reference")
    lines = []
    for copy in sorted(
        each.copies, key=lambda copy: right.index(copy["role"]) if copy["role"] in right else len(right)
    ):
        facts = [copy["role"], copy["edition"] and f'edition "{copy["edition"]}"', copy["place"]]
        facts += [copy["whereabouts"] if copy["whereabouts"] != "here" else ""]
        lead = "go by" if copy["role"] in right else "copy"
        if copy["role"] or copy["edition"] or copy["whereabouts"] != "here":
            lines.append(f"{lead} {copy['ref']}: {', '.join(fact for fact in facts if fact)}")
    return _first(lines)


def _first(lines: list[str]) -> list[str]:
    """Return a few of many, with how many more there are."""
    lines = list(dict.fromkeys(lines))
    return lines if len(lines) <= _SHOWN else [*lines[:_SHOWN], f"and {len(lines) - _SHOWN} more"]


def _printable_line(each: FoundWork) -> str:
    if each.printable_now is None:
        return "whether it can be printed now nobody can say: no inks are told"
    words = [f"not printable now: {each.why_not_now}"]
    if each.printable_now:
        words = [f"printable now, {'one pass' if each.passes == 1 else f'{each.passes} passes'}"]
    return ", but ".join([*words, *each.notes])


def _claim_line(claim: Mapping[str, Any]) -> str:
    if claim["basis"] == "unknown":
        return f"{claim['about']}, {claim['field']}: nobody knows"
    by = f" by {claim['by']}" if claim["by"] else ""
    return f"{claim['about']}, {claim['field']}: {claim['value']}, {claim['basis']}{by}"


question = Group(
    "question",
    help="Keep questions: what `find` was asked, by a name.\n\nExample: inkchest question list",
)


@question.command("list")
@click.pass_obj
def question_list(face: Face) -> None:
    """List the kept questions.

    Example: inkchest question list
    """
    with face.read() as session:
        found = saved_questions.list_questions(session)
    nothing = "No question is kept yet. Keep one: inkchest find --ink INK --keep NAME"
    face.show(found, lambda: "\n".join(_question_line(each) for each in found) or nothing)


@question.command("remove")
@click.argument("name", metavar="NAME")
@click.pass_obj
def question_remove(face: Face, name: str) -> None:
    """Put a kept question in the bin.

    Example: inkchest question remove 'that month'
    """
    with face.write(f"remove the question {name}") as session:
        gone = saved_questions.remove_question(session, name)
    face.show(gone, lambda: f"In the bin: question {gone.name}. `inkchest undo` brings it back.")


def _question_line(each: saved_questions.KeptQuestion) -> str:
    words = [f"{name} {value}" if value not in (True, False) else name for name, value in each.asks.items()]
    return f"{each.name}: {', '.join(words)}"
