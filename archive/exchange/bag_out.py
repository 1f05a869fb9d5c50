"""Writing a bag (BagIt 1.0, RFC 8493): beside its place first, so that it appears whole or not at all."""

from __future__ import annotations

import hashlib
import re
import secrets
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sized
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from archive.errors import CatalogueError, ConflictError, InputError
from archive.exchange.bag import LABEL, LINE_END, OUT_OF_PLACE, BagEntry, Progress, encode_path, folded, path_fault
from archive.exchange.bag_files import chunks, workers

Source = Path | bytes | Iterable[bytes]


def write_bag(
    folder: Path,
    payload: Iterable[tuple[str, Source]],
    info: Mapping[str, str],
    progress: Progress | None = None,
) -> tuple[BagEntry, ...]:
    """Write a bag and return its entries; the folder appears whole or not at all.

    Parameters
    ----------
    folder : Path
        Must not exist, or be empty; its parent must exist.
    payload : iterable of (path, source)
        Paths relative to `data/`, with `/`; a source is a file to copy, the bytes themselves, or pieces of them.
    info : mapping of label to value
        For `bag-info.txt`, in this order; Payload-Oxum is added.
    progress : callable, optional
        Told (files done, files in all); the latter is 0 when `payload` has no length.

    Raises
    ------
    InputError
        A path is unsound or stands twice (also but for case or Unicode form), a label or value cannot be written, or
        there is no folder to write in.
    ConflictError
        The folder is taken.
    CatalogueError
        A file cannot be read or written. After any error nothing is left behind.
    """
    if not folder.parent.is_dir():
        raise InputError(
            "there is no folder {parent}", where=str(folder), parent=str(folder.parent), mend="Make it first"
        )
    if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
        raise ConflictError("something is there already", where=str(folder), mend="Give the name of a new folder")
    part = folder.parent / f".{folder.name}.{secrets.token_hex(4)}.part"
    try:
        entries = _fill(part, payload, _info_text(info), progress)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    except OSError as exc:
        mend = "See that there is room and that the folder can be written"
        raise CatalogueError(
            "the bag cannot be written: {why}", where=str(folder), mend=mend, why=exc.strerror or exc
        ) from exc
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return tuple(BagEntry(e.path, folder / "data" / e.path, e.size, e.sha256) for e in entries)


def _fill(part: Path, payload: Iterable[tuple[str, Source]], info: str, progress: Progress | None) -> list[BagEntry]:
    """Write everything under `part`."""
    (part / "data").mkdir(parents=True)
    total = len(payload) if isinstance(payload, Sized) else 0
    taken = _Taken()
    stored: list[tuple[str, Path, Future[tuple[int, str]]]] = []
    with workers() as pool:
        for path, source in payload:
            taken.add(path)
            target = part / "data" / path
            target.parent.mkdir(parents=True, exist_ok=True)
            stored.append((path, target, _begun(pool, source, target)))
        entries = []
        for path, target, future in stored:
            entries.append(BagEntry(path, target, *future.result()))
            if progress:
                progress(len(entries), total)
    entries.sort(key=lambda entry: entry.path)
    oxum = f"Payload-Oxum: {sum(entry.size for entry in entries)}.{len(entries)}\n"
    tags = {
        "bagit.txt": "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": info + oxum,
        "manifest-sha256.txt": "".join(f"{e.sha256}  data/{encode_path(e.path)}\n" for e in entries),
    }
    sums = {name: hashlib.sha256(text.encode()).hexdigest() for name, text in sorted(tags.items())}
    tags["tagmanifest-sha256.txt"] = "".join(f"{told}  {name}\n" for name, told in sums.items())
    for name, text in tags.items():
        (part / name).write_bytes(text.encode())
    return entries


class _Taken:
    """The paths of a bag so far; no two may meet on a disk that folds case or Unicode forms."""

    def __init__(self) -> None:
        self._files: set[str] = set()
        self._folders: set[str] = set()

    def add(self, path: str) -> None:
        """Take the path.

        Raises
        ------
        InputError
            The path is unsound, or meets another.
        """
        fault = path_fault(path)
        if fault:
            raise InputError("the path {path} {fault}", path=repr(path[:80]), fault=fault, mend=OUT_OF_PLACE)
        key = folded(path)
        parents = {key[: match.start()] for match in re.finditer("/", key)}
        if key in self._files or key in self._folders or not parents.isdisjoint(self._files):
            mend = "Give each file a path of its own, different in more than case"
            raise InputError("the path {path} is taken by another", path=repr(path[:80]), mend=mend)
        self._files.add(key)
        self._folders |= parents


def _begun(pool: ThreadPoolExecutor, source: Source, target: Path) -> Future[tuple[int, str]]:
    """Have a file copied by the pool; what is made piece by piece is made here, where its maker lives."""
    if isinstance(source, Path):
        return pool.submit(_store, source, target)
    done: Future[tuple[int, str]] = Future()
    done.set_result(_store(source, target))
    return done


def _store(source: Source, target: Path) -> tuple[int, str]:
    """Copy the source to the target and return its size and SHA-256."""
    digest = hashlib.sha256()
    with target.open("xb") as out:
        for piece in _pieces(source):
            out.write(piece)
            digest.update(piece)
        return out.tell(), digest.hexdigest()


def _pieces(source: Source) -> Iterator[bytes]:
    if isinstance(source, Path):
        with source.open("rb") as file:
            yield from chunks(file)
    elif isinstance(source, bytes):
        yield source
    else:
        yield from source


def _info_text(info: Mapping[str, str]) -> str:
    """Return the lines of bag-info.txt; a line break inside a value goes on in an indented line."""
    lines = []
    for label, value in info.items():
        if not LABEL["1.0"].fullmatch(f"{label}: ") or LINE_END.search(label) or label.casefold() == "payload-oxum":
            mend = "Use words without a colon; Payload-Oxum is written by itself"
            raise InputError("{label} cannot be a label of a bag", label=repr(label[:80]), mend=mend)
        if any("\ud800" <= character <= "\udfff" for character in label + value):
            raise InputError("the value of {label} is no text in Unicode", label=repr(label[:80]), mend="Type it again")
        lines.append(f"{label}: {LINE_END.sub(chr(10) + '  ', value)}\n")
    return "".join(lines)
