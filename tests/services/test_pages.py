"""Labels, cards and slips say what the archive holds; a photographed slip is read back into a run's facts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Place, Slip, Swatch
from archive.errors import CatalogueError, InputError, NotFoundError
from archive.services.bin import remove_record
from archive.services.people import forget_person
from archive.services.place_pages import print_cards, print_labels
from archive.services.records import edit_record
from archive.services.slips import PrintedSlips, print_slips, read_slip_photo, slip_facts
from archive.services.swatch_pages import print_swatch_cards
from archive.services.works import NewWork, add_work
from tests.acts import act
from tests.output.photos import photographed, rendered, tick
from tests.services.make import Patch, add, bring_in, enter_house


def texts(path: Path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]


def put_works(catalogue: Catalogue) -> None:
    """Lay three works in two drawers of a chest, and one elsewhere."""
    for ref, place in (("QA-0003", "drawer 5"), ("QA-0042", "drawer 5"), ("QA-0007", "drawer 12")):
        add_work(catalogue, NewWork(ref=ref, facts={}, place=f"Storeroom / Plan chest 2 / {place}"), act("add"))
    add_work(catalogue, NewWork(ref="QA-0099", facts={}, place="Attic / Box 14"), act("add"))


def labels(catalogue: Catalogue, path: Path, *names: str) -> list[str]:
    with catalogue.read() as session:
        print_labels(session, path, names)
    return texts(path)


# --- places -----------------------------------------------------------------------------------------------


def test_a_drawer_s_label_counts_what_lies_in_it(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    (text,) = labels(catalogue, tmp_path / "labels.pdf", "drawer 5")
    for words in ("Storeroom / Plan chest 2", "drawer 5", "QA-0003, QA-0042", "2 works, 2 copies"):
        assert words in text


def test_a_chest_s_label_counts_its_drawers_too(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    (text,) = labels(catalogue, tmp_path / "labels.pdf", "Storeroom / Plan chest 2")
    assert "3 works, 3 copies; drawer 5, drawer 12" in text


def test_what_is_lent_or_in_the_bin_does_not_lie_there(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    with catalogue.write(act("lend")) as session:
        edit_record(session, "copy", "QA-0003/1", {"whereabouts": "lent"})
        remove_record(session, "work", "QA-0042")
    (text,) = labels(catalogue, tmp_path / "labels.pdf", "drawer 5")
    assert "QA-00" not in text
    assert "copies" not in text


def test_without_names_all_places_but_rooms_have_labels(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    add(catalogue, "place", "Press room", kind="room")
    with catalogue.read() as session:
        written = print_labels(session, tmp_path / "labels.pdf")
        named = sorted(place.path for place in session.scalars(select(Place)) if place.kind != "room")
    assert (written.count, written.pages) == (len(named), 1)
    assert "Press room" not in texts(tmp_path / "labels.pdf")[0]


def test_without_names_places_that_hold_no_other_have_cards(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    with catalogue.read() as session:
        written = print_cards(session, tmp_path / "cards.pdf")
    pages = texts(tmp_path / "cards.pdf")
    assert (written.count, written.pages) == (3, 3)
    assert [name in page for name, page in zip(("Box 14", "drawer 5", "drawer 12"), pages, strict=True)] == [True] * 3


def test_a_place_that_is_kept_apart_says_so_first(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    with catalogue.write(act("keep apart")) as session:
        place = session.scalars(select(Place).where(Place.name == "Box 14")).one()
        place.quarantine = "mould suspected"
    assert "Kept apart: mould suspected" in labels(catalogue, tmp_path / "labels.pdf", "Box 14")[0]


def test_a_place_misspelt_writes_nothing(catalogue: Catalogue, tmp_path: Path) -> None:
    put_works(catalogue)
    with pytest.raises(NotFoundError, match="Did you mean"):
        labels(catalogue, tmp_path / "labels.pdf", "Attic / Box 41")
    assert not (tmp_path / "labels.pdf").exists()


def test_an_archive_without_places_says_what_to_do(catalogue: Catalogue, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="place add"):
        labels(catalogue, tmp_path / "labels.pdf")


# --- swatches ---------------------------------------------------------------------------------------------

PAPER_LAB, DOCKROPE, GREEN = (93.1, 0.2, 4.9), (74.8, 9.6, 62.3), (52.3, -18.4, 12.2)


def put_swatches(catalogue: Catalogue, folder: Path) -> None:
    enter_house(catalogue)
    day = {"condition": "M1", "measured_on": "2024-05-04"}
    bring_in(
        catalogue,
        folder,
        Patch("paper", PAPER_LAB, more=day),
        Patch("A2", DOCKROPE, [("Dockrope", 100)], more=day),
        Patch("A3", GREEN, [("Dockrope", 100), ("Ferrywake", 60)], more=day),
        Patch("A4", (70.0, 0.0, 0.0), [("Tinhymn", 100)], more=day),
    )


def cards(catalogue: Catalogue, path: Path, *uids: str, **filters: str) -> str:
    with catalogue.read() as session:
        print_swatch_cards(session, path, uids, **filters)  # type: ignore[arg-type]
    return " ".join(texts(path))


def test_a_swatch_card_says_how_the_colour_was_made_and_is_known(catalogue: Catalogue, tmp_path: Path) -> None:
    put_swatches(catalogue, tmp_path)
    text = cards(catalogue, tmp_path / "cards.pdf", ink="Ferrywake", over="Dockrope")
    for words in (
        "Dockrope 100 %, then Ferrywake 60 %, on Oatleaf 120, one pass",
        "Lab 52.3 -18.4 12.2",
        "proven",
        "by instrument, M1, 2024-05-04, 1 reading",
        "dashed: not measured",  # Ferrywake alone at 60 %
    ):
        assert words in text


def test_the_uncertainty_is_that_of_a_match(catalogue: Catalogue, tmp_path: Path) -> None:
    put_swatches(catalogue, tmp_path)
    # the profile's parts: reading 0.3, place 0.9; 2.80 times the root of their summed squares
    assert f"± {2.80 * (0.3**2 + 0.9**2) ** 0.5:.1f}" in cards(catalogue, tmp_path / "c.pdf", ink="Ferrywake")


def test_swatches_are_chosen_by_uid_too_each_once(catalogue: Catalogue, tmp_path: Path) -> None:
    put_swatches(catalogue, tmp_path)
    with catalogue.read() as session:
        uids = list(session.scalars(select(Swatch.uid).order_by(Swatch.id)))
        written = print_swatch_cards(session, tmp_path / "cards.pdf", (uids[2], uids[2], uids[0]))
    assert written.count == 2
    (text,) = texts(tmp_path / "cards.pdf")
    assert uids[2] in text
    assert uids[1] not in text


def test_a_metallic_swatch_sends_to_the_print(catalogue: Catalogue, tmp_path: Path) -> None:
    put_swatches(catalogue, tmp_path)
    text = cards(catalogue, tmp_path / "cards.pdf", ink="Tinhymn")
    assert "metallic ink: look at the print" in text
    assert "proven" not in text


def test_no_such_swatch_writes_nothing(catalogue: Catalogue, tmp_path: Path) -> None:
    put_swatches(catalogue, tmp_path)
    for choice in ({"ink": "Nettlecoat"}, {"ink": "Dockrope", "over": "Ferrywake"}):
        with pytest.raises(InputError, match="no swatch to print"):
            cards(catalogue, tmp_path / "cards.pdf", **choice)
    assert not (tmp_path / "cards.pdf").exists()


# --- slips ------------------------------------------------------------------------------------------------


def put_house(catalogue: Catalogue) -> None:
    enter_house(catalogue, Sootwell={"in-house": False})
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "person", "Wren Tallow")
    add(catalogue, "person", "Pip Saltmarsh")
    add(catalogue, "run", None, person="Wren Tallow")


def printed(catalogue: Catalogue, path: Path, **options: object) -> PrintedSlips:
    with catalogue.write(act("print slips")) as session:
        return print_slips(session, path, **options)  # type: ignore[arg-type]


def test_a_slip_offers_the_house_as_it_stands(catalogue: Catalogue, tmp_path: Path) -> None:
    put_house(catalogue)
    slips = printed(catalogue, tmp_path / "slip.pdf")
    assert "Ferrywake" in slips.inks
    assert "Sootwell" not in slips.inks
    assert set(slips.papers) == {"Oatleaf 120", "Chalkroad 90"}
    assert (slips.machines, slips.people) == (("Upstairs",), ("Wren Tallow",))  # who printed here, not all people


def test_a_photographed_slip_becomes_the_facts_of_a_run(catalogue: Catalogue, tmp_path: Path) -> None:
    put_house(catalogue)
    slips = printed(catalogue, tmp_path / "slip.pdf", count=2)
    rng = np.random.default_rng(11)
    page = rendered((tmp_path / "slip.pdf").read_bytes(), 1)
    ticks = {
        "ink 1.1": "Dockrope", "ink 1.2": "Ferrywake", "ink 2.1": "Kilnsong", "paper": "Oatleaf 120",
        "machine": "Upstairs", "person": "Wren Tallow", "density": "4", "speed": "2",
        "good 100": "1", "good 10": "2", "good 1": "0", "spoiled 1": "9",
    }  # fmt: skip
    with catalogue.read() as session:
        layout = session.scalars(select(Slip.layout).where(Slip.uid == slips.slips[1])).one()
    for box in layout["boxes"]:
        if ticks.get(box["group"]) == box["value"]:
            tick(page, box, rng)
    photo, _ = photographed(page, rng)
    with catalogue.read() as session:
        uid, reading, facts = read_slip_photo(session, photo)
    assert uid == slips.slips[1]
    assert reading.ticked == ticks
    assert facts.layers == (("Dockrope", 1), ("Ferrywake", 1), ("Kilnsong", 2))
    assert facts.paper == "Oatleaf 120"
    assert facts.facts == {
        "machine": "Upstairs", "density": "4", "speed": "2", "person": "Wren Tallow", "good": "120", "spoiled": "9"
    }  # fmt: skip
    assert facts.in_doubt == {}


def test_a_count_with_a_digit_in_doubt_is_left_open() -> None:
    facts = slip_facts({"good 100": "1", "spoiled 1": "4"}, {"good 10": ("2", "3")})
    assert facts.facts == {"spoiled": "4"}
    assert facts.in_doubt == {"good 10": ("2", "3")}


def test_a_slip_of_another_archive_is_told(catalogue: Catalogue, tmp_path: Path) -> None:
    put_house(catalogue)
    printed(catalogue, tmp_path / "slip.pdf")
    page = rendered((tmp_path / "slip.pdf").read_bytes())
    with catalogue.write(act("forget it")) as session:
        session.delete(session.scalars(select(Slip)).one())
    with catalogue.read() as session, pytest.raises(NotFoundError, match="printed from another archive"):
        read_slip_photo(session, page)


def test_a_picture_without_a_slip_is_told(catalogue: Catalogue) -> None:
    with catalogue.read() as session, pytest.raises(InputError, match="no code of a job slip"):
        read_slip_photo(session, np.full((300, 400, 3), 220, dtype=np.uint8))


def test_papers_beyond_the_most_used_are_named_as_left_out(catalogue: Catalogue, tmp_path: Path) -> None:
    put_house(catalogue)
    for number in range(8):
        add(catalogue, "paper", f"Ryebank {number}")
    bring_in(catalogue, tmp_path, Patch("A", GREEN, [("Dockrope", 100)], paper="Ryebank 7"))
    slips = printed(catalogue, tmp_path / "slip.pdf")
    assert slips.papers[0] == "Ryebank 7"
    (notice,) = slips.notices
    assert notice.startswith("papers that have no box on the slip: Ryebank")
    named = printed(catalogue, tmp_path / "slip.pdf", papers=["ryebank 6"], inks=["ferrywake", "Ferrywake"])
    assert (named.papers, named.inks, named.notices) == (("Ryebank 6",), ("Ferrywake",), ())


def test_a_forgotten_person_leaves_the_kept_slips_too(catalogue: Catalogue, tmp_path: Path) -> None:
    put_house(catalogue)
    printed(catalogue, tmp_path / "slip.pdf")
    with catalogue.write(act("forget", kind="forget")) as session:
        forget_person(session, "Wren Tallow")
    with catalogue.read() as session:
        (layout,) = session.scalars(select(Slip.layout))
    assert "Tallow" not in str(layout)
    assert any(box["group"] == "person" for box in layout["boxes"])


def test_a_file_that_cannot_be_written_leaves_no_slip(catalogue: Catalogue, tmp_path: Path) -> None:
    put_house(catalogue)
    with pytest.raises(CatalogueError, match="cannot write the file"):
        printed(catalogue, tmp_path / "nowhere" / "slip.pdf")
    with catalogue.read() as session:
        assert session.scalars(select(Slip)).all() == []
