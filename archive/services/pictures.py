"""Taking pictures in: decoded and read first, then one short write for each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act
from archive.catalogue.models import Copy, PaletteColour, Picture
from archive.colour.palette import Palette, find_palette
from archive.errors import InputError, NotFoundError, Notice
from archive.imaging.decode import open_picture, reduce_picture
from archive.imaging.hashes import hash_picture
from archive.imaging.thumbnails import LONG_SIDES, make_thumbnail
from archive.services.profile import read_profile

SUFFIXES = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"}
PALETTE_SIDE = 256  # pixels; a palette needs no finer picture (tried)


@dataclass(frozen=True, slots=True)
class ReadPicture:
    """A picture file as it was read, before anything is written."""

    path: Path
    sha256: str
    size: int
    media_type: str
    width: int
    height: int
    bits: int
    colour_path: str
    taken_at: str | None
    phash: str
    is_plain: bool
    palette: Palette
    thumbnails: dict[int, bytes]
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True)
class PictureOutcome:
    """What became of one file: added, known already, or refused with the reason."""

    file: str
    status: str
    picture: str | None
    copy: str | None
    palette: tuple[dict[str, Any], ...]
    paper: tuple[float, float, float] | None
    notes: tuple[str, ...]


def read_picture(path: Path, *, max_megapixels: float) -> ReadPicture:
    """Return all that is kept of a picture file: read once, written nowhere.

    Raises
    ------
    InputError, NotFoundError
        The file is missing, no picture, damaged, or too large.
    """
    picture = open_picture(path, max_megapixels=max_megapixels, name=path.name)
    reduced = reduce_picture(picture)
    hashed = hash_picture(reduced)
    return ReadPicture(
        path=path,
        sha256=Files.digest(path),
        size=path.stat().st_size,
        media_type=picture.media_type,
        width=picture.width,
        height=picture.height,
        bits=picture.bits,
        colour_path=picture.profile_path,
        taken_at=picture.taken_at,
        phash=hashed.phash,
        is_plain=hashed.is_plain,
        palette=find_palette(reduced.lab(PALETTE_SIDE)),
        thumbnails={side: make_thumbnail(reduced, side) for side in LONG_SIDES},
        notices=picture.notices,
    )


def thumbnail_name(sha256: str, long_side: int) -> str:
    """Return the derived file's name for a picture's thumbnail."""
    return f"thumbnails/{sha256[:2]}/{sha256}-{long_side}.jpg"


def picture_files(paths: Sequence[Path]) -> list[Path]:
    """Return the picture files named, folders walked in the order of their names.

    Raises
    ------
    InputError
        A path is not there, or nothing in it is a picture by its name.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(each for each in path.rglob("*") if each.suffix.lower() in SUFFIXES and each.is_file())
            if not inside:
                raise InputError(
                    "no pictures in the folder",
                    where=str(path),
                    mend="Name a folder with JPEG, PNG, TIFF, WebP or HEIC files",
                )
            found.extend(inside)
        elif path.exists():
            found.append(path)
        else:
            raise InputError("no such file", where=str(path), mend="Check its name")
    return found


def add_pictures(
    catalogue: Catalogue,
    paths: Sequence[Path],
    act: Act,
    *,
    target: Callable[[Session, Path], tuple[int | None, int | None]] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[PictureOutcome]:
    """Add picture files one by one, as one change; a bad file is told and the rest goes on.

    Parameters
    ----------
    target : callable, optional
        Given the session and a file, returns the ids of the copy and the appearance that it shows.

    Raises
    ------
    CatalogueError
        The disk is full or the archive cannot be written: what was added before stays.
    """
    with catalogue.read() as session:
        limit = float(read_profile(session)["largest_megapixels"])
    outcomes: list[PictureOutcome] = []
    for done, path in enumerate(paths, start=1):
        try:
            read = read_picture(path, max_megapixels=limit)
            keep_files(catalogue.files, read)
        except (InputError, NotFoundError) as error:
            outcomes.append(PictureOutcome(str(path), "refused", None, None, (), None, (str(error),)))
        else:
            with catalogue.write(act) as session:
                copy_id, appearance_id = target(session, path) if target else (None, None)
                outcomes.append(store_picture(session, read, copy_id, appearance_id))
                act = replace(act, change_id=session.info["change_id"])
        if progress:
            progress(done, len(paths))
    return outcomes


def keep_files(files: Files, read: ReadPicture) -> None:
    """Copy the original into the archive and write its thumbnails; a row must follow.

    Raises
    ------
    CatalogueError
        The disk is full.
    InputError
        The file changed while it was read.
    """
    if not files.exists(read.sha256):
        with read.path.open("rb") as stream:
            found = files.put(stream)
        if found != read.sha256:
            files.remove(found)
            raise InputError("the file changed while it was read", where=str(read.path), mend="Add it again")
    for side, content in read.thumbnails.items():
        files.put_derived(thumbnail_name(read.sha256, side), content)


def store_picture(
    session: Session, read: ReadPicture, copy_id: int | None, appearance_id: int | None = None
) -> PictureOutcome:
    """Add the picture's row, or tie the one that is there to the copy when it has none."""
    query = select(Picture).where(Picture.sha256 == read.sha256, Picture.binned_at.is_(None))
    known = session.scalars(query).first()
    notes = [str(notice) for notice in read.notices]
    if known is None:
        row = _new_row(session, read, copy_id, appearance_id)
        return _outcome(session, read, row, "added", notes)
    if known.copy_id is None and copy_id is not None:
        known.copy_id, known.appearance_id = copy_id, appearance_id
        notes.append("it was in the archive; it now belongs to the copy")
    else:
        notes.append(f"the same file is in the archive as {known.name}")
    return _outcome(session, read, known, "known", notes)


def _new_row(session: Session, read: ReadPicture, copy_id: int | None, appearance_id: int | None) -> Picture:
    palette = read.palette
    paper = palette.paper
    row = Picture(
        copy_id=copy_id,
        appearance_id=appearance_id,
        sha256=read.sha256,
        name=read.path.name,
        media_type=read.media_type,
        size=read.size,
        width=read.width,
        height=read.height,
        bits=read.bits,
        colour_path=read.colour_path,
        taken_at=read.taken_at,
        phash=read.phash,
        is_plain=read.is_plain,
        paper_l=paper and paper[0],
        paper_a=paper and paper[1],
        paper_b=paper and paper[2],
        paper_share=palette.paper_share,
        paper_sure=palette.paper_sure,
    )
    session.add(row)
    session.flush()
    for position, colour in enumerate(palette.colours, start=1):
        lab_l, lab_a, lab_b = colour.lab
        session.add(
            PaletteColour(
                picture_id=row.id, position=position, lab_l=lab_l, lab_a=lab_a, lab_b=lab_b, share=colour.share
            )
        )
    session.flush()
    return row


def _outcome(session: Session, read: ReadPicture, row: Picture, status: str, notes: list[str]) -> PictureOutcome:
    copy = session.get(Copy, row.copy_id) if row.copy_id else None
    return PictureOutcome(
        read.path.name,
        status,
        row.uid,
        copy.ref if copy else None,
        tuple({"lab": colour.lab, "share": colour.share} for colour in read.palette.colours),
        read.palette.paper,
        tuple(notes),
    )
