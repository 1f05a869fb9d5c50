from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import srgb_to_xyz_d50, xyz_to_lab
from archive.errors import InputError, NotFoundError
from archive.imaging.decode import open_picture, read_lab, reduce_picture
from archive.imaging.icc import matrix_profile, read_profile
from tests.imaging import make

FORMATS = ["JPEG", "PNG", "WEBP", "TIFF"]
# sRGB red, green, blue and white under D50 through LittleCMS's own sRGB (`transicc -i *sRGB -o *Lab -t 1`)
QUADRANT_LAB = {"red": (54.29, 80.81, 69.89), "green": (87.82, -79.29, 80.99), "blue": (29.57, 68.30, -112.03)}


def _tiff_16_quadrants() -> bytes:
    return make.tiff_16(make.quadrants().astype(np.uint16) * 257)


# Upright exactly once


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("file_format", FORMATS)
def test_picture_stands_upright_for_every_orientation(file_format: str, orientation: int) -> None:
    data = make.encoded(make.quadrants(), file_format, exif=make.exif(orientation=orientation))
    with Image.open(io.BytesIO(data)) as opened:
        expected = np.asarray(ImageOps.exif_transpose(opened).convert("RGB"))
    picture = open_picture(data)
    assert (picture.height, picture.width) == expected.shape[:2]
    np.testing.assert_array_equal(picture.pixels, expected)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("file_format", ["JPEG", "TIFF"])
def test_reduced_picture_and_lab_stand_as_the_pixels_do(file_format: str, orientation: int) -> None:
    picture = open_picture(make.encoded(make.quadrants(), file_format, exif=make.exif(orientation=orientation)))
    every = read_lab(picture)
    assert every.shape == (*picture.pixels.shape[:2], 3)
    assert read_lab(picture, 24).shape == ((24, 16, 3) if picture.height > picture.width else (16, 24, 3))
    # Quadrant corners keep their colours; JPEG at quality 100 misses by less than 1
    small = read_lab(picture, 24)
    for y, x in ((1, 1), (1, -2), (-2, 1), (-2, -2)):
        assert delta_e_2000(small[y, x], every[2 * y, 2 * x]) < 1.5


@pytest.mark.parametrize("orientation", range(1, 9))
def test_sixteen_bit_tiff_stands_as_its_eight_bit_twin(orientation: int) -> None:
    deep = open_picture(make.with_tiff_tag(_tiff_16_quadrants(), make.ORIENTATION, orientation))
    notes = make.exif(orientation=orientation)
    plain = open_picture(make.encoded(make.quadrants(), "TIFF", exif=notes))
    assert (deep.width, deep.height, deep.bits) == (plain.width, plain.height, 16)
    np.testing.assert_array_equal(deep.pixels, plain.pixels.astype(np.uint16) * 257)


def test_large_jpeg_decoded_at_half_size_stands_upright() -> None:
    data = make.encoded(make.quadrants(1201, 801), "JPEG", exif=make.exif(orientation=6, exposed=True))
    picture = open_picture(data)
    assert picture.is_photo
    small = read_lab(picture, 200)
    assert small.shape == (200, 133, 3)
    # Orientation 6 is undone by a quarter turn to the right: blue comes to the upper left (Exif 2.32, Orientation)
    assert delta_e_2000(small[20, 20], QUADRANT_LAB["blue"]) < 1.0
    assert delta_e_2000(small[20, -20], QUADRANT_LAB["red"]) < 1.0
    assert delta_e_2000(small[-20, -20], QUADRANT_LAB["green"]) < 1.0


def test_heic_turned_by_its_own_property_is_turned_once(tmp_path: Path) -> None:
    # ISO/IEC 23008-12: irot 3 turns three quarters anticlockwise, so blue comes to the upper left
    picture = open_picture(make.heic(tmp_path, make.quadrants(96, 64), quarter_turns=3))
    assert (picture.media_type, picture.width, picture.height) == ("image/heic", 64, 96)
    pixels = picture.pixels.astype(int)
    assert pixels.shape == (96, 64, 3)
    np.testing.assert_allclose(pixels[10, 10], (0, 0, 255), atol=12)
    np.testing.assert_allclose(pixels[10, -10], (255, 0, 0), atol=12)


def test_heic_of_a_wide_display_is_read_by_its_profile(tmp_path: Path) -> None:
    flat = np.full((64, 64, 3), (220, 60, 40), np.uint8)
    picture = open_picture(make.heic(tmp_path, flat, icc=make.wide_profile()))
    assert picture.profile_path == "embedded matrix profile, float"
    (tmp_path / "wide.icc").write_bytes(make.wide_profile())
    expected = make.transicc(tmp_path / "wide.icc", np.array([[220.0, 60.0, 40.0]]), to="Lab")[0]
    # The encoder's own loss is within two counts a channel, about 1 dE
    assert delta_e_2000(read_lab(picture, 16)[8, 8], expected) < 1.5


# The kind of file is judged by what it holds


def test_type_is_told_from_the_content_and_not_from_the_name(tmp_path: Path) -> None:
    path = tmp_path / "photo.png"
    path.write_bytes(make.encoded(make.quadrants(), "JPEG"))
    picture = open_picture(path)
    assert (picture.media_type, picture.name) == ("image/jpeg", "photo.png")


@pytest.mark.parametrize(
    ("content", "found"),
    [
        pytest.param(b"Nine Tides, two inks\n", "text", id="text"),
        pytest.param(("é" * 300).encode(), "text", id="text cut inside a letter by the sample"),
        pytest.param(b"", "empty", id="empty"),
        pytest.param(b"%PDF-1.7\n", "PDF", id="document"),
        pytest.param(b"GIF89a" + bytes(20), "GIF", id="gif"),
        pytest.param(bytes(range(256)), "unknown", id="bytes"),
        pytest.param(b"\0\0\0\x18ftypmp42" + bytes(80), "film", id="film"),
    ],
)
def test_file_that_is_no_picture_is_refused_by_what_it_holds(content: bytes, found: str, tmp_path: Path) -> None:
    path = tmp_path / "box3_0042.jpg"
    path.write_bytes(content)
    with pytest.raises(InputError, match=found) as refused:
        open_picture(path)
    assert refused.value.where == "box3_0042.jpg"
    assert refused.value.mend


@pytest.mark.parametrize("file_format", FORMATS)
def test_picture_cut_short_is_refused_at_the_latest_when_its_pixels_are_read(file_format: str) -> None:
    noise = np.random.default_rng(1).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    data = make.encoded(noise, file_format)
    for length in (12, 60, len(data) // 3, len(data) - len(data) // 4):
        with pytest.raises(InputError, match=r"cut\.img"):
            read_lab(open_picture(data[:length], name="cut.img"))


def test_sixteen_bit_tiff_cut_short_is_refused() -> None:
    data = make.encoded(Image.fromarray(np.arange(6000, dtype=np.uint16).reshape(60, 100)), "TIFF")
    with pytest.raises(InputError):
        read_lab(open_picture(data[: len(data) // 2]))


def test_heic_cut_short_is_refused(tmp_path: Path) -> None:
    data = make.heic(tmp_path, make.quadrants(96, 64))
    for length in (30, 200, len(data) - 60):
        with pytest.raises(InputError):
            read_lab(open_picture(data[:length]))


def test_file_that_is_not_there_is_not_found(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError):
        open_picture(tmp_path / "gone.jpg")


def _png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    start = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    return start + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))


def test_picture_over_the_limit_is_refused_before_it_is_decoded() -> None:
    with pytest.raises(InputError, match="400"):
        open_picture(_png_header(20_000, 20_000))
    with pytest.raises(InputError, match="megapixels"):
        open_picture(make.encoded(make.quadrants(200, 100), "JPEG"), max_megapixels=0.01)


def test_large_scan_within_the_limit_is_opened_though_pillow_alone_refuses_it() -> None:
    # An A1 sheet at 600 dpi: 594 x 841 mm
    picture = open_picture(_png_header(14_031, 19_866))
    assert (picture.width, picture.height) == (14_031, 19_866)
    with pytest.raises(Image.DecompressionBombError):
        Image.open(io.BytesIO(_png_header(14_031, 19_866)))


def test_raw_file_with_a_preview_first_is_refused() -> None:
    preview = make.with_tiff_tag(_tiff_16_quadrants(), 254, 1)
    with pytest.raises(InputError, match="raw"):
        open_picture(preview)


def test_pixels_in_floating_point_are_refused() -> None:
    data = make.encoded(Image.fromarray(np.zeros((8, 8), np.float32)), "TIFF")
    with pytest.raises(InputError, match="kind"):
        open_picture(data)


_SEEDS = [make.encoded(make.quadrants(24, 16), file_format) for file_format in FORMATS] + [_tiff_16_quadrants()]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(_SEEDS), st.lists(st.tuples(st.integers(0), st.integers(0, 255)), min_size=1, max_size=6))
def test_file_with_changed_bytes_is_read_or_refused_and_nothing_else(
    seed: bytes, changes: list[tuple[int, int]]
) -> None:
    data = bytearray(seed)
    for place, byte in changes:
        data[place % len(data)] = byte
    try:
        lab = read_lab(open_picture(bytes(data), max_megapixels=1), 16)
    except InputError:
        return
    assert np.isfinite(lab).all()


# Colours


@pytest.mark.parametrize("file_format", FORMATS)
def test_bare_picture_is_read_as_srgb_adapted_to_d50(file_format: str) -> None:
    picture = open_picture(make.encoded(make.quadrants(), file_format))
    lab = read_lab(picture)
    assert picture.profile_path == "sRGB assumed, Bradford"
    tolerance = 0.5 if file_format == "JPEG" else 0.02
    for (y, x), name in (((3, 3), "red"), ((3, -3), "green"), ((-3, 3), "blue")):
        assert delta_e_2000(lab[y, x], QUADRANT_LAB[name]) < tolerance
    np.testing.assert_allclose(lab[-3, -3], (100, 0, 0), atol=0.01)


@pytest.mark.parametrize("file_format", ["PNG", "WEBP", "TIFF"])
def test_embedded_matrix_profile_is_read_as_littlecms_reads_it(file_format: str, tmp_path: Path) -> None:
    colours = np.array([[220, 60, 40], [10, 200, 90], [30, 40, 180], [250, 248, 240], [90, 90, 90]], np.uint8)
    pixels = np.repeat(np.repeat(colours[None], 4, axis=0), 4, axis=1)
    picture = open_picture(make.encoded(pixels, file_format, icc_profile=make.wide_profile()))
    (tmp_path / "wide.icc").write_bytes(make.wide_profile())
    expected = make.transicc(tmp_path / "wide.icc", colours.astype(float), to="Lab")
    assert picture.profile_path == "embedded matrix profile, float"
    assert delta_e_2000(read_lab(picture)[1, 1::4], expected).max() < 0.01


def test_sixteen_bit_tiff_keeps_its_levels_and_its_profile() -> None:
    ramp = np.repeat(np.arange(30_000, 30_256, dtype=np.uint16)[None, :, None], 3, axis=2)
    picture = open_picture(make.tiff_16(np.repeat(ramp, 4, axis=0), make.wide_profile()))
    assert picture.bits == 16
    assert len(np.unique(picture.pixels)) == 256
    profile = matrix_profile(read_profile(make.wide_profile()))
    assert profile is not None
    expected = xyz_to_lab(profile.to_xyz(ramp[0] / 65535))
    np.testing.assert_allclose(read_lab(picture)[2], expected, atol=1e-3)


def test_sixteen_bit_png_keeps_its_levels() -> None:
    ramp = np.arange(1_000, 1_256, dtype=np.uint16)[None].repeat(3, axis=0)
    picture = open_picture(make.encoded(Image.fromarray(ramp), "PNG"))
    assert (picture.kind, picture.bits) == ("grey", 16)
    np.testing.assert_array_equal(picture.pixels, ramp)


def test_sixteen_bit_grey_that_counts_from_white_is_turned_round() -> None:
    ramp = np.arange(0, 65_280, 255, dtype=np.uint16)[None].repeat(3, axis=0)
    picture = open_picture(make.with_tiff_tag(make.tiff_16(ramp), 262, 0))
    np.testing.assert_array_equal(picture.pixels, 65_535 - ramp)


def _cmyk_corners() -> np.ndarray:
    inks = np.stack(np.meshgrid(*[[0, 1]] * 4, indexing="ij"), axis=-1).reshape(16, 4)
    lightness = 95 - 15 * inks[:, 0] - 20 * inks[:, 1] - 5 * inks[:, 2] - 50 * inks[:, 3]
    a, b = -30 * inks[:, 0] + 55 * inks[:, 1], -40 * inks[:, 0] + 70 * inks[:, 2]
    return np.stack([lightness, a * (1 - 0.9 * inks[:, 3]), b * (1 - 0.9 * inks[:, 3])], axis=-1)


@pytest.mark.parametrize("file_format", ["TIFF", "JPEG"])
def test_cmyk_with_a_table_profile_is_read_through_littlecms(file_format: str, tmp_path: Path) -> None:
    amounts = np.array([[0, 0, 0, 0], [255, 0, 0, 0], [0, 255, 255, 0], [128, 64, 0, 32], [0, 0, 0, 255]], np.uint8)
    profile = make.table_profile(_cmyk_corners(), space=b"CMYK")
    pixels = np.repeat(np.repeat(amounts[None], 16, axis=0), 16, axis=1)
    source = Image.frombytes("CMYK", (80, 16), pixels.tobytes())
    picture = open_picture(make.encoded(source, file_format, icc_profile=profile))
    (tmp_path / "press.icc").write_bytes(profile)
    expected = make.transicc(tmp_path / "press.icc", amounts / 255 * 100, to="Lab")
    assert picture.profile_path == "table profile through LittleCMS, 8 bit"
    # An 8-bit Lab is off by half a step an axis: 0.2 in L*, 0.5 in a* and b*; JPEG adds a count or two
    assert delta_e_2000(read_lab(picture)[8, 8::16], expected).max() < (1.0 if file_format == "TIFF" else 1.6)


@pytest.mark.parametrize("kind", ["RGB", "L"])
def test_scan_with_a_table_profile_is_read_through_littlecms(kind: str, tmp_path: Path) -> None:
    cube = np.stack(np.meshgrid(*[[0, 1]] * 3, indexing="ij"), axis=-1).reshape(8, 3)
    corners = np.stack([cube @ (30, 50, 15), 60 * (cube[:, 0] - cube[:, 1]), 60 * (cube[:, 1] - cube[:, 2])], -1)
    profile = make.table_profile(corners, space=b"RGB ")
    colours = np.array([[200, 40, 90], [10, 250, 130], [128, 128, 128]], np.uint8)
    if kind == "L":
        colours = np.array([[40] * 3, [128] * 3, [250] * 3], np.uint8)
    source = Image.fromarray(np.repeat(colours[None], 4, axis=0)).convert(kind)
    picture = open_picture(make.encoded(source, "PNG", icc_profile=profile))
    (tmp_path / "scanner.icc").write_bytes(profile)
    expected = make.transicc(tmp_path / "scanner.icc", colours.astype(float), to="Lab")
    assert delta_e_2000(read_lab(picture)[1], expected).max() < 1.0


def test_cmyk_without_a_profile_is_a_guess_and_says_so() -> None:
    picture = open_picture(make.encoded(Image.new("CMYK", (8, 8), (0, 0, 0, 0)), "TIFF"))
    assert [notice.code for notice in picture.notices] == ["cmyk_without_profile"]
    assert "CMYK without a profile" in picture.profile_path
    np.testing.assert_allclose(read_lab(picture)[4, 4], (100, 0, 0), atol=0.01)


@pytest.mark.parametrize(
    "broken",
    [
        pytest.param(b"no profile at all" * 20, id="rubbish"),
        pytest.param(make.wide_profile()[:300], id="cut short"),
        pytest.param(make.grey_profile(make.curv()), id="for grey pixels"),
        pytest.param(make.table_profile(np.zeros((8, 3)), space=b"RGB ")[:-300], id="table cut short"),
        pytest.param(make.profile({"A2B0": b"mft1" + bytes(44)}), id="empty table"),
    ],
)
def test_broken_profile_gives_a_notice_and_srgb(broken: bytes) -> None:
    picture = open_picture(make.encoded(make.quadrants(), "PNG", icc_profile=broken), name="x.png")
    assert [(notice.code, notice.where) for notice in picture.notices] == [("profile_broken", "x.png")]
    assert picture.profile_path.startswith("sRGB assumed, Bradford")
    bare = open_picture(make.encoded(make.quadrants(), "PNG"))
    np.testing.assert_array_equal(read_lab(picture), read_lab(bare))


def test_grey_picture_is_read_by_a_grey_profile(tmp_path: Path) -> None:
    greys = np.array([[0, 60, 128, 255]], np.uint8)
    profile = make.grey_profile(make.para(0, 1.8))
    picture = open_picture(make.encoded(greys, "PNG", icc_profile=profile))
    (tmp_path / "grey.icc").write_bytes(profile)
    assert picture.profile_path == "embedded grey profile, float"
    expected = make.transicc(tmp_path / "grey.icc", greys.T.astype(float), to="Lab")
    np.testing.assert_allclose(read_lab(picture)[0], expected, atol=2e-3)


def test_grey_picture_with_a_colour_profile_is_read_as_equal_channels() -> None:
    greys = np.array([[0, 60, 128, 255]], np.uint8)
    grey = open_picture(make.encoded(greys, "PNG", icc_profile=make.wide_profile()))
    colour = open_picture(make.encoded(np.stack([greys] * 3, -1), "PNG", icc_profile=make.wide_profile()))
    assert grey.notices == ()
    np.testing.assert_allclose(read_lab(grey), read_lab(colour), atol=1e-3)


def test_camera_that_used_wide_colours_without_a_profile_is_told() -> None:
    notes = make.exif()
    notes.get_ifd(0x8769)[0xA001] = 0xFFFF
    notes.get_ifd(0x8769)[0xA005] = {1: "R03"}
    picture = open_picture(make.encoded(make.quadrants(), "JPEG", exif=notes))
    assert [notice.code for notice in picture.notices] == ["wide_without_profile"]


# Transparency, size, halftones, dates


@pytest.mark.parametrize("mode", ["RGBA", "LA", "PA"])
def test_transparent_parts_are_laid_on_white(mode: str) -> None:
    source = Image.new("RGBA", (4, 1), (0, 0, 0, 255))
    source.putalpha(Image.frombytes("L", (4, 1), bytes([0, 51, 255, 255])))
    data = make.encoded(source.convert(mode), "TIFF" if mode == "PA" else "PNG")
    pixels = np.asarray(open_picture(data).pixels).reshape(4, -1)[:, 0]
    np.testing.assert_array_equal(pixels, [255, 204, 0, 0])


def test_transparent_palette_colour_is_laid_on_white() -> None:
    source = Image.fromarray(np.array([[0, 1]], np.uint8), "L").convert("P")
    source.putpalette([200, 0, 0, 0, 0, 200])
    picture = open_picture(make.encoded(source, "PNG", transparency=0))
    np.testing.assert_array_equal(picture.pixels[0], [(255, 255, 255), (0, 0, 200)])


def test_one_bit_picture_is_read_as_grey() -> None:
    source = Image.fromarray(np.array([[0, 255], [255, 0]], np.uint8)).convert("1")
    picture = open_picture(make.encoded(source, "TIFF"))
    np.testing.assert_array_equal(picture.pixels, [[0, 255], [255, 0]])


@pytest.mark.parametrize("bits", [8, 16])
def test_reduced_halftone_reads_as_the_mean_of_its_light(bits: int) -> None:
    checks = (np.indices((90, 120)).sum(axis=0) // 3 % 2 * 255).astype(np.uint8)
    colour = np.stack([checks] * 3, axis=-1)
    data = make.encoded(colour, "PNG") if bits == 8 else make.tiff_16(colour.astype(np.uint16) * 257)
    # Half the area black, half white: Y = 0.5, L* = 116 * 0.5^(1/3) - 16 = 76.07 (ISO/CIE 11664-4)
    lab = read_lab(open_picture(data), 20)
    np.testing.assert_allclose(lab, np.broadcast_to((76.07, 0, 0), lab.shape), atol=0.02)


def test_scanned_jpeg_of_hard_dots_reads_as_the_mean_of_its_light() -> None:
    dots = np.where(np.indices((800, 800)).sum(axis=0) // 2 % 2, 230, 40).astype(np.uint8)
    picture = open_picture(make.encoded(np.stack([dots] * 3, axis=-1), "JPEG"))
    # The two greys' mean light; quality 100 leaves a count or two
    light = np.mean([srgb_to_xyz_d50([level / 255] * 3) for level in (40, 230)], axis=0)
    assert delta_e_2000(read_lab(picture, 100), xyz_to_lab(light)).max() < 0.5


def test_odd_sizes_are_reduced_without_a_dark_or_empty_edge() -> None:
    grey = np.full((203, 307, 3), 119, np.uint8)
    for size in (300, 100, 41, 7, 1):
        lab = read_lab(open_picture(make.encoded(grey, "PNG")), size)
        assert max(lab.shape[:2]) == size
        assert np.ptp(lab, axis=(0, 1)).max() < 1e-3


def test_long_side_never_enlarges_and_an_exact_size_is_kept() -> None:
    picture = open_picture(make.encoded(make.quadrants(48, 32), "PNG"))
    assert reduce_picture(picture, 1280).xyz.shape == (32, 48, 3)
    assert read_lab(picture, (20, 30)).shape == (30, 20, 3)
    assert read_lab(picture, (96, 64)).shape == (64, 96, 3)


def test_exact_size_of_another_shape_keeps_what_each_side_can_show() -> None:
    stripes = np.repeat((np.arange(40) % 2 * 255).astype(np.uint8)[:, None], 400, axis=1)
    for orientation, size in ((1, (20, 40)), (6, (40, 20))):
        data = make.encoded(stripes, "PNG", exif=make.exif(orientation=orientation))
        lightness = read_lab(open_picture(data), size)[..., 0]
        assert lightness.min() < 1
        assert lightness.max() > 99


def test_all_rows_are_read_when_a_picture_takes_several_strips() -> None:
    rows = np.repeat(np.arange(200, dtype=np.uint8)[:, None], 12_000, axis=1)
    picture = open_picture(make.encoded(rows, "PNG"))
    np.testing.assert_array_equal(picture.pixels[:, 0], np.arange(200))
    lightness = read_lab(picture)[..., 0]
    assert lightness.shape == (200, 12_000)
    assert (np.diff(lightness[:, 7]) > 0).all()


@pytest.mark.parametrize("file_format", FORMATS)
def test_date_of_the_shot_is_told_in_iso_form(file_format: str) -> None:
    notes = make.exif(taken="2019:05:04 17:03:59").tobytes()
    picture = open_picture(make.encoded(make.quadrants(), file_format, exif=notes))
    assert picture.taken_at == "2019-05-04T17:03:59"


def test_date_with_its_offset_keeps_it() -> None:
    notes = make.exif(taken="2019:05:04 17:03:59")
    notes.get_ifd(0x8769)[0x9011] = "+02:00"
    picture = open_picture(make.encoded(make.quadrants(), "JPEG", exif=notes))
    assert picture.taken_at == "2019-05-04T17:03:59+02:00"


def test_notes_after_the_pixels_of_a_png_are_read() -> None:
    data = make.encoded(make.quadrants(), "PNG", exif=make.exif(orientation=6, taken="2019:05:04 17:03:59"))
    at = data.index(b"eXIf") - 4
    end = at + 12 + int.from_bytes(data[at : at + 4], "big")
    moved = data[:at] + data[end:-12] + data[at:end] + data[-12:]
    assert moved.index(b"IDAT") < moved.index(b"eXIf")
    picture = open_picture(moved)
    assert (picture.width, picture.height, picture.taken_at) == (32, 48, "2019-05-04T17:03:59")


@pytest.mark.parametrize("taken", ["1904:01:01 00:00:00", "0000:00:00 00:00:00", "1980:01:01 00:00:00", "soon", ""])
def test_date_of_a_clock_never_set_is_no_date(taken: str) -> None:
    notes = make.exif(taken=taken)
    assert open_picture(make.encoded(make.quadrants(), "JPEG", exif=notes)).taken_at is None
