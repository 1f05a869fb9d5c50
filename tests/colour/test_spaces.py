"""Colour spaces against published values and their own way back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.colour import spaces
from archive.errors import ColourError, InputError

L = st.floats(0, 100)
AB = st.floats(-100, 100)
D65 = np.array([0.95047, 1.0, 1.08883])  # XYZ of D65, 2 degrees, as the worked values below use it


@pytest.mark.parametrize(
    ("xyz", "lab"),
    [
        # colour-science 0.4.7, its tests of the CIE Lab model: D65, 2 degree observer
        ((0.20654008, 0.12197225, 0.05136952), (41.52787529, 52.63858304, 26.92317922)),
        ((0.14222010, 0.23042768, 0.10495772), (55.11636304, -41.08791787, 30.91825778)),
        ((0.07818780, 0.06157201, 0.28099326), (29.80565520, 20.01830466, -48.34913874)),
    ],
)
def test_xyz_to_lab_gives_the_worked_values_under_d65(xyz, lab):
    # Their white is xy (0.3127, 0.3290), which has X and Z to five decimals as above: hence 1e-2, not 1e-8.
    assert spaces.xyz_to_lab(xyz, D65) == pytest.approx(lab, abs=1e-2)
    x, y = spaces.D65_XY
    assert spaces.xyz_to_lab(xyz, (x / y, 1.0, (1 - x - y) / y)) == pytest.approx(lab, abs=1e-6)


def test_xyz_to_lab_gives_the_worked_value_under_d50():
    # colour-science 0.4.7, the same tests: D50 by its chromaticity 0.34570, 0.35850
    white = (0.34570 / 0.35850, 1.0, (1 - 0.34570 - 0.35850) / 0.35850)
    lab = spaces.xyz_to_lab((0.20654008, 0.12197225, 0.05136952), white)
    assert lab == pytest.approx((41.52787529, 51.19354174, 19.91843098), abs=1e-6)


def test_the_standing_white_is_that_of_the_icc():
    # ICC.1:2022 (ISO 15076-1), profile connection space illuminant, printed to four decimals
    assert spaces.D50_WHITE.tolist() == [0.9642, 1.0, 0.8249]
    assert spaces.xyz_to_lab(spaces.D50_WHITE) == pytest.approx((100, 0, 0), abs=1e-9)


@given(L, st.floats(-60, 60), st.floats(-60, 60))
def test_lab_comes_back_from_xyz(L, a, b):
    assert spaces.xyz_to_lab(spaces.lab_to_xyz((L, a, b))) == pytest.approx((L, a, b), abs=1e-9)


@given(L, AB, AB)
def test_lab_comes_back_from_lch(L, a, b):
    lch = spaces.lab_to_lch((L, a, b))
    assert 0 <= lch[2] < 360
    assert lch[1] >= 0
    assert spaces.lch_to_lab(lch) == pytest.approx((L, a, b), abs=1e-9)


@given(st.tuples(*[st.floats(0, 1)] * 3))
def test_srgb_comes_back_from_xyz(srgb):
    xyz = spaces.srgb_to_xyz_d50(srgb)
    assert spaces.xyz_d50_to_srgb(xyz) == pytest.approx(srgb, abs=1e-6)
    assert spaces.in_gamut(xyz)


@pytest.mark.parametrize(
    ("text", "lch"),
    [
        # Conversion tests of a MIT-licensed implementation of CSS Color 4: sRGB to LCh under D50. Its D50 has
        # other last digits than the ICC's, hence 0.01 in L and C and 0.1 degrees.
        ("#708090", (52.69734985816035, 11.234156441150068, 253.00263766910288)),
        ("#ffefd5", (95.22890204788412, 14.894161408435306, 80.18569512775224)),
    ],
)
def test_screen_colours_have_the_css_values(text, lch):
    ours = spaces.lab_to_lch(spaces.xyz_to_lab(spaces.srgb_to_xyz_d50(spaces.parse_hex(text))))
    assert ours[:2] == pytest.approx(lch[:2], abs=1e-2)
    assert ours[2] == pytest.approx(lch[2], abs=0.1)


def test_a_screen_colour_is_encoded_as_the_standard_says():
    # colour-science 0.4.7, its tests of RGB common conversions: XYZ under D65 to sRGB
    d65 = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
    xyz = spaces.bradford_adapt([[0.20654008, 0.12197225, 0.05136952]], d65, spaces.D50_WHITE)
    # The standard's matrix is printed to four decimals; ours comes from its chromaticities.
    assert spaces.xyz_d50_to_srgb(xyz)[0] == pytest.approx((0.70573936, 0.19248266, 0.22354169), abs=2e-4)


def test_bradford_gives_the_published_matrix():
    # CSS Color 4 sample code, D65 to D50 by chromaticities (0.3127, 0.3290) and (0.3457, 0.3585)
    published = [
        [1.0479297925449969, 0.022946870601609652, -0.05019226628920524],
        [0.02962780877005599, 0.9904344267538799, -0.017073799063418826],
        [-0.009243040646204504, 0.015055191490298152, 0.7518742814281371],
    ]
    d65 = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
    d50 = np.array([0.3457 / 0.3585, 1.0, (1 - 0.3457 - 0.3585) / 0.3585])
    ours = spaces.bradford_adapt(np.eye(3), d65, d50).T
    assert np.abs(ours - published).max() < 1e-9


def test_adapting_a_white_gives_the_other_white():
    assert spaces.bradford_adapt(D65, D65, spaces.D50_WHITE) == pytest.approx(spaces.D50_WHITE, abs=1e-12)


def test_white_of_the_screen_is_white():
    assert spaces.xyz_to_lab(spaces.srgb_to_xyz_d50((1, 1, 1))) == pytest.approx((100, 0, 0), abs=1e-9)


def test_a_colour_no_screen_shows_is_clipped_only_when_asked():
    xyz = spaces.lab_to_xyz((60, -90, 20))
    assert not spaces.in_gamut(xyz)
    assert spaces.xyz_d50_to_srgb(xyz, clip=False).min() < 0
    assert spaces.xyz_d50_to_srgb(xyz).min() == 0


@given(st.integers(0, 0xFFFFFF))
def test_hex_comes_back_from_lab(number):
    text = f"#{number:06x}"
    assert spaces.lab_to_hex(spaces.xyz_to_lab(spaces.srgb_to_xyz_d50(spaces.parse_hex(text)))) == text


def test_short_hex_doubles_its_digits():
    assert spaces.parse_hex("#c5f") == pytest.approx(spaces.parse_hex("#CC55FF"))


@pytest.mark.parametrize("text", ["c8553d", "#c8553", "#c8553g", "", "#", "red", "#12345678", "#１２３"])
def test_other_texts_are_no_hex(text):
    with pytest.raises(ColourError):
        spaces.parse_hex(text)


@given(L.filter(lambda L: L > 20), st.floats(-20, 20), st.floats(-20, 20))
def test_a_paper_is_white_to_itself(L, a, b):
    assert spaces.relative_to_paper((L, a, b), (L, a, b)) == pytest.approx((100, 0, 0), abs=1e-9)


@given(L, AB, AB, st.floats(20, 100), st.floats(-20, 20), st.floats(-20, 20))
def test_a_colour_comes_back_from_its_paper(L, a, b, paper_L, paper_a, paper_b):
    paper = (paper_L, paper_a, paper_b)
    relative = spaces.relative_to_paper((L, a, b), paper)
    assert spaces.on_paper(relative, paper) == pytest.approx((L, a, b), abs=1e-8)


def test_a_relative_colour_scales_xyz_by_white_over_paper():
    # ICC.1:2022, media-relative colorimetry: XYZ = absolute XYZ times the D50 white over the medium's white
    lab, paper = np.array([50.0, 30.0, 20.0]), np.array([90.0, 1.0, 5.0])
    scaled = spaces.lab_to_xyz(lab) * spaces.D50_WHITE / spaces.lab_to_xyz(paper)
    assert spaces.lab_to_xyz(spaces.relative_to_paper(lab, paper)) == pytest.approx(scaled, abs=1e-12)


def test_an_opaque_light_ink_on_dark_paper_is_lighter_than_white():
    paper = (40, 5, -10)
    relative = spaces.relative_to_paper((90, 0, 0), paper)
    assert relative[0] > 115
    assert spaces.on_paper(relative, paper) == pytest.approx((90, 0, 0), abs=1e-9)


def test_an_almost_black_paper_is_no_white():
    with pytest.raises(ColourError, match="too dark"):
        spaces.relative_to_paper((50, 0, 0), (3, 0, 0))


def test_brightened_papers_pass():
    assert spaces.check_lab((112.0, 3, -20)).tolist() == [112.0, 3.0, -20.0]


@pytest.mark.parametrize(
    "lab",
    [
        (120, 0, 0), (-3, 0, 0), (50, 250, 0), (50, 0, -201), (float("nan"), 0, 0), (50, float("inf"), 0),
        (50, 0), (50, 0, 0, 0), 50, ("light", 0, 0), (25700, 12000, 3), None,
    ],
)  # fmt: skip
def test_what_is_no_lab_is_refused(lab):
    with pytest.raises(ColourError):
        spaces.check_lab(lab)


def test_a_scale_error_says_how_to_mend_it():
    with pytest.raises(InputError, match="Divide values in percent by 100"):
        spaces.xyz_to_lab((41.2, 21.3, 1.9))
    with pytest.raises(InputError, match="Divide values of 0 to 255 by 255"):
        spaces.srgb_to_xyz_d50((200, 85, 61))


def test_negative_chroma_is_refused():
    with pytest.raises(ColourError):
        spaces.lch_to_lab((50, -3, 20))


def test_leading_axes_are_kept_and_arguments_untouched():
    lab = np.random.default_rng(1).uniform((0, -60, -60), (100, 60, 60), (4, 5, 3))
    before = lab.copy()
    for convert in (spaces.lab_to_xyz, spaces.lab_to_lch, lambda each: spaces.on_paper(each, (92, 0, 4))):
        whole = convert(lab)
        assert whole.shape == lab.shape
        assert np.array_equal(whole[2, 3], convert(lab[2, 3]))
    assert np.array_equal(lab, before)


def test_no_colours_are_no_error():
    assert spaces.lab_to_xyz(np.empty((0, 3))).shape == (0, 3)
    assert spaces.relative_to_paper(np.empty((0, 3)), (92, 0, 4)).shape == (0, 3)
