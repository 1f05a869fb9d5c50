"""What to print next: the pairs that are used and asked for and of which no overprint was ever measured."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, sort_key
from archive.catalogue.models import Ink, Layer, Recipe, Run, Strip, StripReading, Swatch, Variant
from archive.services.house import pass_planner
from archive.services.saved_questions import list_questions

Pair = tuple[int, int]  # ids of inks, the one below first

_ASKED, _WORK = 3, 1  # what a kept question counts beside a work [own choice: somebody waits for the answer]


@dataclass(frozen=True, slots=True)
class NextStrip:
    """A strip worth printing: `asked` counts kept questions, `works` the variants and runs that used these inks."""

    inks: tuple[str, ...]
    design: str
    asked: int
    works: int
    printable_now: bool
    why: str
    command: str


def next_strips(session: Session, *, with_pairs: Sequence[tuple[str, str]] = (), limit: int = 5) -> list[NextStrip]:
    """Return what to print next, the most asked and used first.

    Pairs come first whose overprint nobody measured in that order; then inks whose lightest tint was never looked for.
    Retired, metallic and fluorescent inks, and pairs whose strip is printed and waits to be read, are left out.

    Parameters
    ----------
    with_pairs : sequence of (ink below, ink above)
        Pairs that are asked for now, besides those of kept questions.
    """
    inks = _inks(session)
    used = _used(session, inks)
    asked = _asked(session, inks, with_pairs)
    measured, waiting = _measured(session), _waiting(session)
    wanted = [pair for pair in used | asked if pair not in measured and pair not in waiting]
    wanted.sort(
        key=lambda pair: (-(_ASKED * asked[pair] + _WORK * used[pair]), *(sort_key(inks[each].name) for each in pair))
    )
    planner = pass_planner(session)
    found = []
    for pair in wanted:
        names = tuple(inks[each].name for each in pair)
        is_printable = planner.plan(list(names)).printable_now
        why = _why(asked[pair], used[pair], (pair[1], pair[0]) in measured)
        found.append(_next(names, "eleven", asked[pair], used[pair], is_printable, why))
    found.sort(key=lambda each: not each.printable_now)  # keeps the order among equals
    return [*found, *_ramps(session, inks, used, waiting)][:limit]


def _next(names: tuple[str, ...], design: str, asked: int, works: int, is_printable: bool, why: str) -> NextStrip:
    command = f"inkchest strip make --inks {','.join(names)!r} --design {design} --to DIR"
    return NextStrip(names, design, asked, works, is_printable, why, command)


def _why(asked: int, used: int, other_way: bool) -> str:
    parts = [f"asked for {asked} time{'' if asked == 1 else 's'}"] if asked else []
    parts += [f"used {used} time{'' if used == 1 else 's'}"] if used else []
    tail = "measured only the other way round" if other_way else "its overprint was never measured"
    return ", ".join([*parts, tail])


def _inks(session: Session) -> dict[int, Ink]:
    query = select(Ink).where(Ink.binned_at.is_(None), Ink.in_house, Ink.origin.is_(None))
    return {ink.id: ink for ink in session.scalars(query) if ink.kind in ("transparent", "opaque")}


def _layers(rows: Iterable[Any]) -> dict[int, list[int | None]]:
    """Return the inks of each recipe in printing order."""
    found: dict[int, list[int | None]] = defaultdict(list)
    for recipe_id, ink_id in rows:
        found[recipe_id].append(ink_id)
    return found


def _used(session: Session, inks: dict[int, Ink]) -> Counter[Pair]:
    """Return how many variants and runs laid one ink over another."""
    uses: Counter[int] = Counter()
    for model in (Variant, Run):
        counts = select(model.recipe_id, func.count()).where(model.binned_at.is_(None)).group_by(model.recipe_id)
        for recipe_id, count in session.execute(counts):
            uses[recipe_id or 0] += count
    query = select(Layer.recipe_id, Layer.ink_id).join(Recipe, Recipe.id == Layer.recipe_id)
    rows = session.execute(query.where(Recipe.binned_at.is_(None)).order_by(Layer.recipe_id, Layer.position))
    found: Counter[Pair] = Counter()
    for recipe_id, laid in _layers(rows).items():
        for below, above in pairwise(laid):
            if uses[recipe_id] and below in inks and above in inks and below is not None and above is not None:
                found[below, above] += uses[recipe_id]
    return Counter({pair: count for pair, count in found.items() if pair[0] != pair[1]})


def _asked(session: Session, inks: dict[int, Ink], more: Sequence[tuple[str, str]]) -> Counter[Pair]:
    ids = {fold(ink.name): ink.id for ink in inks.values()}
    asks = [each.asks for each in list_questions(session)]
    named = [(str(ask["over"]), str(ask["ink"])) for ask in asks if ask.get("ink") and ask.get("over")]
    pairs = [(ids.get(fold(below)), ids.get(fold(above))) for below, above in [*named, *more]]
    return Counter((below, above) for below, above in pairs if below is not None and above is not None)


def _measured(session: Session) -> set[Pair]:
    """Return the pairs of which an overprint, and nothing else, was measured."""
    query = (
        select(Layer.recipe_id, Layer.ink_id)
        .join(Recipe, Recipe.id == Layer.recipe_id)
        .join(Swatch, Swatch.recipe_id == Recipe.id)
        .where(Swatch.binned_at.is_(None), Swatch.method.in_(("instrument", "camera")), Recipe.is_told.is_(False))
        .distinct()
        .add_columns(Layer.position)
        .order_by(Layer.recipe_id, Layer.position)
    )
    laid = _layers((recipe_id, ink_id) for recipe_id, ink_id, _ in session.execute(query))
    return {(each[0], each[1]) for each in laid.values() if len(each) == 2 and each[0] and each[1]}


def _waiting(session: Session) -> set[Pair]:
    """Return the pairs of strips that were made and never read."""
    read = select(StripReading.strip_id).where(StripReading.binned_at.is_(None))
    query = select(Strip).where(Strip.binned_at.is_(None), Strip.id.not_in(read))
    strips = session.scalars(query).all()
    return {(below, above) for strip in strips for below, above in pairwise(strip.inks)}


def _ramps(session: Session, inks: dict[int, Ink], used: Counter[Pair], waiting: set[Pair]) -> list[NextStrip]:
    """Return strips for inks whose lightest tint is not known, the most used first."""
    uses: Counter[int] = Counter()
    for pair, count in used.items():
        for ink_id in pair:
            uses[ink_id] += count
    open_inks = [ink for ink in inks.values() if ink.lightest_tint is None and uses[ink.id]]
    open_inks.sort(key=lambda ink: (-uses[ink.id], sort_key(ink.name)))
    planner = pass_planner(session)
    return [
        _next((ink.name,), "lightest", 0, uses[ink.id], planner.plan([ink.name]).printable_now,
              f"used {uses[ink.id]} time{'' if uses[ink.id] == 1 else 's'}, its lightest tint was never looked for")
        for ink in open_inks
    ]  # fmt: skip
