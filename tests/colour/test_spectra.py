"""Spectra to colour against an instrument's own values and an independent implementation."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from archive.colour.spectra import check_reflectance, reflectance_to_lab, weights_d50
from archive.errors import ColourError

# A spectrophotometer's own file (a public sample under the MIT licence): one spot ink at 0, 30, 60 and 100 % on
# off-white uncoated paper, 380-730 nm in steps of 10, L*a*b* for D50 and 2 degrees as the instrument gave it.
RAMP = [
    (
        (85.46, 1.38, 5.97),
        [0.180005, 0.233768, 0.312105, 0.401500, 0.485367, 0.543177, 0.579028, 0.603711, 0.622557, 0.635980,
         0.645866, 0.655322, 0.662949, 0.667344, 0.669915, 0.668157, 0.663573, 0.656697, 0.651547, 0.654500,
         0.656007, 0.657238, 0.660150, 0.675877, 0.709681, 0.751066, 0.785796, 0.808390, 0.822435, 0.829419,
         0.833173, 0.835547, 0.839279, 0.843145, 0.846537, 0.851780],
    ),
    (
        (75.34, -8.52, -2.45),
        [0.147666, 0.195290, 0.262918, 0.336904, 0.403224, 0.451240, 0.484588, 0.510138, 0.530569, 0.544071,
         0.553581, 0.566920, 0.579203, 0.580661, 0.569103, 0.548721, 0.526449, 0.498987, 0.467600, 0.444209,
         0.430465, 0.425473, 0.419738, 0.420202, 0.433648, 0.453273, 0.472191, 0.490009, 0.506561, 0.515865,
         0.516317, 0.511223, 0.502264, 0.494587, 0.498497, 0.515411],
    ),
    (
        (65.28, -19.16, -10.87),
        [0.119915, 0.160403, 0.218703, 0.279222, 0.329881, 0.368900, 0.400698, 0.427765, 0.450000, 0.462667,
         0.471854, 0.489940, 0.507524, 0.505816, 0.480094, 0.443090, 0.406490, 0.364087, 0.316029, 0.277546,
         0.255785, 0.247583, 0.237910, 0.231022, 0.233663, 0.241512, 0.251921, 0.265944, 0.282182, 0.291964,
         0.291070, 0.283145, 0.269936, 0.259117, 0.263733, 0.286403],
    ),
    (
        (50.44, -29.94, -18.86),
        [0.074788, 0.104986, 0.146182, 0.185483, 0.214333, 0.240277, 0.266598, 0.291979, 0.313950, 0.325199,
         0.333499, 0.355227, 0.377989, 0.373283, 0.334949, 0.286146, 0.242717, 0.196999, 0.149754, 0.115178,
         0.098411, 0.092668, 0.086053, 0.080224, 0.079019, 0.080497, 0.083993, 0.090819, 0.099605, 0.105103,
         0.104043, 0.098745, 0.090769, 0.085325, 0.089809, 0.105135],
    ),
]  # fmt: skip
LABS = np.array([lab for lab, _ in RAMP])
SPECTRA = np.array([spectrum for _, spectrum in RAMP])


def test_spectra_give_the_instruments_own_values():
    # Printed to 0.01; the instrument's own weights are not known to the last digit.
    assert np.abs(reflectance_to_lab(SPECTRA, 380, 10) - LABS).max() < 0.013


def test_percent_is_read_as_percent():
    assert reflectance_to_lab(SPECTRA * 100, 380, 10, percent=True) == pytest.approx(
        reflectance_to_lab(SPECTRA, 380, 10), abs=1e-9
    )


def test_percent_passed_as_factors_is_refused():
    with pytest.raises(ColourError, match="percent"):
        reflectance_to_lab(SPECTRA * 100, 380, 10)


@pytest.mark.parametrize(
    ("start_nm", "step_nm", "count"),
    [(380, 10, 36), (400, 10, 31), (360, 10, 43), (400, 20, 16), (380, 5, 81), (340, 10, 50), (390, 1, 341)],
)
def test_xyz_agrees_with_colour_science(start_nm, step_nm, count):
    import colour

    reflectance = np.random.default_rng(308).uniform(0, 1, count)
    shape = colour.SpectralShape(start_nm, start_nm + step_nm * (count - 1), step_nm)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it cuts to 360-780 nm
        theirs = colour.sd_to_XYZ(
            colour.SpectralDistribution(reflectance, shape),
            colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"],
            colour.SDS_ILLUMINANTS["D50"],
        )
    assert reflectance @ weights_d50(start_nm, step_nm, count) == pytest.approx(theirs / 100, abs=1e-12)


def test_the_perfect_diffuser_is_white():
    assert reflectance_to_lab(np.ones(31), 400, 10) == pytest.approx((100, 0, 0), abs=1e-9)
    # CIE 15: D50 for the 2 degree observer is 96.42, 100, 82.51, printed to two decimals
    assert weights_d50(380, 10, 41).sum(axis=0) == pytest.approx((0.9642, 1.0, 0.8251), abs=1e-4)


def test_many_spectra_at_once_equal_one_by_one():
    many = SPECTRA.reshape(2, 2, -1)
    whole = reflectance_to_lab(many, 380, 10)
    assert whole.shape == (2, 2, 3)
    assert whole[1, 0] == pytest.approx(reflectance_to_lab(many[1, 0], 380, 10), abs=1e-12)


def test_brightened_papers_pass():
    assert reflectance_to_lab(np.full(36, 1.1), 380, 10)[0] > 100


@pytest.mark.parametrize(
    ("start_nm", "step_nm", "count"),
    [(380, 3.5, 100), (400, 10, 20), (450, 10, 40), (385, 10, 36), (380, 0, 36), (380, -10, 36)],
)
def test_wavelengths_without_published_weights_are_refused(start_nm, step_nm, count):
    with pytest.raises(ColourError, match="nm"):
        reflectance_to_lab(np.full(count, 0.5), start_nm, step_nm)


@pytest.mark.parametrize("spectrum", [[0.5, float("nan")], [0.5, -0.4], 0.5, ["a"], None])
def test_what_is_no_spectrum_is_refused(spectrum):
    with pytest.raises(ColourError):
        check_reflectance(spectrum)


def test_an_instruments_dark_offset_passes():
    assert check_reflectance([-0.002, 0.4]).tolist() == [-0.002, 0.4]
