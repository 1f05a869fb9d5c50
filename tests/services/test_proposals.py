"""Flat colour areas of pictures are proposed once, and become swatches by camera when they are given their inks.

Prints are rendered from spectra (`tests/studio`); differences are CIEDE2000 as colour-science computes it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.models import Measurement, Paper, Recipe, Swatch
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.describing import ShortFacts, describe_work
from archive.services.proposals import (
    ProposalCard,
    ProposeReport,
    accept_proposal,
    decline_proposal,
    list_proposals,
    propose_swatches,
)
from archive.services.swatches import Region, SwatchReading, read_swatch, save_swatch
from archive.services.whites import measured_whites
from tests.acts import act
from tests.services.keeping import add, edit, enter, every_row, newest, undo
from tests.services.make import CHALKROAD, OATLEAF, enter_house
from tests.services.stand import Desk, a_copy, lay_out, opened, picture_of, take
from tests.studio import camera
from tests.studio.storeroom import PATCHES, random_print, written

INKS = "Ferrywake 60 % over Dockrope 100 %"


@dataclass(frozen=True)
class Taken:
    """The pictures of two prints in Box 14, of which one lies askew, and the works they were entered as."""

    tides: str
    choir: str
    work: str


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    prints: dict[str, Any] = {"tides": (random_print(0), {}), "choir": (random_print(1), {"turn_deg": 20.0})}
    return lay_out(tmp_path_factory.mktemp("stand"), prints)


@pytest.fixture(scope="module")
def taken(desk: Desk) -> Taken:
    """Return what a sitting took, into `chest` on the desk; the flat areas of the first print are proposed."""
    catalogue = start_archive(desk.folder / "chest")
    enter_house(catalogue)
    add(catalogue, "place", "Storeroom / Box 14")
    opened(catalogue, desk, place="Box 14")
    tides, choir = take(catalogue, desk["tides"], desk["choir"]).frames
    propose(catalogue, picture_of(tides))
    catalogue.close()
    return Taken(picture_of(tides), picture_of(choir), tides.work or "")


@pytest.fixture
def chest(taken: Taken, desk: Desk, tmp_path: Path) -> Iterator[Catalogue]:
    assert taken
    yield from a_copy(desk.folder / "chest", tmp_path)


def propose(catalogue: Catalogue, ref: str) -> ProposeReport:
    return propose_swatches(catalogue, ref, act(f"propose swatches of {ref}"))


def proposals(catalogue: Catalogue, ref: str | None = None, **more: Any) -> list[ProposalCard]:
    with catalogue.read() as session:
        return list_proposals(session, ref, **more)


def accept(catalogue: Catalogue, uid: str, **said: Any) -> SwatchReading:
    return accept_proposal(catalogue, uid, act("accept"), **said)


def colours(found: list[ProposalCard]) -> list[ProposalCard]:
    return [each for each in found if each.proposed != "bare paper"]


@pytest.mark.parametrize("name", ["tides", "choir"])
def test_every_flat_colour_of_a_print_is_proposed_where_it_lies(
    chest: Catalogue, taken: Taken, desk: Desk, name: str
) -> None:
    picture = {"tides": taken.tides, "choir": taken.choir}[name]
    propose(chest, picture)
    print_, shot = desk.prints[name]
    assert shot.patches is not None
    found = colours(proposals(chest, picture))
    assert len(found) == PATCHES
    apart = np.linalg.norm(np.array([each.at for each in found])[:, None] - shot.patches[None], axis=2)
    nearest = apart.argmin(axis=1)
    assert sorted(nearest) == list(range(PATCHES))
    off = camera.difference(np.array([each.lab for each in found]), print_.labs[nearest])
    assert off.mean() <= 1.7  # the areas are seen small here; at full size they are read when they are accepted
    assert all(0 < each.share < 0.2 and each.spread < 1 and each.state == "open" for each in found)
    assert {each.work for each in found} == {found[0].work}


def test_the_bare_paper_is_proposed_too_and_gives_the_paper_its_white(chest: Catalogue, taken: Taken) -> None:
    (paper,) = [each for each in proposals(chest, taken.tides) if each.proposed]
    assert (paper.proposed, paper.in_words) == ("bare paper", "bare paper")
    accept(chest, paper.uid, paper=OATLEAF)  # one key: what is proposed
    with chest.read() as session:
        papers = dict(session.execute(select(Paper.id, Paper.name)).all())
        white = measured_whites(session, papers)[OATLEAF]
    true = camera.true_lab(camera.PAPER[None])
    assert camera.difference(np.array([white]), true)[0] < 3


def test_nothing_is_proposed_twice(chest: Catalogue, taken: Taken) -> None:
    first = proposals(chest, taken.tides)
    accept(chest, first[1].uid, inks=INKS, paper=OATLEAF)
    with chest.write(act("decline")) as session:
        decline_proposal(session, first[2].uid)
    before = every_row(chest)
    again = propose(chest, taken.tides)
    assert (again.new, again.pictures) == (0, 1)
    assert {each.uid for each in again.open} == {each.uid for each in first} - {first[1].uid, first[2].uid}
    assert every_row(chest) == before


def test_nothing_is_proposed_where_a_swatch_lies(chest: Catalogue, taken: Taken, desk: Desk) -> None:
    _, shot = desk.prints["choir"]
    assert shot.patches is not None
    regions = [Region(float(x), float(y), 30) for x, y in shot.patches[:3]]
    with chest.read() as session:
        readings = [read_swatch(session, chest.files, taken.choir, region) for region in regions]
    with chest.write(act("swatches")) as session:
        for region, reading in zip(regions, readings, strict=True):
            save_swatch(session, taken.choir, region, reading, INKS, OATLEAF)
    propose(chest, taken.choir)
    assert len(colours(proposals(chest, taken.choir))) == PATCHES - 3


def test_an_accepted_proposal_is_a_swatch_by_camera_with_the_sittings_claim(
    chest: Catalogue, taken: Taken, desk: Desk
) -> None:
    one = colours(proposals(chest, taken.tides))[0]
    reading = accept(chest, one.uid, inks=INKS, paper=OATLEAF)
    print_, shot = desk.prints["tides"]
    assert shot.patches is not None
    true = print_.labs[int(np.linalg.norm(shot.patches - np.array(one.at), axis=1).argmin())]
    assert reading.claim is not None
    assert camera.difference(np.array([reading.lab]), true[None])[0] <= 2.5 * reading.claim
    with chest.read() as session:
        swatch = session.scalars(select(Swatch).where(Swatch.uid == reading.swatch)).one()
        measured = session.scalars(select(Measurement).where(Measurement.swatch_id == swatch.id)).one()
        assert (measured.method, measured.claim) == ("camera", reading.claim)
        assert (swatch.x, swatch.y) == one.at
    (card,) = proposals(chest, taken.tides, state="accepted")
    assert (card.uid, card.swatch) == (one.uid, reading.swatch)
    undo(chest)
    assert one.uid in {each.uid for each in proposals(chest, taken.tides)}


def test_as_last_repeats_inks_and_paper(chest: Catalogue, taken: Taken) -> None:
    one, two, three = colours(proposals(chest, taken.tides))[:3]
    with pytest.raises(NotFoundError, match="no swatch was read off a picture yet"):
        accept(chest, one.uid, as_last=True)
    accept(chest, one.uid, inks=INKS, paper=CHALKROAD)
    accept(chest, two.uid, as_last=True)
    accept(chest, three.uid, as_last=True, paper=OATLEAF)
    with chest.read() as session:
        swatches = session.scalars(select(Swatch).order_by(Swatch.id)).all()
        first, second, third = (session.get_one(Recipe, swatch.recipe_id or 0) for swatch in swatches)
        assert first.id == second.id
        assert session.get_one(Paper, third.paper_id or 0).name == OATLEAF
        assert session.scalar(select(func.count()).select_from(Recipe)) == 2


def test_the_works_own_paper_goes_before_the_last_one(chest: Catalogue, taken: Taken) -> None:
    propose(chest, taken.choir)
    accept(chest, colours(proposals(chest, taken.choir))[0].uid, inks=INKS, paper=CHALKROAD)
    with chest.read() as session:
        one = colours(list_proposals(session, taken.tides))[0]
    with chest.write(act("describe")) as session:
        describe_work(session, taken.work, ShortFacts(inks="Ferrywake and Dockrope", paper=OATLEAF))
    accept(chest, one.uid, as_last=True)
    with chest.read() as session:
        newest_swatch = session.scalars(select(Swatch).order_by(Swatch.id.desc())).first()
        assert newest_swatch is not None
        recipe = session.get_one(Recipe, newest_swatch.recipe_id or 0)
        assert session.get_one(Paper, recipe.paper_id or 0).name == OATLEAF


def test_what_cannot_be_accepted_is_told_and_stays_open(chest: Catalogue, taken: Taken) -> None:
    one = colours(proposals(chest, taken.tides))[0]
    before = every_row(chest)
    with pytest.raises(InputError, match="no inks are said"):
        accept(chest, one.uid, paper=OATLEAF)
    with pytest.raises(InputError, match="a swatch lies on a paper"):
        accept(chest, one.uid, inks=INKS)
    with pytest.raises(NotFoundError, match="no proposal nothing"):
        accept(chest, "nothing", inks=INKS)
    assert every_row(chest) == before
    accept(chest, one.uid, inks=INKS, paper=OATLEAF)
    with pytest.raises(ConflictError, match="accepted already"):
        accept(chest, one.uid, inks=INKS, paper=OATLEAF)


def test_a_whole_box_is_looked_through_as_one_change(chest: Catalogue, taken: Taken, desk: Desk) -> None:
    enter(
        chest, "QA-0042", written(desk.folder / "seen.jpg", desk.prints["tides"][1].jpeg, taken="2025-03-15 09:00:00")
    )
    edit(chest, "copy", "QA-0042/1", place="Box 14")
    report = propose(chest, "Storeroom")
    assert report.pictures == 2  # the first print was looked at already
    assert report.new == PATCHES + 1
    assert len(report.open) == 2 * (PATCHES + 1)
    assert [(each["picture"], each["why"]) for each in report.left_out] == [
        ("seen.jpg", "no sitting corrected it: its colours are seen, not measured")
    ]
    assert (newest(chest).words, newest(chest).added) == ("propose swatches of Storeroom", PATCHES + 1)
    undo(chest)
    assert len(proposals(chest, "Box 14")) == PATCHES + 1


def test_a_picture_without_a_sitting_and_a_name_of_nothing_are_told(chest: Catalogue, desk: Desk) -> None:
    enter(chest, "QA-0042", desk["card"])
    with pytest.raises(InputError, match="no sitting corrected it"):
        propose(chest, "card.jpg")
    with pytest.raises(NotFoundError, match="no picture called Box 99"):
        propose(chest, "Box 99")
