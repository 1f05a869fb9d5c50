from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from scipy.cluster.vq import kmeans2

from archive.colour.clusters import cluster, lab_histogram
from archive.colour.difference import delta_e_2000
from archive.colour.palette import MOST_COLOURS, Palette, find_palette
from archive.colour.spaces import lab_to_xyz, xyz_to_lab
from archive.errors import ColourError

PAPER = (93.0, 0.5, 6.0)
BLUE, RED, OCHRE = (38.0, 2.0, -38.0), (52.0, 58.0, 36.0), (74.0, 8.0, 52.0)
TABLE = (36.0, 9.0, 16.0)

Lab = NDArray[np.float64]


def _sheet(height: int = 240, width: int = 180, paper: tuple[float, float, float] = PAPER) -> Lab:
    return np.tile(np.array(paper), (height, width, 1))


def _disc(sheet: Lab, centre: tuple[float, float], radius: float, lab: tuple[float, float, float]) -> Lab:
    """The sheet with a disc whose edge is blended in light, as any lens and scanner does."""
    y, x = np.indices(sheet.shape[:2])
    cover = np.clip(radius + 0.5 - np.hypot(y - centre[0], x - centre[1]), 0, 1)[..., None]
    return xyz_to_lab(lab_to_xyz(sheet) * (1 - cover) + lab_to_xyz(lab) * cover)


def _noisy(lab: Lab, spread: float = 0.8, seed: int = 0) -> Lab:
    noisy = lab + np.random.default_rng(seed).normal(0, spread, lab.shape)
    return np.clip(noisy, (0, -190, -190), (105, 190, 190))


def _radius(share: float, sheet: Lab) -> float:
    return float(np.sqrt(share * sheet.shape[0] * sheet.shape[1] / np.pi))


def _near(palette: Palette, lab: tuple[float, float, float], within: float) -> float:
    """The share of the palette's colours within so many CIEDE2000 of a colour."""
    return sum(colour.share for colour in palette.colours if delta_e_2000(colour.lab, lab) <= within)


# Paper apart, accents kept


@pytest.mark.parametrize("share", [0.0045, 0.005, 0.01])
@pytest.mark.parametrize("ground", ["paper", "ink"])
def test_paper_is_apart_and_a_small_vivid_accent_is_kept(share: float, ground: str) -> None:
    sheet = _sheet()
    sheet[30:150, 20:120] = BLUE
    sheet[170:220, 20:90] = (60.0, 4.0, 8.0)
    centre = (190, 140) if ground == "paper" else (90, 70)
    palette = find_palette(_noisy(_disc(sheet, centre, _radius(share, sheet), RED)))
    assert palette.paper is not None
    assert palette.paper_sure
    assert delta_e_2000(palette.paper, PAPER) < 1.0
    assert palette.paper_share == pytest.approx(1 - (12_000 + 3_500) / 43_200 - share * (ground == "paper"), abs=0.02)
    assert _near(palette, RED, 4.0) == pytest.approx(share, rel=0.35)
    assert _near(palette, PAPER, 6.0) == 0


def test_one_ink_on_much_bare_paper_gives_that_ink_and_the_paper() -> None:
    sheet = _sheet()
    for y, x, radius in ((60, 60, 20), (150, 100, 12), (200, 40, 8)):
        sheet = _disc(sheet, (y, x), radius, BLUE)
    palette = find_palette(_noisy(sheet))
    assert palette.paper is not None
    assert delta_e_2000(palette.paper, PAPER) < 1.0
    assert len(palette.colours) == 1
    assert delta_e_2000(palette.colours[0].lab, BLUE) < 2.0
    assert palette.colours[0].share == pytest.approx(np.pi * (20**2 + 12**2 + 8**2) / 43_200, rel=0.1)


def test_two_inks_and_their_overprint_are_three_colours() -> None:
    sheet, over = _sheet(), (30.0, 14.0, 6.0)
    sheet[20:140, 20:100], sheet[90:220, 60:160] = BLUE, OCHRE
    sheet[90:140, 60:100] = over
    palette = find_palette(_noisy(sheet))
    assert len(palette.colours) == 3
    for lab in (BLUE, OCHRE, over):
        assert _near(palette, lab, 2.0) > 0


def test_dirt_is_no_accent() -> None:
    sheet = _sheet()
    sheet[30:150, 20:120] = BLUE
    palette = find_palette(_noisy(_disc(sheet, (190, 140), _radius(0.001, sheet), RED)))
    assert _near(palette, RED, 15.0) == 0


def test_blank_sheet_has_a_paper_and_no_colour() -> None:
    palette = find_palette(_noisy(_sheet()))
    assert palette.paper is not None
    assert palette.paper_sure
    assert palette.colours == ()
    assert palette.paper_share == 1.0


# Where the paper is


def test_paper_is_found_on_a_dark_table() -> None:
    picture = _sheet(240, 240, TABLE)
    picture[30:210, 50:190] = PAPER
    picture[60:150, 70:150] = OCHRE
    palette = find_palette(_noisy(picture))
    assert palette.paper is not None
    assert palette.paper_sure
    assert delta_e_2000(palette.paper, PAPER) < 1.0
    assert _near(palette, TABLE, 3.0) > 0.3


def test_sheet_on_a_white_table_is_not_sure() -> None:
    picture = _sheet(240, 240, (97.0, 0.0, 0.0))
    picture[40:200, 50:190] = (86.0, 2.0, 12.0)
    picture[80:150, 80:150] = BLUE
    assert not find_palette(_noisy(picture)).paper_sure


@pytest.mark.parametrize("paper", [(80.0, 30.0, 2.0), (78.0, -28.0, 20.0), (84.0, 2.0, 55.0), (68.0, 8.0, 22.0)])
def test_coloured_paper_is_known_by_its_margin(paper: tuple[float, float, float]) -> None:
    sheet = _sheet(paper=paper)
    sheet[30:150, 20:120] = (20.0, 2.0, 2.0)
    palette = find_palette(_noisy(sheet))
    assert palette.paper is not None
    assert palette.paper_sure
    assert delta_e_2000(palette.paper, paper) < 1.0
    assert len(palette.colours) == 1


def test_dark_picture_without_a_bare_place_has_no_paper() -> None:
    picture = _sheet(paper=(35.0, 20.0, -20.0))
    picture[:120] = BLUE
    palette = find_palette(_noisy(picture))
    assert palette.paper is None
    assert palette.paper_share == 0.0
    assert not palette.paper_sure


def test_vivid_flat_inside_a_picture_is_no_paper() -> None:
    picture = _sheet(paper=TABLE)
    picture[60:180, 50:130] = (80.0, 5.0, 70.0)
    assert find_palette(_noisy(picture)).paper is None


def test_paper_under_uneven_light_is_still_paper() -> None:
    sheet = _sheet()
    sheet[60:150, 40:120] = BLUE
    y, x = np.meshgrid(np.linspace(-1, 1, 240), np.linspace(-1, 1, 180), indexing="ij")
    shaded = xyz_to_lab(lab_to_xyz(sheet) * (1 - 0.12 * (x**2 + y**2) / 2)[..., None])
    palette = find_palette(_noisy(shaded))
    assert palette.paper is not None
    assert delta_e_2000(palette.paper, PAPER) < 3.0
    assert palette.paper_share > 0.6
    assert _near(palette, BLUE, 3.0) == pytest.approx(0.167, abs=0.03)


# Halftones


def _halftone(height: int, width: int, period: int, cover: float, ink: tuple[float, float, float]) -> Lab:
    """Round dots of an ink on paper in a square screen, edges hard."""
    y, x = np.indices((height, width)) % period - (period - 1) / 2
    is_dot = np.hypot(y, x) <= period * np.sqrt(cover / np.pi)
    return np.where(is_dot[..., None], np.array(ink), np.array(PAPER))


@pytest.mark.parametrize(("long_side", "period"), [(1200, 10), (256, 4), (256, 5)])
def test_tint_reads_as_one_flat_colour(long_side: int, period: int) -> None:
    sheet = _sheet(long_side, long_side * 3 // 4)
    top, left = long_side // 6, long_side // 8
    dots = _halftone(long_side // 2, long_side // 2, period, 0.4, BLUE)
    sheet[top : top + len(dots), left : left + len(dots)] = dots
    palette = find_palette(sheet)
    # What the eye sees of dots it cannot tell apart is the mean of their light
    tint = xyz_to_lab(lab_to_xyz(dots).mean(axis=(0, 1)))
    assert palette.paper is not None
    assert delta_e_2000(palette.paper, PAPER) < 1.0
    assert _near(palette, tuple(tint), 3.0) > 0.25
    assert _near(palette, BLUE, 8.0) == 0


def test_solid_accent_survives_beside_a_tint() -> None:
    sheet = _sheet(256, 192)
    sheet[30:180, 20:160] = _halftone(150, 140, 4, 0.4, BLUE)
    palette = find_palette(_disc(sheet, (215, 100), _radius(0.006, sheet), RED))
    assert _near(palette, RED, 5.0) > 0.003


# Shares, order, quality


LAB_PICTURES = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 24), st.integers(1, 24), st.just(3)),
    elements=st.floats(0, 100, allow_nan=False),
)


@settings(max_examples=60, deadline=None)
@given(LAB_PICTURES, st.integers(1, 12))
def test_shares_sum_to_one_and_colours_come_largest_first(lab: Lab, most: int) -> None:
    palette = find_palette(lab, most=most)
    shares = [colour.share for colour in palette.colours]
    assert sum(shares) + palette.paper_share == pytest.approx(1.0)
    assert shares == sorted(shares, reverse=True)
    assert len(shares) <= most
    assert (palette.paper is None) == (palette.paper_share == 0.0) or palette.paper_share == 0.0


def _photo(seed: int) -> Lab:
    """A picture of many soft colours, no paper: waves of three frequencies in L*, a* and b*."""
    rng = np.random.default_rng(seed)
    y, x = np.meshgrid(np.linspace(0, 1, 150), np.linspace(0, 1, 200), indexing="ij")
    waves = [
        sum(np.sin(2 * np.pi * (rng.uniform(-2, 2) * x + rng.uniform(-2, 2) * y) + rng.uniform(0, 6)) for _ in range(3))
        for _ in range(3)
    ]
    return np.stack([45 + 12 * waves[0], 18 * waves[1], 18 * waves[2]], axis=-1)


@pytest.mark.parametrize("seed", range(4))
def test_clusters_are_as_good_as_the_best_of_many_random_starts(seed: int) -> None:
    # Yardstick: Lloyd's k-means of scipy on every pixel, the best of five k-means++ starts
    pixels = _photo(seed).reshape(-1, 3)
    cells = lab_histogram(pixels, np.ones(len(pixels)))
    centres = cluster(cells.lab, cells.area, 12)
    runs = [kmeans2(pixels, 12, minit="++", rng=np.random.default_rng(run), iter=20)[0] for run in range(5)]
    assert _squared_error(pixels, centres) <= 1.05 * min(_squared_error(pixels, run) for run in runs)


def _squared_error(pixels: Lab, centres: Lab) -> float:
    return float(((pixels[:, None] - centres[None]) ** 2).sum(axis=-1).min(axis=1).mean())


@pytest.mark.parametrize("seed", range(4))
def test_palette_of_a_picture_of_many_colours_stands_for_it_nearly_as_well_as_plain_clusters(seed: int) -> None:
    picture = _photo(seed)
    palette = find_palette(picture)
    centres = np.array([colour.lab for colour in palette.colours] + ([palette.paper] if palette.paper else []))
    assert len(centres) >= 10
    pixels = picture.reshape(-1, 3)
    runs = [kmeans2(pixels, len(centres), minit="++", rng=np.random.default_rng(run), iter=20)[0] for run in range(3)]
    assert _squared_error(pixels, centres) ** 0.5 <= 1.15 * min(_squared_error(pixels, run) for run in runs) ** 0.5


def test_same_picture_gives_the_same_palette_and_a_turned_one_the_same_colours() -> None:
    picture = _photo(7)
    palette = find_palette(picture)
    assert find_palette(picture.copy()) == palette
    turned = find_palette(np.ascontiguousarray(np.rot90(picture)))
    first = np.array([colour.lab for colour in palette.colours])
    second = np.array([colour.lab for colour in turned.colours])
    assert delta_e_2000(first, second).max() < 0.5


def test_list_of_pixels_is_taken_without_an_arrangement() -> None:
    pixels = np.array([PAPER] * 80 + [BLUE] * 20)
    palette = find_palette(pixels)
    assert palette.paper == pytest.approx(PAPER)
    assert [colour.share for colour in palette.colours] == pytest.approx([0.2])


def test_large_picture_gives_the_palette_of_its_reduced_one() -> None:
    large = np.repeat(np.repeat(_photo(3)[::2, ::2], 8, axis=0), 8, axis=1)
    assert len(find_palette(large).colours) <= MOST_COLOURS


@pytest.mark.parametrize("shape", [(3,), (0, 3), (4, 4), (2, 2, 2, 3)])
def test_wrong_shape_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ColourError):
        find_palette(np.zeros(shape))


def test_missing_number_is_refused() -> None:
    with pytest.raises(ColourError):
        find_palette([[50.0, np.nan, 0.0]])
