"""Sittings: a white sheet, a colour card, and frames whose colours are as true as the sitting claims.

The stand is rendered from spectra through a published camera (`tests/studio/storeroom.py`), which shares nothing with
what is tested; differences are CIEDE2000 as colour-science computes it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, Frame, Measurement, Picture, Sitting, Work
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.check import check_archive
from archive.services.counts import count_records
from archive.services.lookup import find_record
from archive.services.place_states import quarantine
from archive.services.records import add_record
from archive.services.sitting_take import FrameOutcome, TakeOptions, TakeReport, take_frames
from archive.services.sittings import NewSitting, SittingCard, close_sitting, list_sittings, open_sitting
from archive.services.swatches import Region, SwatchReading, read_swatch, save_swatch
from tests.acts import act
from tests.services.keeping import add, enter, undo
from tests.services.make import enter_house
from tests.studio import camera
from tests.studio.storeroom import CARD_MM, Print, Shot, Stand, random_print, written

STAND = Stand()


@dataclass(frozen=True)
class Desk:
    """A folder with the shots of a stand, and the truth about the prints."""

    folder: Path
    prints: dict[str, tuple[Print, Shot]]

    def __getitem__(self, name: str) -> Path:
        return self.folder / f"{name}.jpg"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Return the white sheet, the card, four prints, one of them twice and one of them in other inks."""
    folder = tmp_path_factory.mktemp("stand")
    written(folder / "white.jpg", STAND.white())
    written(folder / "card.jpg", STAND.card().jpeg)
    prints: dict[str, tuple[Print, Shot]] = {}
    for name, print_, more in (
        ("tides", random_print(0), {}),
        ("choir", random_print(1), {"turn_deg": 2.0}),
        ("lamp", random_print(2), {"turn_deg": 178.0}),
        ("tides again", random_print(0), {"turn_deg": 3.0, "shot": 1}),
        ("tides green", random_print(0, pair=4), {"turn_deg": -2.0, "shot": 2}),
    ):
        shot = STAND.sheet(print_, **more)  # type: ignore[arg-type]
        written(folder / f"{name}.jpg", shot.jpeg, taken=f"2025-03-14 10:{len(prints):02}:00")
        prints[name] = (print_, shot)
    return Desk(folder, prints)


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    enter_house(catalogue)
    return catalogue


def opened(catalogue: Catalogue, desk: Desk, **more: Any) -> SittingCard:
    new = NewSitting(**{"white": desk["white"], "card": desk["card"], "card_mm": CARD_MM, **more})
    return open_sitting(catalogue, new, act("open a sitting"))


def take(catalogue: Catalogue, *paths: Path, **options: Any) -> TakeReport:
    return take_frames(catalogue, paths, act("take frames"), TakeOptions(**options))


def read(catalogue: Catalogue, frame: FrameOutcome, point: Any, radius_px: float = 14) -> SwatchReading:
    with catalogue.read() as session:
        region = Region(float(point[0]), float(point[1]), radius_px)
        return read_swatch(session, catalogue.files, frame.picture or "", region)


def codes(frame: FrameOutcome) -> set[str]:
    return {warning["code"] for warning in frame.warnings} - {"too_few_pixels"}


def rows(catalogue: Catalogue, model: Any) -> int:
    with catalogue.read() as session:
        return session.scalar(select(func.count()).select_from(model)) or 0


# --- opening


def test_a_good_white_sheet_and_card_open_a_sitting_with_one_verdict(house: Catalogue, desk: Desk) -> None:
    found = opened(house, desk)
    assert found.verdict == "good for recipes"
    assert found.claim is not None
    assert 0 < found.claim < 3
    assert found.card is not None
    assert (found.card["turn"], found.card["by_hand"]) == (0, False)
    names = {criterion["name"] for criterion in found.criteria}
    assert {"colour, mean", "colour, worst", "white balance"} <= names
    assert all(criterion["limits"] and criterion["formula"] for criterion in found.criteria)
    assert "sampling efficiency" in found.not_measured  # counted, never graded
    with house.read() as session:
        assert [each.ref for each in list_sittings(session)] == [found.ref]
    assert [damage.code for damage in check_archive(house) if damage.is_harm] == []  # its two shots are named


def test_scenario_1_a_white_sheet_with_clipped_pixels_is_refused_with_the_mend(
    house: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    bright = written(tmp_path / "bright.jpg", STAND.white(exposure=1.09))
    clipped = (np.asarray(Image.open(bright)).max(axis=2) >= 250).mean()
    assert clipped > 0.04
    with pytest.raises(InputError, match=r"too bright: lower exposure about \d/3 stop"):
        opened(house, desk, white=bright)
    assert rows(house, Sitting) == 0


def test_a_white_sheet_that_is_dark_or_not_blank_is_refused(house: Catalogue, desk: Desk, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="too dark: raise exposure"):
        opened(house, desk, white=written(tmp_path / "dark.jpg", STAND.white(exposure=0.08)))
    with pytest.raises(InputError, match="not blank"):
        opened(house, desk, white=written(tmp_path / "mark.jpg", STAND.white(mark=True)))
    assert rows(house, Sitting) == 0


@pytest.mark.parametrize("turn", [90.0, 180.0, 270.0])
def test_scenario_3_a_card_that_lies_upside_down_is_read_the_right_way(
    house: Catalogue, desk: Desk, tmp_path: Path, turn: float
) -> None:
    card = written(tmp_path / "card.jpg", STAND.card(turn_deg=turn, tilt_deg=12.0).jpeg)
    found = opened(house, desk, card=card)
    assert found.card is not None
    assert found.card["turn"] == turn
    assert found.card["residual"]["mean"] < 2.0


def test_scenario_4_a_half_covered_card_can_be_set_by_hand_and_says_so(
    house: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    shot = STAND.card(covered=0.5)
    assert shot.card is not None
    card = written(tmp_path / "half.jpg", shot.jpeg)
    corners = tuple((float(x), float(y)) for x, y in shot.card)
    found = opened(house, desk, card=card, corners=corners)
    assert found.card is not None
    assert found.card["by_hand"] is True
    assert found.card["left_out"][:3] == [1, 2, 3]


def test_no_card_and_two_cards_are_told(house: Catalogue, desk: Desk, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no colour card is found"):
        opened(house, desk, card=desk["white"])
    with pytest.raises(InputError, match="two colour cards"):
        opened(house, desk, card=written(tmp_path / "two.jpg", STAND.card(count=2).jpeg))
    assert rows(house, Sitting) == 0


def test_one_sitting_is_open_at_a_time(house: Catalogue, desk: Desk) -> None:
    opened(house, desk)
    with pytest.raises(ConflictError, match="open already"):
        opened(house, desk)
    with house.write(act("close")) as session:
        close_sitting(session)
    assert opened(house, desk).ref.endswith("b")
    with house.write(act("close")) as session:
        close_sitting(session)
    with pytest.raises(NotFoundError, match="no sitting is open"), house.write(act()) as session:
        close_sitting(session)


# --- taking


def test_scenario_2_every_frame_has_its_sheet_its_scale_and_the_cards_residual(house: Catalogue, desk: Desk) -> None:
    opened(house, desk)
    report = take(house, desk["tides"], desk["choir"], desk["lamp"])
    assert [frame.status for frame in report.frames] == ["taken"] * 3
    for frame, name in zip(report.frames, ("tides", "choir", "lamp"), strict=True):
        _, shot = desk.prints[name]
        assert shot.sheet is not None
        assert frame.sure
        start = int(np.argmin([np.abs(np.roll(shot.sheet, -k, 0) - frame.corners_px).sum() for k in range(4)]))
        assert np.abs(np.roll(shot.sheet, -start, axis=0) - frame.corners_px).max() < 2.5
        assert frame.mm_per_px == pytest.approx(1 / STAND.px_per_mm, rel=0.02)
        assert frame.card is not None
        assert frame.card["found"]
        assert 0 < frame.card["residual"]["mean"] < frame.card["residual"]["worst"] < 5
    assert len({frame.work for frame in report.frames}) == 3
    with house.read() as session:
        assert count_records(session)["works"] == 3


def test_colours_are_as_true_as_the_sitting_claims(house: Catalogue, desk: Desk) -> None:
    claim = opened(house, desk).claim or 0.0
    off = []
    for frame, name in zip(take(house, desk["tides"], desk["choir"]).frames, ("tides", "choir"), strict=True):
        print_, shot = desk.prints[name]
        assert shot.patches is not None
        readings = [read(house, frame, point) for point in shot.patches]
        off += list(camera.difference(np.array([each.lab for each in readings]), print_.labs))
        assert all(each.claim == pytest.approx(claim) and each.usable for each in readings)
    assert np.mean(off) <= 1.5  # the wanted figure for daylight
    assert np.mean(off) <= claim


def test_a_swatch_read_in_a_sitting_is_a_measurement_by_camera(house: Catalogue, desk: Desk) -> None:
    opened(house, desk)
    (frame,) = take(house, desk["tides"]).frames
    _, shot = desk.prints["tides"]
    assert shot.patches is not None
    reading = read(house, frame, shot.patches[0])
    x, y = shot.patches[0]
    with house.write(act("swatch")) as session:
        region = Region(float(x), float(y), 14)
        save_swatch(session, frame.picture or "", region, reading, "Ferrywake 60 % over Dockrope 100 %", "Oatleaf 120")
        kept = session.scalars(select(Measurement)).one()
        assert (kept.method, kept.condition) == ("camera", "camera")
        assert kept.claim == reading.claim


def test_scenario_8_a_cockled_sheet_shows_its_spread_and_is_uneven(
    house: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    opened(house, desk)
    shot = STAND.sheet(random_print(0), bend=0.12, shot=4)
    (frame,) = take(house, written(tmp_path / "cockled.jpg", shot.jpeg)).frames
    assert shot.patches is not None
    waved = [read(house, frame, point, 30) for point in shot.patches[:4]]
    assert any("uneven" in each.flags for each in waved)
    assert max(each.spread for each in waved) > 1.0


def test_scenario_25_a_patch_with_a_clipped_channel_is_out_of_range_and_not_kept(
    house: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    opened(house, desk)
    shot = STAND.sheet(random_print(0), exposure=1.9, shot=5)
    (frame,) = take(house, written(tmp_path / "bright.jpg", shot.jpeg), anyway=True).frames
    assert "clipped" in codes(frame)
    assert shot.sheet is not None
    corner = shot.sheet[0] + (shot.sheet[2] - shot.sheet[0]) * 0.03  # bare paper
    reading = read(house, frame, corner, 10)
    assert "out of range" in reading.flags
    assert not reading.usable


def test_scenario_10_the_same_photo_twice_is_skipped_and_names_the_first(house: Catalogue, desk: Desk) -> None:
    enter(house, "QA-0042", desk["tides"])
    opened(house, desk)
    first, second, third = take(house, desk["tides"], desk["choir"], desk["choir"]).frames
    assert (first.status, second.status, third.status) == ("skipped", "taken", "skipped")
    assert "tides.jpg of QA-0042/1" in first.why
    assert first.picture is not None
    assert "taken in this sitting already" in third.why
    assert third.picture == second.picture
    with house.read() as session:
        assert count_records(session)["pictures"] == 2


def test_scenario_14_the_same_sheet_and_other_inks_are_proposed_and_nothing_merges(
    house: Catalogue, desk: Desk
) -> None:
    opened(house, desk)
    names = ("tides", "choir", "tides again", "tides green")
    tides, choir, again, green = take(house, *(desk[name] for name in names)).frames
    assert tides.like == choir.like == ()
    assert [(each["picture"], each["as"]) for each in again.like] == [(tides.picture, "same copy")]
    assert {each["as"] for each in green.like} == {"variant"}
    assert tides.picture in {each["picture"] for each in green.like}
    with house.read() as session:
        assert count_records(session)["works"] == 4  # a person decides


def test_what_is_taken_is_one_change_and_undone_whole(house: Catalogue, desk: Desk) -> None:
    opened(house, desk)
    before = rows(house, Change)
    take(house, desk["tides"], desk["choir"])
    assert rows(house, Change) == before + 1
    undo(house)
    with house.read() as session:
        assert count_records(session)["works"] == 0
        assert count_records(session)["pictures"] == 0
    assert [frame.status for frame in take(house, desk["tides"]).frames] == ["taken"]


def test_a_stopped_take_goes_on_with_the_same_files_and_takes_none_twice(house: Catalogue, desk: Desk) -> None:
    opened(house, desk)
    files = [desk[name] for name in ("tides", "choir", "lamp", "tides green")]

    def stop(done: int, _total: int) -> None:
        if done >= 2:
            raise KeyboardInterrupt

    take(house, files[0])
    with pytest.raises(KeyboardInterrupt):
        take_frames(house, files, act("take frames"), progress=stop)
    report = take(house, *files)
    assert {frame.status for frame in report.frames} == {"skipped", "taken"}
    with house.read() as session:
        assert count_records(session)["works"] == 4
        assert session.scalars(select(Frame.position).order_by(Frame.position)).all() == [1, 2, 3, 4]


def test_the_sittings_own_shots_are_taken_without_a_work(house: Catalogue, desk: Desk) -> None:
    opened(house, desk)
    white, card, print_ = take(house, desk["white"], desk["card"], desk["tides"]).frames
    assert (white.status, white.kind, white.work) == ("taken", "white sheet", None)
    assert (card.status, card.kind, card.work) == ("taken", "colour card", None)
    assert print_.work is not None
    with house.read() as session:
        assert count_records(session)["works"] == 1


def test_scenario_5_a_turned_phone_picture_is_taken_upright(house: Catalogue, desk: Desk, tmp_path: Path) -> None:
    # Exif 2.32 (CIPA DC-008): 6 means that the picture is to be turned a quarter clockwise
    _, shot = desk.prints["tides"]
    lying = Image.open(io.BytesIO(shot.jpeg)).transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112], exif[0x0110] = 6, "a camera"
    lying.save(tmp_path / "phone.jpg", quality=95, exif=exif)
    opened(house, desk)
    (frame,) = take(house, tmp_path / "phone.jpg").frames
    assert shot.sheet is not None
    assert np.abs(shot.sheet - frame.corners_px).max() < 2.5
    with house.read() as session:
        picture = session.scalars(select(Picture)).one()
        assert (picture.width, picture.height) == STAND.size


def test_what_cannot_be_decoded_is_refused_and_the_rest_goes_on(house: Catalogue, desk: Desk, tmp_path: Path) -> None:
    torn = tmp_path / "torn.jpg"
    torn.write_bytes(desk["choir"].read_bytes()[:3000])
    opened(house, desk)
    first, second = take(house, torn, desk["tides"]).frames
    assert (first.status, second.status) == ("refused", "taken")
    assert "torn.jpg" in first.why
    with house.read() as session:
        assert count_records(session)["works"] == 1


def test_the_first_frames_stop_the_sitting_when_no_colour_can_be_read(
    house: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    opened(house, desk)
    shots = [STAND.sheet(random_print(0), blur=14.0, shot=6), STAND.sheet(random_print(1), blur=14.0, shot=6)]
    files = [written(tmp_path / f"blurred{n}.jpg", shot.jpeg) for n, shot in enumerate(shots)]
    with pytest.raises(InputError, match="no colour can be read from the first 2 frames"):
        take(house, *files)
    with house.read() as session:
        assert count_records(session)["pictures"] == 0
    assert "blurred" in codes(take(house, *files, anyway=True).frames[0])


def test_frames_of_a_named_work_are_its_spreads(house: Catalogue, desk: Desk) -> None:
    enter(house, "QA-0051")
    opened(house, desk)
    report = take(house, desk["tides"], desk["choir"], work="QA-0051", role="spread")
    assert {frame.work for frame in report.frames} == {"QA-0051"}
    with house.read() as session:
        copies = set(session.scalars(select(Picture.copy_id)))
        assert len(copies) == 1
        assert session.scalar(select(func.count()).select_from(Work)) == 1
    with pytest.raises(NotFoundError, match="QA-9999"):
        take(house, desk["lamp"], work="QA-9999")


def test_what_lies_in_quarantine_is_told_before_anything_else(house: Catalogue, desk: Desk) -> None:
    add(house, "place", "Box 14")
    with house.write(act("mould")) as session:
        quarantine(session, "Box 14", "mould suspected")
    opened(house, desk, place="Box 14")
    (frame,) = take(house, desk["tides"]).frames
    assert frame.warnings[0]["code"] == "quarantine"
    assert frame.place == "Box 14"


def test_a_frame_without_card_uses_the_sittings_correction_and_scale(
    house: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    claim = opened(house, desk).claim or 0.0
    shot = STAND.sheet(random_print(3), has_card=False)
    (frame,) = take(house, written(tmp_path / "bare.jpg", shot.jpeg)).frames
    assert frame.card is None
    assert frame.mm_per_px == pytest.approx(1 / STAND.px_per_mm, rel=0.02)
    assert shot.patches is not None
    labs = np.array([read(house, frame, point).lab for point in shot.patches])
    assert camera.difference(labs, random_print(3).labs).mean() <= claim


def test_a_picture_outside_a_sitting_is_still_no_measurement(house: Catalogue, desk: Desk) -> None:
    enter(house, "QA-0042", desk["tides"])
    with house.read() as session:
        picture = session.scalars(select(Picture)).one()
        reading = read_swatch(session, house.files, picture.uid, Region(500, 400, 14))
    assert reading.claim is None
    assert "no colour card: seen, not measured" in reading.flags


def test_a_place_that_is_not_there_opens_no_sitting(house: Catalogue, desk: Desk) -> None:
    with pytest.raises(NotFoundError, match="Box 99"):
        opened(house, desk, place="Box 99")
    with house.write(act()) as session:
        add_record(session, "place", "Box 99", {})
    assert opened(house, desk, place="Box 99").place == "Box 99"
    with house.read() as session:
        assert find_record(session, "place", "Box 99").state == "open"
