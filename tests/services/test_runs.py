"""Writing a printing down in under a minute."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, Picture, Run
from archive.errors import InputError, NotFoundError
from archive.services.records import list_records
from archive.services.runs import NewRun, RunCard, add_run
from tests.acts import act
from tests.services.keeping import add, enter, photo, remove, show


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("INKCHEST_TODAY", "2026-05-04")


def run(catalogue: Catalogue, of: str | None = None, *pictures: Path, **more: Any) -> RunCard:
    extra = {name: more.pop(name) for name in ("inks", "paper", "as_last", "title") if name in more}
    facts = {name.replace("_", "-"): value for name, value in more.items()}
    return add_run(catalogue, NewRun(of, facts, pictures=pictures, **extra), act("add run"))


def furnish(catalogue: Catalogue) -> None:
    for name in ("Ferrywake", "Dockrope"):
        add(catalogue, "ink", name)
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "paper", "Oatleaf 120")
    enter(catalogue, "QA-0042", title="Nine Tides")


def test_scenario_20_three_facts_are_enough(catalogue: Catalogue) -> None:
    furnish(catalogue)
    card = run(catalogue, "QA-0042", machine="Upstairs", good="120")
    facts = card.record.facts
    assert card.record.label == "QA-0042/r1"
    assert (facts["variant"], facts["machine"], facts["good"]) == ("QA-0042a", "Upstairs", 120)
    assert facts["printed-on"] == "2026-05-04"
    assert card.work == "QA-0042a"


def test_the_next_run_proposes_the_settings_of_the_last(catalogue: Catalogue) -> None:
    furnish(catalogue)
    run(
        catalogue,
        "QA-0042",
        machine="Upstairs",
        density="4",
        speed="3",
        screen="FM",
        good="120",
        printed_on="2026-04-30",
    )
    card = run(catalogue, "QA-0042", density="5", good="80")
    assert card.taken_from_last == ("machine", "speed", "screen")
    facts = card.record.facts
    assert (facts["machine"], facts["density"], facts["speed"], facts["screen"]) == ("Upstairs", 5.0, 3.0, "FM")
    assert (facts["good"], facts["printed-on"]) == (80, "2026-05-04")  # how many and when are never taken over
    fresh = run(catalogue, "QA-0042", as_last=False)
    assert (fresh.taken_from_last, fresh.record.facts["machine"]) == ((), None)


def test_the_last_run_is_not_one_in_the_bin(catalogue: Catalogue) -> None:
    furnish(catalogue)
    run(catalogue, "QA-0042", density="4")
    remove(catalogue, "run", run(catalogue, "QA-0042", density="9").record.label)
    assert run(catalogue, "QA-0042").record.facts["density"] == 4.0


def test_a_photo_alone_makes_a_work_a_copy_and_a_run(catalogue: Catalogue, tmp_path: Path) -> None:
    card = run(catalogue, None, photo(tmp_path / "sheet.png"))
    assert card.work == "W-0001a"
    assert show(catalogue, "copy", "W-0001/1")["whereabouts"] == "here"
    with catalogue.read() as session:
        assert session.scalars(select(Picture.name)).all() == ["sheet.png"]
        assert session.scalars(select(Change.words)).all() == ["add run"]


def test_inks_and_paper_are_told_with_the_run(catalogue: Catalogue) -> None:
    furnish(catalogue)
    card = run(catalogue, None, title="Bus Stop Choir", inks="Ferrywake 60 % over Dockrope", paper="Oatleaf 120")
    assert any("Dockrope (tint unknown), then Ferrywake 60 %" in note for note in card.notes)
    with catalogue.read() as session:
        assert session.scalars(select(Run.recipe_id)).one() is not None
    again = run(catalogue, card.work, inks="Dockrope over Ferrywake")
    assert any("Ferrywake (tint unknown), then Dockrope" in note for note in again.notes)


@pytest.mark.parametrize(
    ("facts", "error"),
    [
        ({"machine": "Attic"}, NotFoundError),
        ({"density": "400"}, InputError),
        ({"paper": "Oatlef"}, NotFoundError),
        ({"printed_on": "yesterday"}, InputError),
        ({"inks": "?"}, InputError),
    ],
)
def test_what_cannot_be_read_leaves_neither_run_nor_work(
    catalogue: Catalogue, facts: dict[str, Any], error: type[Exception]
) -> None:
    with pytest.raises(error):
        run(catalogue, None, **facts)
    with catalogue.read() as session:
        assert list_records(session, "run") == []
        assert list_records(session, "work") == []
