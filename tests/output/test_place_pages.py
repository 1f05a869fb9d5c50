"""Labels and cards of places say what lies there, at the sizes that a drawer and a printer have."""

from __future__ import annotations

import numpy as np
import pytest

from archive.output.place_pages import PlacePage, place_cards, place_labels
from tests.output.photos import rendered
from tests.output.values import DAY, sizes_mm, texts, uid

DRAWER = PlacePage(
    uid(5), "drawer 5", "drawer", "Storeroom / Plan chest 2", ["QA-0003", "QA-0004", "QA-0009", "QA-0042"], copies=17
)


def test_a_label_names_place_works_and_day() -> None:
    (text,) = texts(place_labels([DRAWER], day=DAY).pdf)
    for words in ("drawer 5", "Storeroom / Plan chest 2", "QA-0003 to QA-0042", "4 works, 17 copies", "2024-06-01"):
        assert words in text


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (PlacePage(uid(1), "Box 14", "box", refs=["QA-0042"], copies=1), "QA-0042 1 work, 1 copy"),
        (PlacePage(uid(1), "Box 14", "box", refs=["QA-0001", "QA-0042"], copies=2), "QA-0001, QA-0042 2 works"),
        (PlacePage(uid(1), "Box 14", "box", warning="mould suspected"), "Kept apart: mould suspected"),
        (PlacePage(uid(1), "Chest", "chest", holds=["drawer 1", "drawer 2"]), "drawer 1, drawer 2"),
        (PlacePage(uid(1), "Chest", "chest", holds=[f"drawer {n}" for n in range(1, 7)]), "drawer 1 to drawer 6"),
        (PlacePage(uid(1), "Box 15", "box"), "Box 15"),
    ],
)
def test_a_label_says_what_there_is_to_say(place: PlacePage, words: str) -> None:
    assert words in texts(place_labels([place], day=DAY).pdf)[0]


def test_ten_labels_lie_on_an_a4_sheet() -> None:
    places = [PlacePage(uid(number), f"drawer {number}", "drawer") for number in range(11)]
    pages = place_labels(places, day=DAY)
    assert sizes_mm(pages.pdf) == [(210, 297)] * 2
    assert pages.count == 2
    first, second = texts(pages.pdf)
    assert "drawer 9" in first
    assert "drawer 10" in second


def test_each_card_has_a_page_of_its_own() -> None:
    pages = place_cards([DRAWER, PlacePage(uid(6), "Box 14", "box", "Storeroom")], day=DAY)
    assert sizes_mm(pages.pdf) == [(210, 148)] * 2
    assert pages.count == 2
    assert "Photograph this card first" in texts(pages.pdf)[0]
    assert f"inkchest:place:{uid(6)}" in texts(pages.pdf)[1]


@pytest.mark.parametrize("name", ["drawer 5", "Donaudampfschifffahrtsgesellschaft", "a long name of many words " * 4])
def test_no_name_runs_into_its_code_or_over_its_label(name: str) -> None:
    labelled = rendered(place_labels([PlacePage(uid(1), name, "box", "Storeroom")] * 10, day=DAY).pdf)
    bare = rendered(place_labels([PlacePage(uid(1), "-", "box", "Storeroom")] * 10, day=DAY).pdf)
    changed = np.argwhere((labelled != bare).any(axis=2)) / 10.0  # (y, x) in millimetres
    across, down = (changed[:, 1] - 10) % 95, (changed[:, 0] - 13.5) % 54
    assert across.max() <= 95 - 31 - 1.5  # the code's quiet zone begins there
    assert down.min() >= 3
    assert down.max() <= 50


def test_cut_marks_stand_outside_the_labels() -> None:
    page = rendered(place_labels([DRAWER], day=DAY).pdf)[:, :, 1]
    dark = page < 128
    margin = dark[: round(13.5 * 10) - 15]  # above the first label
    columns = np.flatnonzero(margin.any(axis=0)) / 10
    assert set(np.round(columns / 5) * 5) == {10, 105}  # left and right edge of the one label
