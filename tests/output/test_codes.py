"""Codes: what they say, and that another program reads what was drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.imaging.codes import read_codes
from archive.output.codes import CodeText, code_text, parse_code_text, qr_svg
from archive.output.place_pages import PlacePage, place_cards, place_labels
from tests.output.photos import photographed, rendered
from tests.output.values import DAY, uid


@given(st.sampled_from(["place", "slip"]), st.uuids())
def test_a_code_says_what_was_put_in(what: str, number: object) -> None:
    assert parse_code_text(code_text(what, str(number))) == CodeText(what, str(number))


@pytest.mark.parametrize(
    "text", ["", "https://example.org", "inkchest:place", "inkchest:place:7", f"other:place:{uid(1)}", uid(1)]
)
def test_a_code_that_is_none_of_ours_says_nothing(text: str) -> None:
    assert parse_code_text(text) is None


def test_the_drawing_has_a_quiet_zone_of_four_modules() -> None:
    # ISO/IEC 18004: four modules free on every side
    svg = qr_svg(code_text("place", uid(1))).decode()
    assert 'd="M4 4.5h7' in svg  # the upper left finder begins after four
    assert 'fill="#fff"' in svg


def test_every_label_of_a_sheet_is_read_back() -> None:
    places = [PlacePage(uid(number), f"drawer {number}", "drawer") for number in range(10)]
    page = rendered(place_labels(places, day=DAY).pdf, px_per_mm=6)
    assert {code.text for code in read_codes(page)} == {code_text("place", uid(number)) for number in range(10)}


def test_codes_come_with_their_corners_clockwise_from_their_own_upper_left() -> None:
    page = rendered(place_cards([PlacePage(uid(1), "Box 14", "box")], day=DAY).pdf, px_per_mm=5)
    (code,) = read_codes(page)
    # the card's code: 33 of 41 modules of 104 mm, 8 mm from the left, in the middle of 148 mm
    near, far = 8 + 104 * 4 / 41, 8 + 104 * 37 / 41
    top, bottom = 74 - 52 + 104 * 4 / 41, 74 - 52 + 104 * 37 / 41
    expected = np.array([(near, top), (far, top), (far, bottom), (near, bottom)]) * 5
    assert np.abs(np.array(code.corners_px) - expected).max() < 5  # within a millimetre
    upside_down = np.ascontiguousarray(page[::-1, ::-1])
    (turned,) = read_codes(upside_down)
    assert turned.corners_px[0][0] > turned.corners_px[1][0]


def test_a_card_is_read_on_photos_at_any_turn() -> None:
    page = rendered(place_cards([PlacePage(uid(7), "Box 14", "box")], day=DAY).pdf, px_per_mm=5)
    for seed in range(8):
        photo, _ = photographed(page, np.random.default_rng(seed), size=(1000, 750), share=0.5, tilt=35, curl_mm=4)
        assert [code.text for code in read_codes(photo)] == [code_text("place", uid(7))], seed


def test_grey_and_16_bit_pictures_are_read_too() -> None:
    page = rendered(place_cards([PlacePage(uid(7), "Box 14", "box")], day=DAY).pdf, px_per_mm=3)
    for pixels in (page[:, :, 1], page.astype(np.uint16) * 257):
        assert len(read_codes(pixels)) == 1


def test_a_picture_without_a_code_has_none() -> None:
    noise = np.random.default_rng(5).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    assert read_codes(noise, thorough=True) == []
