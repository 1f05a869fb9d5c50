"""White-sheet shots judged, and uneven light taken out, against the renderer's own fields of light."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import D50_WHITE, xyz_to_lab
from archive.errors import InputError
from archive.imaging.fall_off import FallOff, apply_fall_off, fall_off_from_paper
from archive.imaging.linear import LinearPicture, read_linear
from archive.imaging.white_frame import WhiteFrame, judge_white
from tests.studio import lens

SIZE = (900, 1200)  # rows and columns
Light = NDArray[np.float32]


def sheet() -> Light:
    return np.ones((*SIZE, 3), np.float32)


def shot_of(light: Light, seed: int = 3, **how: object) -> LinearPicture:
    plain = {"exposure": 0.8, "loss": 0.3, "lean": 0.06, "defocus_px": 0.8, "quality": 92}
    shot = lens.Shot(**(plain | how))  # type: ignore[arg-type]
    return read_linear(shot.jpeg(light, np.random.default_rng(seed)), name="white.jpg")


@lru_cache(maxsize=1)
def good() -> WhiteFrame:
    return judge_white(shot_of(sheet()))


def true_field(loss: float = 0.3, lean: float = 0.06) -> Light:
    field = lens.fall_off(SIZE, loss) * lens.lamps(SIZE, lean)
    return np.asarray(field / field.max(), np.float32)


# --- judged -------------------------------------------------------------------------------------------------


def test_a_smooth_fall_off_of_a_third_is_corrected_and_not_refused() -> None:
    frame = good()
    assert 0.25 < frame.fall_off.fall < 0.4
    assert frame.notices == ()
    field = frame.fall_off.over((SIZE[1], SIZE[0]))
    assert np.abs(field - true_field()[..., None]).max() < 0.02


def test_a_white_frame_with_four_percent_clipped_is_refused_with_the_stops_to_take_away() -> None:
    # Scenario 1 of the trade's list, its words included.
    field = lens.fall_off(SIZE, 0.3) * lens.lamps(SIZE, 0.06)
    exposure = 0.955 / float(np.quantile(field, 0.96))  # what counts as clipped: 0.98 encoded is 0.955 of light
    picture = shot_of(sheet(), exposure=exposure, full_well=None)
    assert 0.03 < picture.clipped.mean() < 0.07
    with pytest.raises(InputError) as refused:
        judge_white(picture)
    assert "too bright: lower exposure about 1/3 stop" in refused.value.what


def test_four_percent_burnt_out_in_one_place_are_refused_too() -> None:
    light = np.full((*SIZE, 3), 0.85, np.float32)
    light[:180, :240] = 3.0
    with pytest.raises(InputError, match="too bright: lower exposure about 1/3 stop"):
        judge_white(shot_of(light, exposure=1.0, loss=0.0, lean=0.0))


@pytest.mark.parametrize(("exposure", "words"), [(1.1, "2/3 stop"), (3.0, "1 stop or more")])
def test_the_more_is_clipped_the_more_light_is_to_go(exposure: float, words: str) -> None:
    with pytest.raises(InputError) as refused:
        judge_white(shot_of(sheet(), exposure=exposure, loss=0.5))
    assert f"about {words}" in refused.value.what


def test_a_dark_shot_is_refused_with_the_stops_to_add() -> None:
    with pytest.raises(InputError, match="too dark: raise exposure about 4 stops"):
        judge_white(shot_of(sheet(), exposure=0.05, loss=0.1, lean=0.0))


def test_light_that_falls_off_too_far_is_refused() -> None:
    with pytest.raises(InputError, match="too uneven"):
        judge_white(shot_of(sheet(), loss=0.5, lean=0.6))


@pytest.mark.parametrize("what", ["print", "pale print", "line", "table beside it"])
def test_a_sheet_that_is_not_blank_is_refused(what: str) -> None:
    light = sheet()
    if what == "print":
        light[200:500, 300:700] *= np.array([0.9, 0.5, 0.4], np.float32)
    elif what == "pale print":
        light[200:500, 300:700] *= np.array([0.97, 0.93, 0.9], np.float32)
    elif what == "line":
        light[:, 500:508] *= 0.6
    else:
        light[:, :90] *= 0.3
    with pytest.raises(InputError, match="not blank"):
        judge_white(shot_of(light))


def test_dust_is_smoothed_away_and_told() -> None:
    light, rng = sheet(), np.random.default_rng(5)
    for y, x in rng.integers(30, 860, (12, 2)):
        light[y : y + 7, x : x + 7] *= 0.5
    frame = judge_white(shot_of(light))
    assert [notice.code for notice in frame.notices] == ["white_dust"]
    assert 9 <= frame.dust <= 12  # two specks may touch
    clean = good().fall_off.over((SIZE[1], SIZE[0]))
    assert np.abs(frame.fall_off.over((SIZE[1], SIZE[0])) - clean).max() < 0.01


def test_a_strong_cast_is_told() -> None:
    frame = judge_white(shot_of(sheet(), gains=(1.0, 0.8, 0.45)))
    (notice,) = frame.notices
    assert notice.code == "white_cast"
    assert "yellow" in str(notice)


def test_a_cockled_sheet_is_taken_and_its_waves_stay_out_of_the_field() -> None:
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    waves = 1 + 0.02 * np.sin(x / 30 + y / 90)
    frame = judge_white(shot_of(sheet() * waves[..., None].astype(np.float32)))
    assert np.abs(frame.fall_off.over((SIZE[1], SIZE[0])) - true_field()[..., None]).max() < 0.03


# --- taken out ----------------------------------------------------------------------------------------------

_LUCK = np.random.default_rng(8)
PATCHES = _LUCK.uniform(0.06, 0.7, (60, 1)) * _LUCK.uniform(0.8, 1.2, (60, 3))  # as shares of white's X, Y and Z


def _errors(field: Light, fall_off: FallOff | None) -> NDArray[np.float64]:
    """Return dE00 of patches strewn over a picture lit by a field, the brightest place being right."""
    places = np.random.default_rng(9).integers([0, 0], SIZE, (60, 2))
    lit = PATCHES * field[tuple(places.T)][:, None]
    if fall_off is not None:
        gains = fall_off.over((SIZE[1], SIZE[0]))[tuple(places.T)]
        lit = lit / gains
    return delta_e_2000(xyz_to_lab(lit * D50_WHITE), xyz_to_lab(PATCHES * D50_WHITE))


def test_fall_off_of_thirty_percent_hardly_shifts_colours_once_it_is_taken_out() -> None:
    # Tried beforehand with a whole camera: 2.13 uncorrected, 0.69 with a white shot, of which the camera alone is
    # most; here there is no camera, so that what is left is the field's own error.
    field = true_field()
    uncorrected, corrected = _errors(field, None), _errors(field, good().fall_off)
    assert uncorrected.mean() > 2.0
    assert corrected.mean() < 0.3
    assert corrected.max() < 1.0


def test_the_papers_border_gives_the_fall_off_where_there_is_no_white_shot() -> None:
    light = sheet() * 0.8
    light[180:720, 240:960] = 0.2
    bare = np.zeros(SIZE, bool)
    bare[60:840, 80:1120] = True
    bare[170:730, 230:970] = False
    picture = shot_of(light, exposure=0.9)
    fall_off = fall_off_from_paper(picture.light, bare)
    assert fall_off.source == "paper"
    field = true_field()
    inside = np.zeros(SIZE, bool)
    inside[60:840, 80:1120] = True
    ratio = (fall_off.over((SIZE[1], SIZE[0]))[..., 1] / field)[inside]
    assert np.ptp(ratio) < 0.04
    errors = _errors(field / float(np.median(1 / ratio)), fall_off)
    assert np.median(errors) < 0.6


@pytest.mark.parametrize("where", [(slice(0, 60), slice(0, 1200)), (slice(0, 300), slice(0, 250)), (slice(0, 0),) * 2])
def test_paper_at_one_side_only_tells_nothing_of_the_light(where: tuple[slice, slice]) -> None:
    bare = np.zeros(SIZE, bool)
    bare[where] = True
    with pytest.raises(InputError, match="too little bare paper"):
        fall_off_from_paper(sheet(), bare)


def test_specks_on_the_paper_do_not_bend_the_fall_off() -> None:
    bare = np.ones(SIZE, bool)
    clean = fall_off_from_paper(sheet() * true_field()[..., None], bare)
    spoilt = sheet() * true_field()[..., None]
    spoilt[100:160, 100:260] *= 0.4
    assert np.abs(fall_off_from_paper(spoilt, bare).knots - clean.knots).max() < 0.01


def test_a_field_serves_pictures_of_any_size_of_the_same_shape() -> None:
    lit = np.asarray(true_field()[..., None] * np.full(3, 0.5), np.float32)
    for step in (1, 3):
        even = apply_fall_off(lit[::step, ::step], good().fall_off)
        assert np.ptp(even) < 0.03


def test_rows_of_a_field_are_those_of_the_whole() -> None:
    fall_off = good().fall_off
    whole = fall_off.over((640, 480))
    assert (fall_off.over((640, 480), rows=(100, 164)) == whole[100:164]).all()


def test_a_picture_held_the_other_way_round_is_refused() -> None:
    with pytest.raises(InputError, match="another shape"):
        apply_fall_off(np.ones((1200, 900, 3), np.float32), good().fall_off, name="frame.jpg")


def test_a_field_is_kept_as_plain_values() -> None:
    fall_off = good().fall_off
    again = FallOff.from_plain(fall_off.to_plain())
    assert np.abs(again.knots - fall_off.knots).max() < 1e-5
    assert (again.source, again.aspect) == ("white shot", pytest.approx(4 / 3, abs=1e-4))
