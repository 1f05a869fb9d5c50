"""A bag holds the whole archive, the same from either database; a bad bag is named and leaves nothing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import inspect

from archive.catalogue.bulk_rows import read_rows, stored_shapes
from archive.catalogue.database import DATABASE_FILE, Catalogue, make_engine, open_archive
from archive.catalogue.last_ids import last_ids
from archive.catalogue.models import Ink
from archive.catalogue.revision import REVISION, stored_revision, upgrade
from archive.errors import ArchiveError, CatalogueError, ConflictError, InputError
from archive.exchange.bag_out import Source, write_bag
from archive.exchange.bag_rows import lines_of
from archive.services.check import check_archive
from archive.services.packing import pack, unpack
from tests.acts import act
from tests.server import Server
from tests.services.keeping import add, edit, enter, photo, remove


@pytest.fixture
def filled(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Give an archive with works, a picture, an edit and something in the bin."""
    add(catalogue, "ink", "Ferrywake", looks="#2a5ea8")
    add(catalogue, "ink", "Älvdis", note="a line\nand a mark \u2028 of lines")
    add(catalogue, "ink", "Dockrope")
    edit(catalogue, "ink", "Ferrywake", note="été")
    remove(catalogue, "ink", "Dockrope")
    enter(catalogue, "QA-1", photo(tmp_path / "tides.png"), title="Nine Tides", date="about 1998")
    return catalogue


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_an_archive_that_went_through_a_bag_packs_to_the_same_bytes(filled: Catalogue, tmp_path: Path) -> None:
    report = pack(filled, tmp_path / "bag")
    assert report.originals == 1
    assert unpack(tmp_path / "bag", tmp_path / "again").rows == report.rows
    again = open_archive(tmp_path / "again")
    assert check_archive(again) == []
    pack(again, tmp_path / "second")
    again.close()
    assert files(tmp_path / "second") == files(tmp_path / "bag")


def test_an_id_that_was_given_before_the_move_is_not_given_again(filled: Catalogue, tmp_path: Path) -> None:
    pack(filled, tmp_path / "bag")
    last = json.loads((tmp_path / "bag" / "data" / "archive.json").read_text())["last_ids"]["ink"]
    unpack(tmp_path / "bag", tmp_path / "again")
    again = open_archive(tmp_path / "again")
    with again.write(act()) as session:
        fresh = Ink(name="Kilnsong", name_key="kilnsong")
        session.add(fresh)
        session.flush()
        assert fresh.id == last + 1
    again.close()


@pytest.fixture
def target(database_kind: str, request: pytest.FixtureRequest) -> Iterator[str | None]:
    """Give where an archive is unpacked: nothing for a file, else the address of a new database."""
    if database_kind == "sqlite":
        yield None
        return
    server: Server = request.getfixturevalue("server")
    with server.database() as name:
        yield server.url(name)


def schema(catalogue: Catalogue) -> dict[str, object]:
    """Return what the database says of its tables, in an order of its own making."""
    found = inspect(catalogue.engine)
    return {
        name: (
            sorted((each["name"], str(each["type"]), each["nullable"]) for each in found.get_columns(name)),
            found.get_pk_constraint(name)["constrained_columns"],
            sorted((each["name"], each["constrained_columns"]) for each in found.get_foreign_keys(name)),
            sorted((each["name"], each["column_names"], each["unique"]) for each in found.get_indexes(name)),
            sorted((each["name"], each["column_names"]) for each in found.get_unique_constraints(name)),
            sorted((each["name"], each["sqltext"]) for each in found.get_check_constraints(name)),
        )
        for name in found.get_table_names()
    }


def test_an_archive_out_of_a_bag_has_the_tables_that_the_migrations_make(
    filled: Catalogue, tmp_path: Path, target: str | None
) -> None:
    pack(filled, tmp_path / "bag")
    unpack(tmp_path / "bag", tmp_path / "again", database=target)
    again = open_archive(tmp_path / "again")
    assert schema(again) == schema(filled)
    assert stored_revision(again.engine) == REVISION
    pack(again, tmp_path / "second")
    again.close()
    assert files(tmp_path / "second") == files(tmp_path / "bag")


def test_a_bag_of_an_older_version_comes_up_to_this_one(filled: Catalogue, tmp_path: Path) -> None:
    old = tmp_path / "old"
    unpacked(filled, tmp_path, old)
    engine = make_engine(f"sqlite:///{old / DATABASE_FILE}")
    upgrade(engine, "0001")
    with engine.begin() as connection:
        shapes = stored_shapes(connection)
        payload: list[tuple[str, Source]] = [
            (
                f"rows/{each.name}.jsonl",
                b"".join(lines_of(each.columns, each.kinds, rows) for rows in read_rows(connection, each)),
            )
            for each in shapes
        ]
        about = {"format": "inkchest archive 1", "revision": "0001", "last_ids": last_ids(connection)}
    engine.dispose()
    originals = [(f"originals/{name}", filled.files.path(name)) for name in filled.files.all_originals()]
    write_bag(tmp_path / "older", [("archive.json", json.dumps(about).encode()), *payload, *originals], {})
    unpack(tmp_path / "older", tmp_path / "again")
    again = open_archive(tmp_path / "again")
    assert check_archive(again) == []
    assert stored_revision(again.engine) == REVISION
    pack(again, tmp_path / "second")
    again.close()
    assert files(tmp_path / "second") == files(tmp_path / "bag")


def unpacked(catalogue: Catalogue, folder: Path, to: Path) -> None:
    pack(catalogue, folder / "bag")
    unpack(folder / "bag", to)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (b'{"change_id":1,"id":7}', "value"),
        (b'{"id":99999999999999999999}', "value"),
        (b'{"id":1,"name":"\\ud800"}', "value"),
        (b'{"id":1,"name":null}', "ink.jsonl, line 1"),
        (b'{"id":1}{"id":2}', "ink.jsonl, line 1"),
        (b'{"id":1},{"id":2}', "ink.jsonl, line 1"),
        (b'{"id":1,"strange":2}', "ink.jsonl, line 1"),
        (b"[" * 100_000, "ink.jsonl, line 1"),
        (b"\xff", "ink.jsonl"),
    ],
)
def test_rows_that_no_archive_takes_are_named_and_leave_nothing(
    filled: Catalogue, tmp_path: Path, target: str | None, row: bytes, words: str
) -> None:
    pack(filled, tmp_path / "bag")
    rewritten(tmp_path / "bag", "rows/ink.jsonl", row + b"\n")
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match=words):
        unpack(tmp_path / "bag", tmp_path / "far" / "again", database=target)
    assert sorted(tmp_path.iterdir()) == before


def test_a_row_that_refers_to_none_is_named_and_leaves_nothing(
    filled: Catalogue, tmp_path: Path, target: str | None
) -> None:
    pack(filled, tmp_path / "bag")
    pack(filled, tmp_path / "whole")
    rewritten(tmp_path / "bag", "rows/change.jsonl", b"")
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match="contradict one another"):
        unpack(tmp_path / "bag", tmp_path / "again", database=target)
    assert sorted(tmp_path.iterdir()) == before
    unpack(tmp_path / "whole", tmp_path / "again", database=target)  # the database was left empty too


def listed_twice(bag: Path) -> None:
    manifest = bag / "manifest-sha256.txt"
    manifest.write_text(manifest.read_text() + manifest.read_text().splitlines()[0] + "\n")


def climbing(bag: Path) -> None:
    manifest = bag / "manifest-sha256.txt"
    manifest.write_text(manifest.read_text().replace("data/rows/ink.jsonl", "data/../../ink.jsonl"))


def stranger(bag: Path) -> None:
    """Put a file in that the manifests know, so that only its place in an archive is wrong."""
    rewritten(bag, "letter.txt", b"mine")


def rewritten(bag: Path, path: str, content: bytes) -> None:
    target = bag / "data" / path
    target.write_bytes(content)
    manifest = bag / "manifest-sha256.txt"
    kept = [line for line in manifest.read_text().splitlines() if not line.endswith(f"data/{path}")]
    manifest.write_text("\n".join([*kept, f"{hashlib.sha256(content).hexdigest()}  data/{path}"]) + "\n")
    (bag / "tagmanifest-sha256.txt").unlink()
    (bag / "bag-info.txt").unlink()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda bag: (bag / "data/rows/ink.jsonl").write_text("{}\n"), "ink.jsonl"),
        (lambda bag: (bag / "data/rows/ink.jsonl").unlink(), "ink.jsonl"),
        (lambda bag: (bag / "data/extra.txt").write_text("x"), "extra.txt"),
        (lambda bag: (bag / "data/way").symlink_to("/"), "link"),
        (listed_twice, "stands here again"),
        (climbing, "climbs out"),
        (stranger, "letter.txt"),
        (lambda bag: rewritten(bag, "rows/ink.jsonl", b'{"id": "one"}\n'), "ink.jsonl, line 1"),
        (lambda bag: rewritten(bag, "rows/ink.jsonl", b"no row\n"), "ink.jsonl, line 1"),
        (lambda bag: rewritten(bag, "archive.json", b"[]"), "archive.json"),
        (
            lambda bag: rewritten(bag, "archive.json", b'{"format": "a cake", "revision": "1", "last_ids": {}}'),
            "format",
        ),
    ],
)
def test_a_bag_that_is_wrong_is_named_and_leaves_nothing(
    filled: Catalogue, tmp_path: Path, spoil: Callable[[Path], object], words: str
) -> None:
    bag = tmp_path / "bag"
    pack(filled, bag)
    spoil(bag)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError) as found:
        unpack(bag, tmp_path / "again")
    assert words in str(found.value)
    assert sorted(tmp_path.iterdir()) == before


def test_a_bag_of_a_newer_version_is_left_alone(filled: Catalogue, tmp_path: Path) -> None:
    pack(filled, tmp_path / "bag")
    newer = {"format": "inkchest archive 1", "revision": "9999", "last_ids": {}}
    rewritten(tmp_path / "bag", "archive.json", json.dumps(newer).encode())
    with pytest.raises(CatalogueError, match=r"newer inkchest.*9999"):
        unpack(tmp_path / "bag", tmp_path / "again")


def test_nothing_is_packed_or_unpacked_over_other_things(filled: Catalogue, tmp_path: Path) -> None:
    pack(filled, tmp_path / "bag")
    with pytest.raises(ConflictError, match="something is there"):
        pack(filled, tmp_path / "bag")
    with pytest.raises(ConflictError, match="an archive already"):
        unpack(tmp_path / "bag", filled.folder)


@pytest.mark.parametrize("harm", [Path.unlink, lambda path: path.write_bytes(b"altered")])
def test_an_original_that_is_gone_or_altered_makes_no_bag(
    filled: Catalogue, tmp_path: Path, harm: Callable[[Path], object]
) -> None:
    harm(filled.files.path(next(filled.files.all_originals())))
    before = sorted(tmp_path.iterdir())
    with pytest.raises(ArchiveError, match="1 originals are"):
        pack(filled, tmp_path / "bag")
    assert sorted(tmp_path.iterdir()) == before
