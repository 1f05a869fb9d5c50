"""The corrected, squared sheet of a picture as a file of its own, made when it is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.models import Picture
from archive.errors import InputError
from archive.services.lookup import find_record
from archive.services.picture_files import refuse_unknown_format, write_picture
from archive.services.picture_light import corrected, corrected_picture

_INCH = 25.4  # mm


@dataclass(frozen=True, slots=True)
class SquaredPicture:
    """A file with a sheet alone, upright and square: its size on paper and in pixels."""

    file: str
    picture: str
    width_mm: float
    height_mm: float
    width_px: int
    height_px: int
    ppi: float
    claim: float


def write_square(session: Session, files: Files, ref: str, to: Path, *, ppi: float | None = None) -> SquaredPicture:
    """Write a picture's sheet alone, its colours as the sitting corrected them, in sRGB and never upscaled.

    Parameters
    ----------
    ppi : float, optional
        Pixels an inch that are enough; as many as the picture has, unless given.

    Raises
    ------
    InputError
        No sitting corrected the picture, its sheet has no size, the file's name ends in no format, or fewer than one
        pixel an inch is asked for.
    NotFoundError
        No such picture, or its original is gone.
    CatalogueError
        The file cannot be written.
    """
    refuse_unknown_format(to)
    picture: Picture = find_record(session, "picture", ref)
    facts = corrected(session, picture)
    if facts is None:
        raise InputError(
            "no sitting corrected it", where=f"picture {picture.name}", mend="Take it in a sitting with a colour card"
        )
    if facts.size_mm is None or facts.mm_per_px is None:
        raise InputError(
            "the sheet's size is not known", where=f"picture {picture.name}", mend="Photograph it with the card"
        )
    if ppi is not None and not ppi >= 1:
        raise InputError("{ppi} pixels an inch are too few", ppi=ppi, where="--ppi", mend="Give 300")
    own = _INCH / facts.mm_per_px
    fine = min(ppi, own) if ppi is not None else own
    pixels = corrected_picture(files, picture, facts, px_per_mm=fine / _INCH)
    write_picture(to, pixels, ppi=fine)
    height, width = pixels.shape[:2]
    return SquaredPicture(str(to), picture.uid, *facts.size_mm, width, height, fine, facts.claim)
