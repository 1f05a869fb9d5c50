"""Arrays in one file that is mapped, not read: little-endian, described by a header that tells a torn file.

The layout: 8 bytes of magic, the header's length (8 bytes, least first), its SHA-256, the header as JSON, then
the arrays, each on a 64-byte boundary. The header holds the format, the byte order, the file's whole length, where
each array lies with its CRC-32, and the fields that the caller gave. A file is written beside its place and moved
there in one step, so that whoever has the old one open goes on with the old one.
"""

from __future__ import annotations

import hashlib
import json
import mmap
import os
import sys
import uuid
import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, NoReturn

import numpy as np
from numpy.typing import NDArray

from archive.errors import CatalogueError, InputError

Array = NDArray[Any]

_MAGIC = b"SWATCHES"
_FORMAT = 1  # raised whenever an older file would be misread
_PREAMBLE = len(_MAGIC) + 8 + 32
_ALIGNED = 64  # bytes: a cache line, so that no array begins in the middle of one


@dataclass(frozen=True, slots=True)
class ArrayFile:
    """A mapped file: the caller's fields, and the arrays by name, not writeable."""

    fields: dict[str, Any]
    arrays: dict[str, Array]


def write_arrays(path: str | Path, fields: Mapping[str, Any], arrays: Mapping[str, Array]) -> None:
    """Write arrays and the caller's fields as one file, in place of what is there.

    Parameters
    ----------
    path : path-like
        In a folder that exists.
    fields : mapping
        What JSON holds; compared when the file is opened.
    arrays : mapping of str to ndarray
        Numbers or booleans.

    Raises
    ------
    InputError
        The fields are nothing that JSON holds.
    CatalogueError
        The folder cannot be written, or (on some systems) somebody has the old file open.
    """
    path = Path(path)
    plain = {name: np.ascontiguousarray(array, array.dtype.newbyteorder("<")) for name, array in arrays.items()}
    header, places, length = _described(dict(fields), plain)
    beside = path.with_name(f".{path.name}.{uuid.uuid4().hex}")
    try:
        with beside.open("xb") as file:
            file.write(_MAGIC + len(header).to_bytes(8, "little") + hashlib.sha256(header).digest() + header)
            for name, array in plain.items():
                file.write(b"\0" * (places[name] - file.tell()))
                file.write(array.data)
            file.write(b"\0" * (length - file.tell()))
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as exc:
        raise CatalogueError(
            "the index cannot be written: {reason}",
            reason=exc.strerror or str(exc),
            where=str(path),
            mend="Make room and give leave to write there; where another program has it open, close that.",
        ) from exc
    finally:
        with suppress(OSError):  # gone when all went well
            beside.unlink()


def map_arrays(path: str | Path, expected: Mapping[str, Any] | None = None) -> ArrayFile:
    """Return the arrays of a file without reading them, once its header is whole and says what is expected.

    Parameters
    ----------
    path : path-like
    expected : mapping
        Fields that must be in the header with just these values.

    Raises
    ------
    CatalogueError
        The file is missing, torn, of another format or byte order, or made for something else.
    """
    where = str(path)
    header, mapped = _opened(path, where)
    fields = header["fields"]
    for name, value in json.loads(_json(dict(expected or {}))).items():
        if fields.get(name) != value:
            found = fields.get(name, "nothing")
            _refuse("the index says {found} for {name}, not {value}", where, found=found, name=name, value=value)
    return ArrayFile(fields, {name: _mapped(mapped, entry) for name, entry in header["arrays"].items()})


def check_arrays(path: str | Path) -> None:
    """Read the whole file and compare every array with its checksum.

    Raises
    ------
    CatalogueError
        See `map_arrays`; or an array is not as it was written.
    """
    header, mapped = _opened(path, str(path))
    for name, entry in header["arrays"].items():
        if zlib.crc32(_mapped(mapped, entry).data) != entry["crc32"]:
            _refuse("the index is damaged in its {name}", str(path), name=name)


def _opened(path: str | Path, where: str) -> tuple[dict[str, Any], mmap.mmap]:
    """Return the header and the mapped file, both of the same file even while it is being replaced."""
    try:
        with Path(path).open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            header = _header(file, size, where)
            mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    except OSError as exc:
        _refuse("the index cannot be opened: {reason}", where, reason=exc.strerror or str(exc))
    if header["length"] != size:
        _refuse("the index is {size} bytes long instead of {length}", where, size=size, length=header["length"])
    return header, mapped


def _described(fields: dict[str, Any], arrays: dict[str, Array]) -> tuple[bytes, dict[str, int], int]:
    """Return the header, where each array begins, and how long the file is."""
    entries: dict[str, dict[str, Any]] = {}
    at = 0
    for name, array in arrays.items():
        entries[name] = {
            "dtype": array.dtype.newbyteorder("<").str,
            "shape": array.shape,
            "offset": at,
            "crc32": zlib.crc32(array.data),
        }
        at += _up(array.nbytes)
    header: dict[str, Any] = {"format": _FORMAT, "byte_order": "little", "fields": fields, "arrays": entries}
    # The length and the start of the arrays stand in the header, so it has to know its own size: room is left.
    room = _up(_PREAMBLE + len(_json(header)) + 80)
    header |= {"length": room + at, "start": room}
    text = _json(header)
    return (
        text + b" " * (room - _PREAMBLE - len(text)),
        {name: room + entry["offset"] for name, entry in entries.items()},
        room + at,
    )


def _json(value: dict[str, Any]) -> bytes:
    try:
        return json.dumps(value, separators=(",", ":"), sort_keys=True, allow_nan=False).encode()
    except (TypeError, ValueError) as exc:
        raise InputError("the index's fields must be plain values", mend="Give text, numbers and lists.") from exc


def _up(count: int) -> int:
    return -(-count // _ALIGNED) * _ALIGNED


def _header(file: BinaryIO, size: int, where: str) -> dict[str, Any]:
    preamble = file.read(_PREAMBLE)
    if len(preamble) < _PREAMBLE and _MAGIC.startswith(preamble[: len(_MAGIC)]):
        _refuse("the index is cut off", where)
    if not preamble.startswith(_MAGIC):
        _refuse("this is no index of swatches", where)
    length = int.from_bytes(preamble[8:16], "little")
    text = file.read(length) if length <= size - _PREAMBLE else b""
    if hashlib.sha256(text).digest() != preamble[16:]:
        _refuse("the index is cut off or damaged", where)
    header: dict[str, Any] = json.loads(text)
    if header["format"] != _FORMAT:
        _refuse("the index has format {found}, not {ours}", where, found=header["format"], ours=_FORMAT)
    if header["byte_order"] != "little":
        _refuse("the index is {order}-endian", where, order=header["byte_order"])
    header["arrays"] = {
        name: entry | {"offset": header["start"] + entry["offset"]} for name, entry in header["arrays"].items()
    }
    return header


def _mapped(mapped: mmap.mmap, entry: dict[str, Any]) -> Array:
    shape = tuple(entry["shape"])
    array: Array = np.frombuffer(mapped, entry["dtype"], int(np.prod(shape)), entry["offset"]).reshape(shape)
    if sys.byteorder != "little":
        array = array.astype(array.dtype.newbyteorder("="))
        array.setflags(write=False)
    return array


def _refuse(template: str, where: str, **values: Any) -> NoReturn:
    mend = "It holds nothing of its own: delete it, and it is made anew from the archive."
    raise CatalogueError(template, where=where, mend=mend, **values)
