"""A folder tree of old photos: first what would happen, then all of it as one change that a kill does not split."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act, current_change
from archive.catalogue.models import Change, Fact, Picture, Work
from archive.errors import ArchiveError, InputError
from archive.imaging.decode import open_picture
from archive.services.picture_tree import FoundFile, PassedOver, Tree
from archive.services.picture_tree_names import KnownNames, Recognised
from archive.services.pictures import PictureOutcome, add_files
from archive.services.profile import read_profile
from archive.services.records import add_record
from archive.services.works import copy_for_pictures

WorksFrom = Literal["folder", "file"]
Progress = Callable[[int, int], None]
_UNFINISHED = "unfinished_pictures"  # the fact that names the change of an import that did not come to its end
_AT_ONCE = 2


@dataclass(frozen=True, slots=True)
class OfWork:
    """Pictures that names tell to be of one work, and whether file names or folders tell it."""

    work: str
    by: str
    pictures: int
    example: str


@dataclass(frozen=True, slots=True)
class SameFile:
    """A file whose bytes are another's: in the archive under a name, or in the tree at a place."""

    file: str
    same_as: str


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A file that is no whole picture, why, and how to mend it."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class OfSeveral:
    """A file whose name, or folder, could mean several works: its picture would stay loose."""

    file: str
    works: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TreePlan:
    """What adding a tree would do.

    Attributes
    ----------
    pictures : int
        How many would be added.
    known, doubled : tuple of SameFile
        In the archive already; further ones of the same bytes in the tree.
    works : tuple of OfWork
        What names of files and folders tell.
    loose : dict of folder to int
        Pictures of no known work, by folder.
    new_works : int
        Undescribed works that would be made for them.
    """

    pictures: int
    known: tuple[SameFile, ...]
    doubled: tuple[SameFile, ...]
    unreadable: tuple[Unreadable, ...]
    works: tuple[OfWork, ...]
    several: tuple[OfSeveral, ...]
    loose: dict[str, int]
    new_works: int
    passed_over: tuple[PassedOver, ...]


def plan_tree(
    catalogue: Catalogue, tree: Tree, *, works_from: WorksFrom | None = None, progress: Progress | None = None
) -> TreePlan:
    """Return what adding the tree would do; nothing is written.

    Each file is read for its checksum and its header. Damage further inside is met only when it is decoded.
    """
    with catalogue.read() as session:
        limit = float(read_profile(session)["largest_megapixels"])
        names = KnownNames(session)
        living = select(Picture.sha256, Picture.name).where(Picture.binned_at.is_(None))
        known = dict(session.execute(living).all())
    looked: list[tuple[FoundFile, str | Unreadable]] = []
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        for file, found in zip(tree.files, pool.map(lambda each: _look(each, limit), tree.files), strict=True):
            looked.append((file, found))
            if progress:
                progress(len(looked), len(tree.files))
    return _planned(looked, known, names, works_from, tree.passed_over)


def _look(file: FoundFile, limit: float) -> str | Unreadable:
    """Return a file's SHA-256, or why it cannot be read."""
    try:
        open_picture(file.path, max_megapixels=limit, name=file.shown)
        return Files.digest(file.path)
    except ArchiveError as error:
        return Unreadable(file.shown, str(error))
    except OSError as exc:
        return Unreadable(file.shown, str(exc.strerror))


def _planned(
    looked: Sequence[tuple[FoundFile, str | Unreadable]],
    known: dict[str, str],
    names: KnownNames,
    works_from: WorksFrom | None,
    passed_over: tuple[PassedOver, ...],
) -> TreePlan:
    first: dict[str, FoundFile] = {}
    in_archive: list[SameFile] = []
    doubled: list[SameFile] = []
    for file, found in looked:
        if isinstance(found, Unreadable):
            continue
        if found in known:
            in_archive.append(SameFile(file.shown, known[found]))
        elif found in first:
            doubled.append(SameFile(file.shown, first[found].shown))
        else:
            first[found] = file
    told = [(file, recognised(names, file)) for file in first.values()]
    loose = Counter(file.came_from for file, found in told if found is None)
    return TreePlan(
        pictures=len(first),
        known=tuple(in_archive),
        doubled=tuple(doubled),
        unreadable=tuple(found for _, found in looked if isinstance(found, Unreadable)),
        works=_of_works(told),
        several=tuple(OfSeveral(file.shown, found.refs) for file, found in told if found and len(found.refs) > 1),
        loose=dict(loose),
        new_works={None: 0, "folder": len(loose), "file": loose.total()}[works_from],
        passed_over=passed_over,
    )


def _of_works(told: Sequence[tuple[FoundFile, Recognised | None]]) -> tuple[OfWork, ...]:
    groups: dict[tuple[str, str], list[FoundFile]] = {}
    for file, found in told:
        if found and len(found.refs) == 1:
            groups.setdefault((found.refs[0], found.by), []).append(file)
    return tuple(OfWork(ref, by, len(files), files[0].shown) for (ref, by), files in sorted(groups.items()))


def recognised(names: KnownNames, file: FoundFile) -> Recognised | None:
    """Return which work a file of a tree tells of; a file that was named by itself tells of none."""
    return names.recognise(file.path.stem, file.folders) if file.folders else None


def add_tree(
    catalogue: Catalogue,
    tree: Tree,
    act: Act,
    *,
    work: str | None = None,
    works_from: WorksFrom | None = None,
    progress: Progress | None = None,
) -> list[PictureOutcome]:
    """Add the pictures of a tree, as one change: also when it was stopped and is begun again in the same words.

    Parameters
    ----------
    work : str, optional
        The work, variant or copy that all of them show; else what names of files and folders tell counts.
    works_from : "folder" or "file", optional
        Make an undescribed work for each folder with pictures of no known work, or for each such picture.

    Raises
    ------
    InputError
        `work` and `works_from` are both given.
    CatalogueError
        The disk is full or the archive cannot be written: what was added before stays.
    """
    if work is not None and works_from is not None:
        raise InputError("a work is named, and works are to be made", mend="Leave out --work or --works-from")
    is_tree = any(file.folders for file in tree.files)
    with catalogue.read() as session:
        aim = _Aim(KnownNames(session if is_tree else None), act, work, works_from)
        act = replace(act, change_id=_unfinished(session, act) if is_tree else None)
    outcomes = add_files(catalogue, tree.files, act, target=aim, progress=progress)
    if is_tree:
        with catalogue.write(act) as session:
            if (fact := session.get(Fact, _UNFINISHED)) is not None:
                session.delete(fact)
    notes = (aim.notes.get(file, ()) for file in tree.files)
    return [replace(outcome, notes=(*outcome.notes, *more)) for outcome, more in zip(outcomes, notes, strict=True)]


class _Aim:
    """Finds or makes what a file shows; `notes` keeps in words how it was found."""

    def __init__(self, names: KnownNames, act: Act, work: str | None, works_from: WorksFrom | None) -> None:
        self.notes: dict[FoundFile, tuple[str, ...]] = {}
        self._names = names
        self._act = act
        self._work = work
        self._works_from = works_from

    def __call__(self, session: Session, file: FoundFile) -> tuple[int | None, int | None]:
        if file.folders:
            self._note_change(session)
        if self._work is not None:
            return copy_for_pictures(session, self._work)
        found = recognised(self._names, file)
        if found is not None and len(found.refs) == 1:
            self.notes[file] = (f"of {found.refs[0]} by its {found.by} {found.name!r}",)
            return copy_for_pictures(session, found.refs[0])
        if found is not None:
            self.notes[file] = (f"its {found.by} could mean {' or '.join(found.refs)}: left loose",)
        elif self._works_from is not None:
            return copy_for_pictures(session, self._made(session, file))
        return None, None

    def _note_change(self, session: Session) -> None:
        """Remember the import's change until it has come to its end."""
        told = {"by": self._act.by, "words": self._act.words, "change": current_change(session)}
        if (fact := session.get(Fact, _UNFINISHED)) is None:
            session.add(Fact(key=_UNFINISHED, value=told))
        elif fact.value != told:
            fact.value = told

    def _made(self, session: Session, file: FoundFile) -> str:
        """Return the ref of the work for the file or its folder, made when it is the first."""
        what = file.came_from if self._works_from == "folder" else file.shown
        note = f"from the {self._works_from} {what}"
        query = select(Work.ref).where(Work.note == note, Work.binned_at.is_(None)).order_by(Work.id)
        ref = session.scalars(query).first()
        if ref is None:
            ref = add_record(session, "work", None, {"note": note}).label
            add_record(session, "variant", None, {"work": ref})
        self.notes[file] = (f"of {ref}, made from its {self._works_from}",)
        return ref


def _unfinished(session: Session, act: Act) -> int | None:
    """Return the change of the same import that was stopped before its end; None when there is none."""
    fact = session.get(Fact, _UNFINISHED)
    if fact is None or (fact.value["by"], fact.value["words"]) != (act.by, act.words):
        return None
    change_id = int(fact.value["change"])
    is_undone = session.scalars(select(Change.id).where(Change.undoes_id == change_id)).first()
    return change_id if session.get(Change, change_id) is not None and is_undone is None else None
