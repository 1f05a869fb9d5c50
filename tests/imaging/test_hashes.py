from __future__ import annotations

import imagehash
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFilter

from archive.errors import InputError
from archive.imaging.decode import open_picture, reduce_picture
from archive.imaging.hashes import PictureHash, hamming_distances, hash_picture, hash_words
from tests.imaging import make

PAPER = (241, 236, 222)
WORDS = st.integers(0, 2**64 - 1)


def _hash(picture: Image.Image, file_format: str = "PNG", **options: object) -> PictureHash:
    return hash_picture(reduce_picture(open_picture(make.encoded(picture, file_format, **options))))


def _design(seed: int, ink: tuple[int, int, int] = (40, 60, 140), size: tuple[int, int] = (600, 840)) -> Image.Image:
    """An invented poster: a few large shapes of one ink on off-white paper."""
    rng = np.random.default_rng(seed)
    sheet = Image.new("RGB", size, PAPER)
    draw = ImageDraw.Draw(sheet)
    for _ in range(6):
        x, y = rng.uniform(0.1, 0.8, 2) * size
        draw.ellipse((x, y, x + rng.uniform(60, 260), y + rng.uniform(60, 260)), fill=ink)
    return sheet


def _shaded(sheet: Image.Image, darkest: float = 0.7) -> Image.Image:
    """The sheet under a lamp at one corner, with a little noise."""
    pixels = np.asarray(sheet).astype(float)
    y, x = np.meshgrid(*(np.linspace(0, 1, side) for side in pixels.shape[:2]), indexing="ij")
    noise = np.random.default_rng(2).normal(0, 1.5, pixels.shape)
    shaded = pixels * (1 - (1 - darkest) * (x**2 + y**2) / 2)[..., None] + noise
    return Image.fromarray(np.clip(shaded, 0, 255).astype(np.uint8))


def test_hash_is_that_of_the_library_for_a_grey_picture() -> None:
    # Its own greys are the encoded values, ours the lightness: the signs of the cosine terms hardly differ
    sheet = _design(1)
    library = int(str(imagehash.phash(sheet)), 16)
    assert (library ^ int(_hash(sheet).phash, 16)).bit_count() <= 6


def test_copy_in_another_size_format_and_light_stays_near() -> None:
    first = _hash(_design(1)).phash
    copies = [
        _hash(_design(1).resize((300, 420)), "JPEG", quality=60).phash,
        _hash(_design(1).filter(ImageFilter.GaussianBlur(2)), "WEBP").phash,
        _hash(_shaded(_design(1), 0.8)).phash,
    ]
    # 10 of 64 bits and fewer is taken for the same design: common practice
    assert hamming_distances(first, hash_words(copies)).max() <= 10


def test_turned_copy_has_the_same_hash_as_its_upright_twin() -> None:
    sheet = _design(1)
    turned = sheet.transpose(Image.Transpose.ROTATE_90)
    assert _hash(turned, exif=make.exif(orientation=6)) == _hash(sheet)


def test_other_designs_lie_far_apart() -> None:
    words = hash_words([_hash(_design(seed)).phash for seed in range(8)])
    distances = np.array([hamming_distances(f"{int(word):016x}", words) for word in words])
    assert distances[~np.eye(8, dtype=bool)].min() > 10


def test_colourways_of_one_design_are_candidates_for_each_other() -> None:
    blue, red = _hash(_design(3, (40, 60, 140))), _hash(_design(3, (190, 60, 40)))
    assert hamming_distances(blue.phash, hash_words([red.phash]))[0] <= 10


@pytest.mark.parametrize(
    "sheet",
    [
        pytest.param(Image.new("RGB", (400, 600), PAPER), id="blank"),
        pytest.param(_shaded(Image.new("RGB", (400, 600), PAPER)), id="blank under uneven light"),
        pytest.param(Image.new("RGB", (400, 600), (60, 90, 150)), id="one solid"),
    ],
)
def test_sheet_without_structure_is_plain(sheet: Image.Image) -> None:
    assert _hash(sheet).is_plain


def test_pale_print_is_plain() -> None:
    assert _hash(_design(4, ink=(238, 232, 219))).is_plain


def test_blank_sheet_on_a_dark_table_is_plain() -> None:
    table = Image.new("RGB", (600, 800), (70, 52, 40))
    table.paste(_shaded(Image.new("RGB", (540, 730), PAPER)), (30, 35))
    assert _hash(table).is_plain


@pytest.mark.parametrize("seed", range(6))
def test_printed_sheet_is_not_plain(seed: int) -> None:
    assert not _hash(_shaded(_design(seed))).is_plain


def test_line_drawing_is_not_plain() -> None:
    sheet = Image.new("RGB", (600, 800), PAPER)
    draw = ImageDraw.Draw(sheet)
    for i in range(12):
        draw.line((100 + 20 * i, 150, 480 - 25 * i, 650), fill=(30, 30, 34), width=4)
    assert not _hash(sheet).is_plain


@given(WORDS, st.lists(WORDS, min_size=1, max_size=20))
def test_distance_is_the_number_of_bits_that_differ(wanted: int, words: list[int]) -> None:
    hashes = [f"{word:016x}" for word in words]
    found = hamming_distances(f"{wanted:016x}", hash_words(hashes))
    assert found.tolist() == [(wanted ^ word).bit_count() for word in words]


@pytest.mark.parametrize("text", ["", "12", "g" * 16, "0x" + "0" * 14, "1" * 17, "-" + "1" * 15])
def test_text_that_is_no_hash_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="hash"):
        hash_words([text])


def test_no_hashes_give_no_distances() -> None:
    assert hamming_distances("0" * 16, hash_words([])).shape == (0,)
