"""Demichel's shares, Yule–Nielsen's mixture and the metric, against books, formulas and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from archive.colour.difference import delta_e_2000
from archive.colour.overprint_curves import CurveBasis
from archive.colour.overprint_metric import metric_roots
from archive.colour.overprint_mix import Mixer, demichel_weights, to_lab, yule_nielsen
from archive.colour.spaces import xyz_to_lab


def some_mixer(inks: int, seed: int) -> tuple[Mixer, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    primaries = np.column_stack([random.uniform(40, 90, 2**inks), random.uniform(-30, 30, (2**inks, 2))])
    mixer = Mixer(inks, primaries, np.full((2**inks, 3), 2.0), CurveBasis())
    return mixer, 0.5 * random.normal(size=mixer.count), random.uniform(0.1, 0.9, (7, inks))


def test_shares_of_two_inks_at_forty_percent_are_the_handbooks() -> None:
    # Westland & Ripamonti, Computational Colour Science using MATLAB, p. 147: paper, cyan, yellow, green at c = y = 0.4
    assert demichel_weights([0.4, 0.4]) == pytest.approx([0.36, 0.24, 0.24, 0.16], abs=1e-12)


def test_shares_are_those_of_dots_thrown_at_random() -> None:
    coverage = np.array([0.3, 0.55, 0.8])
    dots = np.random.default_rng(1).random((200_000, 3)) < coverage
    counted = np.bincount(dots @ [1, 2, 4], minlength=8) / len(dots)
    # four standard deviations of a count of 200,000
    assert demichel_weights(coverage) == pytest.approx(counted, abs=4 * np.sqrt(0.25 / len(dots)))


def test_shares_always_make_the_whole_paper() -> None:
    coverage = np.random.default_rng(2).random((50, 4))
    weights = demichel_weights(coverage)
    assert weights.shape == (50, 16)
    assert weights.sum(axis=1) == pytest.approx(np.ones(50))
    assert (weights >= 0).all()


def test_the_mixture_is_the_written_out_formula() -> None:
    paper, ink, share, n = np.array([0.8, 0.84, 0.7]), np.array([0.3, 0.2, 0.1]), 0.35, 2.4
    # Yule & Nielsen 1951: R = ((1 - a) R_paper^(1/n) + a R_ink^(1/n))^n
    written_out = ((1 - share) * paper ** (1 / n) + share * ink ** (1 / n)) ** n
    assert yule_nielsen([1 - share, share], [paper, ink], n) == pytest.approx(written_out, rel=1e-12)


def test_with_n_of_one_the_mixture_is_murray_and_davies_straight_line() -> None:
    assert yule_nielsen([0.25, 0.75], [[0.8], [0.4]], 1.0) == pytest.approx([0.25 * 0.8 + 0.75 * 0.4])


@pytest.mark.parametrize("inks", [1, 2, 3, 4])
def test_the_slopes_are_those_of_small_steps(inks: int) -> None:
    mixer, parameters, share = some_mixer(inks, inks)
    _, slopes, _ = mixer.slopes(parameters, share)
    for at, unit in enumerate(np.eye(mixer.count)):
        step = (mixer.lab(parameters + 1e-6 * unit, share) - mixer.lab(parameters - 1e-6 * unit, share)) / 2e-6
        assert slopes[:, :, at] == pytest.approx(step, abs=1e-5)


def test_bare_paper_and_solids_are_the_primaries_themselves() -> None:
    mixer, _, _ = some_mixer(2, 5)
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    assert mixer.lab(mixer.mean, corners) == pytest.approx(mixer.primaries, abs=1e-6)


def test_the_metric_is_ciede2000_of_small_steps() -> None:
    random = np.random.default_rng(3)
    lab = np.column_stack([random.uniform(5, 98, 500), random.uniform(-80, 80, (500, 2))])
    lab[:50, 1:] *= 0.02  # greys, where hue turns fastest
    step = 1e-3 * random.normal(size=(500, 3))
    near = np.linalg.norm(np.einsum("nac,nc->na", metric_roots(lab), step), axis=1)
    assert near == pytest.approx(delta_e_2000(lab - step / 2, lab + step / 2), rel=1e-5)


def test_lab_without_checks_is_lab() -> None:
    xyz = np.random.default_rng(4).random((20, 3)) * [0.9642, 1, 0.8249]
    assert to_lab(xyz) == pytest.approx(xyz_to_lab(xyz), abs=1e-10)
