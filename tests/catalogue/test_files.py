"""Originals by their SHA-256, whole or not at all."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.catalogue.files import Files
from archive.errors import CatalogueError, NotFoundError


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(tmp_path)


@given(st.binary(max_size=300))
def test_what_is_put_comes_back_under_its_sha256(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    files = Files(tmp_path_factory.mktemp("files"))
    name = files.put(io.BytesIO(content))
    assert name == hashlib.sha256(content).hexdigest()
    assert files.exists(name)
    with files.open(name) as stream:
        assert stream.read() == content
    assert Files.digest(files.path(name)) == name


def test_a_file_of_many_blocks_is_kept_whole(files: Files) -> None:
    content = bytes(range(256)) * 12_000  # 3 MB, read in blocks of 1 MiB
    assert files.put(io.BytesIO(content)) == hashlib.sha256(content).hexdigest()


def test_the_empty_file_has_the_well_known_name(files: Files) -> None:
    # FIPS 180-4: SHA-256 of the empty message
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert files.put(io.BytesIO(b"")) == empty


def test_the_same_bytes_twice_are_one_file(files: Files) -> None:
    assert files.put(io.BytesIO(b"tides")) == files.put(io.BytesIO(b"tides"))
    assert len(list(files.all_originals())) == 1
    assert files.leftovers() == []


class _Breaks(io.RawIOBase):
    """A stream that gives some bytes and then fails, as a stick that is pulled out."""

    def __init__(self) -> None:
        self.given = False

    def read(self, _size: int = -1) -> bytes:
        if self.given:
            raise OSError(5, "Input/output error")
        self.given = True
        return b"half"


def test_a_file_that_breaks_off_leaves_nothing(files: Files) -> None:
    with pytest.raises(CatalogueError, match="Input/output error"):
        files.put(_Breaks())  # type: ignore[arg-type]
    assert list(files.all_originals()) == []
    assert files.leftovers() == []


def test_a_missing_original_is_told(files: Files) -> None:
    with pytest.raises(NotFoundError, match="gone from the disk"):
        files.open("0" * 64)


def test_originals_are_listed_in_order(files: Files) -> None:
    names = sorted(files.put(io.BytesIO(bytes([number]))) for number in range(5))
    assert list(files.all_originals()) == names


def test_a_derived_file_can_be_replaced(files: Files) -> None:
    files.put_derived("thumbnails/ab/abc.jpg", b"old")
    files.put_derived("thumbnails/ab/abc.jpg", b"new")
    assert files.derived_path("thumbnails/ab/abc.jpg").read_bytes() == b"new"
    assert len(list(files.derived.rglob("*.*"))) == 1


def test_what_was_derived_goes_with_its_original(files: Files) -> None:
    name = files.put(io.BytesIO(b"tides"))
    other = files.put(io.BytesIO(b"choir"))
    for each in (name, other):
        files.put_derived(f"thumbnails/{each[:2]}/{each}-320.jpg", b"small")
    files.remove(name)
    assert not files.exists(name)
    assert [path.name for path in files.derived.rglob("*.jpg")] == [f"{other}-320.jpg"]
    files.remove(name)  # gone already: nothing to say
