"""Job slips: where everything lies, and what a photographed one says, on rendered photos with a pen's marks."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.errors import InputError
from archive.imaging.codes import read_codes
from archive.imaging.job_slip import SlipReading, looks_like_slip, read_slip
from archive.output.job_slip import SlipChoices, job_slips, slip_layout
from tests.output.photos import PENS, PX_PER_MM, Picture, draw, photographed, rendered, tick
from tests.output.values import DAY, sizes_mm, texts, uid

INKS = ("Kilnsong", "Ferrywake", "Dockrope", "Nettlecoat", "Sootwell", "Gullbone", "Oddlight", "Tinhymn")
CHOICES = SlipChoices(INKS, ("Oatleaf 120", "Chalkroad 90"), ("Upstairs", "Backroom"), ("Wren Tallow", "Pip Saltmarsh"))
LAYOUT = slip_layout(uid(1), CHOICES)


@pytest.fixture(scope="module")
def blank() -> Picture:
    """Return a printed slip with nothing ticked."""
    return rendered(job_slips([LAYOUT], day=DAY, workshop="Quay Attic Printroom").pdf)


def groups() -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for box in LAYOUT["boxes"]:
        found[box["group"]].append(box)
    return found


def box(group: str, value: str) -> dict[str, Any]:
    return next(each for each in groups()[group] if each["value"] == value)


def stroke(page: Picture, group: str, value: str, *points: tuple[float, float], pen: str = "black") -> None:
    """Draw a stroke of half a millimetre across a box, in fractions of it."""
    where = box(group, value)
    draw(page, [((where["x"] + where["size"] * u) * PX_PER_MM, (where["y"] + where["size"] * v) * PX_PER_MM)
                for u, v in points], pen, 0.5)  # fmt: skip


def seen(page: Picture, seed: int = 0, **how: Any) -> SlipReading:
    photo, _ = photographed(page, np.random.default_rng(seed), **how)
    return read_slip(photo, LAYOUT)


# --- the layout -------------------------------------------------------------------------------------------


def test_every_ink_has_a_box_for_each_drum_of_each_pass() -> None:
    for group in ("ink 1.1", "ink 1.2", "ink 2.1", "ink 2.2"):
        assert [each["value"] for each in groups()[group]] == list(INKS)
    three = slip_layout(uid(1), SlipChoices(INKS[:2], drums=1, passes=3))
    assert {each["group"] for each in three["boxes"] if each["group"].startswith("ink")} == {
        "ink 1.1", "ink 2.1", "ink 3.1"
    }  # fmt: skip


def test_boxes_lie_apart_on_the_page_and_clear_of_marks_and_code() -> None:
    taken = [(each["x"], each["y"], each["size"]) for each in (*LAYOUT["boxes"], *LAYOUT["marks"], LAYOUT["qr"])]
    for number, (x, y, size) in enumerate(taken):
        assert x >= 5
        assert y >= 5
        assert x + size <= LAYOUT["width"] - 5
        assert y + size <= LAYOUT["height"] - 5
        for other_x, other_y, other in taken[number + 1 :]:
            is_apart = max(x, other_x) >= min(x + size, other_x + other) or max(y, other_y) >= min(
                y + size, other_y + other
            )
            assert is_apart


def test_a_small_house_has_an_a5_slip_and_a_large_one_a4() -> None:
    large = slip_layout(uid(2), SlipChoices([f"Ink {number}" for number in range(18)]))
    assert (LAYOUT["width"], LAYOUT["height"]) == (148, 210)
    assert (large["width"], large["height"]) == (210, 297)
    assert sizes_mm(job_slips([LAYOUT], day=DAY).pdf) == [(148, 210)]
    assert sizes_mm(job_slips([large], day=DAY).pdf) == [(210, 297)]


def test_more_than_a_page_holds_is_refused_in_words() -> None:
    with pytest.raises(InputError, match=r"60 inks, .* do not fit on one slip"):
        slip_layout(uid(1), SlipChoices([f"Ink {number}" for number in range(60)]))
    with pytest.raises(InputError, match="no ink to tick"):
        slip_layout(uid(1), SlipChoices([]))


def test_the_printed_slip_names_everything() -> None:
    (text,) = texts(job_slips([LAYOUT], day=DAY, workshop="Quay Attic Printroom").pdf)
    for words in ("Job slip", "Quay Attic Printroom", *INKS, "Oatleaf 120", "Upstairs", "Wren Tallow", "Density"):
        assert words in text


def test_each_slip_of_a_stack_has_a_code_of_its_own() -> None:
    layouts = [slip_layout(uid(number), CHOICES) for number in range(3)]
    pages = job_slips(layouts, day=DAY)
    assert pages.count == 3
    said = [[code.text for code in read_codes(rendered(pages.pdf, page, px_per_mm=6))] for page in range(3)]
    assert said == [[each["code"]] for each in layouts]


def test_boxes_are_printed_where_the_layout_says(blank: Picture) -> None:
    for each in LAYOUT["boxes"]:
        x, y, size = (round(each[name] * PX_PER_MM) for name in ("x", "y", "size"))
        assert blank[y + 1, x : x + size, 0].max() < 128  # the upper line
        assert blank[y : y + size, x + 1, 0].max() < 128  # the left one
        assert blank[y + 4 : y + size - 4, x + 4 : x + size - 4].min() > 250  # nothing inside


# --- reading ----------------------------------------------------------------------------------------------


def test_a_blank_slip_says_nothing(blank: Picture) -> None:
    reading = seen(blank)
    assert reading.ticked == {}
    assert reading.in_doubt == {}
    assert reading.code == LAYOUT["code"]


def test_ticks_are_read_rightly_on_fifteen_photos(blank: Picture) -> None:
    # any turn, tilt to 35°, bent paper, three pens, lamp light that falls off, blur, noise, JPEG
    wrong, doubts, asked, unread = [], 0, 0, 0
    for seed in range(15):
        rng = np.random.default_rng(seed)
        page, wanted = blank.copy(), {}
        for group, boxes in groups().items():
            if rng.random() < 0.6:
                chosen = boxes[int(rng.integers(len(boxes)))]
                tick(page, chosen, rng, pen=list(PENS)[seed % 3], width_mm=(0.4, 0.5, 0.7)[seed // 3 % 3])
                wanted[group] = chosen["value"]
        photo, corners = photographed(page, rng, tilt=35 if seed % 2 else 15, curl_mm=(2, 5, 8)[seed % 3])
        reading = read_slip(photo, LAYOUT)
        unread += reading.code is None
        assert np.abs(np.array(reading.corners_px) - corners).max() < 0.03 * 1200
        for group in groups():
            asked += 1
            doubts += group in reading.in_doubt
            if group not in reading.in_doubt and reading.ticked.get(group) != wanted.get(group):
                wrong.append((seed, group, wanted.get(group), reading.ticked.get(group)))
    assert wrong == []
    assert asked == 15 * len(groups())
    assert doubts <= asked / 100
    assert unread <= 2


def test_half_a_tick_is_doubted(blank: Picture) -> None:
    page = blank.copy()
    stroke(page, "paper", "Oatleaf 120", (0.35, 0.65), (0.6, 0.5))  # a slip of the pen
    stroke(page, "machine", "Upstairs", (0.2, 0.5), (0.4, 0.8), (0.9, 0.1))
    reading = seen(page)
    assert reading.ticked == {"machine": "Upstairs"}
    assert reading.in_doubt == {"paper": ("Oatleaf 120",)}
    states = {(each.group, each.value): each.state for each in reading.boxes}
    assert states["paper", "Oatleaf 120"] == "doubt"
    assert states["paper", "Chalkroad 90"] == "empty"


def test_two_ticks_where_one_is_meant_are_doubted(blank: Picture) -> None:
    page = blank.copy()
    for value in ("2", "4"):
        stroke(page, "density", value, (0.1, 0.1), (0.9, 0.9))
    assert seen(page).in_doubt == {"density": ("2", "4")}


def test_a_tail_into_the_next_box_does_not_take_a_tick_away(blank: Picture) -> None:
    page = blank.copy()
    stroke(page, "speed", "2", (0.15, 0.5), (0.4, 0.85), (1.55, 0.2))  # into box 3, a quarter of it
    assert seen(page).ticked == {"speed": "2"}


def test_a_blackened_box_counts_as_ticked(blank: Picture) -> None:
    page = blank.copy()
    for step in range(9):
        stroke(page, "good 10", "7", (0.1, 0.1 + step / 10), (0.9, 0.1 + step / 10))
    assert seen(page).ticked == {"good 10": "7"}


def test_a_thumb_on_one_corner_mark_does_no_harm(blank: Picture) -> None:
    page = blank.copy()
    stroke(page, "person", "Wren Tallow", (0.1, 0.1), (0.9, 0.9))
    page[-250:, :260] = (200, 150, 120)
    assert seen(page).ticked == {"person": "Wren Tallow"}


def test_a_slip_without_enough_marks_is_refused_in_words(blank: Picture) -> None:
    page = blank.copy()
    page[-250:] = 255
    with pytest.raises(InputError, match="only 2 of the 4 corner marks"):
        read_slip(page, LAYOUT)
    with pytest.raises(InputError, match="only 0 of the 4"):
        read_slip(np.full((600, 800, 3), 200, dtype=np.uint8), LAYOUT)


def test_another_slip_and_two_slips_are_refused_in_words(blank: Picture) -> None:
    with pytest.raises(InputError, match="shows another slip"):
        read_slip(blank, slip_layout(uid(9), CHOICES))
    twice = np.concatenate([blank, np.full((len(blank), 100, 3), 90, dtype=np.uint8), blank], axis=1)
    with pytest.raises(InputError, match="two slips"):
        read_slip(twice, LAYOUT)


def test_folded_paper_is_refused_rather_than_misread(blank: Picture) -> None:
    # bands shifted against each other by four millimetres, as a concertina looks from the side
    first, last = round(22 * PX_PER_MM), len(blank) - round(22 * PX_PER_MM)  # the corner marks lie outside
    bands = [np.roll(band, 20 if number % 2 else -20, axis=1) for number, band in
             enumerate(np.array_split(blank[first:last], 8))]  # fmt: skip
    with pytest.raises(InputError, match="too bent"):
        read_slip(np.concatenate([blank[:first], *bands, blank[last:]]), LAYOUT)


def test_a_turned_up_corner_does_no_harm(blank: Picture) -> None:
    page = blank.copy()
    stroke(page, "good 1", "3", (0.15, 0.5), (0.4, 0.85), (0.95, 0.0))
    page[-250:, :260] = np.roll(blank, (-30, 20), axis=(0, 1))[-250:, :260]  # a mark three millimetres off its place
    assert seen(page).ticked == {"good 1": "3"}


@pytest.mark.parametrize("how", ["grey", "16 bits"])
def test_grey_and_16_bit_photos_are_read_too(how: str, blank: Picture) -> None:
    page = blank.copy()
    stroke(page, "paper", "Chalkroad 90", (0.1, 0.1), (0.9, 0.9))
    photo, _ = photographed(page, np.random.default_rng(1))
    pixels: NDArray[Any] = photo.mean(axis=2).astype(np.uint8) if how == "grey" else photo.astype(np.uint16) * 257
    assert read_slip(pixels, LAYOUT).ticked == {"paper": "Chalkroad 90"}


def test_a_picture_with_a_slip_is_told_from_one_without(blank: Picture) -> None:
    photo, _ = photographed(blank, np.random.default_rng(4))
    assert looks_like_slip(photo)
    assert not looks_like_slip(np.random.default_rng(4).integers(0, 255, (600, 800, 3), dtype=np.uint8))
