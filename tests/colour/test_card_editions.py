"""The colour card's editions against colour-science's own conversion of the same published values."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from archive.colour import card_editions
from archive.colour.card_editions import DEFAULT_EDITION, EDITIONS, PATCH_NAMES, reference_lab, reference_xyz
from archive.errors import InputError

# Published L*a*b* of the card under D50, 2 degrees, editions before and after November 2014 (the maker's own tables,
# from memory): dark skin, blue, white and black, printed to two decimals.
PUBLISHED = {
    "2014a": {
        0: (37.99, 13.56, 14.06),
        12: (28.78, 14.18, -50.30),
        18: (96.54, -0.43, 1.19),
        23: (20.46, -0.08, -0.97),
    },
    "2014b": {0: (37.54, 14.37, 14.92), 12: (28.37, 15.42, -49.80), 18: (95.19, -1.03, 2.93), 23: (20.64, 0.07, -0.46)},
}


@pytest.mark.parametrize("edition", PUBLISHED)
def test_the_card_has_its_published_colours(edition: str) -> None:
    lab = reference_lab(edition)
    for patch, printed in PUBLISHED[edition].items():
        assert lab[patch] == pytest.approx(printed, abs=0.06)


@pytest.mark.parametrize("edition", EDITIONS)
def test_every_edition_agrees_with_the_librarys_own_conversion(edition: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        card = colour.CCS_COLOURCHECKERS[card_editions._LIBRARY_KEYS[edition]]
        xyz = colour.xyY_to_XYZ(np.array(list(card.data.values())))
        d50 = np.array([0.9642, 1.0, 0.8249])
        theirs = colour.XYZ_to_Lab(
            colour.chromatic_adaptation(xyz, colour.xy_to_XYZ(card.illuminant), d50, transform="Bradford"),
            colour.XYZ_to_xy(d50),
        )
    assert np.abs(reference_lab(edition) - theirs).max() < 0.02


def test_the_greys_are_neutral_and_get_darker_in_every_edition() -> None:
    for edition in EDITIONS:
        greys = reference_lab(edition)[18:]
        assert (np.diff(greys[:, 0]) < -10).all()
        assert np.hypot(greys[:, 1], greys[:, 2]).max() < 3.5


def test_editions_differ_by_less_than_their_makers_changed() -> None:
    # Common practice: no reformulation moved a patch by more than a few units.
    newest = reference_lab(DEFAULT_EDITION)
    for edition in set(EDITIONS) - {"1976"}:
        assert np.linalg.norm(reference_lab(edition) - newest, axis=1).max() < 6.5


def test_an_unknown_edition_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InputError) as refused:
        reference_xyz("1999")
    assert "2014b" in refused.value.mend


def test_what_a_caller_does_to_the_colours_stays_with_the_caller() -> None:
    reference_xyz("2005")[:] = 0
    assert reference_xyz("2005").max() > 0.8


def test_there_is_a_name_for_every_patch() -> None:
    assert len(PATCH_NAMES) == len(set(PATCH_NAMES)) == 24
