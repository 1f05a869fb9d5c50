"""Looking for damage: each kind is made, and found."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from sqlalchemy import select, text

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Ink, Picture, Recipe, Swatch
from archive.services.check import Damage, check_archive
from archive.services.counts import count_records
from archive.services.welcome import next_step
from tests.acts import act
from tests.services.keeping import add, enter, photo, remove, without_keys


@pytest.fixture
def filled(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    add(catalogue, "ink", "Ferrywake")
    enter(catalogue, "QA-0042", photo(tmp_path / "a.png"), inks="Ferrywake over yellow", place="Box 14")
    assert check_archive(catalogue) == []
    return catalogue


def only(catalogue: Catalogue) -> Damage:
    (found,) = check_archive(catalogue)
    assert found.what
    assert found.where
    assert found.mend
    return found


def test_an_altered_original_is_harm(filled: Catalogue) -> None:
    path = filled.files.path(next(filled.files.all_originals()))
    path.write_bytes(path.read_bytes() + b"\x00")
    found = only(filled)
    assert (found.code, found.is_harm) == ("wrong_hash", True)
    assert "a.png" in found.what
    assert path.name in found.where


def test_a_missing_original_is_harm(filled: Catalogue) -> None:
    filled.files.path(next(filled.files.all_originals())).unlink()
    found = only(filled)
    assert (found.code, found.is_harm, found.where) == ("missing_file", True, "picture a.png")


def test_an_original_that_no_picture_names_is_told(filled: Catalogue) -> None:
    name = filled.files.put(io.BytesIO(b"an import was stopped here"))
    found = only(filled)
    assert (found.code, found.is_harm) == ("orphan_file", False)
    assert name in found.where


def test_the_original_of_a_picture_in_the_bin_is_no_orphan(filled: Catalogue) -> None:
    remove(filled, "work", "QA-0042")
    assert check_archive(filled) == []


def test_a_half_written_file_is_told(filled: Catalogue) -> None:
    (filled.folder / "incoming").mkdir(exist_ok=True)
    (filled.folder / "incoming" / "0badcafe").write_bytes(b"half")
    found = only(filled)
    assert (found.code, found.is_harm) == ("leftover", False)


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        ("UPDATE place SET binned_at = '2026-01-01T00:00:00Z'", "place that lies in the bin"),
        ("UPDATE recipe SET binned_at = '2026-01-01T00:00:00Z'", "recipe that lies in the bin"),
        ("UPDATE ink SET binned_at = '2026-01-01T00:00:00Z'", "ink that lies in the bin"),  # named by a layer
    ],
)
def test_a_reference_to_the_bin_is_harm(filled: Catalogue, statement: str, what: str) -> None:
    without_keys(filled, statement)
    found = only(filled)
    assert (found.code, found.is_harm) == ("reference_to_bin", True)
    assert what in found.what


def test_a_broken_reference_is_harm(filled: Catalogue) -> None:
    without_keys(filled, "DELETE FROM place")
    found = only(filled)
    assert (found.code, found.is_harm) == ("broken_reference", True)
    assert "place" in found.what
    assert "copy" in found.where


@pytest.mark.parametrize("wrong", ["missing", "another's", "in the bin"])
def test_a_standing_measurement_that_is_not_there_is_harm(filled: Catalogue, wrong: str) -> None:
    with filled.write(act()) as session:
        recipe_id = session.scalars(select(Recipe.id)).one()
        session.add_all([Swatch(recipe_id=recipe_id), Swatch(recipe_id=recipe_id)])
    columns = "(id, uid, swatch_id, lab_l, lab_a, lab_b, lab_from, method, colour_path, note, change_id, binned_at)"
    binned = "'2026-01-01T00:00:00Z'" if wrong == "in the bin" else "NULL"
    swatch_id = 2 if wrong == "another's" else 1
    if wrong != "missing":
        values = f"(7, 'u', {swatch_id}, 50, 0, 0, 'lab', 'eye', '', '', 1, {binned})"
        without_keys(filled, f"INSERT INTO measurement {columns} VALUES {values}")
    without_keys(filled, "UPDATE swatch SET standing_id = 7 WHERE id = 1")
    found = only(filled)
    assert (found.code, found.is_harm) == ("standing", True)


def test_harm_comes_before_what_is_only_untidy(filled: Catalogue) -> None:
    filled.files.put(io.BytesIO(b"orphan"))
    without_keys(filled, "DELETE FROM place")
    assert [damage.is_harm for damage in check_archive(filled)] == [True, False]


def test_a_damaged_database_is_told(filled: Catalogue) -> None:
    with filled.write(act()) as session:
        session.add_all([Ink(name=f"Ink {number}", name_key=f"ink {number}", note="x" * 400) for number in range(300)])
    filled.close()
    path = filled.folder / "archive.sqlite3"
    content = bytearray(path.read_bytes())
    where = content.index(b"x" * 300)  # a leaf of the table `ink`
    page = where // 4096 * 4096
    content[page : page + 4096] = b"\xa5" * 4096
    path.write_bytes(content)
    assert [damage for damage in check_archive(filled) if damage.code == "database" and damage.is_harm]


def test_every_original_is_read_and_told_of(filled: Catalogue) -> None:
    steps: list[tuple[int, int]] = []
    check_archive(filled, progress=lambda done, total: steps.append((done, total)))
    assert steps == [(1, 1)]


def test_counts_are_of_the_living(filled: Catalogue) -> None:
    with filled.read() as session:
        assert count_records(session) == {
            "inks": 1,
            "machines": 0,
            "papers": 0,
            "works": 1,
            "pictures": 1,
            "swatches": 0,
        }
    remove(filled, "work", "QA-0042")
    with filled.read() as session:
        counts = count_records(session)
        assert session.scalar(select(Picture.id)) is not None
        assert session.execute(text("SELECT count(*) FROM work")).scalar() == 1
    assert (counts["works"], counts["pictures"]) == (0, 0)
    assert "enter a print" in next_step(counts)
