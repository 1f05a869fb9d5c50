"""Colour differences against the published pairs and an independent implementation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.colour.difference import delta_e_76, delta_e_2000, delta_e_2000_from, verdict
from archive.errors import ColourError

# Sharma, Wu & Dalal 2005, Color Research & Application 30(1), 21-30, Table 1: 34 pairs, printed to 4 decimals
PAIRS = [
    (50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425),
    (50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615),
    (50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412),
    (50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000),
    (50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000),
    (50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000),
    (50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669),
    (50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669),
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792),
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792),
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195),
    (50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195),
    (50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045),
    (50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045),
    (50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461),
    (50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065),
    (50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492),
    (50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977),
    (50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030),
    (50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535),
    (50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000),
    (50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000),
    (50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000),
    (50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000),
    (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
    (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630),
    (61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731),
    (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
    (22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373),
    (36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
    (90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441),
    (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
    (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
    (2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082),
]
PAIR_14_OTHER_SIDE = 4.7461  # the hues lie 180 degrees apart, where the last bit of arctan2 picks the side

lab_colours = st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))


def random_pairs(count: int) -> np.ndarray:
    return np.random.default_rng(2005).uniform((0, -128, -128), (100, 128, 128), (2, count, 3))


@pytest.mark.parametrize(("number", "pair"), [*enumerate(PAIRS, start=1)])
def test_all_published_pairs_have_their_difference(number, pair):
    ours = float(delta_e_2000(pair[:3], pair[3:6]))
    if number == 14:
        assert min(abs(ours - pair[6]), abs(ours - PAIR_14_OTHER_SIDE)) < 1e-4
    else:
        assert ours == pytest.approx(pair[6], abs=1e-4)


def test_random_pairs_agree_with_colour_science():
    import colour

    first, second = random_pairs(100_000)
    theirs = colour.difference.delta_E_CIE2000(first, second)
    assert np.abs(delta_e_2000(first, second) - theirs).max() < 1e-9
    near = np.clip(first + np.random.default_rng(3).normal(0, 1, first.shape), (0, -128, -128), (100, 128, 128))
    assert np.abs(delta_e_2000(first, near) - colour.difference.delta_E_CIE2000(first, near)).max() < 1e-9
    assert delta_e_76(first, second) == pytest.approx(colour.difference.delta_E_CIE1976(first, second))


@given(lab_colours)
def test_a_colour_does_not_differ_from_itself(lab):
    assert delta_e_2000(lab, lab) == 0
    assert delta_e_76(lab, lab) == 0


@given(lab_colours, lab_colours)
def test_both_ways_are_as_far(lab_1, lab_2):
    # At hues 180 degrees apart the formula itself jumps (Sharma et al.), and a rounding decides the side.
    turn = np.degrees(np.arctan2(lab_1[2], lab_1[1]) - np.arctan2(lab_2[2], lab_2[1])) % 360
    if abs(turn - 180) > 1e-3:
        assert delta_e_2000(lab_1, lab_2) == pytest.approx(float(delta_e_2000(lab_2, lab_1)), abs=1e-9)
    assert delta_e_76(lab_1, lab_2) == delta_e_76(lab_2, lab_1)


def test_greys_differ_in_lightness_alone():
    # By hand from the formula: S_L = 1 at mean lightness 50, so 45 to 55 is 10 apart; -0.0 is no hue either.
    assert delta_e_2000((45, 0, 0), (55, 0, 0)) == pytest.approx(10, abs=1e-12)
    assert delta_e_2000((45, -0.0, 0), (55, 0.0, -0.0)) == pytest.approx(10, abs=1e-12)


def test_broadcasting_equals_a_loop():
    first, second = random_pairs(30)
    table = delta_e_2000(first[:, None], second[None])
    assert table.shape == (30, 30)
    assert all(table[i, j] == delta_e_2000(first[i], second[j]) for i in range(30) for j in range(30))
    assert np.array_equal(delta_e_2000(first, second[4]), table[:, 4])


def test_one_against_many_equals_pair_by_pair_to_the_last_bit():
    _, many = random_pairs(20_001)
    one = np.array([46.7, 42.5, 37.7])
    fast = delta_e_2000_from(one, many.T)
    assert np.array_equal(fast, delta_e_2000(one, many))
    assert np.array_equal(fast, delta_e_2000(np.broadcast_to(one, many.shape), many))
    some = np.random.default_rng(4).permutation(len(many))[:777]
    assert np.array_equal(delta_e_2000_from(one, many[some].T), fast[some])


def test_nothing_against_something_is_nothing():
    assert delta_e_2000((50, 0, 0), np.empty((0, 3))).shape == (0,)
    assert delta_e_76(np.empty((0, 3)), (50, 0, 0)).shape == (0,)


def test_the_arguments_stay_as_they_were():
    first, second = random_pairs(10)
    kept = first.copy(), second.copy()
    delta_e_2000(first, second)
    delta_e_2000(first[0], second)
    assert np.array_equal(first, kept[0])
    assert np.array_equal(second, kept[1])


@pytest.mark.parametrize("difference", [delta_e_76, delta_e_2000])
def test_a_wrong_scale_is_refused(difference):
    with pytest.raises(ColourError):
        difference((0.5, 0.1, 0.2), (5000, 10, 20))


def test_unlike_tables_do_not_pair():
    with pytest.raises(ColourError, match="do not pair"):
        delta_e_2000(np.full((4, 3), 50.0), np.full((5, 3), 50.0))


@pytest.mark.parametrize(
    ("delta_e", "word"),
    [(0, "same"), (3, "same"), (3.001, "close"), (6, "close"), (12, "related"), (12.5, "far")],
)
def test_a_verdict_includes_its_limit(delta_e, word):
    assert verdict(delta_e) == word


def test_a_workshop_sets_its_own_limits():
    assert verdict(4, limits=(5, 8, 10)) == "same"


@pytest.mark.parametrize("delta_e", [-1, float("nan")])
def test_no_verdict_without_a_difference(delta_e):
    with pytest.raises(ColourError):
        verdict(delta_e)
