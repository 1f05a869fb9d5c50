"""Pairs of rendered sheets: told apart by shape and colour, in figures; and what is asked of candidates."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from archive.errors import ColourError, InputError
from archive.imaging.likeness import CORRECTED, UNCORRECTED, compare_sheets, find_like, shape_bits
from archive.imaging.sheet_look import SheetLook, look_at, turned_edges
from tests.imaging.sheets import Sheet, lab_of, pairs, photographed_pale, printed, shot

SHEET = Sheet("harbour", "Nine Tides", 1, ("Kilnsong", "Ferrywake"), "Oatleaf 120")
KINDS = ("same copy", "variant", "other design")


def look(picture: np.ndarray) -> SheetLook:
    return look_at(lab_of(picture))


def test_pairs_are_told_apart() -> None:
    counts: Counter[tuple[str, str]] = Counter()
    bits = []
    for pair in pairs(60, 2026):  # the bench has 300
        one, other = look(pair.one), look(pair.other)
        counts[pair.truth, compare_sheets(one, other).kind] += 1
        if pair.truth != "other design":
            bits.append(int(shape_bits(one, other.hashes[:1])[0]))
    for kind in KINDS:
        right = counts[kind, kind]
        assert right / sum(count for (_, found), count in counts.items() if found == kind) >= 0.99, counts
        assert right / sum(count for (truth, _), count in counts.items() if truth == kind) >= 0.98, counts
    assert np.mean(np.array(bits) <= 24) >= 0.98  # and the hash finds them as candidates


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_turned_shot_is_the_same_copy_and_the_turn_is_told(turns: int) -> None:
    rng = np.random.default_rng(turns)
    found = compare_sheets(look(shot(SHEET, rng)), look(shot(SHEET, rng, turns=-turns)))
    assert (found.kind, found.turns) == ("same copy", turns)


def test_both_ways_around_give_the_same_answer() -> None:
    rng = np.random.default_rng(5)
    other = replace(SHEET, inks=("Ferrywake", "Kilnsong"), run="run 2")
    one, two = look(shot(SHEET, rng)), look(shot(other, rng))
    assert compare_sheets(one, two).kind == compare_sheets(two, one).kind == "variant"
    assert compare_sheets(one, one).kind == "same copy"


def test_two_whites_are_told_apart_only_when_the_pictures_were_corrected() -> None:
    # no camera between: what a perfect correction leaves. Chalkroad is whiter than Oatleaf by more than its doubt
    one, other = look(printed(SHEET)), look(printed(replace(SHEET, paper="Chalkroad 90")))
    assert compare_sheets(one, other, CORRECTED).kind == "variant"
    assert compare_sheets(one, other, CORRECTED).why == "another paper"
    assert compare_sheets(one, other, UNCORRECTED).kind == "same copy"


@pytest.mark.parametrize("level", [0, 1])
def test_blank_and_pale_sheets_are_like_nothing(level: float) -> None:
    rng = np.random.default_rng(6)
    blanks = [look(photographed_pale(rng, level)) for _ in range(6)]
    assert all(blank.is_blank for blank in blanks)
    assert {compare_sheets(blanks[0], other).kind for other in blanks} == {"blank"}
    words = np.array([blank.hashes[0] for blank in blanks], dtype=np.uint64)
    assert find_like(blanks[0], words, blanks.__getitem__) == []
    printed_look = look(shot(SHEET, rng))
    assert not printed_look.is_blank
    assert find_like(printed_look, words, blanks.__getitem__, is_blank=[True] * 6, most_bits=64) == []


def test_like_sheets_of_an_archive_are_found_in_order() -> None:
    rng = np.random.default_rng(7)
    variant = replace(SHEET, inks=("Damsonlatch", "Dockrope"), run="run 2")
    strangers = [Sheet(design, "Box 14", 2, SHEET.inks, SHEET.paper) for design in ("tiles", "type", "birds", "photo")]
    sheets = [*strangers[:2], variant, strangers[2], SHEET, strangers[3]]
    looks = [look(shot(sheet, rng)) for sheet in sheets]
    asked: list[int] = []

    def look_of(index: int) -> SheetLook:
        asked.append(index)
        return looks[index]

    words = np.array([each.hashes[0] for each in looks], dtype=np.uint64)
    found = find_like(look(shot(SHEET, rng, turns=1)), words, look_of)
    assert [(each.index, each.likeness.kind) for each in found] == [(4, "same copy"), (2, "variant")]
    assert find_like(looks[4], words, look_of, most=1)[0].index == 4
    assert find_like(looks[4], words[:0], look_of) == []


def test_a_million_hashes_are_searched_for_every_turn() -> None:
    rng = np.random.default_rng(8)
    words = rng.integers(0, 2**63, 1_000_000, dtype=np.uint64)
    wanted = look(shot(SHEET, rng))
    words[[5, 77]] = wanted.hashes[[0, 3]]
    bits = shape_bits(wanted, words)
    assert np.flatnonzero(bits == 0).tolist() == [5, 77]
    expected = min(bin(int(words[9]) ^ int(turned)).count("1") for turned in wanted.hashes)
    assert bits[9] == expected


def test_edges_do_not_tell_dark_on_light_from_light_on_dark() -> None:
    rng = np.random.default_rng(9)
    lab = np.zeros((120, 90, 3))
    lab[..., 0] = 60 + 25 * np.sign(np.sin(np.cumsum(rng.normal(0, 0.4, 120)))[:, None] * np.ones(90))
    inverted = lab * (-1, 1, 1) + (120, 0, 0)
    assert np.allclose(look_at(lab).edges, look_at(inverted).edges, atol=1e-4)
    turned = look_at(np.rot90(lab)).edges
    assert np.allclose(turned_edges(look_at(lab).edges, 1), turned, atol=0.02)


def test_what_is_no_picture_is_refused() -> None:
    with pytest.raises(InputError):
        look_at(np.full((20, 400, 3), 50.0))
    with pytest.raises(InputError):
        look_at(np.full((400, 3), 50.0))
    with pytest.raises(ColourError):
        look_at(np.full((100, 100, 3), np.nan))
