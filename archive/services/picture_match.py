"""What a picture needs: past prints like it, and the ink sets whose evidence covers its colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Appearance, Copy, PaletteColour, Picture, Variant, Work
from archive.colour.difference import delta_e_2000
from archive.colour.palette import Palette
from archive.colour.palette import PaletteColour as Part
from archive.colour.spaces import on_paper, relative_to_paper
from archive.colour.transport import nearest_palettes
from archive.imaging.hashes import hamming_distances, hash_words
from archive.planning.passes import PassPlan
from archive.services.answers import named_options
from archive.services.evidence import KINDS, TOLD, Evidence, Floats, load_evidence
from archive.services.house import pass_planner
from archive.services.matching import MatchOptions
from archive.services.pictures import ReadPicture, read_picture
from archive.services.profile import read_profile

SAME_DESIGN_BITS = 12  # of 64: colourways of one design differ in fewer (tried on the demo's press); a candidate only


@dataclass(frozen=True, slots=True)
class Likeness:
    """A past print with a palette like the picture's; `distance` is the mean CIEDE2000 its colours would move."""

    work: str | None
    title: str | None
    picture: str
    distance: float


@dataclass(frozen=True, slots=True)
class SameDesign:
    """A candidate for the same design in other inks, by shape alone; a person decides."""

    work: str | None
    title: str | None
    picture: str
    bits: int


@dataclass(frozen=True, slots=True)
class InkSetCover:
    """How well what is known of an ink set covers the picture: area-weighted mean and worst CIEDE2000."""

    inks: tuple[str, ...]
    evidence: str
    mean: float
    worst: float
    passes: int
    machine: str | None
    printable_now: bool
    loaded: bool
    why_not_now: str | None
    paper: str | None


@dataclass(frozen=True, slots=True)
class PictureAnswer:
    """The picture's palette, prints like it, and ink sets for it."""

    palette: tuple[dict[str, Any], ...]
    paper: tuple[float, float, float] | None
    paper_share: float
    read_on: str | None
    prints: tuple[Likeness, ...]
    same_design: tuple[SameDesign, ...]
    ink_sets: tuple[InkSetCover, ...]


def match_picture(session: Session, path: Path, options: MatchOptions, *, absolute: bool = False) -> PictureAnswer:
    """Return past prints and ink sets for a picture file; nothing of it is kept.

    Raises
    ------
    InputError, NotFoundError
        The file is no picture; a paper or ink is not known.
    """
    options = named_options(session, options)
    read = read_picture(path, max_megapixels=float(read_profile(session)["largest_megapixels"]))
    evidence = load_evidence(session, options.paper)
    labs = _on_asked_paper(read.palette, evidence, absolute=absolute)
    shares = np.array([part.share for part in read.palette.colours], dtype=np.float64)
    pictures = _archive_pictures(session)
    return PictureAnswer(
        tuple(
            {"lab": tuple(lab), "share": part.share}
            for lab, part in zip(labs.tolist(), read.palette.colours, strict=True)
        ),
        read.palette.paper,
        read.palette.paper_share,
        None if absolute else evidence.paper_of_screen,
        _prints(read.palette, pictures, options.limit),
        _same_design(read, pictures, options.limit),
        _ink_sets(labs, shares, evidence, session, options),
    )


def _on_asked_paper(palette: Palette, evidence: Evidence, *, absolute: bool) -> Floats:
    """Return the palette's colours as they would lie on the asked paper."""
    labs: Floats = np.array([part.lab for part in palette.colours], dtype=np.float64).reshape(-1, 3)
    if absolute or not len(labs):
        return labs
    relative = relative_to_paper(labs, palette.paper) if palette.paper is not None else labs
    relative = np.clip(relative, (0, -200, -200), (100, 200, 200))
    return on_paper(relative, evidence.screen_white)


@dataclass(frozen=True, slots=True)
class _Pictured:
    uid: str
    work: str | None
    title: str | None
    phash: str
    is_plain: bool
    palette: Palette


def _archive_pictures(session: Session) -> list[_Pictured]:
    parts: dict[int, list[Part]] = {}
    for row in session.scalars(select(PaletteColour).order_by(PaletteColour.picture_id, PaletteColour.position)):
        parts.setdefault(row.picture_id, []).append(Part((row.lab_l, row.lab_a, row.lab_b), row.share))
    works = _works_by_copy(session)
    found = []
    for picture in session.scalars(select(Picture).where(Picture.binned_at.is_(None)).order_by(Picture.id)):
        colours = tuple(parts.get(picture.id, ()))
        paper = None
        if picture.paper_l is not None and picture.paper_a is not None and picture.paper_b is not None:
            paper = (picture.paper_l, picture.paper_a, picture.paper_b)
        if not colours and paper is None:
            continue
        palette = Palette(paper, picture.paper_share or 0.0, picture.paper_sure, colours)
        ref, title = works.get(picture.copy_id or 0, (None, None))
        found.append(_Pictured(picture.uid, ref, title, picture.phash, picture.is_plain, palette))
    return found


def _works_by_copy(session: Session) -> dict[int, tuple[str | None, str | None]]:
    query = (
        select(Copy.id, Work.ref, Work.title)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .join(Work, Work.id == Variant.work_id)
        .where(Appearance.binned_at.is_(None))
        .order_by(Work.id.desc())
    )
    return {copy_id: (ref, title) for copy_id, ref, title in session.execute(query)}


def _prints(palette: Palette, pictures: Sequence[_Pictured], limit: int) -> tuple[Likeness, ...]:
    if not pictures or (not palette.colours and palette.paper is None):
        return ()
    near = nearest_palettes(_relative(palette), [_relative(each.palette) for each in pictures], limit)
    return tuple(
        Likeness(pictures[each.index].work, pictures[each.index].title, pictures[each.index].uid, each.distance)
        for each in near
    )


def _relative(palette: Palette) -> Palette:
    """Return the palette with its paper as white: two photos of one sheet under two lights are alike."""
    if palette.paper is None or not palette.colours:
        return palette
    labs = relative_to_paper(np.array([part.lab for part in palette.colours]), palette.paper)
    labs = np.clip(labs, (0, -200, -200), (100, 200, 200))
    colours = tuple(
        Part((lab[0], lab[1], lab[2]), part.share) for lab, part in zip(labs.tolist(), palette.colours, strict=True)
    )
    return Palette((100.0, 0.0, 0.0), palette.paper_share, palette.paper_sure, colours)


def _same_design(read: ReadPicture, pictures: Sequence[_Pictured], limit: int) -> tuple[SameDesign, ...]:
    candidates = [each for each in pictures if not each.is_plain]
    if read.is_plain or not candidates:
        return ()
    bits = hamming_distances(read.phash, hash_words([each.phash for each in candidates]))
    near = [number for number in np.argsort(bits, kind="stable") if bits[number] <= SAME_DESIGN_BITS][:limit]
    return tuple(
        SameDesign(candidates[number].work, candidates[number].title, candidates[number].uid, int(bits[number]))
        for number in near
    )


def _ink_sets(
    labs: Floats, shares: Floats, evidence: Evidence, session: Session, options: MatchOptions
) -> tuple[InkSetCover, ...]:
    """Return the ink sets in order: printable before not printable before told; each by its best paper.

    Inside a group: mean rounded down to 0.5; loaded now; fewer passes; mean; names.
    """
    if not len(labs) or not len(evidence.lab):
        return ()
    nearest = _nearest_by_inks(labs, evidence, options)
    planner = pass_planner(session)
    covers = []
    for inks, papers in _papers_by_inks(nearest, evidence).items():
        plan = planner.plan(list(inks))
        if _is_wanted(plan, inks, options):
            covers.append(min((_cover(inks, paper, nearest, shares, plan) for paper in papers), key=_place))
    return tuple(sorted(covers, key=_place)[: options.limit])


def _place(cover: InkSetCover) -> tuple[Any, ...]:
    group = 3 if KINDS.index(cover.evidence) >= TOLD else 1 if cover.printable_now else 2
    return group, np.floor(cover.mean / 0.5), not cover.loaded, cover.passes, cover.mean, cover.inks, cover.paper or ""


_Nearest = dict[tuple[tuple[str, ...], str | None], tuple[Floats, Any]]


def _nearest_by_inks(labs: Floats, evidence: Evidence, options: MatchOptions) -> _Nearest:
    """Return, for inks on a paper, the distance to each palette colour and the kind of evidence for it."""
    rows = np.ones(len(evidence.lab), dtype=np.bool_)
    if options.evidence:
        rows &= np.isin(evidence.kind, [KINDS.index(kind) for kind in options.evidence])
    by_inks: dict[tuple[tuple[str, ...], str | None], list[int]] = {}
    for row in np.flatnonzero(rows):
        recipe = evidence.recipes[evidence.recipe[row]]
        if options.paper is None or recipe.paper in (options.paper, None):
            by_inks.setdefault((recipe.inks, recipe.paper), []).append(int(row))
    found = {}
    for key, own in by_inks.items():
        distance = delta_e_2000(evidence.lab[own][:, None, :], labs[None, :, :])
        found[key] = (distance.min(axis=0), evidence.kind[np.array(own)[distance.argmin(axis=0)]])
    return found


def _papers_by_inks(nearest: _Nearest, evidence: Evidence) -> dict[tuple[str, ...], list[str | None]]:
    """Return the papers that each ink set is known on; what was told without a paper is read on the screen's."""
    papers: dict[tuple[str, ...], list[str | None]] = {}
    for inks, paper in nearest:
        if inks:
            papers.setdefault(inks, []).append(paper or evidence.paper_of_screen)
    return {inks: list(dict.fromkeys(found)) for inks, found in papers.items()}


def _is_wanted(plan: PassPlan, inks: tuple[str, ...], options: MatchOptions) -> bool:
    return (
        (options.passes is None or plan.count <= options.passes)
        and (not options.in_house or plan.printable_now)
        and (not options.loaded or plan.loaded)
        and (not options.with_inks or set(inks) <= set(options.with_inks))
    )


def _cover(inks: tuple[str, ...], paper: str | None, nearest: _Nearest, shares: Floats, plan: PassPlan) -> InkSetCover:
    """Return the cover by an ink set on one paper: what it, and fewer of its inks in the same order, can show."""
    parts = [part for count in range(len(inks) + 1) for part in combinations(inks, count)]
    keys = [key for part in dict.fromkeys(parts) for key in dict.fromkeys([(part, paper), (part, None)])]
    known = [nearest[key] for key in keys if key in nearest]
    distances, kinds = np.array([each[0] for each in known]), np.array([each[1] for each in known])
    best = distances.argmin(axis=0)
    columns = np.arange(len(shares))
    by_kind = np.bincount(kinds[best, columns], weights=shares, minlength=len(KINDS))
    machines = [each.machine for each in plan.passes]
    return InkSetCover(
        inks,
        KINDS[int(by_kind.argmax())],
        float(np.average(distances[best, columns], weights=shares)),
        float(distances[best, columns].max()),
        plan.count,
        machines[0] if machines else None,
        plan.printable_now,
        plan.loaded,
        str(plan.why_not_now) if plan.why_not_now else None,
        paper,
    )
