"""Evidence that has gone stale: printed before a new filling or lot, fluorescent, aged, or read while it was fresh.

What is listed still answers questions; it says what to print or to measure again, by ink and by paper.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import first_day, sort_key, today
from archive.catalogue.models import Change, Edit, Filling, Ink, Layer, Measurement, MixPart, Paper, Recipe, Run, Swatch
from archive.services.measuring import is_fresh
from archive.services.profile import read_profile
from archive.services.recipe_words import recipe_words

_PROVEN = ("instrument", "camera")


@dataclass(frozen=True, slots=True)
class StaleGroup:
    """What one ink or paper has gone stale by: `id`, `uid` and `name` are its own, `reason` is a word of the list.

    The words: new filling, new lot, fluorescent, aged, fresh only.
    """

    id: int
    uid: str
    noun: str
    name: str
    reason: str
    why: str
    mend: str
    swatches: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class _Patch:
    """A measured patch: when it was printed as far as that is known (else when it was read), and when it was read."""

    id: int
    uid: str
    recipe_id: int
    paper_id: int | None
    inks: frozenset[int]
    printed: str | None
    read: str | None
    method: str
    is_fresh: bool


def list_stale(session: Session) -> list[StaleGroup]:
    """Return what has gone stale, by reason, then by ink or paper."""
    patches = _patches(session)
    inks: dict[int, Ink] = {ink.id: ink for ink in session.scalars(select(Ink).where(Ink.binned_at.is_(None)))}
    papers: dict[int, Paper] = {
        paper.id: paper for paper in session.scalars(select(Paper).where(Paper.binned_at.is_(None)))
    }
    profile = read_profile(session)
    groups = [
        *_before_fillings(session, patches, inks),
        *_before_lots(session, patches, papers),
        *_fluorescent(patches, inks, float(profile["fluorescent_years"])),
        *_aged(patches, papers, float(profile["aged_years"])),
        *_fresh_only(patches, papers, float(profile["settled_hours"])),
    ]
    return [_group(session, *each) for each in groups]


def _patches(session: Session) -> list[_Patch]:
    layers: dict[int, set[int]] = defaultdict(set)
    for recipe_id, ink_id in session.execute(select(Layer.recipe_id, Layer.ink_id).where(Layer.ink_id.is_not(None))):
        layers[recipe_id].add(ink_id or 0)
    settled = float(read_profile(session)["settled_hours"])
    query = (
        select(Swatch, Recipe.paper_id, Run.printed_on, Measurement)
        .join(Recipe, Recipe.id == Swatch.recipe_id)
        .join(Measurement, Measurement.id == Swatch.standing_id)
        .outerjoin(Run, Run.id == Swatch.run_id)
        .where(Swatch.binned_at.is_(None), Swatch.lab_l.is_not(None))
        .order_by(Swatch.id)
    )
    return [
        _Patch(
            swatch.id,
            swatch.uid,
            swatch.recipe_id or 0,
            paper_id,
            frozenset(layers[swatch.recipe_id or 0]),
            swatch.printed_on or run_on or swatch.measured_on,  # as `evidence` dates a sheet for its age
            swatch.measured_on,
            swatch.method or "",
            is_fresh(reading, swatch, settled),
        )
        for swatch, paper_id, run_on, reading in session.execute(query)
    ]


def _newest_print(patches: Iterable[_Patch]) -> dict[int, str]:
    """Return the day of the newest dated print of each recipe."""
    newest: dict[int, str] = {}
    for patch in patches:
        if patch.printed:
            newest[patch.recipe_id] = max(newest.get(patch.recipe_id, ""), patch.printed[:10])
    return newest


_Found = tuple[Any, str, str, str, list[_Patch]]


def _before_fillings(session: Session, patches: list[_Patch], inks: dict[int, Ink]) -> Iterator[_Found]:
    newest = _newest_print(patches)
    since = _newest_fillings(session)
    for ink in sorted(inks.values(), key=lambda each: sort_key(each.name)):
        if ink.id not in since:
            continue
        day, name = since[ink.id]
        # a recipe that was printed again since is fresh evidence, whatever older patches say beside it
        old = [each for each in patches if ink.id in each.inks and newest.get(each.recipe_id, day) < day]
        if old:
            why = f"filling {name} is in since {day}, and these were printed before"
            yield ink, "new filling", why, f"print a patch with {ink.name} as it is now and measure it", old


def _newest_fillings(session: Session) -> dict[int, tuple[str, str]]:
    """Return the newest filling of each ink that is in a drum already: its day and name; a mix is of its own ink."""
    query = select(Filling.ink_id, Filling.since, Filling.name, Filling.id).where(
        Filling.binned_at.is_(None), Filling.since.is_not(None), Filling.since <= today().isoformat()
    )
    mixes = set(session.scalars(select(MixPart.filling_id).group_by(MixPart.filling_id).having(func.count() > 1)))
    found: dict[int, tuple[str, str]] = {}
    for ink_id, since, name, filling_id in session.execute(query.order_by(Filling.since, Filling.id)):
        found[ink_id] = (since or "", f"{name} (a mix)" if filling_id in mixes else name)
    return found


def _before_lots(session: Session, patches: list[_Patch], papers: dict[int, Paper]) -> Iterator[_Found]:
    newest = _newest_print(patches)
    for paper, day in _new_lots(session, papers):
        old = [each for each in patches if each.paper_id == paper.id and newest.get(each.recipe_id, day) < day]
        if old:
            why = f"lot {paper.lot} is written down since {day}, and these lie on an older one"
            yield paper, "new lot", why, "measure a bare sheet of the new lot, then print a patch on it", old


def _new_lots(session: Session, papers: dict[int, Paper]) -> Iterator[tuple[Paper, str]]:
    """Yield each paper whose lot took another's place, with the day that was written down."""
    query = (
        select(Edit.row_id, Edit.old, Edit.new, Change.at)
        .join(Change, Change.id == Edit.change_id)
        .where(Edit.table_name == "paper", Edit.column_name == "lot", Change.kind != "undo")
        .order_by(Edit.id)
    )
    days: dict[int, str] = {}
    for paper_id, old, new, at in session.execute(query):
        paper = papers.get(paper_id)
        if paper is not None and old and new and new == paper.lot:
            days[paper_id] = at[:10]
    yield from ((papers[paper_id], day) for paper_id, day in days.items())


def _fluorescent(patches: list[_Patch], inks: dict[int, Ink], years: float) -> Iterator[_Found]:
    for ink in sorted(inks.values(), key=lambda each: sort_key(each.name)):
        if ink.kind == "fluorescent":
            old = [each for each in patches if ink.id in each.inks and _is_older(each.read, years)]
            if old:
                why = f"fluorescent, and read more than {years:g} years ago"
                yield (
                    ink,
                    "fluorescent",
                    why,
                    "measure them again under the same condition: inkchest swatch measure",
                    old,
                )


def _aged(patches: list[_Patch], papers: dict[int, Paper], years: float) -> Iterator[_Found]:
    old = [each for each in patches if each.method in _PROVEN and _is_older(each.printed, years)]
    for paper, group in _by_paper(old, papers):
        why = f"sheets older than {years:g} years: paper yellows and inks fade"
        yield paper, "aged", why, "print a fresh patch and measure it before you trust them", group


def _fresh_only(patches: list[_Patch], papers: dict[int, Paper], hours: float) -> Iterator[_Found]:
    for paper, group in _by_paper([each for each in patches if each.is_fresh], papers):
        why = f"read less than {hours:g} hours after printing, and never since"
        yield paper, "fresh only", why, "measure them again once they have settled: inkchest swatch measure", group


def _by_paper(patches: list[_Patch], papers: dict[int, Paper]) -> Iterator[tuple[Paper, list[_Patch]]]:
    for paper in sorted(papers.values(), key=lambda each: sort_key(each.name)):
        group = [each for each in patches if each.paper_id == paper.id]
        if group:
            yield paper, group


def _is_older(day: str | None, years: float) -> bool:
    return bool(day) and (today() - first_day(str(day))).days / 365.25 > years


def _group(session: Session, row: Any, reason: str, why: str, mend: str, patches: list[_Patch]) -> StaleGroup:
    words = recipe_words(session, {each.recipe_id for each in patches})
    swatches = tuple(
        {
            "id": each.id,
            "uid": each.uid,
            "paper": words[each.recipe_id][0],
            "inks": words[each.recipe_id][1],
            "printed_on": each.printed,
            "measured_on": each.read,
        }
        for each in sorted(patches, key=lambda each: (sort_key(words[each.recipe_id][1]), each.id))
    )
    return StaleGroup(row.id, row.uid, row.__tablename__, row.name, reason, why, mend, swatches)
