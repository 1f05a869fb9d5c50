"""Taking pictures in: decoded and read first, then one short write for each."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
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
from archive.colour.palette import PaletteColour as Colour
from archive.errors import InputError, NotFoundError, Notice
from archive.imaging.decode import Picture as OpenedPicture
from archive.imaging.decode import Reduced, open_picture, reduce_picture
from archive.imaging.hashes import hash_picture
from archive.imaging.thumbnails import LONG_SIDES, make_thumbnail
from archive.services.picture_tree import FoundFile, walk
from archive.services.profile import read_profile

PALETTE_SIDE = 256  # pixels; a palette needs no finer picture (tried)
_AT_ONCE = 2  # pictures decoded at a time
_AHEAD = 4  # pictures read before their turn to be written, so that memory stays bounded
Progress = Callable[[int, int], None]
Target = Callable[[Session, FoundFile], tuple[int | None, int | None]]


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
    came_from: str = ""


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


def read_picture(path: Path, *, max_megapixels: float, name: str = "", came_from: str = "") -> ReadPicture:
    """Return all that is kept of a picture file: read once, written nowhere.

    Parameters
    ----------
    name : str
        What to call it in messages; else the file's name.
    came_from : str
        The folders it lay in, as they were called.

    Raises
    ------
    InputError, NotFoundError
        The file is missing, no picture, damaged, or too large.
    """
    picture = open_picture(path, max_megapixels=max_megapixels, name=name or path.name)
    reduced = reduce_picture(picture)
    return replace(
        describe_picture(path, picture, reduced, find_palette(reduced.lab(PALETTE_SIDE))), came_from=came_from
    )


def describe_picture(path: Path, opened: OpenedPicture, reduced: Reduced, palette: Palette) -> ReadPicture:
    """Return what is kept of a picture file that was decoded and made small."""
    hashed = hash_picture(reduced)
    return ReadPicture(
        path=path,
        sha256=Files.digest(path),
        size=path.stat().st_size,
        media_type=opened.media_type,
        width=opened.width,
        height=opened.height,
        bits=opened.bits,
        colour_path=opened.profile_path,
        taken_at=opened.taken_at,
        phash=hashed.phash,
        is_plain=hashed.is_plain,
        palette=palette,
        thumbnails={side: make_thumbnail(reduced, side) for side in LONG_SIDES},
        notices=opened.notices,
    )


def thumbnail_name(sha256: str, long_side: int) -> str:
    """Return the derived file's name for a picture's thumbnail."""
    return f"thumbnails/{sha256[:2]}/{sha256}-{long_side}.jpg"


def picture_files(paths: Sequence[Path]) -> list[Path]:
    """Return the picture files named, folders walked in the order of their names (`picture_tree.walk`).

    Raises
    ------
    InputError
        A path is not there, or nothing in it is a picture by its name.
    """
    return [file.path for file in walk(paths).files]


def add_pictures(
    catalogue: Catalogue,
    paths: Sequence[Path],
    act: Act,
    *,
    target: Callable[[Session, Path], tuple[int | None, int | None]] | None = None,
    progress: Progress | None = None,
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
    files = [FoundFile(path) for path in paths]
    return add_files(catalogue, files, act, target=target and _by_path(target), progress=progress)


def _by_path(target: Callable[[Session, Path], tuple[int | None, int | None]]) -> Target:
    return lambda session, file: target(session, file.path)


def add_files(
    catalogue: Catalogue,
    files: Sequence[FoundFile],
    act: Act,
    *,
    target: Target | None = None,
    progress: Progress | None = None,
) -> list[PictureOutcome]:
    """Add the files of a tree as `add_pictures` does, with the folders that each lay in.

    Files whose bytes the archive knows are not decoded again. Two are decoded at a time while one is written.

    Raises
    ------
    CatalogueError
        The disk is full or the archive cannot be written: what was added before stays.
    """
    with catalogue.read() as session:
        limit = float(read_profile(session)["largest_megapixels"])
        known = known_checksums(session)
    outcomes: list[PictureOutcome] = []
    with closing(_read_ahead(files, limit, known, catalogue.files)) as reading:
        for done, (file, read) in enumerate(reading, start=1):
            outcome, act = _add(catalogue, file, read, act, target)
            outcomes.append(outcome)
            if progress:
                progress(done, len(files))
    return outcomes


def known_checksums(session: Session) -> set[str]:
    """Return the SHA-256 of all living pictures."""
    return set(session.scalars(select(Picture.sha256).where(Picture.binned_at.is_(None))))


_Read = ReadPicture | str | InputError | NotFoundError  # a str is the SHA-256 of bytes that the archive knows


def _read_ahead(
    files: Sequence[FoundFile], limit: float, known: set[str], kept: Files
) -> Generator[tuple[FoundFile, _Read], None, None]:
    """Yield the files as they were read, in their order, a few of them ahead of their turn."""

    def read(file: FoundFile) -> _Read:
        try:
            sha256 = Files.digest(file.path)
            if sha256 in known and _is_whole(kept, sha256):
                return sha256
            return read_picture(file.path, max_megapixels=limit, name=file.shown, came_from=file.came_from)
        except FileNotFoundError:
            return NotFoundError("there is no file {path}", path=str(file.path), mend="Check the name.")
        except OSError as exc:
            mend = "Check its rights, or copy it again."
            return InputError("the file cannot be read: {why}", why=exc.strerror, where=file.shown, mend=mend)
        except (InputError, NotFoundError) as error:
            return error

    if len(files) == 1:
        yield files[0], read(files[0])
        return
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        waiting: deque[tuple[FoundFile, Future[_Read]]] = deque()
        try:
            for file in files:
                waiting.append((file, pool.submit(read, file)))
                if len(waiting) > _AHEAD:
                    first, future = waiting.popleft()
                    yield first, future.result()
            while waiting:
                first, future = waiting.popleft()
                yield first, future.result()
        finally:
            pool.shutdown(cancel_futures=True)


def _is_whole(files: Files, sha256: str) -> bool:
    """Return whether original and thumbnails are there; adding a picture again brings back what is gone."""
    names = [thumbnail_name(sha256, side) for side in LONG_SIDES]
    return files.exists(sha256) and all(files.derived_path(name).is_file() for name in names)


def _add(
    catalogue: Catalogue, file: FoundFile, read: _Read, act: Act, target: Target | None
) -> tuple[PictureOutcome, Act]:
    """Write one file that was read, in a transaction of its own; return what became of it and the act to go on with."""
    if isinstance(read, InputError | NotFoundError):
        return _refused(file, read), act
    try:
        if isinstance(read, ReadPicture):
            keep_files(catalogue.files, read)
    except InputError as error:
        return _refused(file, error), act
    with catalogue.write(act) as session:
        known = _living(session, read if isinstance(read, str) else read.sha256)
        has_copy = known is not None and known.copy_id is not None
        aim = target(session, file) if target and not has_copy else (None, None)
        if isinstance(read, ReadPicture):
            outcome = store_picture(session, read, *aim)
        elif known is not None:
            outcome = _tied(session, known, file, *aim)
        else:
            gone = NotFoundError("the same picture was removed meanwhile", where=file.shown, mend="Add it again")
            return _refused(file, gone), act
        return outcome, replace(act, change_id=session.info["change_id"])


def _refused(file: FoundFile, error: InputError | NotFoundError) -> PictureOutcome:
    return PictureOutcome(str(file.path), "refused", None, None, (), None, (str(error),))


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
    known = _living(session, read.sha256)
    notes = [str(notice) for notice in read.notices]
    if known is not None:
        notes += _tie(known, read.path.name, read.came_from, copy_id, appearance_id)
        return _outcome(session, read.path.name, read.palette, known, "known", notes)
    row = _new_row(session, read, copy_id, appearance_id)
    return _outcome(session, read.path.name, read.palette, row, "added", notes)


def _tied(
    session: Session, known: Picture, file: FoundFile, copy_id: int | None, appearance_id: int | None
) -> PictureOutcome:
    """Tie a picture that is known to the copy when it has none; nothing was decoded."""
    notes = _tie(known, file.path.name, file.came_from, copy_id, appearance_id)
    return _outcome(session, file.path.name, _kept_palette(session, known), known, "known", notes)


def _living(session: Session, sha256: str) -> Picture | None:
    return session.scalars(select(Picture).where(Picture.sha256 == sha256, Picture.binned_at.is_(None))).first()


def _tie(known: Picture, name: str, came_from: str, copy_id: int | None, appearance_id: int | None) -> list[str]:
    """Give a picture that is known what a second file of the same bytes tells; return it in words."""
    notes = []
    if known.copy_id is None and copy_id is not None:
        known.copy_id, known.appearance_id = copy_id, appearance_id
        notes.append("it was in the archive; it now belongs to the copy")
    else:
        notes.append(f"the same file is in the archive as {known.name}")
    place = came_from if name == known.name else f"{came_from}/{name}"
    if came_from and place not in known.came_from.split("\n"):
        known.came_from = "\n".join(filter(None, (known.came_from, place)))
    return notes


def _kept_palette(session: Session, row: Picture) -> Palette:
    query = select(PaletteColour).where(PaletteColour.picture_id == row.id).order_by(PaletteColour.position)
    colours = tuple(Colour((each.lab_l, each.lab_a, each.lab_b), each.share) for each in session.scalars(query))
    paper = None
    if row.paper_l is not None and row.paper_a is not None and row.paper_b is not None:
        paper = (row.paper_l, row.paper_a, row.paper_b)
    return Palette(paper, row.paper_share or 0.0, row.paper_sure, colours)


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
        came_from=read.came_from,
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


def _outcome(
    session: Session, name: str, palette: Palette, row: Picture, status: str, notes: Sequence[str]
) -> PictureOutcome:
    copy = session.get(Copy, row.copy_id) if row.copy_id else None
    return PictureOutcome(
        name,
        status,
        row.uid,
        copy.ref if copy else None,
        tuple({"lab": colour.lab, "share": colour.share} for colour in palette.colours),
        palette.paper,
        tuple(notes),
    )
