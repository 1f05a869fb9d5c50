"""Frames of one poster: joined when it can be proven, else left as parts."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from archive.errors import InputError
from archive.imaging.join import Joined, NotJoined, join_frames, joined_picture
from tests.studio import lens

A1 = (594.0, 841.0)
FLAT_PX = 1.8  # pixels of the flat poster to a millimetre
Frames = list[NDArray[np.uint8]]


def poster(seed: int = 1) -> lens.Light:
    """Return a poster with many unlike shapes."""
    rng = np.random.default_rng(seed)
    height, width = round(A1[1] * FLAT_PX), round(A1[0] * FLAT_PX)
    flat = np.full((height, width, 3), 0.82, np.float32)
    for _ in range(320):
        x, y, size = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(5, 55)
        colour = tuple(float(v) for v in rng.uniform(0.05, 0.8, 3))
        corners = np.array([x, y]) + rng.uniform(-size, size, (int(rng.integers(3, 6)), 2))
        cv2.fillPoly(flat, [np.round(corners).astype(np.int32)], colour)
    return flat


def tiled(motif_mm: float = 30.0) -> lens.Light:
    """Return a poster that repeats one motif all over."""
    side = round(motif_mm * FLAT_PX)
    motif = cv2.resize(poster(2)[200:440, 200:440], (side, side), interpolation=cv2.INTER_AREA)
    return np.tile(motif, (round(A1[1] / motif_mm) + 1, round(A1[0] / motif_mm) + 1, 1))


def four_frames(
    flat: lens.Light, overlap: float, *, size: tuple[int, int] = (640, 880)
) -> tuple[Frames, list[lens.View]]:
    """Return four photographs of the poster's quarters, neighbours sharing a part of each frame, and their views."""
    rng = np.random.default_rng(5)
    step = A1[0] / (2 - overlap) * (1 - overlap), A1[1] / (2 - overlap) * (1 - overlap)
    fine = size[0] / (A1[0] / (2 - overlap))
    frames, views = [], []
    for row in (-0.5, 0.5):
        for column in (-0.5, 0.5):
            view = lens.View(*size, fine, float(rng.uniform(0, 3)), float(rng.uniform(0, 360)), float(rng.normal(0, 1)),
                             (column * step[0], row * step[1]))  # fmt: skip
            light = lens.place(np.full((size[1], size[0], 3), 0.1, np.float32), flat,
                               view.project(lens.rectangle(*A1)), supersample=1)  # fmt: skip
            frames.append(lens.opened(lens.Shot(exposure=float(rng.uniform(0.85, 1))).jpeg(light, rng)))
            views.append(view)
    return frames, views


@pytest.fixture(scope="module")
def overlapping() -> tuple[Frames, list[lens.View]]:
    return four_frames(poster(), 0.35)


def test_four_frames_with_a_third_of_overlap_are_joined_to_a_millimetre(
    overlapping: tuple[Frames, list[lens.View]],
) -> None:
    frames, views = overlapping
    joined = join_frames(frames, mm_per_px=1 / views[0].px_per_mm)
    assert isinstance(joined, Joined), joined
    assert joined.residual_mm <= 1.0
    # The truth: a point on the table that two cameras saw must come to one place, and near where the first has it.
    for one, other in ((0, 1), (0, 2), (1, 3), (2, 3)):
        shared = (np.array(views[one].look_at_mm) + views[other].look_at_mm) / 2 + [[0, 0], [20, 30], [-20, -30]]
        places = [lens.moved(joined.transforms[at], views[at].project(shared)) for at in (one, other)]
        assert np.linalg.norm(places[0] - places[1], axis=1).max() / views[0].px_per_mm < joined.residual_mm + 0.3
    for view, matrix in zip(views, joined.transforms, strict=True):
        at = np.array([[0, 0], [60, 40], [-60, 40], [60, -80]]) + view.look_at_mm
        off = np.linalg.norm(lens.moved(matrix, view.project(at)) - views[0].project(at), axis=1)
        assert off.max() / views[0].px_per_mm < 0.005 * A1[1], "half a percent of the poster's height"


def test_the_join_is_the_same_on_every_run(overlapping: tuple[Frames, list[lens.View]]) -> None:
    frames, views = overlapping
    once, again = (join_frames(frames[:2], mm_per_px=1 / views[0].px_per_mm) for _ in range(2))
    assert isinstance(once, Joined)
    assert isinstance(again, Joined)
    assert (once.transforms == again.transforms).all()


def test_the_joined_picture_shows_the_whole_poster(overlapping: tuple[Frames, list[lens.View]]) -> None:
    frames, views = overlapping
    joined = join_frames(frames[:2], mm_per_px=1 / views[0].px_per_mm)
    assert isinstance(joined, Joined)
    picture = joined_picture(frames[:2], joined)
    assert picture.shape[1] == pytest.approx(frames[0].shape[1] * 1.65, rel=0.03)
    assert picture.dtype == np.uint8


def test_four_frames_with_15_percent_of_overlap_stay_parts() -> None:
    frames, views = four_frames(poster(), 0.15)
    assert isinstance(join_frames(frames, mm_per_px=1 / views[0].px_per_mm), NotJoined)


def test_a_motif_that_repeats_is_not_joined_by_luck() -> None:
    frames, views = four_frames(tiled(), 0.35)
    found = join_frames(frames[:2], mm_per_px=1 / views[0].px_per_mm)
    assert isinstance(found, NotJoined)


def test_frames_of_two_posters_stay_parts(overlapping: tuple[Frames, list[lens.View]]) -> None:
    frames, views = overlapping
    other, _ = four_frames(poster(9), 0.35)
    assert isinstance(join_frames([frames[0], other[1]], mm_per_px=1 / views[0].px_per_mm), NotJoined)


def test_blank_frames_stay_parts() -> None:
    blank = np.full((400, 500, 3), 230, np.uint8)
    assert isinstance(join_frames([blank, blank], mm_per_px=0.4), NotJoined)


def test_one_frame_is_no_join() -> None:
    with pytest.raises(InputError, match="at least two"):
        join_frames([np.zeros((100, 100, 3), np.uint8)], mm_per_px=0.4)
