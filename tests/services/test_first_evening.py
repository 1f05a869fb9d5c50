"""The first evening: sixty works with one phone photo and two ink names each, and nothing measured."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from archive.catalogue.database import Catalogue, open_archive
from archive.colour.difference import delta_e_2000
from archive.colour.spaces import lab_to_hex, relative_to_paper
from archive.services.answers import match_colour
from archive.services.matching import MatchOptions
from demo_archive.build import build
from demo_archive.pictures import work_colours
from demo_archive.press import true_lab
from demo_archive.scenario import first_evening

QUESTIONS = 50
HOLDS = 6.0  # CIEDE2000: a work holds a colour when one of its own is close to it (DESIGN's verdict "close")
VISIBLE = 0.02  # share of the sheet that a colour takes when somebody remembers it


@pytest.fixture(scope="module")
def evening_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("evening") / "archive"
    build(folder, first_evening=True)
    return folder


@pytest.fixture(scope="module")
def evening_on_server(evening_folder: Path, to_server: Callable[[Path], Path]) -> Path:
    return to_server(evening_folder)


@pytest.fixture
def evening(database_kind: str, request: pytest.FixtureRequest) -> Iterator[Catalogue]:
    name = "evening_folder" if database_kind == "sqlite" else "evening_on_server"
    catalogue = open_archive(request.getfixturevalue(name))
    yield catalogue
    catalogue.close()


def colours_on_paper() -> dict[str, list[tuple[np.ndarray, float]]]:
    """Return what the press really put on each work, relative to its own paper: (Lab, share of the sheet)."""
    scenario = first_evening()
    found = {}
    for work in scenario.works:
        white = true_lab((), work.variants[0].paper)
        relative = [
            (np.clip(relative_to_paper(np.array(lab), white), (0, -200, -200), (100, 200, 200)), share)
            for lab, share in work_colours(work, scenario)
            if delta_e_2000(lab, white) > HOLDS  # bare paper is no colour to ask for
        ]
        found[work.ref] = relative
    return found


def test_a_work_that_holds_the_wanted_colour_is_among_the_first_five(evening: Catalogue) -> None:
    truth = colours_on_paper()
    rng = random.Random(19)
    hits = 0
    with evening.read() as session:
        for _ in range(QUESTIONS):
            asked = rng.choice([lab for colours in truth.values() for lab, share in colours if share > VISIBLE])
            answer = match_colour(session, lab_to_hex(asked), MatchOptions(limit=5))
            found = {match.work["ref"] for match in answer.matches if match.work is not None}
            holders = {
                ref for ref, colours in truth.items() if any(delta_e_2000(asked, lab) <= HOLDS for lab, _ in colours)
            }
            hits += bool(found & holders)
    assert hits >= 0.8 * QUESTIONS


def test_nothing_told_or_seen_is_called_more_than_related(evening: Catalogue) -> None:
    with evening.read() as session:
        for wanted in ("#c8553d", "dusty green", "plum", "#f2c262"):
            answer = match_colour(session, wanted, MatchOptions(limit=20))
            assert answer.matches
            assert {match.evidence for match in answer.matches} <= {"seen", "told"}
            assert {match.verdict for match in answer.matches} <= {"related", "far"}
            assert all(match.uncertainty > 6 for match in answer.matches)


def test_the_answer_says_that_no_paper_was_measured(evening: Catalogue) -> None:
    with evening.read() as session:
        answer = match_colour(session, "#c8553d", MatchOptions())
    assert "never measured" in answer.notes[0]


def test_an_ink_by_eye_answers_for_its_own_colour(evening: Catalogue) -> None:
    looks = next(ink.by_eye for ink in first_evening().inks if ink.name == "Nettlecoat")
    with evening.read() as session:
        answer = match_colour(session, looks, MatchOptions(limit=20))
    own = [match for match in answer.matches if match.work is None and match.layers[0]["ink"] == "Nettlecoat"]
    assert own[0].evidence == "told"
    assert own[0].delta_e_2000 < 0.1
    # by eye is good to about 8: DESIGN of the archive, 2.80 times the profile's 2.9
    assert own[0].uncertainty == pytest.approx(8.12, abs=0.01)


def test_the_archive_folder_is_the_only_thing_needed(evening: Catalogue) -> None:
    assert {path.name for path in Path(evening.folder).iterdir()} >= {"archive.sqlite3", "archive.toml", "originals"}
