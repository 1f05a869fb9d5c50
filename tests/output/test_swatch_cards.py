"""Swatch cards show the colour as a screen can, the recipe as it was printed, and what is known of it."""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np
import pytest

from archive.errors import InputError
from archive.output.swatch_cards import CardLayer, SwatchCard, swatch_cards
from tests.output.photos import rendered
from tests.output.values import DAY, sizes_mm, texts, uid

WHITE = (93.1, 0.2, 4.9)
CARD = SwatchCard(
    uid=uid(1),
    name="tide green",
    paper="Oatleaf 120",
    white=WHITE,
    layers=[
        CardLayer("Dockrope", "100 %", 1, None, (74.8, 9.6, 62.3)),
        CardLayer("Ferrywake", "60 %", 1, (55.0, 1.0, -28.0), (52.3, -18.4, 12.2)),
    ],
    lab=(52.3, -18.4, 12.2),
    uncertainty=2.64,
    evidence="proven",
    measured="by instrument, M1, 2024-05-04, 2 readings",
    work="QA-0042 Nine Tides",
    place="Storeroom / Plan chest 2 / drawer 5",
)


def srgb(lab: tuple[float, float, float]) -> np.ndarray:
    """Return 8-bit sRGB of a D50 Lab by colour-science: Bradford to D65, IEC 61966-2-1."""
    whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour.Lab_to_XYZ(np.array(lab), whites["D50"])
    return np.clip(colour.XYZ_to_sRGB(xyz, whites["D50"], chromatic_adaptation_transform="Bradford"), 0, 1) * 255


def at(page: np.ndarray, x_mm: float, y_mm: float) -> np.ndarray:
    """Return a card's pixel, from the card's own upper left corner (10 and 13.5 mm into the sheet)."""
    return page[round((13.5 + y_mm) * 10), round((10 + x_mm) * 10)].astype(float)


def test_a_card_says_everything_that_is_known() -> None:
    (text,) = texts(swatch_cards([CARD], day=DAY).pdf)
    for words in (
        "tide green",
        "Dockrope 100 %, then Ferrywake 60 %, on Oatleaf 120, one pass",
        "Lab 52.3 -18.4 12.2 ± 2.6",
        "proven",
        "by instrument, M1, 2024-05-04, 2 readings",
        "QA-0042 Nine Tides, Storeroom / Plan chest 2 / drawer 5",
        uid(1),
        "pass 1",
        "Screen and office printers show colours roughly: the print decides.",
    ):
        assert words in text


def test_the_patch_is_the_colour_on_middle_grey() -> None:
    page = rendered(swatch_cards([CARD], day=DAY).pdf)
    # one step of 8-bit sRGB for rounding on either side, and what the renderer rounds
    assert np.abs(at(page, 47, 14) - srgb(CARD.lab)).max() <= 2  # type: ignore[arg-type]
    assert at(page, 6, 6) == pytest.approx([0xB8] * 3)


def test_the_recipe_shows_paper_inks_and_the_sheet_so_far() -> None:
    page = rendered(swatch_cards([CARD], day=DAY).pdf).astype(float)
    for lab in (WHITE, (74.8, 9.6, 62.3), (55.0, 1.0, -28.0)):
        near = np.abs(page - srgb(lab)).max(axis=2) <= 2
        assert near.sum() > 17 * 4.5 * 100  # at least half a cell of 17.5 by 10 mm, in pixels of 0.1 mm


@pytest.mark.parametrize(
    ("passes", "words"),
    [([1, 1], "one pass"), ([1, 2], "two passes"), ([1, 1, 2, 3], "three passes")],
)
def test_passes_are_counted_and_braced(passes: list[int], words: str) -> None:
    layers = [CardLayer(f"Ink {number}", "50 %", each) for number, each in enumerate(passes)]
    (text,) = texts(swatch_cards([replace(CARD, layers=layers)], day=DAY).pdf)
    assert words in text
    assert [f"pass {number}" in text for number in range(1, 5)] == [number in passes for number in range(1, 5)]


def test_what_was_not_measured_is_drawn_as_such_and_never_made_up() -> None:
    layers = [CardLayer("Kilnsong", "100 %", None), CardLayer("Ferrywake?", "tint unknown", None)]
    (text,) = texts(swatch_cards([replace(CARD, layers=layers)], day=DAY).pdf)
    assert "dashed: not measured" in text
    assert "tint unknown" in text
    assert "pass" not in text
    (full,) = texts(swatch_cards([replace(CARD, layers=[CardLayer("Kilnsong", "5 %", 1, None, WHITE)])], day=DAY).pdf)
    assert "dashed" not in full


def test_a_metallic_ink_has_no_patch_and_a_clipped_one_a_cut_corner() -> None:
    lab = (70.0, 40.0, 20.0)
    hatched = rendered(swatch_cards([replace(CARD, lab=lab, drawn="hatched", layers=[])], day=DAY).pdf)
    assert (np.abs(hatched - srgb(lab)).max(axis=2) <= 2).sum() == 0
    cut = rendered(swatch_cards([replace(CARD, lab=lab, drawn="cut", name="", layers=[])], day=DAY).pdf)
    assert np.abs(at(cut, 47, 14) - srgb(lab)).max() <= 2
    assert at(cut, 84, 10.5) == pytest.approx([0xB8] * 3)  # the corner


def test_a_colour_beyond_the_screen_says_so() -> None:
    assert "beyond the colours of a screen" in texts(swatch_cards([replace(CARD, lab=(50, 0, -70))], day=DAY).pdf)[0]
    assert "beyond" not in texts(swatch_cards([CARD], day=DAY).pdf)[0]


def test_six_cards_lie_on_an_a4_sheet() -> None:
    pages = swatch_cards([replace(CARD, uid=uid(number)) for number in range(7)], day=DAY)
    assert sizes_mm(pages.pdf) == [(210, 297)] * 2
    assert pages.count == 2
    assert uid(5) in texts(pages.pdf)[0]
    assert uid(6) in texts(pages.pdf)[1]


def test_the_fullest_card_keeps_its_words_apart() -> None:
    layers = [CardLayer(f"Ink of a long name {number}", "12.5 %", number // 2 + 1) for number in range(6)]
    notes = ["aged: read a fresh patch before you trust it", "proven at Lark Lane Press, on another machine"]
    full = replace(CARD, layers=layers, notes=notes, work="QA-0042 A title that goes on and on, as some of them do")
    page = rendered(swatch_cards([full], day=DAY).pdf)
    assert at(page, 6, 6) == pytest.approx([0xB8] * 3)
    assert np.abs(at(page, 47, 12) - srgb(CARD.lab)).max() <= 2  # type: ignore[arg-type]  # the patch is still there


def test_no_swatch_is_an_error_in_words() -> None:
    with pytest.raises(InputError, match="no swatch to print"):
        swatch_cards([], day=DAY)
