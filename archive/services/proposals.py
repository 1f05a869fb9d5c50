"""Flat colour areas of pictures, found and listed to be given their inks: accepted, they are swatches by camera.

An area is proposed once: none where a swatch or an earlier proposal lies, whatever became of it. The bare paper is
proposed too, so that a paper gets its measured white.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act
from archive.catalogue.models import Appearance, Copy, Paper, Picture, Place, Proposal, Recipe, Swatch, Variant
from archive.colour.difference import delta_e_2000
from archive.colour.names import colour_name
from archive.colour.spaces import relative_to_paper
from archive.errors import ArchiveError, ConflictError, InputError, NotFoundError
from archive.imaging.decode import open_picture
from archive.imaging.patches import FEWEST_CELLS, FlatArea, flat_areas, lost_in_file, paper_of
from archive.imaging.plane import moved
from archive.services.copies import work_of_copy
from archive.services.lookup import PATH_BREAK, find_record
from archive.services.picture_light import CorrectedPicture, SheetLight, corrected, read_sheet
from archive.services.profile import read_profile
from archive.services.swatches import Region, SwatchReading, read_swatch, save_swatch
from archive.services.work_cards import inks_in_words

BARE_PAPER = "bare paper"
_IS_PAPER = 3.0  # dE00 to the picture's bare paper: what is nearer is no ink [as in `flat_areas`]
_NOWHERE = (0.0, 150.0, 150.0)  # a Lab that no paper has: nothing is left out for it
_LOST = 0.01  # of a patch's pixels: beyond it `read_region` calls a patch clipped or out of range
Lab = tuple[float, float, float]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ProposalCard:
    """A flat area that waits to be given its inks, or what became of it.

    `at` and `radius_px` are pixels of the upright original, `share` is of the sheet; `proposed` are the inks that one
    key accepts, where the archive has a guess.
    """

    uid: str
    picture: str
    file: str
    work: str | None
    at: tuple[float, float]
    radius_px: float
    lab: Lab
    in_words: str
    spread: float
    share: float
    proposed: str
    state: str
    swatch: str | None


@dataclass(frozen=True, slots=True)
class ProposeReport:
    """What was looked at: how many pictures and new areas, all that is open there, and pictures that gave nothing."""

    pictures: int
    new: int
    open: tuple[ProposalCard, ...]
    left_out: tuple[dict[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Spot:
    """A flat area as it is kept: pixels of the upright original, colour, spread, share of the sheet."""

    x: float
    y: float
    radius_px: float
    lab: Lab
    spread: float
    share: float


# --- finding


def propose_swatches(catalogue: Catalogue, ref: str, act: Act, *, progress: Progress | None = None) -> ProposeReport:
    """Look for flat areas on a picture, or on all pictures of a place, and keep those that are new; one change.

    Of a place, pictures that have proposals are not looked at again; one that is named is.

    Raises
    ------
    NotFoundError
        Neither a picture nor a place is called that.
    InputError
        The picture that was named was corrected by no sitting, or its sheet has no size.
    """
    with catalogue.read() as session:
        pictures, is_one = pictures_called(session, ref)
        known = set(session.scalars(select(Proposal.picture_id).where(Proposal.binned_at.is_(None))))
        waiting = [(picture.id, picture.name) for picture in pictures if is_one or picture.id not in known]
    new, left_out = 0, []
    for done, (picture_id, name) in enumerate(waiting, start=1):
        try:
            with catalogue.read() as session:
                spots = _spots_on(session, catalogue.files, session.get_one(Picture, picture_id))
        except ArchiveError as error:
            if is_one:
                raise
            left_out.append({"picture": name, "why": error.what})
            spots = []
        with catalogue.write(act) as session:
            new += _keep(session, picture_id, spots)
            act = replace(act, change_id=session.info["change_id"])
        if progress:
            progress(done, len(waiting))
    with catalogue.read() as session:
        return ProposeReport(len(waiting), new, tuple(list_proposals(session, ref)), tuple(left_out))


def pictures_called(session: Session, ref: str) -> tuple[list[Picture], bool]:
    """Return the picture that the text names, or the pictures of all copies in the place that it names.

    The second value tells whether it was one picture.

    Raises
    ------
    NotFoundError
        Neither is called that.
    """
    try:
        return [find_record(session, "picture", ref)], True
    except NotFoundError as no_picture:
        try:
            place: Place = find_record(session, "place", ref)
        except NotFoundError:
            raise no_picture from None
    inside = Place.path_key.startswith(f"{place.path_key}{PATH_BREAK}", autoescape=True)
    places = select(Place.id).where((Place.id == place.id) | inside, Place.binned_at.is_(None))
    query = (
        select(Picture)
        .join(Copy, Copy.id == Picture.copy_id)
        .where(Copy.place_id.in_(places), Copy.binned_at.is_(None), Picture.binned_at.is_(None))
        .order_by(Picture.id)
    )
    return list(session.scalars(query)), False


def _spots_on(session: Session, files: Files, picture: Picture) -> list[_Spot]:
    facts = corrected(session, picture)
    if facts is None:
        raise InputError(
            "no sitting corrected it: its colours are seen, not measured",
            where=f"picture {picture.name}",
            mend="Take it in a sitting, or read single spots with `inkchest swatch read`",
        )
    profile = read_profile(session)
    lpi = float(profile["screen_lpi"])
    sheet = read_sheet(files, picture, facts)
    areas = flat_areas(sheet.light, drift_mm=float(profile["drift_same_pass_mm"]), lpi=lpi, paper_lab=_NOWHERE, most=25)
    spots = [_spot(each, sheet, facts, lpi) for each in _one_paper(areas, _paper_of(picture, sheet))]
    return _whole(files, picture, spots)


def _paper_of(picture: Picture, sheet: SheetLight) -> Lab | None:
    known = _paper_lab(picture)
    if known is not None:
        return known
    found = paper_of(sheet.light)
    return found.lab if found is not None else None


def _paper_lab(picture: Picture) -> Lab | None:
    if picture.paper_l is None or picture.paper_a is None or picture.paper_b is None:
        return None
    return picture.paper_l, picture.paper_a, picture.paper_b


def _one_paper(areas: Sequence[FlatArea], paper: Lab | None) -> list[FlatArea]:
    """Return the areas, of those that are bare paper the widest alone."""
    bare = [each for each in areas if paper is not None and _is_paper(each.reading.lab, paper)]
    return [each for each in areas if each not in bare[1:]]


def _is_paper(lab: Lab, paper: Lab) -> bool:
    return float(delta_e_2000(lab, paper)) <= _IS_PAPER


def _spot(area: FlatArea, sheet: SheetLight, facts: CorrectedPicture, lpi: float) -> _Spot:
    """Return an area as a spot of the original: the largest upright square in it, which still holds ten cells."""
    left, top, right, bottom = area.reading.box
    x, y = sheet.original((left + right) / 2, (top + bottom) / 2)
    half = np.array([right - left, bottom - top]) / 2
    back = np.linalg.inv(sheet.to_original)
    corners = moved(back, [(x + dx, y + dy) for dx in (-1, 1) for dy in (-1, 1)])
    reach = np.abs(corners - [(left + right) / 2, (top + bottom) / 2]).max(axis=0)
    # a sheet that lies askew leaves less than ten cells of a small square; the drift that was kept clear gives them
    least = FEWEST_CELLS * 25.4 / lpi / 2 / facts.mm_per_px * 1.01 if facts.mm_per_px else 1.0
    rows, columns = sheet.light.xyz.shape[:2]
    share = area.area_mm2 / (rows * columns * sheet.light.mm_per_px**2)
    return _Spot(x, y, max(float((half / reach).min()), least), area.reading.lab, area.reading.spread, share)


def _whole(files: Files, picture: Picture, spots: Sequence[_Spot]) -> list[_Spot]:
    """Return the spots that lie in the picture and of which its file lost nothing, at full size."""
    with files.open(picture.sha256) as stream:
        pixels = open_picture(stream.read(), name=picture.name).pixels
    kept = []
    for spot in spots:
        left, top = round(spot.x - spot.radius_px), round(spot.y - spot.radius_px)
        side = max(round(2 * spot.radius_px), 1)
        part = pixels[max(top, 0) : top + side, max(left, 0) : left + side]
        if min(left, top) < 0 or part.shape[:2] != (side, side):
            continue
        clipped, out = lost_in_file(part.reshape(side, side, -1))
        if max(clipped.mean(), out.mean()) <= _LOST:
            kept.append(spot)
    return kept


def _keep(session: Session, picture_id: int, spots: Sequence[_Spot]) -> int:
    """Write the spots where nothing lies yet; return how many."""
    taken = [
        (x, y, radius)
        for model in (Proposal, Swatch)
        for x, y, radius in session.execute(
            select(model.x, model.y, model.radius_px).where(model.picture_id == picture_id, model.binned_at.is_(None))
        )
        if x is not None and y is not None
    ]
    new = [spot for spot in spots if not any(_overlap(spot, *each) for each in taken)]
    for spot in new:
        row = Proposal(
            picture_id=picture_id,
            x=spot.x,
            y=spot.y,
            radius_px=spot.radius_px,
            spread=spot.spread,
            share=spot.share,
            state="open",
        )
        row.lab_l, row.lab_a, row.lab_b = spot.lab
        session.add(row)
    session.flush()
    return len(new)


def _overlap(spot: _Spot, x: float, y: float, radius: float | None) -> bool:
    return float(np.hypot(spot.x - x, spot.y - y)) < spot.radius_px + (radius or 0.0)


# --- listing


def list_proposals(
    session: Session, ref: str | None = None, *, state: str | None = "open", limit: int | None = None
) -> list[ProposalCard]:
    """Return the proposals on a picture, in a place or anywhere, oldest picture first, largest area first.

    Raises
    ------
    NotFoundError
        Neither a picture nor a place is called that.
    """
    query = (
        select(Proposal, Picture)
        .join(Picture, Picture.id == Proposal.picture_id)
        .where(Proposal.binned_at.is_(None), Picture.binned_at.is_(None))
        .order_by(Picture.id, Proposal.id)
        .limit(limit)
    )
    if ref is not None:
        pictures, _ = pictures_called(session, ref)
        query = query.where(Picture.id.in_([picture.id for picture in pictures]))
    if state is not None:
        query = query.where(Proposal.state == state)
    return [_card(session, proposal, picture) for proposal, picture in session.execute(query).all()]


def _card(session: Session, proposal: Proposal, picture: Picture) -> ProposalCard:
    lab = (proposal.lab_l, proposal.lab_a, proposal.lab_b)
    paper = _paper_lab(picture)
    is_paper = paper is not None and _is_paper(lab, paper)
    swatch = session.get(Swatch, proposal.swatch_id) if proposal.swatch_id else None
    return ProposalCard(
        proposal.uid,
        picture.uid,
        picture.name,
        work_of_copy(session, picture.copy_id),
        (proposal.x, proposal.y),
        proposal.radius_px,
        lab,
        BARE_PAPER if is_paper else _in_words(lab, paper),
        proposal.spread,
        proposal.share,
        BARE_PAPER if is_paper else "",
        proposal.state,
        swatch.uid if swatch is not None else None,
    )


def _in_words(lab: Lab, paper: Lab | None) -> str:
    return colour_name(relative_to_paper(lab, paper) if paper is not None else lab)


# --- deciding


def accept_proposal(
    catalogue: Catalogue, uid: str, act: Act, *, inks: str = "", paper: str | None = None, as_last: bool = False
) -> SwatchReading:
    """Read a proposed area at full size and keep it as a swatch with its inks.

    Without inks, what is proposed is accepted; `as_last` takes those of the swatch that was read off a picture last,
    and its paper where neither `paper` nor the work tells one.

    Raises
    ------
    NotFoundError
        No such proposal, or there is no last swatch.
    ConflictError
        It was decided already.
    InputError
        No inks are said, they cannot be read, no paper is known, or the area cannot be trusted.
    """
    with catalogue.read() as session:
        proposal, picture = _open_one(session, uid)
        inks, fallback = _last_inks(session) if as_last else (inks or _card(session, proposal, picture).proposed, None)
        if not inks:
            raise InputError("no inks are said", where=f"proposal {uid}", mend='Add --inks "Ferrywake 60 %"')
        region = Region(proposal.x, proposal.y, proposal.radius_px)
        reading = read_swatch(session, catalogue.files, picture.uid, region)
    with catalogue.write(act) as session:
        proposal, picture = _open_one(session, uid)
        own = paper if paper or _has_paper(session, picture) else fallback
        reading = save_swatch(session, picture.uid, region, reading, inks, own)
        proposal.state = "accepted"
        proposal.swatch_id = session.scalars(select(Swatch.id).where(Swatch.uid == reading.swatch)).one()
        session.flush()
    return reading


def decline_proposal(session: Session, uid: str) -> ProposalCard:
    """Set a proposal aside: nothing is proposed there again.

    Raises
    ------
    NotFoundError, ConflictError
        No such proposal, or it was decided already.
    """
    proposal, picture = _open_one(session, uid)
    proposal.state = "declined"
    session.flush()
    return _card(session, proposal, picture)


def _open_one(session: Session, uid: str) -> tuple[Proposal, Picture]:
    proposal = session.scalars(select(Proposal).where(Proposal.uid == uid, Proposal.binned_at.is_(None))).first()
    if proposal is None:
        raise NotFoundError("no proposal {uid}", uid=uid, mend="See `inkchest swatch proposals`")
    if proposal.state != "open":
        raise ConflictError(
            "it was {state} already",
            state=proposal.state,
            where=f"proposal {uid}",
            mend="Undo that first: `inkchest history`",
        )
    return proposal, session.get_one(Picture, proposal.picture_id)


def _last_inks(session: Session) -> tuple[str, str | None]:
    """Return the inks of the swatch read off a picture last, as they are typed, and its paper."""
    query = (
        select(Recipe)
        .join(Swatch, Swatch.recipe_id == Recipe.id)
        .where(Swatch.binned_at.is_(None), Swatch.picture_id.is_not(None))
        .order_by(Swatch.id.desc())
    )
    recipe = session.scalars(query).first()
    if recipe is None:
        raise NotFoundError("no swatch was read off a picture yet", where="as the last one", mend="Say its inks")
    paper = session.get(Paper, recipe.paper_id) if recipe.paper_id else None
    return inks_in_words(session, recipe) or BARE_PAPER, paper.name if paper is not None else None


def _has_paper(session: Session, picture: Picture) -> bool:
    query: Any = (
        select(Recipe.paper_id)
        .join(Variant, Variant.recipe_id == Recipe.id)
        .join(Appearance, Appearance.variant_id == Variant.id)
        .where(Appearance.copy_id == picture.copy_id, Appearance.binned_at.is_(None))
    )
    return any(paper_id is not None for paper_id in session.scalars(query))
