"""Evidence that has gone stale is listed by ink and by paper, with what to do about it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive.catalogue.database import Catalogue
from archive.services.profile import set_profile
from archive.services.stale import StaleGroup, list_stale
from archive.services.swatches import measure_again
from tests.acts import act
from tests.services import keeping
from tests.services.make import CHALKROAD, OATLEAF, Patch, bring_in, enter_house

READ = {"condition": "M1", "measured_on": "2024-05-04"}


@pytest.fixture
def house(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> Catalogue:
    """Return a house without a reading, on a day in 2025."""
    monkeypatch.setenv("INKCHEST_TODAY", "2025-06-01")
    enter_house(catalogue)
    return catalogue


def stale(catalogue: Catalogue) -> list[StaleGroup]:
    with catalogue.read() as session:
        return list_stale(session)


def listed(catalogue: Catalogue) -> list[tuple[str, str, list[str]]]:
    return [(each.reason, each.name, [patch["inks"] for patch in each.swatches]) for each in stale(catalogue)]


def one(sample: str, ink: str, paper: str = OATLEAF, **more: Any) -> Patch:
    return Patch(sample, (50, 0, 0), [(ink, 100)], paper=paper, more={**READ, **more})


def again(catalogue: Catalogue, uid: str, day: str) -> None:
    facts = {"method": "instrument", "condition": "M1", "instrument": None, "measured_on": day, "hours_after": None}
    with catalogue.write(act("measure")) as session:
        measure_again(session, uid, "50,1,0", facts)


def test_nothing_is_stale_in_a_house_whose_prints_are_newer_than_all_else(house: Catalogue, tmp_path: Path) -> None:
    keeping.add(house, "filling", "F-1", ink="Ferrywake", since="2024-05-01")
    bring_in(house, tmp_path, one("1", "Ferrywake"), one("2", "Oddlight"), Patch("3", (92, 0, 5), more=READ))
    assert stale(house) == []


def test_a_new_filling_makes_what_was_printed_before_it_stale(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, one("1", "Ferrywake"), one("2", "Dockrope"))
    keeping.add(house, "filling", "F-1", ink="Ferrywake", since="2024-05-01")
    keeping.add(house, "filling", "F-2", ink="Ferrywake", since="2025-02-01")
    keeping.add(house, "filling", "F-3", ink="Dockrope", since="2025-07-01")  # it is not in the drum yet
    (group,) = stale(house)
    assert (group.reason, group.noun, group.name) == ("new filling", "ink", "Ferrywake")
    assert "F-2" in group.why
    assert "print a patch" in group.mend
    assert [patch["inks"] for patch in group.swatches] == ["Ferrywake 100 %"]


def test_reading_an_old_patch_again_tells_nothing_of_a_new_filling(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, one("1", "Ferrywake", printed_on="2024-05-01"))
    keeping.add(house, "filling", "F-2", ink="Ferrywake", since="2025-02-01")
    again(house, stale(house)[0].swatches[0]["uid"], "2025-03-01")
    assert listed(house) == [("new filling", "Ferrywake", ["Ferrywake 100 %"])]


def test_a_patch_printed_since_makes_the_recipe_fresh(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, one("1", "Ferrywake"))
    keeping.add(house, "filling", "F-2", ink="Ferrywake", since="2025-02-01")
    bring_in(house, tmp_path, one("9", "Ferrywake", measured_on="2025-02-03"), name="new.csv")
    assert stale(house) == []


def test_a_lot_that_takes_another_lots_place_makes_its_paper_stale(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, one("1", "Ferrywake"), one("2", "Ferrywake", CHALKROAD))
    keeping.edit(house, "paper", OATLEAF, lot="2023")
    assert stale(house) == []  # the first lot that was written down is no new one
    keeping.edit(house, "paper", OATLEAF, lot="2025")
    assert listed(house) == [("new lot", OATLEAF, ["Ferrywake 100 %"])]
    keeping.undo(house)
    assert stale(house) == []


def test_a_fluorescent_ink_is_measured_again_after_the_years_of_the_profile(house: Catalogue, tmp_path: Path) -> None:
    bring_in(
        house, tmp_path, one("1", "Oddlight", measured_on="2023-05-04"), one("2", "Kilnsong", measured_on="2023-05-04")
    )
    assert listed(house) == [("fluorescent", "Oddlight", ["Oddlight 100 %"])]
    uid = stale(house)[0].swatches[0]["uid"]
    with house.write(act("profile")) as session:
        set_profile(session, "fluorescent_years", "3")
    assert stale(house) == []
    with house.write(act("profile")) as session:
        set_profile(session, "fluorescent_years", "2")
    again(house, uid, "2025-05-01")
    assert stale(house) == []


def test_sheets_past_the_profiles_years_are_aged_by_paper(house: Catalogue, tmp_path: Path) -> None:
    old = {"printed_on": "2014-01-01"}
    bring_in(
        house, tmp_path, one("1", "Ferrywake", **old), one("2", "Kilnsong", CHALKROAD, **old), one("3", "Dockrope")
    )
    assert listed(house) == [("aged", CHALKROAD, ["Kilnsong 100 %"]), ("aged", OATLEAF, ["Ferrywake 100 %"])]


def test_a_patch_read_only_while_fresh_is_read_again(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, one("1", "Ferrywake", hours_after="2"), one("2", "Kilnsong", hours_after="30"))
    assert listed(house) == [("fresh only", OATLEAF, ["Ferrywake 100 %"])]
    again(house, stale(house)[0].swatches[0]["uid"], "2024-05-20")
    assert stale(house) == []


def test_a_patch_in_the_bin_is_not_listed(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, one("1", "Ferrywake", hours_after="2"))
    keeping.undo(house)
    assert stale(house) == []
