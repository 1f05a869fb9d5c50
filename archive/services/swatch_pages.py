"""Cards of swatches with their recipe: what is known of each, gathered for the printer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import today
from archive.catalogue.models import Copy, Ink, Layer, Place, Recipe, Run, Swatch, Variant, Work
from archive.colour.difference import R95
from archive.output.swatch_cards import CardLayer, SwatchCard, swatch_cards
from archive.services.copies import first_copies
from archive.services.evidence import KINDS, PaperFacts, load_swatches
from archive.services.page_files import PageFile, write_pages
from archive.services.recipes import ExactLayer, recipe_key
from archive.services.swatch_list import SwatchSummary, list_swatches, show_swatch
from archive.services.work_cards import layers_of

_METHODS = {"instrument": "by instrument", "camera": "by camera", "picture": "off a picture", "eye": "by eye"}
Lab = tuple[float, float, float]


def print_swatch_cards(
    session: Session,
    path: Path,
    uids: Sequence[str] = (),
    *,
    ink: str | None = None,
    over: str | None = None,
    paper: str | None = None,
    limit: int = 60,
) -> PageFile:
    """Write cards of the swatches named, or of those that a list with the same filters shows, as a PDF to cut apart.

    Raises
    ------
    NotFoundError
        No such swatch, ink or paper.
    InputError
        No swatch is chosen.
    CatalogueError
        The file cannot be written.
    """
    if uids:
        chosen = [show_swatch(session, uid) for uid in dict.fromkeys(uids)]
    else:
        chosen = list_swatches(session, ink=ink, over=over, paper=paper, limit=limit)
    gathered = _Gathered(session, chosen)
    cards = [gathered.card(each) for each in chosen]
    return write_pages(path, swatch_cards(cards, day=today()), len(cards))


class _Gathered:
    """What the cards of the chosen swatches share: how their colours are known, the papers' whites, the inks."""

    def __init__(self, session: Session, chosen: Sequence[SwatchSummary]) -> None:
        self.session = session
        evidence, apart = load_swatches(session, PaperFacts.read(session), [each.id for each in chosen])
        self.evidence = evidence
        self.rows = {uid: row for row, uid in enumerate(evidence.uids)}
        self.apart = {swatch_id: why for why, ids in apart.items() for swatch_id in ids}
        self.inks = {ink.id: ink for ink in session.scalars(select(Ink))}

    def card(self, chosen: SwatchSummary) -> SwatchCard:
        swatch = self.session.get_one(Swatch, chosen.id)
        row = self.rows.get(chosen.uid)
        layers = layers_of(self.session, swatch.recipe_id) if swatch.recipe_id else []
        is_metallic = any(self._kind(layer) == "metallic" for layer in layers)
        return SwatchCard(
            uid=chosen.uid,
            name=chosen.name,
            paper=chosen.paper or "a paper not told",
            white=self.evidence.whites.get(chosen.paper or ""),
            layers=self._layers(swatch, layers),
            lab=chosen.lab,
            uncertainty=R95 * float(self.evidence.known_sd[row]) if row is not None else None,
            evidence=KINDS[self.evidence.kind[row]].replace("_", " ") if row is not None else "",
            drawn="hatched" if is_metallic else "cut" if swatch.out_of_range else "flat",
            measured=_measured(chosen),
            work=self._work(swatch),
            place=self._place(swatch),
            notes=self._notes(swatch, row, is_metallic=is_metallic),
        )

    def _kind(self, layer: Layer) -> str:
        ink = self.inks.get(layer.ink_id or 0)
        return ink.kind if ink else ""

    def _layers(self, swatch: Swatch, layers: Sequence[Layer]) -> list[CardLayer]:
        """Return the recipe's layers, each with what was measured of it alone and of the sheet so far."""
        recipe = self.session.get(Recipe, swatch.recipe_id) if swatch.recipe_id else None
        exact = [_exact(layer) for layer in layers]
        own = _lab(swatch)
        found = []
        for number, layer in enumerate(layers, start=1):
            ink = self.inks.get(layer.ink_id or 0)
            is_last = number == len(layers)
            alone = self._measured_of(recipe, [exact[number - 1]])
            so_far = own if is_last else self._measured_of(recipe, exact[:number])
            name = (ink.name if ink else layer.ink_words) + ("" if layer.ink_sure else "?")
            if self._kind(layer) == "metallic":
                alone = so_far = None
            found.append(CardLayer(name, _tint(layer), layer.print_pass, alone, so_far))
        return found

    def _measured_of(self, recipe: Recipe | None, layers: Sequence[ExactLayer | None]) -> Lab | None:
        """Return the newest measured colour of exactly these layers on the recipe's paper and screen."""
        exact = [layer for layer in layers if layer is not None]
        if recipe is None or recipe.paper_id is None or len(exact) < len(layers):
            return None
        first = exact[0].print_pass
        moved = [ExactLayer(layer.ink_id, layer.tint, layer.print_pass - first + 1) for layer in exact]
        query = (
            select(Swatch)
            .join(Recipe, Recipe.id == Swatch.recipe_id)
            .where(Recipe.key == recipe_key(recipe.paper_id, moved, recipe.screen), Recipe.binned_at.is_(None))
            .where(Swatch.binned_at.is_(None), Swatch.lab_l.is_not(None), Swatch.out_of_range.is_(False))
        )
        newest = max(self.session.scalars(query), key=lambda each: (each.measured_on or "", each.id), default=None)
        return _lab(newest) if newest else None

    def _variant_id(self, swatch: Swatch) -> int | None:
        if swatch.variant_id is None and swatch.run_id is not None:
            return self.session.get_one(Run, swatch.run_id).variant_id
        return swatch.variant_id

    def _work(self, swatch: Swatch) -> str:
        variant_id = self._variant_id(swatch)
        if variant_id is None:
            return ""
        work = self.session.scalars(
            select(Work).join(Variant, Variant.work_id == Work.id).where(Variant.id == variant_id)
        ).one()
        return f"{work.ref} {work.title}".strip()

    def _place(self, swatch: Swatch) -> str:
        variant_id = self._variant_id(swatch)
        copy_id = swatch.copy_id or (first_copies(self.session, {variant_id}).get(variant_id) if variant_id else None)
        copy = self.session.get(Copy, copy_id) if copy_id else None
        if copy is None:
            return ""
        if copy.whereabouts != "here":
            return f"the print is {copy.whereabouts}"
        return self.session.get_one(Place, copy.place_id).path if copy.place_id else ""

    def _notes(self, swatch: Swatch, row: int | None, *, is_metallic: bool) -> list[str]:
        notes = [why for why in [self.apart.get(swatch.id)] if why]
        if is_metallic:
            notes.append("metallic ink: look at the print")
        if row is not None and self.evidence.aged[row]:
            notes.append("aged: read a fresh patch before you trust it")
        if swatch.origin is not None:
            notes.append(f"proven at {swatch.origin}, on another machine")
        return notes


def _exact(layer: Layer) -> ExactLayer | None:
    if layer.ink_id is None or layer.tint_low is None or layer.tint_low != layer.tint_high or not layer.print_pass:
        return None
    return ExactLayer(layer.ink_id, layer.tint_low, layer.print_pass)


def _tint(layer: Layer) -> str:
    if layer.tint_low is None or layer.tint_high is None:
        return "tint unknown"
    if layer.tint_low == layer.tint_high:
        return f"{layer.tint_low:g} %"
    return f"{layer.tint_low:g}–{layer.tint_high:g} %"


def _lab(swatch: Swatch) -> Lab | None:
    if swatch.lab_l is None or swatch.lab_a is None or swatch.lab_b is None:
        return None
    return swatch.lab_l, swatch.lab_a, swatch.lab_b


def _measured(chosen: SwatchSummary) -> str:
    if chosen.lab is None:
        return "not measured"
    count = f"{chosen.readings} reading{'' if chosen.readings == 1 else 's'}"
    parts = (_METHODS.get(chosen.method or "", ""), chosen.condition, chosen.measured_on, count)
    return ", ".join(part for part in parts if part)
