"""The overprint model on published press tables: colours it never saw, and whether its ± holds there.

Tables: Debian's icc-profiles-free. Targets: the project's own. The bench prints them row by row.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from archive.colour.difference import delta_e_2000
from archive.colour.overprint import ink_set_data
from archive.colour.overprint_design import eleven, spread_out, twenty_five
from archive.colour.overprint_fit import FitPrior, fit_overprint
from tests.colour.overprint_press import (
    COATED,
    DESIGNS,
    PAIRS,
    PRESSES,
    Judged,
    coverage,
    judge,
    judge_pair,
    mean_miss,
    nearest_nodes,
    nodes,
    percentile,
    width,
)


@lru_cache(maxsize=8)
def strips(design: str, noise: float) -> tuple[Judged, ...]:
    return tuple(judge_pair(name, pair, DESIGNS[design](), noise) for name in PRESSES for pair in PAIRS)


def all_strips() -> list[Judged]:
    asked = (("eleven", 0.0), ("eleven", 0.5), ("sixteen", 0.5), ("twenty-five", 0.0), ("twenty-five", 0.5))
    return [each for design, noise in asked for each in strips(design, noise)]


@pytest.mark.parametrize(
    ("design", "noise", "mean", "most"),
    [
        ("eleven", 0.0, 0.40, 1.2),
        ("eleven", 0.5, 0.70, 2.0),
        ("sixteen", 0.5, 0.50, 1.0),
        ("twenty-five", 0.0, 0.20, 0.6),
        ("twenty-five", 0.5, 0.45, 1.0),
    ],
)
def test_a_strip_tells_the_tints_it_does_not_hold(design: str, noise: float, mean: float, most: float) -> None:
    judged = list(strips(design, noise))
    assert mean_miss(judged) <= mean
    assert percentile(judged, 95) <= most


def test_the_radius_holds_about_as_often_as_it_says() -> None:
    assert 0.90 <= coverage(all_strips()) <= 0.98


def test_the_radius_holds_on_papers_it_was_not_chosen_on() -> None:
    assert 0.90 <= coverage([each for each in all_strips() if each.press not in COATED]) <= 0.98


@pytest.mark.parametrize("noise", [0.0, 0.5])
def test_on_every_press_and_pair_the_radius_holds_and_is_not_idle(noise: float) -> None:
    for name in PRESSES:
        for pair in PAIRS:
            cell = [each for each in all_strips() if (each.press, each.inks, each.noise) == (name, pair, noise)]
            assert coverage(cell) >= 0.8, (name, pair)
            assert width(cell) <= 3.0, (name, pair)


@pytest.mark.parametrize(("inks", "count", "mean"), [((0, 1, 2), 27, 0.50), ((0, 1, 2), 64, 0.25)])
def test_three_inks_are_known_from_spread_out_patches(inks: tuple[int, ...], count: int, mean: float) -> None:
    names = ("FOGRA39L", "FOGRA30L", "TR002")
    judged = [judge(name, inks, list(spread_out(nodes(name, inks)[0], count)), 0.0) for name in names]
    assert mean_miss(judged) <= mean


def test_four_inks_are_known_from_sixty_four_patches() -> None:
    inks = (0, 1, 2, 3)
    names = ("FOGRA39L", "FOGRA30L")
    assert mean_miss([judge(n, inks, list(spread_out(nodes(n, inks)[0], 64)), 0.0) for n in names]) <= 0.50


def test_a_guess_of_an_unprinted_overprint_covers_what_it_turns_out_to_be() -> None:
    covered = []
    for name in PRESSES:
        for inks in combinations(range(4), 2):
            tints, lab = nodes(name, inks)
            single = np.flatnonzero((tints == 0).any(axis=1))
            rows = single[nearest_nodes(tints[single], eleven()[:10])]
            model = fit_overprint(ink_set_data(tints[rows], lab[rows], 0.5))
            said = model.predict([[100.0, 100.0]])
            truth = lab[(tints == 100).all(axis=1)]
            assert said.evidence == ("guess",)
            covered.append(bool(delta_e_2000(said.lab, truth)[0] <= said.radius[0]))
    assert len(covered) == 54
    assert np.mean(covered) >= 0.90


def stencil_like(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return a press's nodes with tints as if a screen lost its small dots and closed its dark tints.

    A screen process printed 6 % as 2, 11 as 7, 40 as 44, 63 as 76, 76 as 89 (figures of common practice).
    """
    tints, lab = nodes(name, (0, 1))
    curve = PchipInterpolator([0, 2, 7, 44, 76, 89, 100], [0, 6, 11, 40, 63, 76, 100])
    return np.clip(curve(tints), 0, 100), lab


def test_inks_with_unusual_curves_get_freer_ones_and_a_wider_radius() -> None:
    tints, lab = stencil_like("FOGRA30L")
    rows = nearest_nodes(tints, twenty_five())
    rest = np.setdiff1d(np.arange(len(tints)), rows)
    data = ink_set_data(tints[rows], lab[rows], 0.3)
    free, stiff = fit_overprint(data), fit_overprint(data, FitPrior(unusual_cost=1e9))
    misses = delta_e_2000(free.predict(tints[rest]).lab, lab[rest])
    assert free.leeway.freedom > 1 == stiff.leeway.freedom
    assert misses.mean() < delta_e_2000(stiff.predict(tints[rest]).lab, lab[rest]).mean()
    assert (misses <= free.predict(tints[rest]).radius).mean() >= 0.80


def test_more_patches_of_more_noise_never_claim_less_than_fewer_of_less() -> None:
    tints, lab = nodes("FOGRA29L", (0, 1))
    rows = nearest_nodes(tints, eleven())
    quiet = fit_overprint(ink_set_data(tints[rows], lab[rows], 0.1)).predict(tints)
    loud = fit_overprint(ink_set_data(tints[rows], lab[rows], 1.0)).predict(tints)
    assert loud.sd.mean() > quiet.sd.mean()


@pytest.mark.parametrize("name", ["FOGRA39L", "FOGRA30L", "TR002"])
def test_two_readings_in_each_others_place_stand_out(name: str) -> None:
    tints, lab = nodes(name, (0, 1))
    rows = nearest_nodes(tints, eleven())
    read = lab[rows] + 0.5 * np.random.default_rng(1).normal(size=(len(rows), 3))
    light = [tints[rows].tolist().index(patch) for patch in ([25.0, 0.0], [0.0, 25.0])]
    right = fit_overprint(ink_set_data(tints[rows], read, 0.5))
    read[light] = read[light[::-1]]
    wrong = fit_overprint(ink_set_data(tints[rows], read, 0.5))
    assert set(np.argsort(wrong.surprises())[-2:]) == set(light)
    assert wrong.leeway.freedom > 4 > right.leeway.freedom
    assert wrong.solved.evidence < right.solved.evidence
