"""A pair's own residual, learnt from nine measured patches, against the spectral camera."""

from __future__ import annotations

import json
from functools import lru_cache

import numpy as np
import pytest

from archive.colour.camera import Correction
from archive.colour.camera_fit import fit_correction
from archive.colour.camera_pair import PairResidual, learn_pair
from archive.errors import ColourError
from tests.studio import camera as studio

NINE = [row * 6 + column for row in (0, 2, 5) for column in (0, 2, 5)]  # of six tints of each ink
REST = [place for place in range(36) if place not in NINE]
GRID = np.array([[20 + 8 * i, 40 - 9 * j, 6 * (i - j)] for i in range(3) for j in range(3)], dtype=float)


@lru_cache(maxsize=8)
def corrected(shot: studio.Shot) -> Correction:
    return fit_correction(studio.card_rgb(shot), studio.true_xyz(studio.card_reflectance()))


def pair_in(shot: studio.Shot, pair: tuple[str, str]) -> tuple[np.ndarray, np.ndarray]:
    """Return the corrected and the true Lab of a pair's 36 patches."""
    prints = studio.pair_reflectance(*pair)
    return corrected(shot).apply(studio.device_rgb(prints, shot, pixels=64)), studio.true_lab(prints)


def noisy(lab: np.ndarray, seed: int) -> np.ndarray:
    return lab + np.random.default_rng(seed).normal(0, 0.5, lab.shape)


def test_nine_measured_patches_bring_the_pair_within_eight_tenths() -> None:
    for seed, shot in enumerate(studio.shots(("D65", "narrow-band tube", "warm LED"), seed=4)):
        means, claims, before = [], [], []
        for pair in studio.ink_pairs()[seed::13]:
            camera, true = pair_in(shot, pair)
            learnt = learn_pair(camera[NINE], noisy(true[NINE], seed))
            means.append(studio.difference(learnt.apply(camera[REST]), true[REST]).mean())
            before.append(studio.difference(camera[REST], true[REST]).mean())
            claims.append(learnt.claim)
        assert np.mean(means) <= 0.8
        assert np.mean(means) < np.mean(before)
        assert 1 <= np.mean(claims) / np.mean(means) <= 2.5


def test_a_constant_miss_is_learnt_whole() -> None:
    learnt = learn_pair(GRID, GRID + np.array([1.0, -2.0, 3.0]))
    # Nine readings with noise of 0.5 leave the mean uncertain by 0.17, beside a shift that may be 3.
    assert learnt.apply(GRID[4] + 2) == pytest.approx(GRID[4] + np.array([3.0, 0.0, 5.0]), abs=0.2)


def test_a_shape_of_the_grid_is_kept_and_lab_stays_a_surface() -> None:
    learnt = learn_pair(GRID, GRID + np.array([1.0, 0, 0]))
    assert learnt.apply(np.zeros((2, 4, 3))).shape == (2, 4, 3)
    assert learnt.apply([0.0, 0, 0])[0] >= 0


def test_what_was_learnt_comes_back_from_json_as_it_was() -> None:
    learnt = learn_pair(GRID, noisy(GRID, 1))
    assert PairResidual.from_plain(json.loads(json.dumps(learnt.to_plain()))) == learnt
    for key in learnt.to_plain():
        plain = learnt.to_plain()
        del plain[key]
        with pytest.raises(ColourError):
            PairResidual.from_plain(plain)


def test_too_few_or_unlike_patches_are_told() -> None:
    with pytest.raises(ColourError, match="8 patches"):
        learn_pair(GRID[:8], GRID[:8])
    with pytest.raises(ColourError, match="do not pair"):
        learn_pair(GRID, GRID[:8])
    with pytest.raises(ColourError, match="noise"):
        learn_pair(GRID, GRID, noise=0)
