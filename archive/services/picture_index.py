"""What a picture is compared with: the palettes and hashes of all pictures, as arrays.

From some thousand pictures on they are kept in `derived/picture-index` with a mark of how far the archive was, like
the swatches in the search index: newer and altered pictures are read with the question and stand beside it; an undo,
a forgetting or too many of them make it anew. Works, copies and uids are not in it; they are asked for the few shown.

Palettes lie in it relative to their paper. Whoever reads a picture's palette anew alters its paper in the same
change: that is what tells that the picture is not as in the index.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.models import Change, Edit, PaletteColour, Picture
from archive.colour.palette_search import PaletteIndex
from archive.colour.spaces import WIDEST, relative_to_paper
from archive.colour.tree_file import map_arrays, write_arrays
from archive.errors import CatalogueError
from archive.imaging.hashes import hamming_distances, hash_words
from archive.services.evidence import Floats, Ints, batched
from archive.services.facts import archive_uid

NAME = "picture-index"
INDEX_FROM = 5_000  # pictures; fewer are read in a tenth of a second
MOST_BESIDE = 2_000  # pictures beside the index; more, and it is made anew
_CODE = 1  # raised whenever an older file would answer differently
_PALETTE = "palette."  # before the names of the palettes' arrays
_DECIMALS = 9  # to which two distances are equal


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class PictureArrays:
    """Pictures that have a palette, in the order of their ids.

    Attributes
    ----------
    ids : (n,) ndarray of int64
    words : (n,) ndarray of uint64
        Their hashes.
    is_plain : (n,) ndarray of bool
        Too little structure for the hash to count.
    palettes : PaletteIndex
        Relative to paper.
    alive : (n,) ndarray of bool
    """

    ids: Ints
    words: NDArray[np.uint64]
    is_plain: NDArray[np.bool_]
    alive: NDArray[np.bool_]
    palettes: PaletteIndex

    def without(self, ids: Iterable[int]) -> PictureArrays:
        """Return the pictures, some of which do not count any more."""
        alive = self.alive & ~np.isin(self.ids, np.fromiter(ids, dtype=np.int64))
        return PictureArrays(self.ids, self.words, self.is_plain, alive, self.palettes)


@dataclass(frozen=True, slots=True)
class KnownPictures:
    """All pictures of the archive, in one or two parts."""

    parts: tuple[PictureArrays, ...]

    def nearest(self, lab: ArrayLike, share: ArrayLike, k: int) -> list[tuple[int, float]]:
        """Return the ids of the k pictures with the nearest palettes and how far they are, equals by their id.

        Parameters
        ----------
        lab : (m, 3) array_like, relative to paper
        share : (m,) array_like
            Above 0, together 1.
        """
        found = [
            (int(part.ids[near.index]), near.distance)
            for part in self.parts
            for near in part.palettes.nearest(lab, share, k, part.alive)
        ]
        return sorted(found, key=lambda each: (round(each[1], _DECIMALS), each[0]))[:k]

    def like_in_shape(self, phash: str, most_bits: int, limit: int) -> list[tuple[int, int]]:
        """Return the ids of pictures whose hashes differ in few bits, and in how many, equals by their id."""
        found = []
        for part in self.parts:
            bits = hamming_distances(phash, part.words)
            near = np.flatnonzero((bits <= most_bits) & part.alive & ~part.is_plain)
            found += list(zip(part.ids[near].tolist(), bits[near].tolist(), strict=True))
        return sorted(found, key=lambda each: (each[1], each[0]))[:limit]


def open_pictures(session: Session, files: Files | None = None, *, index_from: int = INDEX_FROM) -> KnownPictures:
    """Return the archive's pictures for a question; from so many on, by the index.

    Parameters
    ----------
    files : Files
        Where the index is kept; without, all pictures are read.
    """
    count = session.scalar(select(func.count()).select_from(Picture)) or 0
    if files is None or count < index_from:
        return KnownPictures((read_pictures(session),))
    kept = _open(session, files)
    changed = None if kept is None else _changed(session, kept[1])
    if kept is None or changed is None:
        return KnownPictures((_make(session, files),))
    if not changed:
        return KnownPictures((kept[0],))
    return KnownPictures((kept[0].without(changed), read_pictures(session, changed)))


def read_pictures(session: Session, ids: Iterable[int] | None = None) -> PictureArrays:
    """Return the pictures that have a palette, or some of them, read from the database."""
    columns = (
        *(Picture.id, Picture.phash, Picture.is_plain),
        *(Picture.paper_l, Picture.paper_a, Picture.paper_b),
    )
    heads = _rows(session, select(*columns).where(Picture.binned_at.is_(None)).order_by(Picture.id), Picture.id, ids)
    parts = (PaletteColour.picture_id, PaletteColour.lab_l, PaletteColour.lab_a, PaletteColour.lab_b)
    query = select(*parts, PaletteColour.share).order_by(PaletteColour.picture_id, PaletteColour.position)
    colours = np.array(_rows(session, query, PaletteColour.picture_id, ids), dtype=np.float64).reshape(-1, 5)
    paper = np.array([row[3:] for row in heads], dtype=np.float64).reshape(-1, 3)
    numbers = np.array([row[0] for row in heads], dtype=np.int64)
    palettes, counts = _palettes(numbers, paper, colours[colours[:, 4] > 0])
    own = [row for row, count in zip(heads, counts.tolist(), strict=True) if count]
    return PictureArrays(
        numbers[counts > 0],
        hash_words([row[1] for row in own]),
        np.array([row[2] for row in own], dtype=np.bool_),
        np.ones(len(own), dtype=np.bool_),
        palettes,
    )


def relative_lab(lab: Floats, paper: Floats) -> Floats:
    """Return colours with their paper as white: two photos of one sheet under two lights are alike."""
    return np.clip(relative_to_paper(lab, paper), (0, -WIDEST, -WIDEST), (100, WIDEST, WIDEST))


def _rows(session: Session, query: Any, column: Any, ids: Iterable[int] | None) -> list[tuple[Any, ...]]:
    if ids is None:
        return [tuple(row) for row in session.execute(query)]
    return [tuple(row) for own in batched(sorted(ids)) for row in session.execute(query.where(column.in_(own)))]


def _palettes(ids: Ints, paper: Floats, colours: Floats) -> tuple[PaletteIndex, Ints]:
    """Return the palettes of the pictures that have one, and the number of colours of each picture.

    Parameters
    ----------
    paper : (n, 3) ndarray, not a number where it is not known
    colours : (m, 5) ndarray
        Picture, Lab and share.
    """
    row = np.searchsorted(ids, colours[:, 0])
    is_here = np.isin(colours[:, 0], ids)
    row, lab, share = row[is_here], colours[is_here, 1:4], colours[is_here, 4]
    has_paper: NDArray[np.bool_] = np.asarray(np.isfinite(paper).all(axis=1))
    relative = has_paper[row]
    lab[relative] = relative_lab(lab[relative], paper[row[relative]])
    blank = np.flatnonzero(has_paper & (np.bincount(row, minlength=len(ids)) == 0))  # a blank sheet is its paper
    row, lab = np.concatenate([row, blank]), np.concatenate([lab, paper[blank]])
    share = np.concatenate([share, np.ones(len(blank))])
    order = np.argsort(row, kind="stable")
    row, lab, share = row[order], lab[order], share[order]
    counts = np.bincount(row, minlength=len(ids)).astype(np.int64)
    sums = np.bincount(row, share, minlength=len(ids))
    return PaletteIndex.build(lab, share / sums[row], counts[counts > 0]), counts


# --- the file


def _make(session: Session, files: Files) -> PictureArrays:
    """Return all pictures, kept in place of the old index where it can be."""
    mark = _mark(session)  # first: what is added meanwhile is newer than this
    pictures = read_pictures(session)
    said = {"archive": archive_uid(session), "code": _CODE, "mark": mark}
    arrays: dict[str, NDArray[Any]] = {
        each.name: getattr(pictures, each.name) for each in fields(pictures) if each.name != "palettes"
    }
    arrays |= {_PALETTE + name: array for name, array in pictures.palettes.arrays().items()}
    path = files.derived_path(NAME)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_arrays(path, said, arrays)
    except (CatalogueError, OSError):
        return pictures  # a full or locked disk: the answer is as good, and the next question tries again
    return pictures


def _open(session: Session, files: Files) -> tuple[PictureArrays, dict[str, list[int]]] | None:
    """Return the index as it was kept, and its mark; none when there is none that can be used."""
    path = files.derived_path(NAME)
    if not path.exists():
        return None
    try:
        file = map_arrays(path, {"archive": archive_uid(session), "code": _CODE})
    except CatalogueError:
        return None  # torn or foreign: it holds nothing of its own and is made anew
    own = {name: array for name, array in file.arrays.items() if not name.startswith(_PALETTE)}
    rest = {name.removeprefix(_PALETTE): array for name, array in file.arrays.items() if name.startswith(_PALETTE)}
    return PictureArrays(**own, palettes=PaletteIndex.of_arrays(rest)), dict(file.fields["mark"])


def _mark(session: Session) -> dict[str, list[int]]:
    """Return the newest id of what pictures depend on, and how many pictures there are up to it."""
    newest = session.scalar(select(func.max(Picture.id))) or 0
    count = session.scalar(select(func.count()).select_from(Picture).where(Picture.id <= newest)) or 0
    changes = [session.scalar(select(func.max(table.id))) or 0 for table in (Change, Edit)]
    return {"picture": [newest, count], "change": changes[:1], "edit": changes[1:]}


def _changed(session: Session, mark: dict[str, list[int]]) -> set[int] | None:
    """Return the ids of the pictures that are newer than the mark or altered since; None when it cannot be told."""
    newest, count = mark["picture"]
    if session.scalar(select(func.count()).select_from(Picture).where(Picture.id <= newest)) != count:
        return None
    later = (Change.id > mark["change"][0], Change.kind.in_(("undo", "forget")))
    if session.scalar(select(func.count()).select_from(Change).where(*later)):
        return None
    edits = select(Edit.row_id).where(Edit.id > mark["edit"][0], Edit.table_name == Picture.__tablename__)
    found = {*session.scalars(edits), *session.scalars(select(Picture.id).where(Picture.id > newest))}
    return None if len(found) > MOST_BESIDE else found
