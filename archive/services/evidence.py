"""All that can answer a question for a colour, as arrays: measured patches, colours seen on prints, colours told.

What changes from day to day (what is in the house, what is loaded) is not in here; it is asked with the question.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from math import floor
from typing import Any

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, today
from archive.catalogue.models import (
    Appearance,
    Copy,
    Ink,
    Layer,
    Machine,
    PaletteColour,
    Paper,
    Picture,
    Recipe,
    Run,
    Swatch,
    Variant,
    Work,
)
from archive.colour.difference import sd_per_axis
from archive.colour.spaces import on_paper, relative_to_paper
from archive.colour.wanted import parse_wanted
from archive.services.evidence_rows import (
    FEW,
    KINDS,
    NEVER,
    PROVEN,
    SEEN,
    TOLD,
    Evidence,
    Floats,
    InkSet,
    Ints,
    LayerFacts,
    RecipeFacts,
    Rows,
    Source,
    batched,
    day_number,
)
from archive.services.profile import read_profile
from archive.services.whites import PaperFacts, paper_of_screens

__all__ = [
    "KINDS",
    "NEVER",
    "PROVEN",
    "SEEN",
    "TOLD",
    "Evidence",
    "Floats",
    "InkSet",
    "Ints",
    "LayerFacts",
    "PaperFacts",
    "RecipeFacts",
    "Source",
    "batched",
    "load_evidence",
    "load_some",
    "load_swatches",
    "swatch_pieces",
]

_PIECE = 50_000  # swatches in hand at a time
_LAYER_COLUMNS = (
    Layer.recipe_id,
    Layer.ink_id,
    Layer.ink_words,
    Layer.ink_sure,
    Layer.tint_low,
    Layer.tint_high,
    Layer.print_pass,
)
_SWATCH_COLUMNS = (
    Swatch.id,
    Swatch.uid,
    Swatch.recipe_id,
    Swatch.lab_l,
    Swatch.lab_a,
    Swatch.lab_b,
    Swatch.method,
    Swatch.condition,
    Swatch.spread,
    Swatch.measured_on,
    Swatch.printed_on,
    Swatch.out_of_range,
    Run.printed_on,
    Swatch.origin,
    Machine.name,
    Swatch.claim,
)


def load_evidence(session: Session, asked_paper: str | None = None) -> Evidence:
    """Return every colour that the archive knows, read for the asked paper where a colour is relative to paper."""
    loader = _Loader(session, asked_paper, PaperFacts.read(session))
    loader.load_swatches(None)
    loader.leave_out({})
    return loader.with_the_rest()


def load_some(
    session: Session, asked_paper: str | None, papers: PaperFacts, ids: Iterable[int], left_out: dict[str, int]
) -> Evidence:
    """Return what the archive knows, of its measured swatches only some; the rest lies in the search index.

    Parameters
    ----------
    papers : PaperFacts
        Of all swatches.
    ids : iterable of int
        The swatches to load.
    left_out : dict
        How many of the other swatches do not match by colour, by the reason.
    """
    loader = _Loader(session, asked_paper, papers)
    loader.load_swatches(ids)
    loader.leave_out(left_out)
    return loader.with_the_rest()


def load_swatches(
    session: Session,
    papers: PaperFacts,
    ids: Iterable[int] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Evidence, dict[str, list[int]]]:
    """Return measured swatches without anything else, and by reason the ids of those that do not match by colour.

    Parameters
    ----------
    progress : callable
        Told after each of how many steps; one more is left for what the caller does with them.
    """
    loader = _Loader(session, None, papers)
    loader.load_swatches(ids, progress)
    return loader.evidence(), dict(loader.apart)


def swatch_pieces(session: Session) -> int:
    """Return in how many pieces all swatches are read."""
    return -(-(session.scalar(select(func.max(Swatch.id))) or 0) // _PIECE)


class _Loader:
    def __init__(self, session: Session, asked_paper: str | None, papers: PaperFacts) -> None:
        self.session = session
        self.profile = read_profile(session)
        self.today = today()
        inks = session.execute(select(Ink).where(Ink.binned_at.is_(None)).order_by(Ink.id)).scalars().all()
        self.inks = {ink.id: ink for ink in inks}
        self.ink_by_key = {ink.name_key: ink for ink in inks}
        self.papers: dict[int, str] = dict(session.execute(select(Paper.id, Paper.name)).all())
        self.recipes: list[RecipeFacts] = []
        self.rows = Rows()
        self.left_out: list[tuple[str, str]] = []
        self.apart: dict[str, list[int]] = defaultdict(list)
        self.whites = papers.whites
        self.screen_paper = asked_paper or paper_of_screens(
            papers.counts, self.papers, str(self.profile["house_paper"])
        )
        start = tuple(float(part) for part in self.profile["paper_white"])
        self.start_white: tuple[float, float, float] = (start[0], start[1], start[2])
        self.screen_white = self.whites.get(self.screen_paper or "", self.start_white)

    def leave_out(self, more: dict[str, int]) -> None:
        """Note what does not match by colour: metallic inks, and swatches by the reason."""
        self._name_metallic_inks()
        for why in dict.fromkeys((*more, *self.apart)):
            number = more.get(why, 0) + len(self.apart.get(why, ()))
            if number:
                self.left_out.append((_count(number, "swatch"), why))

    def with_the_rest(self) -> Evidence:
        """Return the swatches loaded, and all colours of pictures and inks by eye."""
        self._load_pictures()
        self._load_looks()
        return self.evidence()

    def evidence(self) -> Evidence:
        """Return all rows so far, in the order of their uids."""
        rows = self.rows
        order = sorted(range(len(rows.uid)), key=lambda row: (rows.uid[row], row))  # so that ties go by uid
        return Evidence(
            lab=np.array(rows.lab, dtype=np.float64).reshape(-1, 3)[order],
            recipe=np.array(rows.recipe, dtype=np.int64)[order],
            kind=np.array(rows.kind, dtype=np.int64)[order],
            known_sd=np.array(rows.known_sd, dtype=np.float64)[order],
            reprint_sd=np.array(rows.reprint_sd, dtype=np.float64)[order],
            aged=np.array(rows.aged, dtype=np.bool_)[order],
            day=np.array(rows.day, dtype=np.int64)[order],
            uids=tuple(rows.uid[row] for row in order),
            sources=tuple(rows.source[row] for row in order),
            recipes=tuple(self.recipes),
            whites=self.whites,
            left_out=tuple(self.left_out),
            paper_of_screen=self.screen_paper,
            screen_white=self.screen_white,
            screen_white_is_measured=(self.screen_paper or "") in self.whites,
            ages_on=np.array(rows.ages_on, dtype=np.int64)[order],
            origins=tuple(rows.origin[row] for row in order),
            machines=tuple(rows.machine[row] for row in order),
            other_machine_sd=float(self.profile["other_machine_sd"]),
        )

    # --- rows

    def _add(
        self,
        lab: Any,
        recipe: int,
        kind: int,
        uid: str,
        source: Source,
        *,
        sds: tuple[float, float],
        day: str | None = None,
        aged: bool = False,
        ages_on: int = NEVER,
        made_at: tuple[str | None, str | None] = (None, None),
    ) -> None:
        rows = self.rows
        rows.lab.append(lab)
        rows.recipe.append(recipe)
        rows.kind.append(kind)
        rows.known_sd.append(sds[0])
        rows.reprint_sd.append(sds[1])
        rows.aged.append(aged)
        rows.day.append(day_number(day) if day else 0)
        rows.uid.append(uid)
        rows.source.append(source)
        rows.ages_on.append(ages_on)
        rows.origin.append(made_at[0])
        rows.machine.append(made_at[1])

    def _sds(self, reading: float, place: float, more: float = 0.0) -> tuple[float, float]:
        day = float(self.profile["day_sd"])
        known = (reading**2 + place**2 + more**2) ** 0.5
        return known, (known**2 + day**2) ** 0.5

    def _layer(
        self, ink_id: int | None, words: str, is_sure: bool, low: float | None, high: float | None, number: int | None
    ) -> LayerFacts:
        ink = self.inks.get(ink_id or 0) or self.ink_by_key.get(fold(words))
        return LayerFacts(ink.name if ink else words, ink.kind if ink else "unknown", low, high, number, is_sure)

    def _facts(self, recipe_ids: set[int] | None) -> dict[int, RecipeFacts]:
        """Return the facts of some recipes by id, or of all."""
        layers: dict[int, list[LayerFacts]] = defaultdict(list)
        # plain columns: thousands of layers as live rows would cost half of a question's time
        query = select(*_LAYER_COLUMNS).order_by(Layer.recipe_id, Layer.position)
        heads = select(Recipe.id, Recipe.paper_id, Recipe.screen, Recipe.order_known, Recipe.words)
        wanted = recipe_ids if recipe_ids is not None and len(recipe_ids) <= FEW else None
        if wanted is not None:
            query, heads = query.where(Layer.recipe_id.in_(wanted)), heads.where(Recipe.id.in_(wanted))
        alike: dict[tuple[Any, ...], LayerFacts] = {}  # of a million layers few differ
        for recipe_id, *columns in self.session.execute(query):
            key: Any = tuple(columns)
            if key not in alike:
                alike[key] = self._layer(*key)
            layers[recipe_id].append(alike[key])
        return {
            recipe.id: RecipeFacts(
                recipe.id,
                self.papers.get(recipe.paper_id or 0),
                recipe.screen,
                tuple(layers[recipe.id]),
                recipe.order_known,
                recipe.words,
            )
            for recipe in self.session.execute(heads)
        }

    # --- measured patches

    def load_swatches(self, ids: Iterable[int] | None, progress: Callable[[int, int], None] | None = None) -> None:
        """Load some measured patches, or all."""
        query = (
            select(*_SWATCH_COLUMNS)
            .outerjoin(Run, Run.id == Swatch.run_id)
            .outerjoin(Machine, Machine.id == Run.machine_id)
            .where(Swatch.binned_at.is_(None), Swatch.lab_l.is_not(None), Swatch.recipe_id.is_not(None))
        )
        if ids is None:
            firsts = range(1, swatch_pieces(self.session) * _PIECE, _PIECE)
            pieces = [Swatch.id.between(first, first + _PIECE - 1) for first in firsts]
        else:
            pieces = [Swatch.id.in_(own) for own in batched(sorted(ids))]
        facts = self._facts(None) if len(pieces) > 1 else {}
        numbers: dict[int, int] = {}
        for done, piece in enumerate(pieces, start=1):
            found: Any = self.session.execute(query.where(piece)).all()
            facts = facts or self._facts({row[2] for row in found})
            for row in found:
                why = self._why_apart(facts[row[2]], *row[6:8], is_out=row[11])
                if why is None:
                    self._add_swatch(row, facts[row[2]], numbers)
                elif why:
                    self.apart[why].append(row[0])
            if progress:
                progress(done, len(pieces) + 1)

    def _why_apart(self, facts: RecipeFacts, method: str, condition: str | None, *, is_out: bool) -> str | None:
        """Return why a swatch does not match by colour: None when it does, no words when its ink is named already."""
        kinds = {layer.kind for layer in facts.layers}
        if "metallic" in kinds:
            return ""
        if is_out:
            return "out of the camera's range: found by name"
        if "fluorescent" in kinds and method not in ("instrument", "eye"):
            return "fluorescent ink: a camera's reading never matches; found by name"
        asked = str(self.profile["conditions"][0])
        if "fluorescent" in kinds and method == "instrument" and condition not in (None, asked):
            return f"fluorescent ink, not measured under {asked}: readings under other light cannot be compared"
        return None

    def _add_swatch(self, row: Any, facts: RecipeFacts, numbers: dict[int, int]) -> None:
        swatch_id, uid, recipe_id, lab_l, lab_a, lab_b, method, _, spread, measured_on, printed_on, _, run_on = row[:13]
        if recipe_id not in numbers:
            numbers[recipe_id] = len(self.recipes)
            self.recipes.append(facts)
        kind = {"instrument": PROVEN, "camera": PROVEN, "picture": SEEN}.get(method, TOLD)
        ages_on = self._ages_on(printed_on or run_on or measured_on) if kind == PROVEN else NEVER
        aged = self.today.toordinal() >= ages_on
        self._add(
            (lab_l, lab_a, lab_b),
            numbers[recipe_id],
            kind,
            uid,
            Source(swatch_id=swatch_id),
            sds=self._swatch_sds(self._reading_sd(method, row[15]), spread, aged=aged),
            day=measured_on or printed_on,
            aged=aged,
            ages_on=ages_on,
            made_at=row[13:15],
        )

    def _reading_sd(self, method: str, claim: float | None) -> float:
        """Return a reading's standard deviation an axis: what its sitting claims, else what is usual."""
        if method in ("camera", "picture") and claim is not None:
            return sd_per_axis(claim)
        usual = {"instrument": "reading_instrument", "camera": "reading_picture", "picture": "reading_picture"}
        return float(self.profile[usual.get(method, "reading_eye")])

    def _swatch_sds(self, reading: float, spread: float | None, *, aged: bool) -> tuple[float, float]:
        place = max(float(self.profile["place_sd"]), sd_per_axis(spread or 0.0))
        return self._sds(reading, place, float(self.profile["aged_sd"]) if aged else 0.0)

    def _ages_on(self, printed_on: str | None) -> int:
        """Return the day from which a print counts as aged."""
        if not printed_on:
            return NEVER
        days = floor(float(self.profile["aged_years"]) * 365.25) + 1
        return min(day_number(printed_on) + days, NEVER)

    # --- colours seen on prints

    def _load_pictures(self) -> None:
        shown = self._variants_shown()
        variants = {
            variant_id: (recipe_id, title or ref)
            for variant_id, recipe_id, title, ref in self.session.execute(
                select(Variant.id, Variant.recipe_id, Work.title, Work.ref)
                .join(Work, Work.id == Variant.work_id)
                .where(Variant.binned_at.is_(None))
            )
        }
        facts = self._facts({recipe_id for recipe_id, _ in variants.values() if recipe_id is not None})
        palettes: dict[int, list[Any]] = defaultdict(list)
        for colour in self.session.execute(
            select(PaletteColour.picture_id, PaletteColour.lab_l, PaletteColour.lab_a, PaletteColour.lab_b).order_by(
                PaletteColour.picture_id, PaletteColour.position
            )
        ):
            palettes[colour[0]].append(colour[1:])
        numbers: dict[int, int] = {}
        untold = several = 0
        for picture in self.session.scalars(
            select(Picture).where(Picture.binned_at.is_(None), Picture.copy_id.is_not(None)).order_by(Picture.id)
        ):
            ids = shown(picture)
            if len(ids) > 1:
                several += 1  # unplanned overlaps of several jobs: no recipe
                continue
            recipe_id, title = variants.get(ids[0], (None, "")) if ids else (None, "")
            if recipe_id is None or not facts[recipe_id].layers:
                untold += 1
                continue
            self._add_palette(picture, palettes[picture.id], facts[recipe_id], ids[0], title, numbers)
        if untold:
            self.left_out.append((_count(untold, "picture"), "no inks are told for the print"))
        if several:
            self.left_out.append((_count(several, "picture"), "several jobs on one sheet: its overlaps are no recipe"))

    def _variants_shown(self) -> Any:
        """Return a function from a picture to the ids of the variants that it shows."""
        by_copy: dict[int, set[int]] = defaultdict(set)
        query = select(Appearance.copy_id, Appearance.variant_id).where(Appearance.binned_at.is_(None))
        for copy_id, variant_id in self.session.execute(query):
            by_copy[copy_id].add(variant_id)
        living = set(self.session.scalars(select(Copy.id).where(Copy.binned_at.is_(None))))

        def shown(picture: Picture) -> list[int]:
            if picture.copy_id not in living:
                return []
            return sorted(by_copy[picture.copy_id])  # the frame may hold the whole sheet, whatever it is filed under

        return shown

    def _add_palette(
        self,
        picture: Picture,
        colours: list[Any],
        facts: RecipeFacts,
        variant_id: int,
        title: str,
        numbers: dict[int, int],
    ) -> None:
        kinds = {layer.kind for layer in facts.layers}
        special = [kind for kind in ("fluorescent", "metallic") if kind in kinds]
        if special:
            why = f"{special[0]} ink: a camera's reading never matches; found by name"
            if (title, why) not in self.left_out:
                self.left_out.append((title, why))
            return
        if variant_id not in numbers:
            numbers[variant_id] = len(self.recipes)
            self.recipes.append(
                RecipeFacts(
                    facts.recipe_id, facts.paper, facts.screen, facts.layers, facts.order_known, facts.words, variant_id
                )
            )
        is_sure = all(layer.is_sure and layer.kind != "unknown" for layer in facts.layers)
        sds = self._sds(self._reading_sd("picture", picture.claim), float(self.profile["place_sd"]))
        for lab in self._on_its_paper(picture, colours, facts.paper):
            self._add(
                lab,
                numbers[variant_id],
                SEEN if is_sure else TOLD,
                picture.uid,
                Source(picture_id=picture.id),
                sds=sds,
                day=picture.taken_at,
            )

    def _on_its_paper(self, picture: Picture, colours: list[Any], paper: str | None) -> Floats:
        """Return a picture's colours on its paper: its white is bare paper, unless a sitting made them absolute."""
        labs = np.array(colours, dtype=np.float64).reshape(-1, 3)
        white = self.whites.get(paper or "", self.screen_white)
        own = (picture.paper_l, picture.paper_a, picture.paper_b)
        if picture.claim is not None or None in own or not len(labs):
            return labs
        relative = relative_to_paper(labs, np.array(own, dtype=np.float64))
        # a colour lighter than the bare paper (a light spot of the table) is no ink: it stops at the paper
        relative[:, 0] = np.minimum(relative[:, 0], 100.0)
        return on_paper(relative, white)

    # --- inks by eye

    def _load_looks(self) -> None:
        for ink in self.inks.values():
            if not ink.looks or ink.kind == "metallic":
                continue
            number = len(self.recipes)
            layer = LayerFacts(ink.name, ink.kind, 100.0, 100.0, 1, True)
            self.recipes.append(RecipeFacts(None, None, None, (layer,), words="the ink's solid by eye"))
            lab = self.looks_lab(ink.looks)
            sds = self._sds(float(self.profile["reading_eye"]), 0.0)
            self._add(lab, number, TOLD, ink.uid, Source(ink_id=ink.id), sds=sds)

    def looks_lab(self, looks: str) -> Any:
        """Return an ink's colour by eye on the paper that is asked for."""
        given = parse_wanted(looks)
        lab = np.array(given.lab, dtype=np.float64)
        return on_paper(lab, self.screen_white) if given.is_from_screen else lab

    def _name_metallic_inks(self) -> None:
        for ink in self.inks.values():
            if ink.kind == "metallic":
                self.left_out.append((ink.name, "metallic: found by name only"))


def _count(number: int, noun: str) -> str:
    ending = "" if number == 1 else "es" if noun.endswith("ch") else "s"
    return f"{number} {noun}{ending}"
