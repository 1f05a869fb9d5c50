"""A colour read off a picture, kept with its inks, named, and listed beside the others."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from archive.catalogue.database import Catalogue
from archive.colour.difference import R95
from archive.errors import ArchiveError, InputError, NotFoundError
from archive.services.pictures import add_pictures
from archive.services.recipe_list import list_recipes
from archive.services.swatch_list import list_swatches, name_swatch, show_swatch
from archive.services.swatches import Region, SwatchReading, radius_in_pixels, read_swatch, save_swatch
from archive.services.works import copy_for_pictures
from tests.acts import act
from tests.services.make import CHALKROAD, OATLEAF, Patch, add, ask, bring_in, delta_e, enter_house, lab_text

RED, BLUE, WHITE = (180, 60, 50), (52, 84, 140), (255, 255, 255)


@pytest.fixture
def shop(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Return a house with one picture: red left, blue middle, a grain of both and a burnt-out strip right."""
    enter_house(catalogue)
    pixels = np.full((200, 400, 3), RED, np.uint8)
    pixels[:, 100:200] = BLUE
    pixels[:, 200:300] = np.where(np.arange(200)[:, None, None] % 8 < 4, RED, BLUE)
    pixels[:, 300:] = WHITE
    path = tmp_path / "sheet.png"
    Image.fromarray(pixels).save(path)
    add(catalogue, "work", "W-1", title="Nine Tides")
    add(catalogue, "variant", None, work="W-1")
    add_pictures(catalogue, [path], act("add"), target=lambda session, _: copy_for_pictures(session, "W-1"))
    return catalogue


def read(catalogue: Catalogue, x: float, y: float, radius: float) -> SwatchReading:
    with catalogue.read() as session:
        return read_swatch(session, catalogue.files, "sheet.png", Region(x, y, radius))


def srgb_lab(*rgb: int) -> np.ndarray:
    import colour

    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    return np.asarray(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(rgb) / 255, d50, "Bradford"), d50))


def test_a_flat_patch_reads_as_it_is_and_is_seen_not_measured(shop: Catalogue) -> None:
    found = read(shop, 50, 100, 20)
    assert float(delta_e(found.lab, srgb_lab(*RED))) < 0.05
    assert found.spread == pytest.approx(0, abs=1e-3)
    assert (found.usable, found.flags) == (True, ("no colour card: seen, not measured",))
    # 4 an axis for a picture without a card, 0.9 for the place
    assert found.uncertainty == pytest.approx(R95 * np.hypot(4, 0.9))


def test_a_mottled_patch_is_uneven_a_burnt_out_one_clipped_a_tiny_one_too_small(shop: Catalogue) -> None:
    uneven, clipped, tiny = read(shop, 250, 100, 20), read(shop, 350, 100, 20), read(shop, 50, 100, 1.5)
    # half the pixels lie on each side of the mean of both colours
    middle = (srgb_lab(*RED) + srgb_lab(*BLUE)) / 2
    spread = float(np.mean([delta_e(srgb_lab(*RED), middle), delta_e(srgb_lab(*BLUE), middle)]))
    assert uneven.spread == pytest.approx(spread, rel=0.05)
    assert uneven.uncertainty > R95 * spread / 1.6
    assert [each.flags[0] for each in (uneven, clipped, tiny)] == ["uneven", "clipped", "too small"]
    assert not any(each.usable for each in (uneven, clipped, tiny))
    with shop.write(act()) as session, pytest.raises(InputError, match="the patch cannot be trusted: clipped"):
        save_swatch(session, "sheet.png", Region(350, 100, 20), clipped, "Kilnsong 100 %", OATLEAF)


@pytest.mark.parametrize(("x", "y", "radius"), [(10, 100, 20), (395, 100, 20), (50, 195, 20), (50, 100, 0), (-5, 9, 1)])
def test_a_disc_that_leaves_the_picture_is_refused(shop: Catalogue, x: float, y: float, radius: float) -> None:
    with pytest.raises(InputError, match="leaves the picture, which is 400 by 200"):
        read(shop, x, y, radius)


def test_a_picture_that_is_not_there_and_a_scale_that_is_not_known_are_told(shop: Catalogue) -> None:
    with shop.read() as session:
        with pytest.raises(NotFoundError):
            read_swatch(session, shop.files, "other.png", Region(50, 50, 5))
        with pytest.raises(InputError, match="the picture has no scale yet"):
            radius_in_pixels(session, "sheet.png", 2.0, None, None)
        # 400 pixels over 420 mm
        assert radius_in_pixels(session, "sheet.png", 2.1, None, 420) == pytest.approx(2)
        assert radius_in_pixels(session, "sheet.png", None, 7, None) == 7


def save(catalogue: Catalogue, inks: str, paper: str | None = OATLEAF, x: float = 50) -> str:
    region = Region(x, 100, 20)
    with catalogue.write(act("save")) as session:
        reading = read_swatch(session, catalogue.files, "sheet.png", region)
        kept = save_swatch(session, "sheet.png", region, reading, inks, paper)
    assert kept.swatch is not None
    return kept.swatch


def test_a_kept_swatch_answers_with_its_inks_tints_print_and_place(shop: Catalogue) -> None:
    uid = save(shop, "Kilnsong 80 % over Dockrope 100 %")
    (match,) = ask(shop, lab_text(srgb_lab(*RED))).matches
    assert [(layer["ink"], layer["tint"]) for layer in match.layers] == [("Dockrope", 100), ("Kilnsong", 80)]
    assert (match.evidence, match.verdict, match.swatch, match.copy) == ("seen", "related", uid, "W-1/1")
    assert match.delta_e_2000 < 0.05
    with shop.read() as session:
        shown = show_swatch(session, uid)
    assert (shown.paper, shown.inks, shown.method) == (OATLEAF, "Dockrope 100 %, then Kilnsong 80 %", "picture")


@pytest.mark.parametrize(
    ("inks", "paper", "words"),
    [
        ("Kilnsong over Dockrope 100 %", OATLEAF, "every tint"),
        ("Kilnsong 50 % and Dockrope 100 %", OATLEAF, "the order"),
        ("Kilnsong 40 to 60 %", OATLEAF, "every tint"),
        ("Kilnsing 50 %", OATLEAF, "Did you mean Kilnsong"),
        ("Kilnsong 50 %", None, "a swatch lies on a paper"),
    ],
)
def test_a_swatch_without_all_that_makes_a_recipe_is_not_kept(
    shop: Catalogue, inks: str, paper: str | None, words: str
) -> None:
    with pytest.raises(ArchiveError, match=words):
        save(shop, inks, paper)
    with shop.read() as session:
        assert list_swatches(session) == []


def test_a_name_is_given_once(shop: Catalogue) -> None:
    first, second = save(shop, "Kilnsong 80 %"), save(shop, "Ferrywake 80 %", x=150)
    with shop.write(act()) as session:
        assert name_swatch(session, first, " Brick  lane ").name == "Brick lane"
        with pytest.raises(InputError, match="the name brick LANE is given already"):
            name_swatch(session, second, "brick LANE")
        name_swatch(session, first, "Brick lane")  # again, to the same
        name_swatch(session, first, "")
        assert name_swatch(session, second, "Brick lane").name == "Brick lane"
    with shop.read() as session, pytest.raises(NotFoundError):
        show_swatch(session, "0192")


# --- listed


@pytest.fixture
def both_ways(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    enter_house(catalogue)
    bring_in(
        catalogue,
        tmp_path,
        Patch("white", (93, 0, 5)),
        Patch("1", (45, -20, 10), [("Dockrope", 100), ("Ferrywake", 100)]),
        Patch("2", (48, -10, 22), [("Ferrywake", 100), ("Dockrope", 100)]),
        Patch("3", (70, 0, 60), [("Dockrope", 100)]),
        Patch("4", (44, -18, 2), [("Dockrope", 100), ("Ferrywake", 100)], paper=CHALKROAD),
    )
    return catalogue


def test_scenario_23_one_ink_over_another_and_the_other_way_round_are_two_colours(both_ways: Catalogue) -> None:
    with both_ways.read() as session:
        over = list_swatches(session, ink="Ferrywake", over="Dockrope", paper=OATLEAF)
        under = list_swatches(session, ink="dockrope", over="ferrywake")
        either = list_swatches(session, ink="Ferrywake", paper=OATLEAF)
        sets = list_recipes(session, ink="Ferrywake")
    assert [(each.inks, each.lab) for each in over] == [("Dockrope 100 %, then Ferrywake 100 %", (45, -20, 10))]
    assert [(each.inks, each.lab) for each in under] == [("Ferrywake 100 %, then Dockrope 100 %", (48, -10, 22))]
    assert {each.lab for each in either} == {(45, -20, 10), (48, -10, 22)}
    assert [(each.inks, each.paper) for each in sets] == [
        (("Dockrope", "Ferrywake"), CHALKROAD),
        (("Dockrope", "Ferrywake"), OATLEAF),
        (("Ferrywake", "Dockrope"), OATLEAF),
    ]


def test_swatches_are_listed_by_ink_and_tint_as_many_as_asked(both_ways: Catalogue, tmp_path: Path) -> None:
    tints = [100, 5, 40, 10]
    bring_in(both_ways, tmp_path, *(Patch(f"t{t}", (60, t / 2, 0), [("Kilnsong", t)]) for t in tints), name="row.csv")
    with both_ways.read() as session:
        assert [each.sample for each in list_swatches(session, ink="Kilnsong")] == ["t5", "t10", "t40", "t100"]
        assert len(list_swatches(session, limit=2)) == 2
        with pytest.raises(NotFoundError):
            list_swatches(session, ink="Kilnsing")
