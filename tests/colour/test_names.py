"""Words for colours, spoken and understood."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageColor

from archive.colour import names
from archive.colour.difference import delta_e_2000
from archive.colour.spaces import lab_to_hex
from archive.errors import ColourError

# The hue and grey names of the system, Kelly & Judd 1976; every name is made of these and of modifiers.
HUES = "red orange yellow green blue violet purple pink brown olive white grey black"
MODIFIERS = (
    "vivid brilliant strong deep very light moderate dark pale medium reddish yellowish greenish bluish "
    "purplish pinkish brownish greyish blackish"
)


def spoken() -> list[names.ColourWord]:
    return [word for word in names.colour_words() if word.source == "nbs"]


def test_the_standard_has_267_names_of_its_own_words():
    # ISCC-NBS, NBS Special Publication 440 (1976): 267 blocks
    assert len(spoken()) == 267
    assert {part for word in spoken() for part in word.name.split()} == {*HUES.split(), *MODIFIERS.split()}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        # Centroids of the standard as sRGB, as two open packages of colour lists print them
        ("vivid red", "#be0032"), ("dark blue", "#00304e"), ("greyish olive", "#5b5842"),
        ("deep yellowish pink", "#e66761"), ("yellowish white", "#f0ead6"), ("vivid yellowish green", "#27a64c"),
    ],
)  # fmt: skip
def test_centroids_are_those_of_the_standard(name, value):
    assert lab_to_hex(names.find_word(name)) == value


def test_every_spoken_name_names_its_own_colour():
    for word in spoken():
        assert names.colour_name(names.find_word(word.name)) == word.name


def test_every_word_is_listed_once_and_is_a_colour():
    keys = [names._key(word.name) for word in names.colour_words()]
    assert len(set(keys)) == len(keys) > 900
    assert all(re.fullmatch("#[0-9a-f]{6}", word.hex) for word in names.colour_words())
    assert {word.source for word in names.colour_words()} == {"nbs", "survey", "css"}


def test_all_css_names_are_understood():
    # CSS Color 4 names 148 colours; Pillow lists them
    assert len(ImageColor.colormap) == 148
    assert all(names.find_word(name) is not None for name in ImageColor.colormap)


def test_css_words_have_their_css_colour():
    for word in names.colour_words():
        if word.source == "css":
            assert word.hex == ImageColor.colormap[word.name.replace(" ", "")].lower()


@pytest.mark.parametrize("word", ["dusty green", "brick red", "ochre", "mustard", "navy", "teal", "rust", "cream"])
def test_words_of_the_shop_are_understood(word):
    assert names.find_word(word) is not None


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("dusty green", "Dusty-Green"), ("dusty green", "  dustygreen "), ("slate grey", "slate gray"),
        ("ochre", "Öchré"), ("vermilion", "vermillion"), ("robin's egg blue", "robins egg blue"),
    ],
)  # fmt: skip
def test_case_spaces_hyphens_accents_and_spellings_do_not_count(one, other):
    assert names.find_word(one).tolist() == names.find_word(other).tolist()


@given(st.text(max_size=30))
def test_any_text_may_be_looked_up(text):
    found = names.find_word(text)
    assert found is None or found.shape == (3,)
    assert len(names.nearest_words(text)) <= 3


def test_an_unknown_word_has_no_colour_but_neighbours():
    assert names.find_word("dusty greeen") is None
    assert names.nearest_words("dusty greeen")[0] == "dusty green"
    assert names.nearest_words("mustrad", limit=1) == ["mustard"]
    assert names.nearest_words("qqqq") == []


def test_a_found_colour_can_be_changed_without_harm():
    names.find_word("ochre")[:] = 0
    assert names.find_word("ochre")[0] > 0


@pytest.mark.parametrize(
    ("lab_from", "lab_to", "words"),
    [
        # Our own thresholds, by hand: up to 3 is "a little", beyond 6 "much"; half the largest is named too.
        ((50, 40, 30), (50, 40, 30), ""),
        ((50, 40, 30), (50.4, 40, 30), ""),
        ((50, 40, 30), (52, 40, 30), "a little lighter"),
        ((50, 40, 30), (45, 40, 30), "darker"),
        ((50, 40, 30), (75, 40, 30), "much lighter"),
        ((50, 40, 30), (50, 20, 15), "much duller"),
        ((50, 20, 15), (50, 40, 30), "much cleaner"),
        ((50, 40, 30), (62, 20, 15), "much lighter and much duller"),
        ((50, 0, -40), (50, 8, -39), "warmer"),
        ((50, 40, 10), (50, 40.9, 5.5), "a little cooler"),
        ((60, 22.2, 47.6), (60, 37.1, 37.1), "much redder"),
        ((50, 0, 0), (50, 20, 5), "much redder"),
        ((50, 0, 0), (50, -3, -4), "bluer"),
        ((50, 20, 5), (50, 0, 0), "much duller"),
    ],
)
def test_a_difference_is_told_in_words(lab_from, lab_to, words):
    assert names.compare(lab_from, lab_to) == words


colours = st.tuples(st.floats(0, 100), st.floats(-60, 60), st.floats(-60, 60))


@given(colours, colours)
def test_words_are_empty_exactly_when_no_eye_sees_it(lab_from, lab_to):
    words = names.compare(lab_from, lab_to)
    assert (words == "") == (delta_e_2000(lab_from, lab_to) < names.NOTICED)
    assert words.count(" and ") <= 1
    assert 0 <= len(names.misses(lab_to, lab_from)) <= 3


@given(st.floats(0, 100), st.floats(0, 100))
def test_the_way_back_has_the_opposite_word(L_1, L_2):
    there, back = names.compare((L_1, 9, 9), (L_2, 9, 9)), names.compare((L_2, 9, 9), (L_1, 9, 9))
    assert back == (there.replace("lighter", "darker") if L_2 > L_1 else there.replace("darker", "lighter"))


@pytest.mark.parametrize(
    ("nearest", "wanted", "missed"),
    [
        ((70, 10, 8), (50, 40, 30), ["too light", "too dull"]),
        ((50, 20, 40), (50, 42, 15), ["too yellow"]),
        ((50, 20, 5), (50, 0, 0), ["too red"]),
        ((40, 40, 30), (50, 40, 30), ["too dark"]),
        ((50, 60, 45), (50, 30, 22.5), ["too clean"]),
        ((50, 40, 30), (50, 40, 30), []),
    ],
)
def test_a_miss_is_told_worst_first(nearest, wanted, missed):
    assert names.misses(nearest, wanted) == missed


def test_a_match_is_told_by_its_name_and_its_difference():
    wanted = names.find_word("strong red")
    lighter = wanted + np.array([2, 0, 0])
    assert names.in_words(lighter, wanted) == "strong red, a little lighter"
    assert names.in_words(wanted, wanted) == "strong red"


@pytest.mark.parametrize("lab", [(50, 0), (500, 0, 0), np.zeros((2, 3))])
def test_what_is_not_one_colour_has_no_name(lab):
    with pytest.raises(ColourError):
        names.colour_name(lab)
