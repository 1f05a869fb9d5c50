"""Linear pictures against light that was put into the files."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from archive.colour.spaces import srgb_to_xyz_d50
from archive.errors import NotFoundError
from archive.imaging.decode import open_picture, read_lab
from archive.imaging.linear import clipped_share, read_linear
from tests.imaging import make


def png(pixels: np.ndarray) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG")
    return stream.getvalue()


RNG = np.random.default_rng(2)
NOISE = RNG.integers(0, 256, (40, 60, 3)).astype(np.uint8)


def test_light_is_linear_and_leads_to_the_colour_the_file_means() -> None:
    picture = read_linear(png(NOISE))
    assert picture.space == "rgb"
    assert picture.xyz() == pytest.approx(srgb_to_xyz_d50(NOISE / 255), abs=2e-4)


def test_a_smaller_copy_averages_light_and_not_codes() -> None:
    # Half black, half white gives half the light, which is code 188 of 255 and not 128.
    board = np.indices((64, 64)).sum(0) % 2 * 255
    picture = read_linear(png(np.repeat(board[..., None], 3, 2).astype(np.uint8)), 16)
    assert picture.light == pytest.approx(np.full((16, 16, 3), 0.5), abs=1e-3)
    assert picture.scale == pytest.approx([4, 4])
    assert picture.clipped == pytest.approx(np.full((16, 16), 0.5))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_stands_upright_for_every_orientation(orientation: int) -> None:
    data = make.encoded(make.quadrants(), "JPEG", exif=make.exif(orientation=orientation))
    picture = read_linear(data)
    upright = open_picture(data)
    assert picture.light.shape[:2] == (upright.height, upright.width)
    assert picture.xyz()[3, 3] == pytest.approx(read_linear(png(upright.pixels)).xyz()[3, 3], abs=1e-3)


def test_a_wide_profile_is_followed() -> None:
    data = make.encoded(make.quadrants(), "PNG", icc_profile=make.wide_profile())
    picture = read_linear(data)
    from archive.colour.spaces import xyz_to_lab

    assert xyz_to_lab(picture.xyz()[3, 3]) == pytest.approx(read_lab(open_picture(data))[3, 3], abs=0.05)


def test_grey_is_three_equal_channels_with_the_same_colour() -> None:
    picture = read_linear(png(NOISE[..., 0]))
    assert picture.light.shape == (40, 60, 3)
    assert (picture.light[..., 0] == picture.light[..., 2]).all()
    grey = np.repeat(NOISE[..., :1], 3, 2) / 255
    assert picture.xyz() == pytest.approx(srgb_to_xyz_d50(grey), abs=3e-4)


def test_sixteen_bits_are_kept() -> None:
    ramp = np.linspace(0, 65535, 60).astype(np.uint16)
    picture = read_linear(make.tiff_16(np.repeat(np.tile(ramp, (8, 1))[..., None], 3, 2)))
    assert len(np.unique(picture.light[0, :, 0])) == 60


def test_what_clips_is_marked_from_the_codes_of_any_channel() -> None:
    rows = np.full((2, 3, 3), 100, np.uint8)
    rows[0, 1, 2], rows[1, 2, 0] = 255, 249
    assert clipped_share(rows).tolist() == [[0, 1, 0], [0, 0, 0]]
    assert clipped_share(rows[..., 2]).tolist() == [[0, 1, 0], [0, 0, 0]]


def test_points_go_to_the_original_and_back() -> None:
    picture = read_linear(png(NOISE), 30)
    points = np.array([[0.0, 0], [30, 20], [7.5, 3.25]])
    assert picture.to_original(points) == pytest.approx(points * 2)
    assert picture.from_original(picture.to_original(points)) == pytest.approx(points)


def test_a_missing_file_is_told() -> None:
    with pytest.raises(NotFoundError):
        read_linear("nowhere.jpg")
