"""The same inks elsewhere: on another paper, on another machine; designs of strips; spectra of a ramp."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from archive.colour.difference import delta_e_2000
from archive.colour.overprint import OverprintModel, ink_set_data
from archive.colour.overprint_design import (
    eleven,
    one_ink_ramp,
    sixteen,
    spread_out,
    spread_patches,
    twenty_five,
)
from archive.colour.overprint_fit import fit_overprint
from archive.colour.overprint_paper import on_other_paper, paper_doubt, predict_on_paper
from archive.colour.overprint_shift import shifted
from archive.colour.overprint_spectral import fit_ramp
from archive.colour.spectra import reflectance_to_lab
from archive.errors import ColourError
from tests.colour.overprint_press import PAIRS, nearest_nodes, nodes


@lru_cache(maxsize=16)
def pair_model(name: str, pair: str) -> OverprintModel:
    tints, lab = nodes(name, PAIRS[pair])
    rows = nearest_nodes(tints, twenty_five())
    return fit_overprint(ink_set_data(tints[rows], lab[rows], 0.1))


def bare(name: str) -> np.ndarray:
    tints, lab = nodes(name, (0, 1))
    return lab[(tints == 0).all(axis=1)][0]


# another paper


@pytest.mark.parametrize(("here", "there"), [("FOGRA29L", "FOGRA30L"), ("FOGRA30L", "FOGRA29L")])
def test_white_and_yellowish_uncoated_paper_are_told_from_each_other(here: str, there: str) -> None:
    misses, covered = [], []
    for pair, inks in PAIRS.items():
        tints, lab = nodes(there, inks)
        said = predict_on_paper(pair_model(here, pair), tints, bare(there), same_class=True)
        each = delta_e_2000(said.lab, lab)
        misses.append(each.mean())
        covered.extend(each <= said.radius)
    assert np.mean(misses) <= 1.5
    assert np.mean(covered) >= 0.90


def test_coated_to_uncoated_is_no_more_than_a_guess_and_says_so() -> None:
    tints, lab = nodes("FOGRA29L", (0, 1))
    said = predict_on_paper(pair_model("FOGRA39L", "CM"), tints, bare("FOGRA29L"), same_class=False)
    assert set(said.evidence) == {"guess"}
    assert (delta_e_2000(said.lab, lab) <= said.radius).mean() >= 0.90
    assert 2.8 * paper_doubt(same_class=False) == pytest.approx(11.0)


def test_the_paper_becomes_the_other_paper_and_transparent_inks_go_with_it() -> None:
    model, cream = pair_model("FOGRA29L", "CM"), [90.0, 1.0, 12.0]
    said = predict_on_paper(model, [[0.0, 0.0], [40.0, 60.0]], cream, same_class=True)
    assert said.lab[0] == pytest.approx(cream, abs=0.3)
    filtered = on_other_paper(model.lab_of([[40.0, 60.0]]), bare("FOGRA29L"), cream)
    assert said.lab[1:] == pytest.approx(filtered, abs=0.3)


def test_an_opaque_ink_hides_the_paper_and_its_tint_half_hides_it() -> None:
    model, cream = pair_model("FOGRA29L", "CM"), [90.0, 1.0, 12.0]
    recipes = [[100.0, 0.0], [50.0, 0.0], [0.0, 100.0]]
    here = model.lab_of(recipes)
    opaque = predict_on_paper(model, recipes, cream, same_class=True, opaque=(True, False)).lab
    clear = predict_on_paper(model, recipes, cream, same_class=True).lab
    moved = delta_e_2000(opaque, here)
    assert moved[0] < 0.01
    assert 0 < moved[1] < delta_e_2000(clear, here)[1]
    assert opaque[2] == pytest.approx(clear[2], abs=1e-9)


def test_a_dark_papers_inks_on_a_light_one_stay_on_the_scale() -> None:
    dark = fit_overprint(ink_set_data([[0.0], [50.0], [100.0]], [[20.0, 0, 0], [40, 30, 20], [60, 50, 30]], 0.5))
    lab = predict_on_paper(dark, [[0.0], [100.0]], [95.0, 0.0, 3.0], same_class=False).lab
    assert lab[0] == pytest.approx([95.0, 0.0, 3.0], abs=0.5)
    assert lab[1, 0] <= 115


def test_opacity_must_be_said_of_every_ink_and_black_paper_tells_nothing() -> None:
    with pytest.raises(ColourError, match="opacity"):
        predict_on_paper(pair_model("FOGRA29L", "CM"), [[1.0, 2.0]], [90, 0, 0], same_class=True, opaque=(True,))
    with pytest.raises(ColourError, match="black paper"):
        on_other_paper([50, 0, 0], [0, 0, 0], [90, 0, 0])


# another machine, density or filling


def test_one_check_patch_brings_another_press_nearer_and_narrows_its_radius() -> None:
    # Two presses on the same paper stand for two states of one machine; the middle patch is read in the new state.
    before, after, widths = [], [], []
    for here, there in (("FOGRA39L", "TR006"), ("TR006", "FOGRA39L")):
        for pair, inks in PAIRS.items():
            tints, lab = nodes(there, inks)
            middle = nearest_nodes(tints, np.array([[55.0, 55.0]]))
            rest = np.setdiff1d(np.arange(len(tints)), middle)
            unread = shifted(pair_model(here, pair)).predict(tints[rest])
            read = shifted(pair_model(here, pair), check_patches=(tints[middle], lab[middle])).predict(tints[rest])
            before.append(delta_e_2000(unread.lab, lab[rest]).mean())
            after.append(delta_e_2000(read.lab, lab[rest]).mean())
            widths.append((unread.radius.mean(), read.radius.mean()))
            assert (delta_e_2000(read.lab, lab[rest]) <= read.radius).mean() >= 0.80
    assert np.mean(after) < np.mean(before)
    assert all(narrow < wide for wide, narrow in widths)


def test_another_state_widens_everything_but_bare_paper() -> None:
    model = pair_model("FOGRA29L", "CM")
    recipes = [[0.0, 0.0], [10.0, 0.0], [100.0, 100.0]]
    wider = shifted(model).predict(recipes).sd - model.predict(recipes).sd
    assert wider[0] == pytest.approx(0.0, abs=1e-9)
    assert 0 < wider[1] < wider[2]


def test_only_the_check_patch_is_proven_in_the_new_state() -> None:
    moved = shifted(pair_model("FOGRA29L", "CM"), check_patches=([[50.0, 50.0]], [[52.0, 10.0, -20.0]]))
    assert moved.predict([[50.0, 50.0], [100.0, 100.0]]).evidence == ("proven", "worked out")
    assert moved.predict([[50.0, 50.0]]).lab[0] == pytest.approx([52.0, 10.0, -20.0], abs=0.5)


def test_check_patches_that_do_not_pair_are_refused() -> None:
    with pytest.raises(ColourError, match="do not pair"):
        shifted(pair_model("FOGRA29L", "CM"), check_patches=([[50.0, 50.0]], [[52, 10, -20], [1, 2, 3]]))
    with pytest.raises(ColourError, match="zero or more"):
        shifted(pair_model("FOGRA29L", "CM"), spread=-1.0)


# designs


def test_the_designs_hold_paper_solids_and_overprint() -> None:
    for design, count in ((eleven(), 11), (sixteen(), 16), (twenty_five(), 25)):
        assert design.shape == (count, 2)
        assert len(np.unique(design, axis=0)) == count
        assert {(0, 0), (100, 0), (0, 100), (100, 100)} <= {(a, b) for a, b in design.tolist()}
    assert [50.0, 50.0] in eleven().tolist()
    assert (np.diff(one_ink_ramp()[:, 0]) > 0).all()


def test_spread_out_patches_start_with_the_corners_and_leave_no_big_gap() -> None:
    patches = spread_patches(3, 27)
    assert patches.shape == (27, 3)
    assert len(np.unique(patches, axis=0)) == 27
    assert np.isin(patches[:8], (0.0, 100.0)).all()
    anywhere = np.random.default_rng(0).uniform(0, 100, (500, 3))
    gap = np.linalg.norm(anywhere[:, None] - patches[None], axis=2).min(axis=1).max()
    assert gap < 50  # 27 of a cube's 3 x 3 x 3 points leave at most 43, the half of a cell's diagonal


def test_a_design_that_cannot_be_is_refused() -> None:
    with pytest.raises(ColourError, match="cannot be chosen"):
        spread_patches(3, 7)
    with pytest.raises(ColourError, match="one to 4 inks"):
        spread_patches(5, 64)
    with pytest.raises(ColourError, match="cannot be chosen"):
        spread_out([[0.0], [100.0]], 3)


# spectra

# A real spot ink on off-white uncoated paper: reflectance factors at 380-730 nm in steps of 10, and Lab (D50, 2 degree)
# of nominal 20, 40, 60 and 80 %; paper first, solid last. From a public instrument file, T. Sprinzing, MIT licence,
# 2014; four decimals.
RAMP = """
.1800 .2338 .3121 .4015 .4854 .5432 .5790 .6037 .6226 .6360 .6459 .6553 .6629 .6673 .6699 .6682 .6636 .6567
.6515 .6545 .6560 .6572 .6602 .6759 .7097 .7511 .7858 .8084 .8224 .8294 .8332 .8355 .8393 .8431 .8465 .8518
.1465 .1957 .2655 .3446 .4166 .4679 .5018 .5268 .5469 .5603 .5701 .5820 .5926 .5952 .5882 .5738 .5568 .5352
.5110 .4943 .4844 .4811 .4773 .4811 .4996 .5250 .5486 .5683 .5849 .5939 .5950 .5917 .5855 .5801 .5839 .5977
.1434 .1909 .2571 .3300 .3930 .4401 .4741 .5012 .5229 .5361 .5457 .5615 .5764 .5766 .5593 .5324 .5040 .4703
.4315 .4012 .3836 .3767 .3688 .3662 .3758 .3918 .4084 .4258 .4433 .4534 .4534 .4468 .4355 .4259 .4305 .4527
.1199 .1604 .2187 .2792 .3299 .3689 .4007 .4278 .4500 .4627 .4719 .4899 .5075 .5058 .4801 .4431 .4065 .3641
.3160 .2775 .2558 .2476 .2379 .2310 .2337 .2415 .2519 .2659 .2822 .2920 .2911 .2831 .2699 .2591 .2637 .2864
.1000 .1381 .1889 .2398 .2806 .3138 .3440 .3716 .3950 .4073 .4167 .4376 .4587 .4554 .4211 .3749 .3319 .2845
.2322 .1913 .1695 .1613 .1518 .1441 .1436 .1474 .1538 .1647 .1785 .1869 .1857 .1783 .1662 .1567 .1617 .1834
.0748 .1050 .1462 .1855 .2143 .2403 .2666 .2920 .3140 .3252 .3335 .3552 .3780 .3733 .3349 .2861 .2427 .1970
.1498 .1152 .0984 .0927 .0861 .0802 .0790 .0805 .0840 .0908 .0996 .1051 .1040 .0987 .0908 .0853 .0898 .1051
"""
SPECTRA = np.array(RAMP.split(), dtype=float).reshape(6, 36)
RAMP_LAB = np.array([[77.86, -5.46, 0.22], [73.21, -11.9, -5.22], [65.28, -19.16, -10.87], [58.65, -25.68, -15.61]])


def test_a_spot_ramp_is_told_by_paper_and_solid_when_n_is_free() -> None:
    ramp = fit_ramp(SPECTRA[0], SPECTRA[5], SPECTRA[1:5])
    lab = reflectance_to_lab(ramp.reflectance(ramp.coverage), 380, 10)
    assert delta_e_2000(lab, RAMP_LAB).mean() <= 1.0
    assert ramp.n == pytest.approx(10.0)
    capped = fit_ramp(SPECTRA[0], SPECTRA[5], SPECTRA[1:5], n=2.0)
    capped_lab = reflectance_to_lab(capped.reflectance(capped.coverage), 380, 10)
    assert delta_e_2000(capped_lab, RAMP_LAB).mean() > delta_e_2000(lab, RAMP_LAB).mean()


def test_a_made_up_ramp_gives_back_its_n_and_coverages() -> None:
    share, n = np.array([0.1, 0.4, 0.8]), 2.5
    paper, solid = SPECTRA[0], SPECTRA[5]
    made = ((1 - share[:, None]) * paper ** (1 / n) + share[:, None] * solid ** (1 / n)) ** n
    ramp = fit_ramp(paper, solid, made)
    assert ramp.n == pytest.approx(n, abs=0.051)
    assert ramp.coverage == pytest.approx(share, abs=0.005)


def test_spectra_that_cannot_make_a_ramp_are_refused() -> None:
    with pytest.raises(ColourError, match="differ in length"):
        fit_ramp(SPECTRA[0], SPECTRA[5][:30], SPECTRA[1:5])
    with pytest.raises(ColourError, match="same spectrum"):
        fit_ramp(SPECTRA[0], SPECTRA[0], SPECTRA[1:5])
    with pytest.raises(ColourError, match="between 1 and"):
        fit_ramp(SPECTRA[0], SPECTRA[5], SPECTRA[1:5], n=20.0)
