"""What was printed on another machine counts, and a new run of it may differ by more."""

from __future__ import annotations

from math import hypot
from pathlib import Path

import pytest

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.models import Machine
from archive.colour.difference import R95
from archive.services.answers import Match, match_colour
from archive.services.evidence_exchange import import_evidence
from archive.services.evidence_out import export_evidence
from archive.services.evidence_same import say_same
from archive.services.house import pass_planner
from archive.services.lookup import find_record
from archive.services.matching import Limits, MatchOptions
from archive.services.profile import set_profile
from archive.services.records import edit_record
from archive.services.search_index import open_known
from tests.acts import act
from tests.services.make import CHALKROAD, OATLEAF, Patch, add, ask, bring_in, enter_house

LARK = "Lark Lane Press"
WANTED = "lab:52.3,-18.4,12.2"
OURS = Patch("ours", (52.3, -18.4, 12.2), (("Ferrywake", 60),), more={"machine": "Upstairs"})
UNKNOWN = Patch("unknown", (52.3, -18.4, 12.2), (("Ferrywake", 60),))
# the profile's start values, common practice: reading by instrument, across the sheet, from day to day, another machine
READING, PLACE, DAY, MACHINE = 0.3, 0.9, 1.5, 2.0


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    enter_house(catalogue)
    for name in ("Upstairs", "Landing"):
        add(catalogue, "machine", name)
    return catalogue


def first(catalogue: Catalogue, **options: object) -> Match:
    return ask(catalogue, WANTED, **options).matches[0]


def radius(*parts: float) -> float:
    return R95 * hypot(*parts)


def take_theirs(house: Catalogue, folder: Path, *patches: Patch) -> None:
    """Take in what another workshop printed with the ink that is the same as ours."""
    other = start_archive(folder / "lark")
    enter_house(other)
    with other.write(act("name it")) as session:
        set_profile(session, "workshop_name", LARK)
    bring_in(other, folder, *patches, name="theirs.csv")
    with other.read() as session:
        export_evidence(session, folder / "theirs.json", inks=("Ferrywake",))
    other.close()
    import_evidence(house, folder / "theirs.json", act("take it in", kind="import"))
    with house.write(act("the same ink")) as session:
        say_same(session, "ink", f"Ferrywake ({LARK})", "Ferrywake")


def test_another_workshops_print_is_known_as_well_and_a_new_run_may_differ_by_more(
    house: Catalogue, tmp_path: Path
) -> None:
    take_theirs(house, tmp_path, UNKNOWN)
    found = first(house)
    assert found.printable_now
    assert found.uncertainty == pytest.approx(radius(READING, PLACE))
    assert found.reprint == pytest.approx(radius(READING, PLACE, DAY, MACHINE))
    (note,) = [note for note in found.notes if "another machine" in note]
    assert note.startswith(f"proven at {LARK}")
    assert "one patch" in note
    with house.write(act("we know better")) as session:
        set_profile(session, "other_machine_sd", "4")
    assert first(house).reprint == pytest.approx(radius(READING, PLACE, DAY, 4))


def test_our_own_machine_and_one_that_nobody_noted_widen_nothing(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, OURS, Patch("bare", (93, 0, 5)), UNKNOWN)
    for found in ask(house, WANTED).matches:
        assert found.reprint == pytest.approx(radius(READING, PLACE, DAY))
        assert not [note for note in found.notes if "one patch" in note]


@pytest.mark.parametrize("way", ["retired", "binned", "drum does not fit"])
def test_a_machine_that_cannot_print_it_now_widens_what_a_new_run_may_do(
    house: Catalogue, tmp_path: Path, way: str
) -> None:
    bring_in(house, tmp_path, OURS)
    if way == "retired":
        with house.write(act("sell it")) as session:
            edit_record(session, "machine", "Upstairs", {"in-house": False})
    elif way == "binned":
        with house.write(act("bin it")) as session:  # which the bin itself refuses while a run names it
            old = find_record(session, "machine", "Upstairs")
            assert isinstance(old, Machine)
            old.binned_at = "2026-01-01T00:00:00Z"
    else:
        add(house, "drum", "1", ink="Ferrywake", fits=["Landing"])
    found = first(house)
    assert found.printable_now
    assert found.reprint == pytest.approx(radius(READING, PLACE, DAY, MACHINE))
    assert [note for note in found.notes if note.startswith("printed on Upstairs, which cannot print it now")]


def test_an_index_tells_of_another_machine_as_reading_everything_does(house: Catalogue, tmp_path: Path) -> None:
    take_theirs(house, tmp_path, UNKNOWN, Patch("A2", (30.0, 2.0, -40.0), (("Ferrywake", 100),)))
    bring_in(house, tmp_path, OURS, Patch("B2", (31.0, 2.0, -40.0), (("Ferrywake", 99),), more={"machine": "Upstairs"}))
    with house.write(act("sell it")) as session:
        edit_record(session, "machine", "Upstairs", {"in-house": False})
    with house.read() as session:
        planner, options = pass_planner(session), MatchOptions(limit=9)
        known = open_known(session, None, Limits(), house.files, index_from=1)
        evidence, ranked = known.ranked(session, (52.3, -18.4, 12.2), options, planner)
        theirs = {match.swatch: match for match in match_colour(session, WANTED, options).matches}
        assert known.stored is not None
        assert len(ranked) == len(theirs) == 4
        for each in ranked:
            assert each.is_elsewhere
            assert each.reprint == pytest.approx(theirs[evidence.uids[each.row]].reprint)


def test_a_screens_colour_is_read_on_a_paper_of_ours_however_much_is_known_of_theirs(
    house: Catalogue, tmp_path: Path
) -> None:
    more = [Patch(f"A{tint}", (52.3, -18.4, tint), (("Ferrywake", tint),), CHALKROAD) for tint in range(1, 9)]
    take_theirs(house, tmp_path, *more)
    assert ask(house, "#804020").wanted["paper"] is None  # none of ours was measured: the start white stands in
    bring_in(house, tmp_path, Patch("ours", (50, 0, 0), (("Kilnsong", 10),)))
    assert ask(house, "#804020").wanted["paper"] == OATLEAF
    with house.write(act("as we like")) as session:
        set_profile(session, "house_paper", f"{CHALKROAD} ({LARK})")
    assert ask(house, "#804020").wanted["paper"] == f"{CHALKROAD} ({LARK})"


def test_a_house_without_a_paper_of_its_own_reads_on_theirs(catalogue: Catalogue, tmp_path: Path) -> None:
    add(catalogue, "ink", "Ferrywake")
    take_theirs(catalogue, tmp_path, UNKNOWN)
    assert ask(catalogue, "#804020").wanted["paper"] == f"{OATLEAF} ({LARK})"
