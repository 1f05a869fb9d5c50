"""Answers by the search index are those of reading every swatch, whatever was changed since it was made."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select, update

from archive.catalogue.database import Catalogue
from archive.catalogue.history import current_change
from archive.catalogue.identity import new_uid
from archive.catalogue.models import Change, Measurement, Swatch
from archive.colour.tree import SwatchTree
from archive.services.bin import empty_bin, remove_row
from archive.services.changes import undo
from archive.services.evidence import Evidence, load_evidence
from archive.services.house import pass_planner
from archive.services.matching import Limits, MatchIndex, MatchOptions, Ranked
from archive.services.profile import set_profile
from archive.services.records import add_record, edit_record
from archive.services.search_index import NAME, Known, open_known
from archive.services.swatches import measure_again
from archive.services.uid_column import UidColumn, pack_uids
from tests.acts import act
from tests.services.make import Patch, bring_in, readings

READING = {"method": "instrument", "condition": "M1", "instrument": "", "measured_on": "2026-01-05", "hours_after": 48}
ASKED = [(46.7, 42.5, 37.7), (59.9, -24.4, 23.9), (35.6, 2.8, -39.0), (88.0, 0.0, 12.0), (25.0, 90.0, -90.0)]
OPTIONS = [
    MatchOptions(limit=8),
    MatchOptions(paper="Oatleaf 120", passes=1),
    MatchOptions(in_house=True, evidence=("proven", "seen"), limit=20),
    MatchOptions(by_delta=True, limit=30),
    MatchOptions(evidence=("told",), limit=3),
    MatchOptions(loaded=True, limit=300),
]


@pytest.fixture
def archive(demo_copy: Catalogue) -> Catalogue:
    """Return a copy of the demo archive with its index, to be written in."""
    with_index(demo_copy)
    return demo_copy


def told(evidence: Evidence, found: list[Ranked]) -> list[Any]:
    """Return what a match says, without its row; numbers to a digit that single rounding cannot move."""
    return [
        (
            *(evidence.uids[each.row], round(each.delta_e, 8), each.verdict, each.group, each.also, each.plan),
            *(round(each.uncertainty, 9), round(each.reprint, 9), bool(evidence.aged[each.row])),
            *(evidence.recipes[evidence.recipe[each.row]], evidence.sources[each.row], evidence.kind[each.row]),
            tuple(evidence.lab[each.row]),
        )
        for each in found
    ]


def with_index(catalogue: Catalogue, paper: str | None = None, **more: Any) -> Known:
    with catalogue.read() as session:
        return open_known(session, paper, Limits(), catalogue.files, index_from=1, **more)


def assert_same_answers(catalogue: Catalogue) -> Known:
    """Check the index against reading every swatch; return what was opened last."""
    with catalogue.read() as session:
        planner = pass_planner(session)
        for paper in dict.fromkeys(options.paper for options in OPTIONS):
            everything = load_evidence(session, paper)
            brute = MatchIndex(everything, compiled=False)
            asked = [(wanted, options) for options in OPTIONS if options.paper == paper for wanted in ASKED]
            theirs = [told(everything, brute.ranked(*question, planner)) for question in asked]
            for many in (False, True):  # without and with the compiler
                known = open_known(session, paper, Limits(), catalogue.files, many=many, index_from=1)
                assert known.stored is not None
                assert sorted(known.evidence.left_out) == sorted(everything.left_out)
                assert known.evidence.whites == everything.whites
                assert known.evidence.paper_of_screen == everything.paper_of_screen
                assert [told(*known.ranked(session, *question, planner)) for question in asked] == theirs
    return known


def made_at(catalogue: Catalogue) -> int:
    return catalogue.files.derived_path(NAME).stat().st_mtime_ns


def some_swatches(catalogue: Catalogue, known: Known) -> list[str]:
    """Return the uids of swatches near the first wanted colour that lie in the index."""
    with catalogue.read() as session:
        evidence, found = known.ranked(session, ASKED[0], MatchOptions(limit=40), pass_planner(session))
    beside = set(known.evidence.uids)
    return [evidence.uids[each.row] for each in found if evidence.uids[each.row] not in beside]


def test_answers_are_those_of_reading_everything(archive: Catalogue) -> None:
    assert assert_same_answers(archive).notices == ()


def test_what_is_added_measured_again_or_binned_is_answered_without_a_new_index(
    archive: Catalogue, tmp_path: Path
) -> None:
    before = made_at(archive)
    uids = some_swatches(archive, with_index(archive))
    near = [Patch(f"n{place}", (46.5 + place, 42, 37), [("Kilnsong", 61 + place)]) for place in range(3)]
    bring_in(archive, tmp_path, *near, Patch("far", (30, -60, 10), [("Kilnsong", 3)]), name="more.csv")
    with archive.write(act("measure again")) as session:
        measure_again(session, uids[0], "46.9,42.4,37.5", READING)
    with archive.write(act("bin a swatch")) as session:
        remove_row(session, session.scalars(select(Swatch).where(Swatch.uid == uids[1])).one())
    assert_same_answers(archive)
    assert made_at(archive) == before


def test_bare_paper_measured_later_moves_the_paper_and_needs_no_new_index(archive: Catalogue, tmp_path: Path) -> None:
    before = made_at(archive)
    bring_in(archive, tmp_path, Patch("bare", (90, 1, 7)), name="bare.csv")
    assert_same_answers(archive)
    assert made_at(archive) == before


def test_an_undo_is_answered_without_a_new_index(archive: Catalogue, tmp_path: Path) -> None:
    before = made_at(archive)
    bring_in(archive, tmp_path, Patch("gone", (46.5, 42, 37), [("Kilnsong", 61)]), name="gone.csv")
    with_index(archive)
    with archive.write(act("take it back", kind="undo")) as session:
        change = session.scalars(select(Swatch.change_id).order_by(Swatch.id.desc())).first()
        assert change is not None
        undo(session, change)
    assert_same_answers(archive)
    uids = some_swatches(archive, with_index(archive))
    with archive.write(act("bin one that the index holds")) as session:
        remove_row(session, session.scalars(select(Swatch).where(Swatch.uid == uids[0])).one())
        removed = current_change(session)
    assert uids[0] not in some_swatches(archive, assert_same_answers(archive))
    with archive.write(act("and bring it back", kind="undo")) as session:
        undo(session, removed)
    assert_same_answers(archive)
    assert made_at(archive) == before


def test_another_kind_of_ink_and_another_profile_make_the_index_anew(archive: Catalogue) -> None:
    for step in ("ink", "profile"):
        before = made_at(archive)
        with archive.write(act(step)) as session:
            if step == "ink":
                edit_record(session, "ink", "Kilnsong", {"kind": "fluorescent"})
            else:
                set_profile(session, "place_sd", "2.5")
        assert_same_answers(archive)
        assert made_at(archive) != before, step


def test_swatches_in_the_bin_and_gone_for_good_are_gone_from_the_answers(archive: Catalogue) -> None:
    uids = some_swatches(archive, with_index(archive))
    for uid in uids[:3]:
        with archive.write(act("bin a swatch")) as session:
            remove_row(session, session.scalars(select(Swatch).where(Swatch.uid == uid)).one())
    with archive.write(act("empty the bin")) as session:
        assert empty_bin(session, archive.files)[0] >= 3
    assert not set(uids[:3]) & set(some_swatches(archive, assert_same_answers(archive)))


def test_a_measurement_gone_for_good_makes_the_index_anew(archive: Catalogue) -> None:
    uid = some_swatches(archive, with_index(archive))[0]
    with archive.write(act("measure again")) as session:
        measure_again(session, uid, "30,42.4,37.5", READING)
    archive.files.derived_path(NAME).unlink()
    with_index(archive)
    before = made_at(archive)
    with archive.write(act("take it back", kind="undo")) as session:
        newest = session.scalars(select(Measurement).order_by(Measurement.id.desc())).first()
        assert newest is not None
        undo(session, newest.change_id)
    with archive.write(act("empty the bin")) as session:
        empty_bin(session, archive.files)
    assert_same_answers(archive)
    assert made_at(archive) != before


@pytest.mark.parametrize("table", [Change, Swatch])
def test_a_database_brought_back_from_before_makes_the_index_anew(archive: Catalogue, table: Any) -> None:
    before = made_at(archive)
    with archive.write(act("another history")) as session:  # which goes on with the same ids, and has uids of its own
        newest = select(func.max(table.id)).scalar_subquery()
        session.execute(update(table).where(table.id == newest).values(uid=new_uid()))
    assert_same_answers(archive)
    assert made_at(archive) != before


def test_what_another_process_writes_is_answered(archive: Catalogue, tmp_path: Path) -> None:
    before = made_at(archive)
    path = tmp_path / "theirs.csv"
    path.write_text(readings(Patch("theirs", (46.7, 42.5, 37.7), [("Kilnsong", 62)])), encoding="utf-8")
    run = "import sys; from archive.cli import main; sys.exit(main())"
    command = [sys.executable, "-c", run, "--archive", str(archive.folder), "readings", "import", str(path)]
    subprocess.run(command, check=True, capture_output=True)
    known = assert_same_answers(archive)
    with archive.read() as session:
        _, found = known.ranked(session, ASKED[0], MatchOptions(by_delta=True, limit=1), pass_planner(session))
    assert found[0].delta_e == pytest.approx(0, abs=1e-6)
    assert made_at(archive) == before


def test_prints_that_have_aged_since_say_so(archive: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    before = made_at(archive)
    for day in ("2031-06-01", "2019-01-01"):
        monkeypatch.setenv("INKCHEST_TODAY", day)
        assert_same_answers(archive)
    assert made_at(archive) == before


@pytest.mark.parametrize("harm", ["half", "empty", "other", "older"])
def test_a_torn_or_foreign_index_is_named_and_made_anew(archive: Catalogue, harm: str) -> None:
    path = archive.files.derived_path(NAME)
    whole = path.read_bytes()
    if harm == "half":
        path.write_bytes(whole[: len(whole) // 2])
    elif harm == "empty":
        path.write_bytes(b"")
    elif harm == "older":
        path.write_bytes(b"NOINDEX!" + whole[8:])
    else:
        tree = SwatchTree.build(np.array([[50.0, 0, 0]]), np.array([0]), np.array([0]))
        tree.save(path, {"archive": "another", "code": 1})
    (notice,) = with_index(archive).notices
    assert "made anew" in str(notice)
    assert NAME in str(notice)
    assert assert_same_answers(archive).notices == ()
    assert [each.name for each in path.parent.iterdir() if each.name.startswith(".")] == []


def test_a_reader_goes_on_with_the_old_index_while_a_new_one_takes_its_place(archive: Catalogue) -> None:
    known = with_index(archive)
    with archive.read() as session:
        planner = pass_planner(session)
        first = told(*known.ranked(session, ASKED[0], OPTIONS[0], planner))
        archive.files.derived_path(NAME).unlink()
        with_index(archive)
        assert told(*known.ranked(session, ASKED[0], OPTIONS[0], planner)) == first


def test_making_the_index_tells_how_far_it_is(archive: Catalogue) -> None:
    archive.files.derived_path(NAME).unlink()
    steps: list[tuple[int, int]] = []
    with_index(archive, progress=lambda done, of: steps.append((done, of)))
    assert steps == [(step + 1, len(steps)) for step in range(len(steps))]
    assert steps


def test_an_index_that_cannot_be_kept_still_answers(archive: Catalogue) -> None:
    path = archive.files.derived_path(NAME)
    path.unlink()
    path.mkdir()  # a folder in its place
    (notice, *_) = with_index(archive).notices
    assert isinstance(str(notice), str)
    with archive.read() as session:
        known = open_known(session, None, Limits(), archive.files, index_from=1)
        planner = pass_planner(session)
        theirs = MatchIndex(load_evidence(session), compiled=False).ranked(ASKED[0], OPTIONS[0], planner)
        assert [each.delta_e for each in known.ranked(session, ASKED[0], OPTIONS[0], planner)[1]] == pytest.approx(
            [each.delta_e for each in theirs]
        )


def test_a_small_archive_reads_everything_and_keeps_no_index(catalogue: Catalogue) -> None:
    with catalogue.write(act("an ink")) as session:
        add_record(session, "ink", "Kilnsong", {})
    with catalogue.read() as session:
        assert open_known(session, None, Limits(), catalogue.files).stored is None
    assert not catalogue.files.derived_path(NAME).exists()


@given(st.lists(st.uuids() | st.sampled_from(["theirs-1", "theirs-20"]), min_size=1, max_size=20))
def test_packed_uids_read_back_and_sort_as_their_text(uids: list[UUID | str]) -> None:
    text = [str(uid) for uid in uids]
    column = UidColumn(pack_uids(text))
    found = column[np.arange(len(text))]
    assert [each.decode() for each in found] == text
    assert sorted(found.tolist()) == [each.encode() for each in sorted(text)]
    assert column[np.zeros((2, 3), dtype=int)].shape == (2, 3)
