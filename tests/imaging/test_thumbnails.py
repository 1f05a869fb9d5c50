from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from archive.colour.spaces import srgb_to_xyz_d50
from archive.imaging.decode import open_picture, reduce_picture
from archive.imaging.icc import matrix_profile, read_profile
from archive.imaging.thumbnails import LONG_SIDES, make_thumbnail, srgb_pixels
from tests.imaging import make

COLOURS = np.array([[200, 60, 50], [60, 140, 80], [70, 80, 160], [240, 236, 224], [40, 40, 44]], np.uint8)


def _stripes(width: int = 40, height: int = 60) -> np.ndarray:
    return np.repeat(np.repeat(COLOURS[None], height, axis=0), width, axis=1)


def _as_wide(pixels: np.ndarray) -> bytes:
    """sRGB colours written by a wide display's profile, found by inverting that profile's matrix and curve."""
    profile = matrix_profile(read_profile(make.wide_profile()))
    assert profile is not None
    linear = np.clip(srgb_to_xyz_d50(pixels / 255) @ np.linalg.inv(profile.matrix), 0, 1)
    levels = np.linspace(0, 1, 4097)
    encoded = np.interp(linear, profile.curves[0](levels), levels)
    return make.encoded(np.round(encoded * 255).astype(np.uint8), "PNG", icc_profile=make.wide_profile())


@pytest.mark.parametrize("file_format", ["JPEG", "WEBP"])
def test_thumbnail_of_a_wide_picture_shows_its_colours_in_srgb(file_format: str) -> None:
    reduced = reduce_picture(open_picture(_as_wide(_stripes())))
    thumbnail = Image.open(io.BytesIO(make_thumbnail(reduced, 320, file_format=file_format)))  # type: ignore[arg-type]
    assert thumbnail.format == file_format
    middles = np.asarray(thumbnail.convert("RGB"))[30, 20::40].astype(int)
    # Both encodings round to 8 bits, and the lossy ones add a few counts (WebP halves the chroma's resolution)
    np.testing.assert_allclose(middles, COLOURS.astype(int), atol=6)


def test_srgb_pixels_come_back_to_the_bytes_they_were() -> None:
    cube = np.stack(np.meshgrid(*[np.arange(0, 256, 15, dtype=np.uint8)] * 3, indexing="ij"), axis=-1)
    pixels = cube.reshape(-1, 1, 3)
    np.testing.assert_array_equal(srgb_pixels(srgb_to_xyz_d50(pixels / 255).astype(np.float32)), pixels)


def test_thumbnail_holds_no_notes_no_place_and_no_profile() -> None:
    notes = make.exif(orientation=6, taken="2019:05:04 17:03:59")
    notes.get_ifd(0x8825)[2] = (54.0, 1.0, 2.0)
    packet = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>secret place</x:xmpmeta>"
    data = make.encoded(make.quadrants(), "JPEG", exif=notes, icc_profile=make.wide_profile(), xmp=packet)
    assert b"secret place" in data
    reduced = reduce_picture(open_picture(data))
    for file_format in ("JPEG", "WEBP"):
        made = make_thumbnail(reduced, 320, file_format=file_format)  # type: ignore[arg-type]
        opened = Image.open(io.BytesIO(made))
        assert len(opened.getexif()) == 0
        assert not {"exif", "xmp", "icc_profile", "comment"} & set(opened.info)
        assert b"secret" not in made
        assert b"2019" not in made


@pytest.mark.parametrize("orientation", range(1, 9))
def test_thumbnail_stands_upright(orientation: int) -> None:
    picture = open_picture(make.encoded(make.quadrants(), "JPEG", exif=make.exif(orientation=orientation)))
    thumbnail = Image.open(io.BytesIO(make_thumbnail(reduce_picture(picture), 1280)))
    np.testing.assert_allclose(np.asarray(thumbnail).astype(int), picture.pixels.astype(int), atol=60)
    assert thumbnail.size == (picture.width, picture.height)


def test_thumbnail_has_the_long_side_asked_and_is_never_enlarged() -> None:
    large = reduce_picture(open_picture(make.encoded(make.quadrants(1500, 700), "PNG")))
    assert [Image.open(io.BytesIO(make_thumbnail(large, side))).size for side in LONG_SIDES] == [
        (320, 149),
        (1280, 597),
    ]
    small = reduce_picture(open_picture(make.encoded(make.quadrants(48, 32), "PNG")))
    assert Image.open(io.BytesIO(make_thumbnail(small, 320))).size == (48, 32)


@pytest.mark.parametrize("file_format", ["JPEG", "WEBP"])
def test_same_picture_gives_the_same_bytes(file_format: str) -> None:
    data = make.encoded(make.quadrants(700, 400), "JPEG")
    made = {
        make_thumbnail(reduce_picture(open_picture(data)), 320, file_format=file_format)  # type: ignore[arg-type]
        for _ in range(3)
    }
    assert len(made) == 1
