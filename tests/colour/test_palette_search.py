"""The search must find what trying all finds, in the same order."""

from __future__ import annotations

import numpy as np
import pytest

from archive.colour import palette_search
from archive.colour.palette import Palette, PaletteColour
from archive.colour.palette_search import PaletteIndex, nearest_palettes
from archive.colour.transport import earth_movers_distance
from archive.errors import ColourError
from tests.colour.palettes import Palettes, at_random, printed, solved

PAPER = (93.0, 0.0, 6.0)


def index_of(palettes: Palettes) -> PaletteIndex:
    return PaletteIndex.build(palettes.lab, palettes.share, palettes.count)


def as_palette(lab: np.ndarray, share: np.ndarray, paper_share: float = 0.4) -> Palette:
    colours = zip(lab.tolist(), (share * (1 - paper_share)).tolist(), strict=True)
    return Palette(PAPER, paper_share, True, tuple(PaletteColour((a, b, c), part) for (a, b, c), part in colours))


@pytest.mark.parametrize("kind", [printed, at_random])
@pytest.mark.parametrize("at_a_time", [4, 256])
def test_nearest_are_those_that_trying_all_finds(kind, at_a_time: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # small steps, so that few palettes go through all that a hundred thousand do
    monkeypatch.setattr(palette_search, "_AT_FIRST", at_a_time)
    monkeypatch.setattr(palette_search, "_AT_A_TIME", at_a_time)
    monkeypatch.setattr(palette_search, "_WORTH_IT", 5)
    rng = np.random.default_rng(4)
    palettes, questions = kind(250, rng), kind(2, rng)
    index = index_of(palettes)
    for number in range(2):
        every = solved(questions.one(number), palettes, np.arange(250))
        found = index.nearest(*questions.one(number), 10)
        assert [near.index for near in found] == np.argsort(every, kind="stable")[:10].tolist()
        # the yardstick's CIEDE2000 is another library's
        assert [near.distance for near in found] == pytest.approx(sorted(every)[:10], abs=1e-6)


def test_large_archives_are_searched_to_the_same_answer() -> None:
    rng = np.random.default_rng(5)
    palettes = printed(4000, rng)
    index, question = index_of(palettes), printed(1, rng).one(0)
    found = index.nearest(*question, 10)
    # all that the float32 solver of another library puts within reach, settled by linear programmes
    rough = np.array([_emd(question, palettes.one(number)) for number in range(4000)])
    near = np.flatnonzero(rough <= np.partition(rough, 9)[9] + 0.01)
    every = solved(question, palettes, near)
    assert [each.index for each in found] == near[np.argsort(every, kind="stable")[:10]].tolist()


def _emd(one: tuple[np.ndarray, np.ndarray], other: tuple[np.ndarray, np.ndarray]) -> float:
    import cv2

    from archive.colour.difference import delta_e_2000

    give, take = (part.astype(np.float32)[:, None] for part in (one[1], other[1]))
    price = delta_e_2000(one[0][:, None], other[0][None]).astype(np.float32)
    return float(cv2.EMD(give, take, cv2.DIST_USER, cost=price)[0])


@pytest.mark.parametrize("with_paper", [False, True])
@pytest.mark.parametrize("k", [1, 3, 10])
def test_palettes_are_found_by_their_distance_with_and_without_paper(k: int, with_paper: bool) -> None:
    rng = np.random.default_rng(6)
    made = at_random(60, rng)
    palettes = [as_palette(*made.one(number), float(rng.uniform(0, 0.9))) for number in range(60)]
    every = [earth_movers_distance(palettes[7], palette, with_paper=with_paper) for palette in palettes]
    found = nearest_palettes(palettes[7], palettes, k, with_paper=with_paper)
    assert [near.index for near in found] == np.argsort(every, kind="stable")[:k].tolist()
    assert [near.distance for near in found] == pytest.approx(sorted(every)[:k], abs=1e-9)


def test_the_same_palette_is_found_first_and_equals_stand_in_the_order_given() -> None:
    made = at_random(3, np.random.default_rng(7))
    one, two, three = (as_palette(*made.one(number)) for number in range(3))
    assert [near.index for near in nearest_palettes(two, [one, two, three, two], 2)] == [1, 3]
    many = [two] * 400
    assert [near.index for near in nearest_palettes(two, many, 5)] == [0, 1, 2, 3, 4]


def test_blank_sheets_are_their_paper() -> None:
    blank, grey = Palette(PAPER, 1.0, True, ()), as_palette(np.array([[60.0, 0, 0]]), np.array([1.0]))
    assert [near.index for near in nearest_palettes(blank, [grey, blank], 2)] == [1, 0]


def test_fewer_palettes_than_asked_are_all_returned_and_none_from_none() -> None:
    made = at_random(2, np.random.default_rng(9))
    one, two = (as_palette(*made.one(number)) for number in range(2))
    assert len(nearest_palettes(one, [one, two], 10)) == 2
    assert nearest_palettes(one, [], 10) == []
    assert nearest_palettes(one, [one, two], 0) == []
    none = PaletteIndex.build(np.empty((0, 3)), [], [])
    assert none.nearest([(50, 0, 0)], [1.0], 10) == []


def test_only_some_palettes_may_count() -> None:
    rng = np.random.default_rng(10)
    palettes, question = printed(300, rng), printed(1, rng).one(0)
    index = index_of(palettes)
    first = [near.index for near in index.nearest(*question, 6)]
    among = np.ones(300, dtype=bool)
    among[first[::2]] = False
    assert [near.index for near in index.nearest(*question, 3, among)] == first[1::2]
    assert index.nearest(*question, 3, np.zeros(300, dtype=bool)) == []


def test_an_index_kept_as_arrays_answers_alike() -> None:
    rng = np.random.default_rng(11)
    index, question = index_of(printed(300, rng)), printed(1, rng).one(0)
    again = PaletteIndex.of_arrays(index.arrays())
    assert len(again) == 300
    assert again.nearest(*question, 10) == index.nearest(*question, 10)


@pytest.mark.parametrize(
    ("share", "count"),
    [([0.5, 0.5], [1, 2]), ([0.5, 0.4], [2]), ([1.0, 0.0], [2]), ([0.5, 0.5], [2, 0]), ([1.0], [1])],
)
def test_palettes_that_do_not_fit_together_are_refused(share: list[float], count: list[int]) -> None:
    with pytest.raises(ColourError):
        PaletteIndex.build([(50, 0, 0), (60, 0, 0)], share, count)
