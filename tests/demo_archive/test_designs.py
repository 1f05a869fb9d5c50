"""Designs keep their margin and their tints; pictures open, show bare paper, and come out the same every time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from demo_archive.camera import camera_for, paper_rgb
from demo_archive.designs import FAMILIES, draw_sheet, flat_colours
from demo_archive.drawing import dots
from demo_archive.pictures import WrittenPicture, conditions, truth_of, write_pictures
from demo_archive.press import luck, true_lab
from demo_archive.scenario import first_evening, scenario
from demo_archive.values import Layer, Printed, Scenario

WHOLE = scenario()


def _small(workshop: Scenario, long_side: int = 320) -> Scenario:
    """Return the workshop with small pictures, drawn by the same code in a tenth of the time."""
    return replace(workshop, pictures=tuple(replace(p, long_side=long_side) for p in workshop.pictures))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[WrittenPicture]]:
    folder = tmp_path_factory.mktemp("pictures")
    return folder, write_pictures(_small(WHOLE), folder)


def _sheet(design: str, page: int = 0) -> Printed:
    layers = (Layer("Kilnsong", None, 1, 1), Layer("Ferrywake", None, 1, 2))
    tints = ((100.0, 50.0, 20.0), (100.0, 60.0, 25.0))
    size = (420, 297) if page == 0 else (297, 420)
    return Printed(
        design, "Late Ferry, No Band", page, 3, layers, tints, "Oatleaf 120", "Upstairs", "FM", 3, 3, "R", "2020-01-01",
        size, 1,
    )  # fmt: skip


@pytest.mark.parametrize("design", sorted(FAMILIES))
@pytest.mark.parametrize("page", [0, 1, 2])
def test_every_design_uses_both_inks_and_leaves_the_edge_bare(design: str, page: int) -> None:
    size = (260, 368) if page == 0 else (368, 260)
    for layer in draw_sheet(_sheet(design, page), *size, with_drift=False):
        codes = np.asarray(layer)
        assert codes.max() > 0
        assert (codes > 0).mean() < 0.9
        edge = np.concatenate([codes[:6].ravel(), codes[-6:].ravel(), codes[:, :6].ravel(), codes[:, -6:].ravel()])
        assert edge.max() == 0


@pytest.mark.parametrize("design", sorted(FAMILIES))
def test_designs_draw_the_same_sheet_twice_and_other_seeds_differ(design: str) -> None:
    sheet = _sheet(design)
    one, again, other = (draw_sheet(s, 200, 283) for s in (sheet, sheet, replace(sheet, seed=9)))
    assert [layer.tobytes() for layer in one] == [layer.tobytes() for layer in again]
    if design != "chart":  # a test chart is the same for everyone
        assert [layer.tobytes() for layer in one] != [layer.tobytes() for layer in other]


def test_flat_colours_are_recipes_of_the_inks_own_tints() -> None:
    sheet = _sheet("tides")
    found = flat_colours(sheet)
    assert len(found) >= 4
    for tints, share in found:
        assert 0 < share < 1
        assert all(tint == 0 or tint in options for tint, options in zip(tints, sheet.tints, strict=True))


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_a_visible_screen_covers_what_it_is_asked_to(share: float) -> None:
    field = np.full((240, 240), share, dtype=np.float32)
    assert dots(field, 9.0, 30).mean() == pytest.approx(share, abs=0.06)


def test_all_pictures_are_written_as_jpeg_with_halved_colour(written: tuple[Path, list[WrittenPicture]]) -> None:
    folder, pictures = written
    assert len(pictures) == len(WHOLE.pictures)
    for picture in pictures:
        with Image.open(folder / picture.file) as opened:
            opened.load()
            assert (opened.format, opened.mode) == ("JPEG", "RGB")
            assert max(opened.size) == 320
            # ITU-T T.81: the first component sampled twice as densely each way is 4:2:0
            assert [component[1:3] for component in opened.layer] == [(2, 2), (1, 1), (1, 1)]  # type: ignore[attr-defined]


def test_every_picture_shows_bare_paper(written: tuple[Path, list[WrittenPicture]]) -> None:
    folder, pictures = written
    for planned, picture in zip(WHOLE.pictures, pictures, strict=True):
        job = planned.jobs[0][1]
        camera = camera_for(planned.camera, luck("shot", planned.file))
        bare = paper_rgb(job.paper, conditions(job, planned.taken_on, planned.copy), camera)
        with Image.open(folder / picture.file) as opened:
            pixels = np.asarray(opened, dtype=float).reshape(-1, 3)
        # the corners of a phone's picture are up to 16 % darker
        near = np.abs(pixels - np.array(bare)).max(axis=1) < 32
        assert near.mean() > 0.08, picture.file
        assert any(lab == picture.truth.paper_lab for lab, _ in picture.truth.colours)


def test_the_same_seed_writes_the_same_bytes_whatever_the_threads(tmp_path: Path) -> None:
    few = _small(replace(WHOLE, pictures=WHOLE.pictures[:160:23]))
    seen: list[tuple[int, int]] = []
    one = write_pictures(few, tmp_path / "one", lambda done, total: seen.append((done, total)), workers=1)
    two = write_pictures(few, tmp_path / "two", workers=2)
    assert one == two
    assert seen == [(n, len(few.pictures)) for n in range(1, len(few.pictures) + 1)]
    for picture in one:
        assert (tmp_path / "one" / picture.file).read_bytes() == (tmp_path / "two" / picture.file).read_bytes()


def test_a_picture_of_full_size_opens_at_its_size(tmp_path: Path) -> None:
    planned = WHOLE.pictures[0]
    write_pictures(replace(WHOLE, pictures=(planned,)), tmp_path)
    with Image.open(tmp_path / planned.file) as opened:
        assert max(opened.size) == planned.long_side
        assert opened.getexif()[0x0132].startswith(planned.taken_on.replace("-", ":"))


def test_the_truth_names_the_colour_of_the_largest_flat_area() -> None:
    planned = next(p for p in WHOLE.pictures if p.work == WHOLE.works[0].ref and p.framing == "close")
    job = planned.jobs[0][1]
    tints, _ = flat_colours(job)[0]
    layers = [replace(layer, tint=tint) for layer, tint in zip(job.layers, tints, strict=True) if tint]
    lab = true_lab(layers, job.paper, conditions(job, planned.taken_on, planned.copy))
    distances = [np.linalg.norm(np.array(found) - lab) for found, _ in truth_of(planned).colours[:3]]
    assert min(distances) < 0.01


def test_first_evening_pictures_are_written_too(tmp_path: Path) -> None:
    evening = _small(first_evening(), 240)
    few = replace(evening, pictures=evening.pictures[::12])
    for picture in write_pictures(few, tmp_path):
        with Image.open(tmp_path / picture.file) as opened:
            assert max(opened.size) == 240
