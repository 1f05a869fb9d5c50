"""How far a camera's colours are trusted in a match: as far as their sitting claims; without one, related at best."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Measurement, PaletteColour, Picture, Swatch
from archive.services.answers import Match
from archive.services.measuring import set_standing
from archive.services.swatches import Region, SwatchReading, save_swatch
from tests.acts import act
from tests.services.keeping import enter, undo
from tests.services.make import OATLEAF, Patch, ask, bring_in, enter_house

GREEN = (52.0, -18.0, 12.0)
WANTED = "lab:52,-18,12"


@pytest.fixture
def house(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Return the inks and papers, Oatleaf's white measured, and a print with a green field on it."""
    enter_house(catalogue)
    bring_in(catalogue, tmp_path, Patch("paper", (93.0, 0.0, 5.0)))
    Image.new("RGB", (64, 48), (244, 240, 228)).save(tmp_path / "sheet.png")
    enter(catalogue, "QA-0042", tmp_path / "sheet.png", inks="Ferrywake over Dockrope", paper=OATLEAF)
    return catalogue


def keep_swatch(catalogue: Catalogue, claim: float | None) -> None:
    """Keep a swatch as a sitting's reading gives it, or as an uncorrected picture does."""
    reading = SwatchReading(GREEN, 0.3, 0.0, True, (), claim=claim)
    with catalogue.write(act("swatch")) as session:
        inks = "Ferrywake 60 % over Dockrope 100 %"
        save_swatch(session, "sheet.png", Region(20, 20, 5), reading, inks, OATLEAF)


def give_palette(catalogue: Catalogue, claim: float | None) -> None:
    """Give the picture one colour on a paper that looked darker and bluer than it is, corrected or not."""
    with catalogue.write(act("palette")) as session:
        picture = session.scalars(select(Picture)).one()
        for colour in session.scalars(select(PaletteColour).where(PaletteColour.picture_id == picture.id)):
            session.delete(colour)
        session.flush()
        session.add(PaletteColour(picture_id=picture.id, position=1, lab_l=52.0, lab_a=-18.0, lab_b=12.0, share=0.5))
        picture.paper_l, picture.paper_a, picture.paper_b = 84.0, 1.0, -4.0
        picture.claim = claim


def best(catalogue: Catalogue, wanted: str = WANTED) -> Match:
    return ask(catalogue, wanted, absolute=True).matches[0]


# the limits are the profile's: same up to 3, close up to 6, related beyond; ± is 2.80 times the root of the summed
# squares of claim / 1.6 and 0.9, what lies between places on a sheet
@pytest.mark.parametrize(
    ("claim", "uncertainty", "verdict"),
    [(0.8, 2.884, "same"), (1.5, 3.640, "close"), (2.9, 5.665, "close"), (3.5, 6.624, "related")],
)
def test_a_swatch_by_camera_is_trusted_as_far_as_its_sitting_claims(
    house: Catalogue, claim: float, uncertainty: float, verdict: str
) -> None:
    keep_swatch(house, claim)
    found = best(house)
    assert (found.evidence, found.verdict) == ("proven", verdict)
    assert found.uncertainty == pytest.approx(uncertainty, abs=5e-3)


def test_scenario_9_a_swatch_off_a_picture_without_a_card_is_seen_and_related_at_best(house: Catalogue) -> None:
    keep_swatch(house, None)
    found = best(house)
    assert (found.evidence, found.verdict) == ("seen", "related")
    assert found.uncertainty == pytest.approx(2.80 * (4.0**2 + 0.9**2) ** 0.5, abs=5e-3)


def test_an_instruments_reading_stands_before_the_cameras_and_brings_its_own_trust(house: Catalogue) -> None:
    keep_swatch(house, 2.9)
    with house.write(act("measure")) as session:
        swatch = session.scalars(select(Swatch).where(Swatch.picture_id.is_not(None))).one()
        session.add(Measurement(swatch_id=swatch.id, lab_l=52.0, lab_a=-18.0, lab_b=12.0, method="instrument"))
        session.flush()
        set_standing(session, [swatch.id])
    assert best(house).verdict == "same"
    undo(house)
    assert best(house).verdict == "close"


def test_a_corrected_pictures_colours_are_absolute_and_trusted_as_its_sitting_claims(house: Catalogue) -> None:
    give_palette(house, 2.0)
    found = best(house)
    assert (found.evidence, found.verdict) == ("seen", "close")
    assert found.lab == pytest.approx(GREEN)
    assert found.uncertainty == pytest.approx(2.80 * ((2.0 / 1.6) ** 2 + 0.9**2) ** 0.5, abs=5e-3)


def test_scenario_9_an_uncorrected_pictures_colours_lie_on_the_papers_white_and_are_related_at_best(
    house: Catalogue,
) -> None:
    give_palette(house, None)
    found = best(house, "lab:58,-19,20")
    assert (found.evidence, found.verdict) == ("seen", "related")
    assert found.lab is not None
    assert found.lab[0] > GREEN[0] + 3  # its paper was seen nine darker than it is
