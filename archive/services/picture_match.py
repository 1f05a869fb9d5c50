"""What a picture needs: past prints like it, and the ink sets whose evidence covers its colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.models import Appearance, Copy, Picture, Variant, Work
from archive.colour.palette import Palette
from archive.colour.spaces import on_paper, relative_to_paper
from archive.colour.transport import palette_parts
from archive.services.answers import named_options
from archive.services.evidence import Evidence, Floats
from archive.services.ink_sets import InkSetCover, ink_sets
from archive.services.matching import Limits, MatchOptions
from archive.services.picture_index import KnownPictures, open_pictures, relative_lab
from archive.services.pictures import ReadPicture, read_picture
from archive.services.profile import read_profile
from archive.services.search_index import Progress, open_known

__all__ = ["InkSetCover", "Likeness", "PictureAnswer", "SameDesign", "match_picture"]

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
class PictureAnswer:
    """The picture's palette, prints like it, and ink sets for it."""

    palette: tuple[dict[str, Any], ...]
    paper: tuple[float, float, float] | None
    paper_share: float
    read_on: str | None
    prints: tuple[Likeness, ...]
    same_design: tuple[SameDesign, ...]
    ink_sets: tuple[InkSetCover, ...]


def match_picture(
    session: Session,
    path: Path,
    options: MatchOptions,
    *,
    absolute: bool = False,
    files: Files | None = None,
    progress: Progress | None = None,
) -> PictureAnswer:
    """Return past prints and ink sets for a picture file; nothing of it is kept.

    Parameters
    ----------
    files : Files
        Where a large archive keeps its indexes; without, every swatch and picture is read.
    progress : callable
        Told how many of how many steps are done when the swatches' index is made.

    Raises
    ------
    InputError, NotFoundError
        The file is no picture; a paper or ink is not known.
    """
    options = named_options(session, options)
    profile = read_profile(session)
    read = read_picture(path, max_megapixels=float(profile["largest_megapixels"]))
    limits = Limits(*(float(profile[f"verdict_{word}"]) for word in ("same", "close", "related")))
    known = open_known(session, options.paper, limits, files, progress)
    labs = _on_asked_paper(read.palette, known.evidence, absolute=absolute)
    shares = np.array([part.share for part in read.palette.colours], dtype=np.float64)
    pictures = open_pictures(session, files)
    return PictureAnswer(
        tuple(
            {"lab": tuple(lab), "share": part.share}
            for lab, part in zip(labs.tolist(), read.palette.colours, strict=True)
        ),
        read.palette.paper,
        read.palette.paper_share,
        None if absolute else known.evidence.paper_of_screen,
        _prints(session, read.palette, pictures, options.limit),
        _same_design(session, read, pictures, options.limit),
        ink_sets(labs, shares, known, session, options),
    )


def _on_asked_paper(palette: Palette, evidence: Evidence, *, absolute: bool) -> Floats:
    """Return the palette's colours as they would lie on the asked paper."""
    labs: Floats = np.array([part.lab for part in palette.colours], dtype=np.float64).reshape(-1, 3)
    if absolute or not len(labs):
        return labs
    relative = relative_to_paper(labs, palette.paper) if palette.paper is not None else labs
    relative = np.clip(relative, (0, -200, -200), (100, 200, 200))
    return on_paper(relative, evidence.screen_white)


def _prints(session: Session, palette: Palette, pictures: KnownPictures, limit: int) -> tuple[Likeness, ...]:
    if not palette.colours and palette.paper is None:
        return ()
    labs, shares = palette_parts(palette)
    if palette.paper is not None and palette.colours:
        labs = relative_lab(labs, np.array(palette.paper))
    near = pictures.nearest(labs, shares, limit)
    named = _named(session, [picture_id for picture_id, _ in near])
    return tuple(Likeness(*named[picture_id], distance) for picture_id, distance in near)


def _same_design(session: Session, read: ReadPicture, pictures: KnownPictures, limit: int) -> tuple[SameDesign, ...]:
    if read.is_plain:
        return ()
    near = pictures.like_in_shape(read.phash, SAME_DESIGN_BITS, limit)
    named = _named(session, [picture_id for picture_id, _ in near])
    return tuple(SameDesign(*named[picture_id], bits) for picture_id, bits in near)


def _named(session: Session, ids: Sequence[int]) -> dict[int, tuple[str | None, str | None, str]]:
    """Return the work, its title and the uid of each picture; of several works on a copy the first one."""
    copies = {each.id: (each.copy_id, each.uid) for each in session.scalars(select(Picture).where(Picture.id.in_(ids)))}
    query = (
        select(Copy.id, Work.ref, Work.title)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .join(Work, Work.id == Variant.work_id)
        .where(Appearance.binned_at.is_(None), Copy.id.in_({copy_id for copy_id, _ in copies.values() if copy_id}))
        .order_by(Work.id.desc())
    )
    works = {copy_id: (ref, title) for copy_id, ref, title in session.execute(query)}
    return {each: (*works.get(copy_id or 0, (None, None)), uid) for each, (copy_id, uid) in copies.items()}
