"""The colour card found in rendered photographs, whose truth the renderer tells (`tests.studio`)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.colour.card_editions import EDITIONS, reference_lab
from archive.errors import InputError
from archive.imaging.card_turns import ROUGH_LAB
from archive.imaging.colour_card import FoundCard, find_cards, read_card
from tests.studio import camera, cards, lens

_LEVELS = np.arange(256) / 255
LIGHT = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4).astype(np.float32)
CORNER = 0.005  # of the card's width
TURNED = 8  # rendered photographs in the suite; the bench has 200

SIMPLE = cards.Plan(
    size=(1200, 900),
    clutter=2,
    shot=lens.Shot(exposure=0.8, loss=0.2, defocus_px=0.8, tone=0.3),
)


def light_of(photo: cards.Photo) -> NDArray[np.float32]:
    return LIGHT[lens.opened(photo.jpeg)]


def off(card: FoundCard, corners: NDArray[np.float64]) -> float:
    """Return the worst corner's error as a share of the card's width."""
    return float(np.linalg.norm(card.corners - corners, axis=1).max() / np.linalg.norm(corners[1] - corners[0]))


def shot(seed: int = 1, **changes: object) -> cards.Photo:
    return cards.photograph(replace(SIMPLE, **changes), np.random.default_rng(seed))  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def plain() -> cards.Photo:
    return shot()


# --- found, the right way up --------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(TURNED))
def test_a_card_is_found_the_right_way_up_at_any_turn_and_tilt(number: int) -> None:
    rng = np.random.default_rng([24, number])
    plan = cards.random_plan(rng, sizes=((1200, 900), (900, 1200)), smallest=0.12, most_clutter=4)
    photo = cards.photograph(replace(plan, turn_deg=360 * number / TURNED), rng)
    found = find_cards(light_of(photo))
    assert [card.is_sure for card in found] == [True], photo.about
    # A wrong turn would be off by the card's own size.
    assert off(found[0], photo.cards[0]) < CORNER, photo.about


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_card_tells_how_it_lies(turn: int) -> None:
    photo = shot(turn_deg=float(turn))
    (card,) = find_cards(light_of(photo))
    assert card.turn == turn
    assert set(card.residuals) == {0, 90, 180, 270}
    assert sorted(card.residuals.values())[1] > 2 * min(card.residuals.values())


def test_the_same_picture_gives_the_same_answer() -> None:
    light = light_of(plain())
    (first,), (second,) = find_cards(light), find_cards(light)
    assert (first.corners == second.corners).all()
    assert (first.light == second.light).all()


def test_patches_read_the_light_that_the_renderer_laid_there() -> None:
    # Without tone curve and fall-off the file's light is the sensor's: ratios to the white patch are the card's own.
    photo = shot(shot=lens.Shot(exposure=0.9, defocus_px=0.5, quality=95))
    (card,) = find_cards(light_of(photo))
    truth = camera.card_reflectance() @ cards.seen_as("D50") * 0.9
    assert np.abs(card.light - truth).max() < 0.02
    assert card.usable.all()
    assert (card.spreads < 0.1).all()


def test_where_patches_lie_is_told_in_reading_order() -> None:
    photo = shot(turn_deg=140.0, tilt_deg=20.0)
    (card,) = find_cards(light_of(photo))
    whole = lens.homography([[0, 0], [1, 0], [1, 1], [0, 1]], photo.cards[0])
    truth = lens.moved(whole, cards.patch_points(SIMPLE.design))
    assert np.linalg.norm(card.centres - truth, axis=1).max() < 0.05 * card.patch_px


def test_a_card_in_a_larger_copy_of_the_picture_is_the_same_card() -> None:
    (card,) = find_cards(light_of(plain()))
    larger = card.scaled(2.5)
    assert larger.corners == pytest.approx(card.corners * 2.5)
    assert larger.turn == card.turn


def test_the_rough_colours_are_those_of_the_editions() -> None:
    # They are rounded to whole units; editions differ by a few.
    mean = np.mean([reference_lab(edition) for edition in EDITIONS], axis=0)
    assert np.abs(ROUGH_LAB - mean).max() <= 0.51


# --- none, two, upside down, covered, mirrored, faulty -------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_prints_and_strips_of_swatches_are_no_card(seed: int) -> None:
    assert find_cards(light_of(shot(seed, count=0, clutter=10))) == []


def test_an_empty_table_has_no_card() -> None:
    assert find_cards(np.full((300, 400, 3), 0.4, np.float32)) == []


def test_two_cards_are_both_told() -> None:
    photo = shot(count=2, at=(0.25, 0.5))
    found = find_cards(light_of(photo))
    assert len(found) == 2
    for corners in photo.cards:
        assert min(off(card, corners) for card in found) < CORNER


def test_a_card_upside_down_is_read_the_right_way_up() -> None:
    # Scenario 3 of the trade's list: read correctly or asked about, never read reversed.
    photo = shot(turn_deg=180.0)
    (card,) = find_cards(light_of(photo))
    assert card.turn == 180
    assert card.light[18].mean() > 5 * card.light[23].mean()


@pytest.mark.parametrize("turn", [0.0, 100.0])
def test_a_half_covered_card_tells_which_patches_are_covered(turn: float) -> None:
    (card,) = find_cards(light_of(shot(covered=0.5, turn_deg=turn)))
    hidden = np.arange(24) % 6 < 3
    assert (card.covered >= hidden).all()
    assert card.usable.sum() >= 10
    assert not card.edges_seen[3]


@pytest.mark.parametrize("first", range(4))
def test_four_corners_by_hand_read_a_half_covered_card_wherever_they_begin(first: int) -> None:
    photo = shot(covered=0.5)
    by_hand = np.roll(photo.cards[0], first, axis=0) + np.random.default_rng(first).normal(0, 1.5, (4, 2))
    card = read_card(light_of(photo), by_hand)
    assert card.by_hand
    assert card.turn == 0
    assert np.abs(card.corners - photo.cards[0]).max() < 8  # what the person pointed at, put in order
    assert card.usable.sum() >= 10


def test_corners_by_hand_with_nothing_between_them_are_refused() -> None:
    with pytest.raises(InputError, match="no colour card"):
        read_card(light_of(plain()), [[10, 10], [200, 10], [200, 150], [10, 150]])


@pytest.mark.parametrize("corners", [[[0, 0], [1, 1]], [[0, 0], [9, 9], [18, 18], [27, 27]]])
def test_what_is_no_four_sided_shape_is_refused(corners: list[list[float]]) -> None:
    with pytest.raises(InputError, match="four corners"):
        read_card(light_of(plain()), corners)


def test_a_card_in_a_mirror_is_never_believed() -> None:
    assert not any(card.is_sure for card in find_cards(light_of(shot(is_mirrored=True))))


def test_a_faulty_patch_is_told_and_not_used() -> None:
    photo = shot(faulty=14)  # the red one came out as something else
    (card,) = find_cards(light_of(photo))
    assert card.turn == 0
    assert card.wrong[14]
    assert not card.usable[14]


def test_patches_can_be_left_out() -> None:
    (card,) = find_cards(light_of(plain()), leave_out=(3, 14))
    assert not card.usable[[3, 14]].any()
    assert card.usable.sum() >= 20


def test_clipped_patches_are_told() -> None:
    photo = shot(shot=lens.Shot(exposure=1.4))
    pixels = lens.opened(photo.jpeg)
    (card,) = find_cards(LIGHT[pixels], (pixels.max(2) >= 250).astype(np.float32))
    assert card.clipped[18]
    assert not card.clipped[20:].any()
