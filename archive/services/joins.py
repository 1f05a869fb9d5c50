"""A sheet photographed in several frames: joined where that can be proven, else honestly kept as parts.

The join is numbers beside the untouched originals; the joined picture is made when it is asked for, to be looked at.
Colours are read in the single frames, which alone are in the archive.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act
from archive.catalogue.identity import now
from archive.catalogue.models import Appearance, Copy, Frame, Joined, Picture, Variant
from archive.colour.spaces import xyz_d50_to_srgb
from archive.errors import ConflictError, InputError, NotFoundError
from archive.imaging.decode import open_picture
from archive.imaging.fall_off import apply_fall_off
from archive.imaging.join import Joined as Placed
from archive.imaging.join import join_frames, joined_picture
from archive.imaging.linear import read_linear
from archive.services.copies import work_of_copy
from archive.services.frame_reading import corrected_xyz
from archive.services.lookup import find_record
from archive.services.picture_files import refuse_unknown_format, write_picture
from archive.services.picture_light import corrected

_SIDE = 1500  # pixels of the long side in which frames are compared: one to two megapixels are enough
_INCH = 25.4  # mm
Rgb = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class JoinedCard:
    """The parts of a sheet and how far off they meet, in millimetres, or why they stay parts."""

    uid: str
    work: str | None
    copy: str
    parts: tuple[dict[str, Any], ...]
    residual_mm: float | None
    why: str


@dataclass(frozen=True, slots=True)
class JoinedFile:
    """A joined picture that was written; for looking at, its colours are read in its parts."""

    file: str
    work: str | None
    parts: int
    residual_mm: float
    width_px: int
    height_px: int
    ppi: float


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Part:
    picture: Picture
    rgb: Rgb
    scale: float  # pixels of the upright original to one of these


def join_pictures(catalogue: Catalogue, refs: Sequence[str], act: Act) -> JoinedCard:
    """Find how pictures of one copy fit together, and keep it with that copy; or keep why they stay parts.

    Raises
    ------
    NotFoundError
        A picture is not known, or its original is gone.
    InputError
        Fewer than two are named.
    ConflictError
        They are not of one copy.
    """
    with catalogue.read() as session:
        pictures = list({row.id: row for row in (find_record(session, "picture", ref) for ref in refs)}.values())
        copy_id = _one_copy(session, pictures)
        found = _joined(session, catalogue.files, pictures)
        ids = [picture.id for picture in pictures]
    with catalogue.write(act) as session:
        uids = [session.get_one(Picture, picture_id).uid for picture_id in ids]
        _put_away_older(session, copy_id, set(uids))
        row = Joined(copy_id=copy_id, parts=_parts(uids, found[0]), residual_mm=found[1], why=found[2])
        session.add(row)
        session.flush()
        return _card(session, row)


def _one_copy(session: Session, pictures: Sequence[Picture]) -> int:
    if len(pictures) < 2:
        raise InputError("a join needs at least two pictures", mend="Name all that show the sheet")
    copies = {picture.copy_id for picture in pictures}
    if len(copies) > 1 or None in copies:
        raise ConflictError(
            "they are not of one copy",
            where=", ".join(picture.name for picture in pictures),
            mend="Say what they show first: `inkchest sitting take FILES --work REF --as part`",
        )
    return int(next(iter(copies)) or 0)


def _joined(
    session: Session, files: Files, pictures: Sequence[Picture]
) -> tuple[NDArray[np.float64] | None, float | None, str]:
    """Return homographies to the first picture in pixels of the originals and the residual in mm, or why not."""
    scale = _mm_per_px(session, pictures[0])
    if scale is None:
        return None, None, "the first picture has no scale: show the colour card in it"
    parts = [_part(session, files, picture, _SIDE) for picture in pictures]
    found = join_frames([part.rgb for part in parts], mm_per_px=scale * parts[0].scale)
    if not isinstance(found, Placed):
        return None, None, found.why
    grown = [_between(each, parts[0].scale, part.scale) for each, part in zip(found.transforms, parts, strict=True)]
    return np.array(grown), found.residual_mm, ""


def _between(matrix: NDArray[np.float64], to_scale: float, scale: float) -> NDArray[np.float64]:
    """Return a homography between small copies as one between the originals."""
    full = np.diag([to_scale, to_scale, 1.0]) @ matrix @ np.diag([1 / scale, 1 / scale, 1.0])
    return np.asarray(full / full[2, 2])


def _mm_per_px(session: Session, picture: Picture) -> float | None:
    query = select(Frame.mm_per_px).where(Frame.picture_id == picture.id, Frame.binned_at.is_(None))
    return session.scalars(query.where(Frame.mm_per_px.is_not(None)).order_by(Frame.id)).first()


def _part(session: Session, files: Files, picture: Picture, longest_px: int | None) -> _Part:
    """Return a picture as sRGB, corrected where its sitting did so, that parts meet without a step of colour."""
    with files.open(picture.sha256) as stream:
        light = read_linear(open_picture(stream.read(), name=picture.name), longest_px)
    facts = corrected(session, picture) if light.space == "rgb" else None
    even = light.light
    if facts is not None and facts.fall_off is not None:
        even = apply_fall_off(even, facts.fall_off, name=picture.name)
    strips = []
    for top in range(0, len(even), 256):  # a whole picture of floats would be a gigabyte
        xyz = corrected_xyz(even[top : top + 256], light.to_xyz, facts.correction if facts is not None else None)
        strips.append(np.rint(xyz_d50_to_srgb(np.clip(xyz, 0, 2)) * 255).astype(np.uint8))
    return _Part(picture, np.concatenate(strips), float(light.scale[0]))


def _parts(uids: Sequence[str], transforms: NDArray[np.float64] | None) -> list[dict[str, Any]]:
    placed = transforms.tolist() if transforms is not None else [None] * len(uids)
    return [{"picture": uid, "to_first": matrix} for uid, matrix in zip(uids, placed, strict=True)]


def _put_away_older(session: Session, copy_id: int, uids: set[str]) -> None:
    """Put earlier joins of the same pictures in the bin: the new one takes their place."""
    query = select(Joined).where(Joined.copy_id == copy_id, Joined.binned_at.is_(None))
    for row in session.scalars(query).all():
        if uids & {part["picture"] for part in row.parts}:
            row.binned_at = now()


def _card(session: Session, row: Joined) -> JoinedCard:
    copy = session.get_one(Copy, row.copy_id)
    return JoinedCard(row.uid, work_of_copy(session, copy.id), copy.ref, tuple(row.parts), row.residual_mm, row.why)


def show_joined(session: Session, ref: str) -> JoinedCard:
    """Return how the parts of a work, variant or copy fit together, as it was found last.

    Raises
    ------
    NotFoundError
        Nothing is called that, or its pictures were never joined.
    """
    return _card(session, _newest(session, ref))


def _newest(session: Session, ref: str) -> Joined:
    query = (
        select(Joined)
        .where(Joined.copy_id.in_(_copies_called(session, ref)), Joined.binned_at.is_(None))
        .order_by(Joined.id.desc())
    )
    row = session.scalars(query).first()
    if row is None:
        raise NotFoundError(
            "its pictures were never joined", where=ref, mend="Join them: `inkchest picture join PICTURE PICTURE`"
        )
    return row


def _copies_called(session: Session, ref: str) -> list[int]:
    """Return the ids of the copies of a work or variant, or of the copy, that the text names."""
    for noun, column in (("work", Variant.work_id), ("variant", Variant.id)):
        try:
            row = find_record(session, noun, ref)
        except NotFoundError:
            continue
        query = select(Appearance.copy_id).join(Variant, Variant.id == Appearance.variant_id)
        return list(session.scalars(query.where(column == row.id, Appearance.binned_at.is_(None))))
    return [find_record(session, "copy", ref).id]


def write_joined(session: Session, files: Files, ref: str, to: Path, *, ppi: float | None = None) -> JoinedFile:
    """Write the joined picture of a work, variant or copy, in the scale of its first part and never upscaled.

    Raises
    ------
    NotFoundError
        Nothing is called that, its pictures were never joined, or an original is gone.
    ConflictError
        They stay parts, with why.
    InputError
        The file's name ends in no format, fewer than one pixel an inch is asked for, or the picture would be larger
        than 400 megapixels.
    CatalogueError
        The file cannot be written.
    """
    refuse_unknown_format(to)
    if ppi is not None and not ppi >= 1:
        raise InputError("{ppi} pixels an inch are too few", ppi=ppi, where="--ppi", mend="Give 100")
    row = _newest(session, ref)
    if row.residual_mm is None:
        raise ConflictError("they stay parts: {why}", why=row.why, where=ref, mend="Look at the single pictures")
    pictures = [find_record(session, "picture", part["picture"]) for part in row.parts]
    mm_per_px = _mm_per_px(session, pictures[0]) or 1.0
    own = _INCH / mm_per_px
    fine = min(ppi, own) if ppi is not None else own
    parts = [_part(session, files, each, round(max(each.width, each.height) * fine / own)) for each in pictures]
    shrunk = [
        np.linalg.inv(np.diag([parts[0].scale, parts[0].scale, 1.0]))
        @ np.array(kept["to_first"])
        @ np.diag([part.scale, part.scale, 1.0])
        for kept, part in zip(row.parts, parts, strict=True)
    ]
    pixels = joined_picture([part.rgb for part in parts], Placed(np.array(shrunk), row.residual_mm))
    write_picture(to, pixels, ppi=fine)
    height, width = pixels.shape[:2]
    work = work_of_copy(session, row.copy_id)
    return JoinedFile(str(to), work, len(parts), row.residual_mm, width, height, fine)
