from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageCms

from archive.errors import InputError
from archive.imaging.icc import MatrixProfile, matrix_profile, read_profile
from tests.imaging import make

ICC_FOLDER = Path("/usr/share/color/icc")  # Debian's icc-profiles-free
RGB_PATCHES = np.array(
    [
        *([0, 0, 0], [255, 255, 255], [255, 0, 0], [0, 255, 0], [0, 0, 255], [128, 128, 128]),
        *([200, 30, 90], [3, 5, 9], [12, 240, 77], [250, 251, 252], [64, 10, 200]),
    ],
    dtype=np.float64,
)
GREY_PATCHES = np.array([[0], [2], [13], [64], [128], [200], [255]], dtype=np.float64)
SAMPLED = make.curv(*(round(65535 * (i / 31) ** 1.7) for i in range(32)))


def _matrix(data: bytes) -> MatrixProfile:
    found = matrix_profile(read_profile(data))
    assert found is not None
    return found


def _created_srgb() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(make.wide_profile(), id="wide primaries, formula with a straight foot"),
        pytest.param(make.wide_profile(make.para(0, 2.2)), id="formula 0"),
        pytest.param(make.wide_profile(make.para(1, 2.0, 0.9, 0.1)), id="formula 1"),
        pytest.param(make.wide_profile(make.para(2, 2.0, 0.8, 0.1, 0.05)), id="formula 2"),
        pytest.param(make.wide_profile(make.para(4, 2.0, 0.9, 0.05, 0.3, 0.1, 0.02, 0.01)), id="formula 4"),
        pytest.param(make.wide_profile(make.curv()), id="identity"),
        pytest.param(make.wide_profile(make.curv(0x0180)), id="gamma 1.5"),
        pytest.param(make.wide_profile(SAMPLED), id="sampled curve"),
        pytest.param((ICC_FOLDER / "sRGB.icc").read_bytes(), id="sRGB, 1024 samples"),
        pytest.param((ICC_FOLDER / "LStar-RGB.icc").read_bytes(), id="lightness curve"),
        pytest.param((ICC_FOLDER / "CineonLog_M_Knee_20.icc").read_bytes(), id="film curve"),
        pytest.param(_created_srgb(), id="sRGB as LittleCMS makes it"),
    ],
)
def test_matrix_profile_agrees_with_littlecms_in_float(data: bytes, tmp_path: Path) -> None:
    # LittleCMS by Debian's transicc, which prints XYZ in percent with four decimals and takes
    # sampled curves in 16 bits, a step of 1.5e-5.
    (tmp_path / "p.icc").write_bytes(data)
    expected = make.transicc(tmp_path / "p.icc", RGB_PATCHES, to="XYZ") / 100
    np.testing.assert_allclose(_matrix(data).to_xyz(RGB_PATCHES / 255), expected, atol=2e-5)


@pytest.mark.parametrize(
    "data",
    [
        pytest.param((ICC_FOLDER / "Gray.icc").read_bytes(), id="grey by light"),
        pytest.param((ICC_FOLDER / "Gray-CIE_L.icc").read_bytes(), id="grey by lightness"),
        pytest.param(make.grey_profile(make.para(0, 1.8)), id="grey gamma"),
        pytest.param(make.grey_profile(SAMPLED, connection=b"Lab "), id="grey sampled, by lightness"),
    ],
)
def test_grey_profile_agrees_with_littlecms_in_float(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "p.icc").write_bytes(data)
    expected = make.transicc(tmp_path / "p.icc", GREY_PATCHES, to="XYZ") / 100
    np.testing.assert_allclose(_matrix(data).to_xyz(GREY_PATCHES / 255), expected, atol=2e-5)


def test_white_of_a_profile_is_d50_without_further_adaptation() -> None:
    # ICC.1:2010, 7.2.16; colourants are rounded to 1/65536 and printed here to five decimals
    assert _matrix(make.wide_profile()).to_xyz([1.0, 1.0, 1.0]) == pytest.approx(make.D50, abs=1e-4)


def test_table_profile_is_no_matrix_profile() -> None:
    corners = np.tile([50.0, 0.0, 0.0], (8, 1))
    assert matrix_profile(read_profile(make.table_profile(corners, space=b"RGB "))) is None


def test_profile_with_both_tables_and_matrix_is_read_by_its_tables() -> None:
    tags = {f"{c}XYZ": make.xyz_tag(make.D50) for c in "rgb"} | {f"{c}TRC": make.curv() for c in "rgb"}
    assert matrix_profile(read_profile(make.profile({**tags, "A2B1": b"mft1" + bytes(60)}))) is None


def test_profile_of_other_channels_is_no_matrix_profile() -> None:
    assert matrix_profile(read_profile((ICC_FOLDER / "LCMSLABI.ICM").read_bytes())) is None


def test_bytes_after_the_declared_length_are_ignored() -> None:
    data = make.wide_profile()
    assert _matrix(data + b"padding").matrix == pytest.approx(_matrix(data).matrix)


def test_profile_cut_anywhere_is_refused() -> None:
    data = make.wide_profile()
    for length in range(len(data)):
        with pytest.raises(InputError):
            matrix_profile(read_profile(data[:length]))


@pytest.mark.parametrize("missing", ["rXYZ", "gTRC"])
def test_missing_part_is_named(missing: str) -> None:
    tags = {f"{c}XYZ": make.xyz_tag(make.D50) for c in "rgb"} | {f"{c}TRC": make.curv() for c in "rgb"}
    del tags[missing]
    with pytest.raises(InputError, match=missing):
        matrix_profile(read_profile(make.profile(tags), where="scan.tif"))


@pytest.mark.parametrize(
    "curve",
    [
        pytest.param(make.para(0, -1.0), id="negative exponent"),
        pytest.param(make.para(3, 2.4, 1.0), id="formula cut short"),
        pytest.param(b"para" + bytes(4) + b"\0\x09\0\0" + bytes(40), id="unknown formula"),
        pytest.param(b"curv" + bytes(4) + b"\xff\xff\xff\xff", id="more samples than bytes"),
        pytest.param(make.curv(7, 7, 7), id="constant"),
        pytest.param(make.para(1, 30.0, 30.0, 0.0), id="running off to infinity"),
        pytest.param(b"text" + bytes(20), id="no curve at all"),
    ],
)
def test_broken_curve_is_refused_and_named(curve: bytes) -> None:
    with pytest.raises(InputError, match="rTRC"):
        matrix_profile(read_profile(make.wide_profile(curve)))


def test_colourants_that_make_no_white_are_refused() -> None:
    tags = {f"{c}XYZ": make.xyz_tag((0.1, 0.1, 0.1)) for c in "rgb"} | {f"{c}TRC": make.curv() for c in "rgb"}
    with pytest.raises(InputError, match="white"):
        matrix_profile(read_profile(make.profile(tags)))


@given(st.binary(max_size=400))
def test_random_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(InputError):
        read_profile(data)


@settings(max_examples=300)
@given(st.lists(st.tuples(st.integers(0, 591), st.integers(0, 255)), min_size=1, max_size=12))
def test_profile_with_changed_bytes_is_read_in_finite_numbers_or_refused(changes: list[tuple[int, int]]) -> None:
    data = bytearray(make.wide_profile())
    for place, byte in changes:
        data[place % len(data)] = byte
    try:
        found = matrix_profile(read_profile(bytes(data)))
    except InputError:
        return
    if found is not None:
        greys = np.repeat(np.linspace(0, 1, 64)[:, None], len(found.curves), axis=1)
        assert np.isfinite(found.to_xyz(greys)).all()


def test_profile_read_by_pillow_and_by_us_is_the_same_file() -> None:
    data = make.wide_profile()
    assert ImageCms.ImageCmsProfile(io.BytesIO(data)).profile.xcolor_space.strip() == "RGB"
    assert read_profile(data).colour_space == "RGB"
