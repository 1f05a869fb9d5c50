"""What a sitting's camera gets wrong on one pair of inks is learnt from nine patches that an instrument measured too.

Sheets of one pair are rendered from spectra through a published camera (`tests/studio`); the instrument is their true
colour with noise of 0.5 an axis. Differences are CIEDE2000 as colour-science computes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.models import Frame, Measurement, Swatch
from archive.services.swatches import Region, SwatchReading, measure_again, read_swatch, save_swatch
from tests.acts import act
from tests.services.make import CHALKROAD, OATLEAF, enter_house
from tests.services.stand import Desk, a_copy, lay_out, opened, picture_of, take
from tests.studio import camera
from tests.studio.storeroom import Print

PAIR = ("Nettlecoat", "Kilnsong")
GRID = [row * 6 + column for row in (0, 2, 5) for column in (0, 2, 5)]  # of six tints of each ink
NINE = [*GRID[1:], 21]  # bare paper is no patch of the pair
REST = [place for place in range(1, 36) if place not in NINE]
SHEETS = {"measured": [*NINE, *REST[:3]], "others": REST[3:15], "more": REST[14:26]}  # twelve patches each


@dataclass(frozen=True)
class Taken:
    """The pictures of the sheets by name, what the sitting claims, and the noise of the instrument."""

    pictures: dict[str, str]
    claim: float


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    mixes = camera.pair_reflectance(*PAIR)
    prints = {name: (Print(mixes[places], layout=7), {}) for name, places in SHEETS.items()}
    return lay_out(tmp_path_factory.mktemp("stand"), prints)


@pytest.fixture(scope="module")
def taken(desk: Desk) -> Taken:
    """Return what a sitting took, into `chest` on the desk; nine patches are measured by camera and by instrument."""
    catalogue = start_archive(desk.folder / "chest")
    enter_house(catalogue)
    claim = opened(catalogue, desk).claim
    frames = take(catalogue, *(desk[name] for name in SHEETS)).frames
    found = Taken({name: picture_of(frame) for name, frame in zip(SHEETS, frames, strict=True)}, claim or 0.0)
    keep_and_measure(catalogue, desk, found, NINE)
    catalogue.close()
    return found


@pytest.fixture
def chest(taken: Taken, desk: Desk, tmp_path: Path) -> Iterator[Catalogue]:
    assert taken
    yield from a_copy(desk.folder / "chest", tmp_path)


def words(place: int) -> str:
    """Return the recipe of one of the 36 mixes, as it is typed."""
    tints = [round(100 * camera.TINTS[step]) for step in divmod(place, 6)]
    return ", then ".join(f"{ink} {tint} %" for ink, tint in zip(PAIR, tints, strict=True) if tint)


def keep(
    catalogue: Catalogue, desk: Desk, taken: Taken, place: int, *, inks: str = "", paper: str = OATLEAF
) -> SwatchReading:
    """Read the patch of a mix off its sheet and keep it as a swatch."""
    name = next(sheet for sheet, places in SHEETS.items() if place in places)
    _, shot = desk.prints[name]
    assert shot.patches is not None
    x, y = shot.patches[SHEETS[name].index(place)]
    region = Region(float(x), float(y), 14)
    with catalogue.read() as session:
        reading = read_swatch(session, catalogue.files, taken.pictures[name], region)
    with catalogue.write(act("swatch")) as session:
        return save_swatch(session, taken.pictures[name], region, reading, inks or words(place), paper)


def keep_and_measure(catalogue: Catalogue, desk: Desk, taken: Taken, places: Sequence[int]) -> None:
    rng = np.random.default_rng(8)
    true = camera.true_lab(camera.pair_reflectance(*PAIR))
    for place in places:
        uid = keep(catalogue, desk, taken, place).swatch or ""
        lab = ",".join(f"{part:.3f}" for part in true[place] + rng.normal(0, 0.5, 3))
        facts = dict.fromkeys(("condition", "instrument", "measured_on", "hours_after")) | {"method": "instrument"}
        with catalogue.write(act("measure")) as session:
            measure_again(session, uid, lab, facts)


def test_nine_patches_bring_the_pairs_other_patches_within_eight_tenths(
    chest: Catalogue, desk: Desk, taken: Taken
) -> None:
    places = REST[3:]
    kept = [keep(chest, desk, taken, place) for place in places]
    true = camera.true_lab(camera.pair_reflectance(*PAIR))[places]
    off = camera.difference(np.array([each.lab for each in kept]), true)
    # the wanted figure with nine patches and noise of 0.5, which is a mean over pairs: some stay a little above it
    # (`tests/colour/test_camera_pair.py` takes that mean), this one does not
    assert off.mean() <= 0.8
    assert {each.learnt_from for each in kept} == {9}
    (claim,) = {each.claim for each in kept}
    assert claim is not None
    assert off.mean() <= claim <= 2.5 * off.mean()
    assert claim < taken.claim


def test_what_was_learnt_is_kept_with_the_reading_and_makes_its_uncertainty_smaller(
    chest: Catalogue, desk: Desk, taken: Taken
) -> None:
    place = SHEETS["others"][0]
    plain = keep(chest, desk, taken, place, inks="Ferrywake 60 % over Dockrope 100 %")  # another pair
    kept = keep(chest, desk, taken, place)
    assert (plain.learnt_from, plain.claim) == (0, pytest.approx(taken.claim))
    assert kept.uncertainty < plain.uncertainty
    with chest.read() as session:
        query = select(Measurement).join(Swatch, Swatch.id == Measurement.swatch_id)
        measured = session.scalars(query.where(Swatch.uid == kept.swatch)).one()
        assert (measured.claim, measured.method) == (kept.claim, "camera")
        assert "what was learnt of its pair" in measured.colour_path


def test_a_corrected_reading_that_is_measured_later_teaches_what_the_camera_saw(
    chest: Catalogue, desk: Desk, taken: Taken
) -> None:
    places = SHEETS["others"]
    keep_and_measure(chest, desk, taken, places[:6])
    kept = [keep(chest, desk, taken, place) for place in places[6:]]
    assert {each.learnt_from for each in kept} == {15}
    true = camera.true_lab(camera.pair_reflectance(*PAIR))[places[6:]]
    assert camera.difference(np.array([each.lab for each in kept]), true).mean() <= 0.8


def test_one_ink_of_the_pair_is_corrected_too_and_other_papers_are_not(
    chest: Catalogue, desk: Desk, taken: Taken
) -> None:
    alone = next(place for place in REST if place < 6)
    assert keep(chest, desk, taken, alone).learnt_from == 9
    assert keep(chest, desk, taken, SHEETS["others"][2], paper=CHALKROAD).learnt_from == 0


def test_eight_patches_teach_nothing(chest: Catalogue, desk: Desk, taken: Taken) -> None:
    with chest.write(act("remove one")) as session:
        swatch = session.scalars(select(Swatch).order_by(Swatch.id)).first()
        assert swatch is not None
        swatch.binned_at = "2025-03-14T12:00:00Z"
    assert keep(chest, desk, taken, SHEETS["others"][0]).learnt_from == 0


def test_a_frame_that_is_claimed_less_than_its_sitting_neither_teaches_nor_learns(
    chest: Catalogue, desk: Desk, taken: Taken
) -> None:
    with chest.write(act("as if the camera had mapped its tones")) as session:
        for frame in session.scalars(select(Frame)):
            frame.claim = 6.0
    kept = keep(chest, desk, taken, SHEETS["others"][0])
    assert (kept.learnt_from, kept.claim) == (0, 6.0)
