"""What is told about a frame, on photographs spoilt one way at a time, and never about good ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.imaging.frame_check import check_frame, strongest_edges
from tests.studio import lens, tables

GOOD = tables.Setting(picture=(1100, 825), has_card=False, turn_deg=3.0, tilt_deg=3.0, shot=lens.Shot(exposure=0.9))


def photo_of(setting: tables.Setting = GOOD, *, seed: int = 1) -> tables.Photo:
    return tables.photograph(setting, np.random.default_rng(seed))


def codes(photo: tables.Photo, **more: float) -> set[str]:
    return {warning.code for warning in check_frame(photo.rgb, photo.sheet, **more)}  # type: ignore[arg-type]


def spoilt(shot: lens.Shot, *, seed: int = 1) -> set[str]:
    return codes(photo_of(replace(GOOD, shot=shot), seed=seed))


def test_nothing_is_told_about_good_frames() -> None:
    told = [codes(photo_of(replace(GOOD, design=design, table=table), seed=seed))
            for seed, (design, table) in enumerate([("blocks", "grey"), ("text", "cork"), ("bleed", "dark wood"),
                                                    ("blank", "grey"), ("field", "light wood")])]  # fmt: skip
    assert told == [set()] * 5


@pytest.mark.parametrize("shot", [lens.Shot(exposure=0.9, defocus_px=5.0), lens.Shot(exposure=0.9, motion_px=9.0)])
def test_blur_is_told_whether_out_of_focus_or_shaken(shot: lens.Shot) -> None:
    assert "blurred" in spoilt(shot)


@pytest.mark.parametrize("angle", [0, 90])
def test_a_shake_is_measured_across_its_movement(angle: float) -> None:
    photo = photo_of(
        replace(
            GOOD,
            turn_deg=0.0,
            tilt_deg=0.0,
            design="blank",
            shot=lens.Shot(exposure=0.9, motion_px=8.0, motion_deg=angle),
        )
    )
    width = strongest_edges(photo.rgb, photo.sheet, full=photo.rgb).width_px
    # A box of 8 pixels rises from 10 to 90 % over 6.4; the slope's width at half its height is all of it.
    assert width == pytest.approx(8, abs=2.5)


def test_blur_below_a_screens_cell_is_no_harm() -> None:
    photo = photo_of(replace(GOOD, shot=lens.Shot(exposure=0.9, defocus_px=4.0)))
    assert "blurred" in codes(photo)
    assert "blurred" not in codes(photo, mm_per_px=0.02)


def test_clipped_paper_is_told_with_its_mend() -> None:
    photo = photo_of(replace(GOOD, shot=lens.Shot(exposure=1.35)))
    warning = next(each for each in check_frame(photo.rgb, photo.sheet) if each.code == "clipped")
    assert "stop" in warning.mend


def with_glare(photo: tables.Photo, radius: int) -> NDArray[np.uint8]:
    """Return the photograph with a lamp's soft reflection laid over the middle of the sheet."""
    x, y = photo.sheet.mean(axis=0)
    away = np.hypot(*(np.mgrid[0 : photo.rgb.shape[0], 0 : photo.rgb.shape[1]] - np.array([y, x])[:, None, None]))
    shine = 400 / (1 + (away / radius) ** 4)
    return np.clip(photo.rgb + shine[..., None], 0, 255).astype(np.uint8)


def test_a_lamps_reflection_is_glare_and_not_clipping() -> None:
    photo = photo_of(replace(GOOD, design="blocks", shot=lens.Shot(exposure=0.8)))
    found = {warning.code for warning in check_frame(with_glare(photo, 20), photo.sheet)}
    assert "glare" in found


def test_a_dark_picture_is_told() -> None:
    assert "too_dark" in spoilt(lens.Shot(exposure=0.1))


@pytest.mark.parametrize(("tilt", "is_told"), [(6.0, False), (15.0, True)])
def test_a_leaning_camera_is_told_with_its_degrees(tilt: float, is_told: bool) -> None:
    photo = photo_of(replace(GOOD, tilt_deg=tilt))
    warnings = [each for each in check_frame(photo.rgb, photo.sheet) if each.code == "tilted"]
    assert bool(warnings) == is_told
    assert all("15 degrees" in each.what for each in warnings)


@pytest.mark.parametrize(
    ("ppi", "code"),
    # Two pixels a cell: 71 lpi needs 142 pixels an inch, 106 lpi 212.
    [(141, "too_few_pixels"), (143, "moire_risk"), (211, "moire_risk"), (213, None)],
)
def test_pixels_an_inch_are_held_against_the_screens(ppi: float, code: str | None) -> None:
    photo = photo_of()
    assert codes(photo, mm_per_px=25.4 / ppi) == ({code} if code else set())


def test_sharpness_is_judged_on_the_original_and_not_on_the_draft() -> None:
    import cv2

    photo = photo_of(replace(GOOD, shot=lens.Shot(exposure=0.9, defocus_px=6.0)))
    draft = np.asarray(cv2.resize(photo.rgb, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), np.uint8)
    assert "blurred" in {each.code for each in check_frame(draft, photo.sheet, full=photo.rgb)}
    assert "blurred" not in {each.code for each in check_frame(draft, photo.sheet / 4)}
