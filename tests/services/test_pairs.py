"""What a pair of inks gives at tints that nobody printed, from patches of a real press.

Debian's icc-profiles-free, FOGRA30L.ti3: characterisation data of offset on uncoated yellowish paper. Its cyan and
magenta stand for two of the invented inks.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from archive.catalogue.database import Catalogue
from archive.errors import InputError, NotFoundError
from archive.services.pairs import Prediction, predict, read_tints, show_pair
from archive.services.profile import set_profile
from tests.acts import act
from tests.services.make import OATLEAF, Patch, bring_in, delta_e, enter_house

BLUE, RED = "Ferrywake", "Kilnsong"
ELEVEN = [(0, 0), (100, 0), (0, 100), (100, 100), (25, 0), (50, 0), (75, 0), (0, 25), (0, 50), (0, 75), (55, 55)]
Row = tuple[tuple[float, float], tuple[float, float, float]]


def press_rows() -> list[Row]:
    """Return tints of cyan and magenta and the Lab of every patch of these two alone, each once."""
    (path,) = Path("/usr/share/color/icc").glob("**/FOGRA30L.ti3")
    head, _, rest = path.read_text(encoding="utf-8", errors="replace").partition("BEGIN_DATA_FORMAT")
    assert head
    fields = rest.partition("END_DATA_FORMAT")[0].split()
    rows = [line.split() for line in rest.partition("BEGIN_DATA\n")[2].partition("END_DATA")[0].splitlines()]
    found: dict[tuple[float, float], tuple[float, float, float]] = {}
    for row in rows:
        cell = {name: float(row[number]) for number, name in enumerate(fields) if "_" in name and "ID" not in name}
        if cell["CMYK_Y"] == cell["CMYK_K"] == 0:
            found[cell["CMYK_C"], cell["CMYK_M"]] = (cell["LAB_L"], cell["LAB_A"], cell["LAB_B"])
    return sorted(found.items())


def nearest(rows: list[Row], wanted: tuple[int, int]) -> Row:
    return min(rows, key=lambda row: abs(row[0][0] - wanted[0]) + abs(row[0][1] - wanted[1]))


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    return press_rows()


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    enter_house(catalogue)
    with catalogue.write(act("what is known here is the model's part alone")) as session:
        for key in ("place_sd", "day_sd"):
            set_profile(session, key, "0")
    return catalogue


def patch(row: Row) -> Patch:
    (blue, red), lab = row
    layers = [(ink, tint, 1) for ink, tint in ((BLUE, blue), (RED, red)) if tint]
    return Patch(f"{blue:g}-{red:g}", lab, layers)


def ask(catalogue: Catalogue, *tints: tuple[float, ...], inks: tuple[str, ...] = (BLUE, RED)) -> list[Prediction]:
    with catalogue.read() as session:
        return predict(session, inks, OATLEAF, tints)


def test_eleven_patches_tell_the_rest_within_what_is_said(house: Catalogue, rows: list[Row], tmp_path: Path) -> None:
    known = [nearest(rows, wanted) for wanted in ELEVEN]
    bring_in(house, tmp_path, *(patch(row) for row in known))
    rest = [row for row in rows if row not in known]
    found = ask(house, *(tints for tints, _ in rest))
    off = delta_e([each.lab for each in found], [lab for _, lab in rest])
    assert off.mean() < 0.8  # trials on nine presses: 0.3 on average, this one is among the rougher
    assert np.mean(off <= [each.uncertainty for each in found]) > 0.85
    assert {each.evidence for each in found} == {"worked_out"}


def test_what_was_printed_is_proven_and_an_overprint_never_printed_is_a_guess(
    house: Catalogue, rows: list[Row], tmp_path: Path
) -> None:
    singles = [row for row in (nearest(rows, wanted) for wanted in ELEVEN) if 0 in row[0]]
    bring_in(house, tmp_path, *(patch(row) for row in singles))
    solid, over = ask(house, (100, 0), (100, 100))
    assert (solid.evidence, over.evidence) == ("proven", "guess")
    truth = dict(rows)[100.0, 100.0]
    assert over.uncertainty > 8
    assert delta_e(over.lab, truth) <= over.uncertainty


def test_a_new_run_may_do_more_than_is_unknown_of_the_old_one(
    house: Catalogue, rows: list[Row], tmp_path: Path
) -> None:
    bring_in(house, tmp_path, *(patch(nearest(rows, wanted)) for wanted in ELEVEN))
    (before,) = ask(house, (40, 60))
    with house.write(act("days differ")) as session:
        set_profile(session, "day_sd", "2")
    (after,) = ask(house, (40, 60))
    assert before.reprint == pytest.approx(before.uncertainty)
    assert after.uncertainty == pytest.approx(before.uncertainty)
    assert after.reprint == pytest.approx(np.hypot(after.uncertainty, 2.80 * 2), rel=1e-3)  # 2.80: chi-square, 3 axes


def test_the_order_of_inks_is_another_set(house: Catalogue, rows: list[Row], tmp_path: Path) -> None:
    bring_in(house, tmp_path, *(patch(nearest(rows, wanted)) for wanted in ELEVEN))
    (turned,) = ask(house, (60, 40), inks=(RED, BLUE))
    assert turned.evidence == "guess"  # nobody printed the blue over the red


def test_the_pairs_card_shows_its_grid_and_what_is_missing(house: Catalogue, rows: list[Row], tmp_path: Path) -> None:
    some = [nearest(rows, wanted) for wanted in ELEVEN[:7]]
    bring_in(house, tmp_path, *(patch(row) for row in some))
    with house.read() as session:
        card = show_pair(session, [BLUE, RED], OATLEAF)
    assert len(card.grid) == 25
    assert card.patches == 7
    assert set(card.missing) == {(0.0, 25.0), (0.0, 50.0), (0.0, 75.0), (50.0, 50.0)}
    assert 1 <= card.n <= 10


def test_too_little_measured_says_what_to_print(house: Catalogue, rows: list[Row], tmp_path: Path) -> None:
    bring_in(house, tmp_path, patch(nearest(rows, (0, 0))), patch(nearest(rows, (100, 0))))
    with pytest.raises(NotFoundError, match="strip of eleven"):
        ask(house, (40, 60))


@pytest.mark.parametrize(
    ("inks", "tints", "words"),
    [
        ((BLUE, "Tinhymn"), (10, 10), "found by name and never mixed"),
        ((BLUE, "Oddlight"), (10, 10), "found by name and never mixed"),
        ((BLUE, BLUE), (10, 10), "different inks"),
        ((BLUE, RED), (10,), "1 tints for 2 inks"),
    ],
)
def test_what_cannot_be_asked_is_told(
    house: Catalogue, rows: list[Row], tmp_path: Path, inks: tuple[str, ...], tints: tuple[float, ...], words: str
) -> None:
    bring_in(house, tmp_path, *(patch(nearest(rows, wanted)) for wanted in ELEVEN))
    with pytest.raises(InputError, match=words):
        ask(house, tints, inks=inks)


def test_a_file_of_tints_is_a_line_a_recipe(tmp_path: Path) -> None:
    path = tmp_path / "tints.csv"
    path.write_text("40,60\n\n12.5;100\n", encoding="utf-8")
    assert read_tints(path) == [(40.0, 60.0), (12.5, 100.0)]
    path.write_text("40,60\nhalf,60\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 2"):
        read_tints(path)
