"""How pictures that come in are told: what would happen, how far it is, what became of each."""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

import click

from archive.cli.blocks import strip
from archive.cli.words import counted

if TYPE_CHECKING:
    from archive.services.joins import JoinedCard
    from archive.services.picture_tree_import import TreePlan
    from archive.services.pictures import PictureOutcome

_SHOWN = 60  # pictures that are told one by one; of more, the counts
_EXAMPLES = 8  # of each thing in a plan


def forecast_line(what: str, clock: Callable[[], float] = time.monotonic) -> Callable[[int, int], None]:
    """Return a progress callback that shows count and forecast on one line of a terminal, and nothing elsewhere."""
    began = clock()

    def show(done: int, total: int) -> None:
        if sys.stderr.isatty():
            words = f"{what}: {done} of {total}{forecast(done, total, clock() - began)}"
            click.echo(f"\r{words:<60}", err=True, nl=done == total)

    return show


def forecast(done: int, total: int, seconds: float) -> str:
    """Return how long the rest takes at the pace so far, in words; nothing when it is soon done."""
    left = seconds / done * (total - done)
    if left < 20:
        return ""
    return f", {round(left / 10) * 10} s to go" if left < 90 else f", {round(left / 60)} min to go"


def outcome_words(outcomes: Sequence[PictureOutcome]) -> str:
    """Return what became of each picture that was read; of many, the counts."""
    read = [outcome for outcome in outcomes if outcome.status != "refused"]
    if not read:
        return "No picture was added."
    if len(read) <= _SHOWN:
        return "\n".join(_line(outcome) for outcome in read)
    known = [outcome for outcome in read if outcome.status == "known"]
    copies = Counter(outcome.copy for outcome in read if outcome.copy)
    lines = [f"{counted(len(read) - len(known), 'picture')} added, {len(known)} known already."]
    lines += _some([f"  {outcome.file}: {outcome.notes[0]}" for outcome in known if outcome.notes])
    lines.append(
        f"{copies.total()} are of {counted(len(copies), 'copy')}, {len(read) - copies.total()} of no work yet:"
    )
    lines.append("  `inkchest picture loose` lists those; --json tells of every picture.")
    return "\n".join(lines)


def _line(outcome: PictureOutcome) -> str:
    colours = strip([colour["lab"] for colour in outcome.palette[:8]], 3)
    of = f" of {outcome.copy}" if outcome.copy else ""
    notes = f" ({'; '.join(outcome.notes)})" if outcome.notes else ""
    return f"{outcome.status:6} {outcome.file}{of}{notes}{'  ' if colours else ''}{colours}"


def plan_words(plan: TreePlan, works_from: str | None) -> str:
    """Return what adding a tree would do, most important first."""
    lines = [f"{counted(plan.pictures, 'picture')} would be added; nothing is added yet."]
    of_works = sum(each.pictures for each in plan.works)
    if plan.works:
        lines.append(f"Of a known work: {counted(of_works, 'picture')}:")
        lines += _some(
            f"  {each.work}: {counted(each.pictures, 'picture')} by {each.by}, such as {each.example}"
            for each in plan.works
        )
    if plan.several:
        lines.append(f"Of one of several works, and left loose: {counted(len(plan.several), 'picture')}:")
        lines += _some(f"  {each.file}: {' or '.join(each.works)}" for each in plan.several)
    if plan.loose:
        loose = counted(sum(plan.loose.values()), "picture")
        lines.append(f"Of no known work: {loose} in {counted(len(plan.loose), 'folder')}:")
        lines += _some(f"  {folder or 'named by themselves'}: {count}" for folder, count in plan.loose.items())
        if plan.new_works:
            lines.append(f"  To be made, one for each {works_from}: {counted(plan.new_works, 'undescribed work')}.")
        else:
            lines.append("  --works-from folder, or file, makes an undescribed work for each.")
    for title, same in (
        ("In the archive already", plan.known),
        ("The same as another file of the tree", plan.doubled),
    ):
        if same:
            lines.append(f"{title}, and skipped: {counted(len(same), 'file')}:")
            lines += _some(f"  {each.file} is {each.same_as}" for each in same)
    if plan.unreadable:
        lines.append(f"Cannot be read: {counted(len(plan.unreadable), 'file')}:")
        lines += [f"  {each.why}" for each in plan.unreadable]
    for passed in plan.passed_over:
        lines.append(f"Passed over: {counted(len(passed.files), 'name')}: {passed.reason}, such as {passed.files[0]}.")
    return "\n".join(lines)


def _some(lines: Iterable[str]) -> list[str]:
    found = list(lines)
    more = len(found) - _EXAMPLES
    return found if more <= 0 else [*found[:_EXAMPLES], f"  and {more} more; --json lists all"]


def joined_lines(found: JoinedCard) -> list[str]:
    """Return how the parts of a sheet fit together."""
    if found.residual_mm is None:
        return [f"{counted(len(found.parts), 'part')} of {found.copy} stay parts: {found.why}"]
    return [f"{counted(len(found.parts), 'part')} of {found.copy} joined; they meet within {found.residual_mm:.2f} mm"]
