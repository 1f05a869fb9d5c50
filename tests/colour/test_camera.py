"""The sitting's correction, against a spectral camera that shares nothing with it and against colour-science."""

from __future__ import annotations

import json
import warnings
from dataclasses import replace
from functools import lru_cache
from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from archive.colour.camera import GREY_ROW, ROOTS, Correction, terms
from archive.colour.camera_fit import fit_correction, monotone_slopes
from archive.colour.camera_table import picture_table
from archive.colour.difference import sd_per_axis
from archive.colour.spaces import srgb_to_xyz_d50, xyz_d50_to_srgb, xyz_to_lab
from archive.errors import ColourError
from tests.studio import camera as studio

XYZ = studio.true_xyz(studio.card_reflectance())
SENSOR = np.array([[0.9, 0.25, 0.02], [0.15, 0.8, 0.1], [0.03, 0.2, 0.9]])  # an invented camera that sees as we do
SEEN = XYZ @ SENSOR


@lru_cache(maxsize=64)
def corrected(shot: studio.Shot) -> Correction:
    return fit_correction(studio.card_rgb(shot), XYZ)


def misses(shot: studio.Shot, prints: np.ndarray) -> np.ndarray:
    """Return the dE00 of prints in a shot, those left out that the file cut."""
    rgb = studio.device_rgb(prints, shot, pixels=64)
    whole = (rgb > 1e-3).all(axis=1)
    return studio.difference(corrected(shot).apply(rgb[whole]), studio.true_lab(prints[whole]))


# --- A camera that sees as we do


def test_a_camera_whose_values_mix_from_xyz_is_undone_exactly_by_a_matrix() -> None:
    found = fit_correction(SEEN, XYZ)
    assert (found.order, found.tone) == (1, None)
    assert found.residual.worst == pytest.approx(0, abs=1e-3)
    assert found.to_xyz(SEEN) == pytest.approx(XYZ, abs=1e-5)


def test_lab_is_what_colour_science_makes_of_the_xyz() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    shot = studio.Shot(contrast=0.5)
    rgb = studio.device_rgb(studio.prints()[:40], shot)
    white = colour.XYZ_to_xy(np.array([0.9642, 1.0, 0.8249]))
    expected = colour.XYZ_to_Lab(corrected(shot).to_xyz(rgb), white)
    assert corrected(shot).apply(rgb) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("gamma", [0.6, 1.5])
def test_a_bent_tone_curve_is_undone_from_the_grey_row(gamma: float) -> None:
    bent = (SEEN / SEEN.max()) ** gamma
    found = fit_correction(bent, XYZ)
    assert found.tone is not None
    # A power law is a straight line in logarithms, which the curve holds exactly.
    assert found.residual.mean < 0.01


def test_no_tone_curve_is_kept_for_a_file_that_was_linear() -> None:
    plain = fit_correction(SEEN * 0.7, XYZ)
    assert plain.tone is None


def test_exposure_of_the_card_does_not_matter() -> None:
    rgb = studio.card_rgb(studio.Shot(contrast=1.0))
    lab = fit_correction(rgb, XYZ).apply(rgb)
    assert fit_correction(rgb * 0.4, XYZ).apply(rgb * 0.4) == pytest.approx(lab, abs=1e-3)


# --- Its parts


@pytest.mark.parametrize("degree", [2, 3])
def test_root_polynomials_have_the_published_terms(degree: int) -> None:
    # Finlayson, Mackiewicz & Hurlbert 2015 as colour-science expands it; the order of its terms is its own.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    rgb = np.random.default_rng(3).uniform(0.01, 1, (5, 3))
    expected = colour.characterisation.polynomial_expansion_Finlayson2015(rgb, degree, root_polynomial_expansion=True)
    ours = terms(rgb.T, degree).T
    assert np.sort(ours, axis=1) == pytest.approx(np.sort(expected, axis=1), abs=1e-12)


@pytest.mark.parametrize("order", list(ROOTS))
@given(scale=st.floats(0.05, 4), seed=st.integers(0, 99))
@settings(max_examples=20, deadline=None)
def test_terms_grow_with_the_exposure(order: int, scale: float, seed: int) -> None:
    rgb = np.random.default_rng(seed).uniform(0.01, 1, (3, 4))
    assert terms(rgb * scale, order) == pytest.approx(terms(rgb, order) * scale, rel=1e-9)


def test_tone_curves_rise_and_pass_through_the_greys() -> None:
    shot = studio.Shot("high-CRI LED", contrast=2.0)
    found, rgb = corrected(shot), studio.card_rgb(shot)
    assert found.tone is not None
    for channel, curve in enumerate(found.tone):
        values = curve.linear_of(np.geomspace(1e-4, 2, 500))
        assert (np.diff(values) > 0).all()
        greys = list(GREY_ROW)
        # Real greys are a little coloured, so that a channel sees them by a few percent unlike Y.
        ratio = curve.linear_of(rgb[greys, channel]) / XYZ[greys, 1]
        assert ratio == pytest.approx(np.full(6, ratio.mean()), rel=0.04)


@given(seed=st.integers(0, 999), count=st.integers(3, 6))
@settings(max_examples=30, deadline=None)
def test_slopes_are_those_of_the_published_monotone_cubic(seed: int, count: int) -> None:
    # scipy's PchipInterpolator follows the same paper.
    x, y = np.random.default_rng(seed).uniform(0.05, 1, (2, count, 2)).cumsum(axis=1)
    for channel in range(2):
        expected = PchipInterpolator(x[:, channel], y[:, channel]).derivative()(x[:, channel])
        assert monotone_slopes(x, y)[:, channel] == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_many_pixels_come_out_as_few_do() -> None:
    shot = studio.Shot(contrast=1.5)
    found = corrected(shot)
    picture = np.random.default_rng(1).uniform(0.002, 1.0, (600, 500, 3)).astype(np.float32)
    whole = found.apply(picture)
    assert (whole.shape, whole.dtype) == (picture.shape, np.float32)
    few = found.apply(picture[::60, ::50].astype(np.float64))
    assert whole[::60, ::50] == pytest.approx(few, abs=0.02, rel=1e-3)


def test_a_mean_counts_as_a_sixteenth_of_ten_of_it_an_axis() -> None:
    # The mean length of a vector of three standard normals is the root of 8 / pi = 1.596 (chi distribution).
    assert sd_per_axis(1.6) == 1.0
    assert sd_per_axis(sqrt(8 / pi)) == pytest.approx(1.0, abs=0.003)
    with pytest.raises(ColourError):
        sd_per_axis(-1)


# --- Kept as plain numbers


@pytest.mark.parametrize("contrast", [0.0, 1.3])
def test_a_correction_comes_back_from_json_as_it_was(contrast: float) -> None:
    rgb = studio.card_rgb(studio.Shot("warm LED", contrast=contrast))
    found = fit_correction(rgb, XYZ, left_out=(3,), profile_xyz=srgb_to_xyz_d50(np.full((24, 3), 0.5)))
    again = Correction.from_plain(json.loads(json.dumps(found.to_plain())))
    assert again == found
    assert (again.apply(rgb) == found.apply(rgb)).all()


@pytest.mark.parametrize("key", ["order", "matrix", "tone", "residual", "leave_one_out", "local", "claim", "left_out"])
def test_a_stored_correction_without_a_part_is_told(key: str) -> None:
    plain = corrected(studio.Shot()).to_plain()
    del plain[key]
    with pytest.raises(ColourError, match="incomplete"):
        Correction.from_plain(plain)


def test_a_stored_correction_of_another_version_or_size_is_told() -> None:
    plain = corrected(studio.Shot()).to_plain()
    with pytest.raises(ColourError, match="version 9"):
        Correction.from_plain({**plain, "version": 9})
    with pytest.raises(ColourError, match="incomplete"):
        Correction.from_plain({**plain, "matrix": plain["matrix"][:-1]})


# --- What the card may be


def test_left_out_patches_have_no_say_and_no_residual() -> None:
    rgb = studio.card_rgb(studio.Shot())
    spoilt = rgb.copy()
    spoilt[[2, 7]] = np.nan
    found = fit_correction(spoilt, XYZ, left_out=(7, 2))
    assert found.left_out == (2, 7)
    assert found.residual.by_patch[2] is None
    assert found == fit_correction(rgb, XYZ, left_out=(2, 7))


def test_a_wrong_patch_is_the_worst_one_and_leaving_it_out_mends_the_rest() -> None:
    rgb = studio.card_rgb(studio.Shot())
    rgb[10] = rgb[12]
    found = fit_correction(rgb, XYZ)
    assert found.leave_one_out.worst_patch == 10
    assert fit_correction(rgb, XYZ, left_out=(10,)).claim < 0.6 * found.claim


def test_a_patch_with_a_crushed_channel_is_left_out_unasked() -> None:
    rgb = studio.card_rgb(studio.Shot())
    rgb[17, 0] = 0.0
    assert fit_correction(rgb, XYZ).left_out == (17,)


def test_half_a_card_is_enough() -> None:
    shot = studio.Shot("D65")
    half = fit_correction(studio.card_rgb(shot), XYZ, left_out=tuple(range(12)))
    prints = studio.prints()[::4]
    miss = studio.difference(half.apply(studio.device_rgb(prints, shot)), studio.true_lab(prints))
    assert miss.mean() < 3.0


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda rgb: rgb[:12], "24 times three"),
        (lambda rgb: np.repeat(rgb[:, :1], 3, axis=1), "all of one colour"),
        (lambda rgb: np.where(np.arange(24)[:, None] == 4, np.nan, rgb), "holds no number"),
        (lambda rgb: np.minimum(rgb, rgb[20]), "does not fall"),
        (lambda rgb: rgb[::-1], "does not fall"),
        (lambda rgb: rgb * (np.arange(24)[:, None] < 5), "only 5 patches"),
    ],
)
def test_a_card_that_carries_no_correction_is_told(spoil, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ColourError, match=words):
        fit_correction(spoil(studio.card_rgb(studio.Shot())), XYZ)


def test_wrong_places_and_wrong_scales_are_told() -> None:
    rgb = studio.card_rgb(studio.Shot())
    with pytest.raises(ColourError, match="no patch 24"):
        fit_correction(rgb, XYZ, left_out=(24,))
    with pytest.raises(ColourError, match="only 4 patches"):
        fit_correction(rgb, XYZ, left_out=range(20))
    with pytest.raises(ColourError, match="white has Y = 1"):
        fit_correction(rgb, XYZ * 100)
    with pytest.raises(ColourError, match="three numbers a pixel"):
        corrected(studio.Shot()).apply(np.zeros((4, 4)))


def test_a_correction_worse_than_the_profile_alone_says_so() -> None:
    rgb = studio.card_rgb(studio.Shot("narrow-band tube"))
    assert not fit_correction(rgb, XYZ, profile_xyz=XYZ * 1.001).is_better
    assert fit_correction(rgb, XYZ, profile_xyz=XYZ * 0.6).is_better
    assert fit_correction(rgb, XYZ).is_better


# --- Pictures to look at


def test_a_table_shows_colours_as_the_correction_does() -> None:
    shot = studio.Shot(contrast=1.0)
    found = corrected(shot)

    def linear(encoded: np.ndarray) -> np.ndarray:
        return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)

    table = picture_table(found, linear)
    place = np.array([5, 12, 20])  # blue, green and red steps of 33
    exact = xyz_d50_to_srgb(found.to_xyz(linear(place[::-1] / 32)))
    assert table[tuple(place)] == pytest.approx(exact, abs=1e-5)
    with pytest.raises(ColourError):
        picture_table(found, linear, size=1)


# --- Inks with spectra unlike the card's. The whole table is in tests/bench/bench_camera.py.


@pytest.mark.parametrize("is_rendered", [False, True])
def test_daylight_and_a_good_lamp_are_right_to_one_and_a_half(is_rendered: bool) -> None:
    prints = studio.prints()[::3]
    shots = [replace(shot, is_rendered=is_rendered) for shot in studio.shots(studio.GOOD_LAMPS, seed=5)]
    miss = [misses(shot, prints) for shot in shots]
    assert max(part.mean() for part in miss) <= 1.5
    assert np.quantile(np.concatenate(miss), 0.95) <= 3.5


@pytest.mark.parametrize("camera", ["filter array", "stacked"])
def test_the_claim_covers_prints_and_is_not_idle(camera: str) -> None:
    prints = studio.prints()[::3]
    shots = studio.shots(seed=6, camera=camera)
    true = np.array([misses(shot, prints).mean() for shot in shots])
    claims = np.array([corrected(shot).claim for shot in shots])
    if camera == "filter array":
        assert true.max() <= 3.0
    assert (claims >= true).mean() >= 0.9
    assert (claims / true).max() <= 2.5


def test_a_tone_curve_costs_a_print_far_less_than_leaving_it_in() -> None:
    shot = studio.Shot("D65", contrast=1.5)
    prints = studio.prints()[::4]
    bare = replace(corrected(shot), tone=None)
    left_in = studio.difference(bare.apply(studio.device_rgb(prints, shot)), studio.true_lab(prints)).mean()
    assert misses(shot, prints).mean() < left_in / 3


def test_lab_of_the_card_agrees_with_the_reference_chain() -> None:
    assert xyz_to_lab(XYZ) == pytest.approx(studio.true_lab(studio.card_reflectance()), abs=1e-3)
