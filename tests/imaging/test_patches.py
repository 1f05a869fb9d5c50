"""Reading patches, paper and flat areas from corrected pictures drawn here in plain numpy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import lab_to_xyz
from archive.errors import InputError
from archive.imaging.patches import (
    LightPicture,
    flat_areas,
    lost_in_file,
    paper_of,
    read_point,
    read_region,
)

PAPER = np.array([93.0, 0.5, 6.0])
MM = 0.15  # millimetres a pixel, about 170 pixels an inch
INKS = {"Kilnsong": (52.0, 60.0, 40.0), "Ferrywake": (45.0, -8.0, -42.0), "Nettlecoat": (55.0, -45.0, 25.0)}


def sheet(height_mm: float, width_mm: float, lab: object = PAPER) -> np.ndarray:
    """Return the light of a plain sheet."""
    shape = round(height_mm / MM), round(width_mm / MM), 3
    return np.broadcast_to(lab_to_xyz(lab), shape).astype(np.float32).copy()  # type: ignore[arg-type]


def paint(xyz: np.ndarray, lab: object, left: float, top: float, right: float, bottom: float) -> None:
    """Lay a flat colour on the sheet; edges in millimetres."""
    rows, columns = (slice(round(a / MM), round(b / MM)) for a, b in ((top, bottom), (left, right)))
    xyz[rows, columns] = lab_to_xyz(lab)  # type: ignore[arg-type]


def px(*edges_mm: float) -> tuple[float, float, float, float]:
    left, top, right, bottom = (edge / MM for edge in edges_mm)
    return left, top, right, bottom


def close(lab: object, other: object, most: float) -> bool:
    return float(delta_e_2000(lab, other)) <= most  # type: ignore[arg-type]


# --- One patch


def test_a_flat_patch_reads_as_it_is() -> None:
    xyz = sheet(30, 30)
    paint(xyz, INKS["Ferrywake"], 5, 5, 25, 25)
    reading = read_region(LightPicture(xyz, MM), px(5, 5, 25, 25), drift_mm=0.7)
    assert reading.lab == pytest.approx(INKS["Ferrywake"], abs=0.01)
    assert (reading.spread, reading.flags, reading.usable) == (pytest.approx(0, abs=0.01), (), True)
    assert reading.areas == 9


def test_a_drift_of_the_drums_is_kept_out() -> None:
    xyz = sheet(30, 30)
    paint(xyz, INKS["Ferrywake"], 7, 7, 27, 27)  # printed 2 mm off
    picture = LightPicture(xyz, MM)
    assert read_region(picture, px(5, 5, 25, 25), drift_mm=2.0).lab == pytest.approx(INKS["Ferrywake"], abs=0.01)
    assert "uneven" in read_region(picture, px(5, 5, 25, 25)).flags


@pytest.mark.parametrize("angle", [0, 45])
def test_a_screens_dots_are_averaged_as_light(angle: int) -> None:
    # 71 lines an inch: cells of 0.36 mm, half of each inked; the eye, and an instrument, see the mean of the light.
    xyz = sheet(20, 20)
    y, x = np.mgrid[: xyz.shape[0], : xyz.shape[1]] * MM * 2 * np.pi * 71 / 25.4
    turn = np.radians(angle)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    inked = np.cos(u) + np.cos(v) < 0
    xyz[inked] = lab_to_xyz(INKS["Kilnsong"])
    share = inked[40:-40, 40:-40].mean()
    light = share * lab_to_xyz(INKS["Kilnsong"]) + (1 - share) * lab_to_xyz(PAPER)
    reading = read_region(LightPicture(xyz, MM), px(2, 2, 18, 18))
    found = lab_to_xyz(reading.lab)
    assert found == pytest.approx(light, rel=0.02)
    assert reading.usable


def test_a_speck_of_dust_does_not_move_the_colour() -> None:
    xyz = sheet(12, 12, INKS["Nettlecoat"])
    paint(xyz, PAPER, 2, 2, 3, 3)
    reading = read_region(LightPicture(xyz, MM), px(1, 1, 11, 11))
    assert reading.lab == pytest.approx(INKS["Nettlecoat"], abs=0.01)
    assert reading.spread > 0


def test_ten_cells_must_fit_inside_the_drift() -> None:
    picture = LightPicture(sheet(20, 20), MM)
    # 10 cells at 71 lines an inch are 3.58 mm.
    assert read_region(picture, px(5, 5, 8.7, 8.7)).usable
    assert read_region(picture, px(5, 5, 8.4, 8.4)).flags == ("too small",)
    assert read_region(picture, px(5, 5, 8.4, 8.4), lpi=106).usable
    assert read_region(picture, px(5, 5, 9, 9), drift_mm=0.7).flags == ("too small",)
    vanished = read_region(picture, px(5, 5, 9, 9), drift_mm=3)
    assert not vanished.usable
    assert vanished.lab == pytest.approx(PAPER, abs=0.01)


def test_scenario_8_a_cockled_sheet_is_marked_uneven_with_its_spread() -> None:
    xyz = sheet(30, 30, INKS["Ferrywake"])
    wave = 1 + 0.2 * np.sin(np.arange(xyz.shape[1]) * MM / 12 * 2 * np.pi)
    reading = read_region(LightPicture((xyz * wave[None, :, None]).astype(np.float32), MM), px(5, 5, 25, 25))
    assert reading.flags == ("uneven",)
    assert reading.spread > 1.0
    assert reading.usable
    half = sheet(30, 30)
    paint(half, INKS["Kilnsong"], 0, 0, 15, 30)
    assert not read_region(LightPicture(half, MM), px(5, 5, 25, 25)).usable


def test_scenario_25_a_fluorescent_patch_with_a_channel_near_the_top_is_out_of_range() -> None:
    encoded = np.full((200, 200, 3), 120, np.uint8)
    encoded[:100, :, 0] = 251  # 98.4 % of full scale
    encoded[100:, :, 0] = 249
    clipped, out_of_range = lost_in_file(encoded)
    picture = LightPicture(sheet(30, 30, INKS["Kilnsong"]), MM, clipped, out_of_range)
    hot = read_region(picture, (10, 10, 90, 90))
    assert (hot.flags, hot.usable) == (("out of range",), False)
    assert read_region(picture, (10, 110, 90, 190)).usable


def test_clipped_and_crushed_pixels_are_told_in_8_and_16_bits() -> None:
    deep = np.full((4, 4, 3), 30000, np.uint16)
    deep[0, 0, 1], deep[0, 1, 2], deep[1, 1, 0] = 65535, 0, 64500
    clipped, out_of_range = lost_in_file(deep)
    assert np.argwhere(clipped).tolist() == [[0, 0]]
    assert np.argwhere(out_of_range).tolist() == [[0, 0], [0, 1], [1, 1]]
    picture = LightPicture(sheet(10, 10), MM, np.ones((67, 67), bool))
    assert "clipped" in read_region(picture, px(2, 2, 8, 8)).flags


def test_a_patch_across_a_gutter_is_not_usable() -> None:
    gutter = np.zeros((200, 200), bool)
    gutter[:, 90:110] = True
    picture = LightPicture(sheet(30, 30), MM, gutter=gutter)
    assert read_region(picture, (60, 60, 120, 120)).flags == ("gutter",)
    assert read_region(picture, (20, 60, 80, 120)).usable


def test_a_point_is_read_over_ten_cells_or_the_radius_asked_for() -> None:
    xyz = sheet(30, 30)
    paint(xyz, INKS["Kilnsong"], 10, 10, 16, 16)
    picture = LightPicture(xyz, MM)
    reading = read_point(picture, 13 / MM, 13 / MM)
    assert reading.lab == pytest.approx(INKS["Kilnsong"], abs=0.01)
    assert reading.usable
    assert read_point(picture, 13 / MM, 13 / MM, radius_mm=1).flags == ("too small",)


def test_places_outside_the_picture_are_told() -> None:
    picture = LightPicture(sheet(10, 10), MM)
    with pytest.raises(InputError, match="leaves the picture"):
        read_point(picture, 1, 1)
    with pytest.raises(InputError, match="is empty"):
        read_region(picture, (20, 20, 20, 40))


# --- Paper and proposals


def poster() -> LightPicture:
    """Return a sheet with three flats, one of them twice, a slow gradient, a thin bar and noise."""
    xyz = sheet(200, 150)
    paint(xyz, INKS["Kilnsong"], 15, 15, 70, 60)
    paint(xyz, INKS["Ferrywake"], 80, 20, 130, 50)
    paint(xyz, INKS["Ferrywake"], 20, 170, 40, 185)
    paint(xyz, INKS["Nettlecoat"], 20, 80, 50, 110)
    paint(xyz, INKS["Nettlecoat"], 10, 130, 140, 132)  # too thin to be read
    rows, columns = slice(round(75 / MM), round(125 / MM)), slice(round(70 / MM), round(140 / MM))
    ramp = np.linspace(0, 1, columns.stop - columns.start)[None, :, None]
    xyz[rows, columns] = (1 - ramp) * lab_to_xyz(PAPER) + ramp * lab_to_xyz((30.0, 0.0, 0.0))
    noise = np.random.default_rng(2).normal(1, 0.02, xyz.shape)
    return LightPicture((xyz * noise).astype(np.float32), MM)


def test_the_paper_of_a_picture_is_read() -> None:
    paper = paper_of(poster())
    assert paper is not None
    assert close(paper.lab, PAPER, 0.5)
    assert paper.is_sure
    assert 0.3 < paper.share < 0.95
    assert paper_of(LightPicture(sheet(30, 30, (20.0, 0, 0)), MM)) is None


def test_clipped_bare_paper_has_no_say() -> None:
    picture = poster()
    burnt = picture.xyz.copy()
    burnt[:200] = lab_to_xyz((96.0, 0.0, 2.0))
    clipped = np.zeros(burnt.shape[:2], bool)
    clipped[:200] = True
    paper = paper_of(replace(picture, xyz=burnt, clipped=clipped))
    assert paper is not None
    assert close(paper.lab, PAPER, 0.5)


def test_flat_colours_are_proposed_once_each_and_largest_first() -> None:
    areas = flat_areas(poster())
    for area, name in zip(areas, ("Kilnsong", "Ferrywake", "Nettlecoat"), strict=False):
        assert close(area.reading.lab, INKS[name], 0.5)
        assert area.reading.usable
    flats = [area for area in areas if min(abs(area.reading.lab[1]), 99) > 5]
    assert len(flats) == 3
    assert areas[1].places == 2
    # The middle of Kilnsong's flat lies at 42.5 of 150 mm and 37.5 of 200 mm; edges blend over a few millimetres.
    left, top, right, bottom = areas[0].region
    assert 15 / 150 < left < right < 70 / 150
    assert 15 / 200 < top < bottom < 60 / 200
    assert areas[0].width_mm == pytest.approx(55, abs=6)
    assert areas[0].height_mm == pytest.approx(45, abs=6)


def test_a_slow_gradient_and_bare_paper_are_not_proposed() -> None:
    for area in flat_areas(poster()):
        assert area.reading.spread < 1.0
        assert not close(area.reading.lab, PAPER, 3.0)


def test_clipped_and_shaded_flats_are_not_proposed() -> None:
    picture = poster()
    gutter = np.zeros(picture.xyz.shape[:2], bool)
    gutter[:, : round(75 / MM)] = True
    areas = flat_areas(replace(picture, gutter=gutter))
    assert all(area.region[0] >= 0.5 for area in areas)
    assert close(areas[0].reading.lab, INKS["Ferrywake"], 0.5)


def test_an_all_over_flat_is_proposed_and_an_empty_sheet_proposes_nothing() -> None:
    assert flat_areas(LightPicture(sheet(60, 60), MM)) == ()
    full = flat_areas(LightPicture(sheet(60, 60, INKS["Ferrywake"]), MM), paper_lab=tuple(PAPER))
    assert len(full) == 1
    assert full[0].width_mm == pytest.approx(60, abs=1)
