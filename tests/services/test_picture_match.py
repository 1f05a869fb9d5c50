"""A picture as a question: its paper apart, ink sets by cover, prints by transport, the same design by shape."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Copy, PaletteColour, Picture
from archive.errors import InputError
from archive.services.evidence import KINDS, Evidence, load_evidence
from archive.services.house import pass_planner
from archive.services.matching import MatchOptions
from archive.services.picture_match import InkSetCover, PictureAnswer, match_picture
from tests.services.make import CHALKROAD, OATLEAF, Patch, add, bring_in, delta_e, enter_house

PAPER = (247, 243, 232)


def painted(path: Path, *blocks: tuple[tuple[int, int, int, int], tuple[int, int, int]]) -> Path:
    """Write a picture of (left, top, right, bottom) blocks on bare paper, 400 by 300."""
    pixels = np.full((300, 400, 3), PAPER, np.uint8)
    for (left, top, right, bottom), colour in blocks:
        pixels[top:bottom, left:right] = colour
    Image.fromarray(pixels).save(path)
    return path


def asked(catalogue: Catalogue, path: Path, **options: Any) -> PictureAnswer:
    with catalogue.read() as session:
        return match_picture(session, path, MatchOptions(**options))


def srgb_lab(*rgb: int) -> np.ndarray:
    """Return Lab under D50 of an sRGB colour by colour-science."""
    import colour

    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    xyz = colour.sRGB_to_XYZ(np.array(rgb) / 255, d50, "Bradford")
    return np.asarray(colour.XYZ_to_Lab(xyz, d50))


def test_scenario_33_paper_is_told_apart_and_a_small_vivid_accent_is_kept(catalogue: Catalogue, tmp_path: Path) -> None:
    enter_house(catalogue)
    bring_in(catalogue, tmp_path, Patch("white", (93, 0, 5)), Patch("1", (50, 60, 40), [("Kilnsong", 100)]))
    blue, red = (52, 84, 140), (214, 44, 40)
    # the accent takes 600 of 120 000 pixels: 0.5 % of the area
    path = painted(tmp_path / "friend.png", ((60, 60, 260, 220), blue), ((300, 100, 330, 120), red))
    answer = asked(catalogue, path)
    assert answer.paper is not None
    assert float(delta_e(answer.paper, srgb_lab(*PAPER))) < 1
    assert answer.paper_share == pytest.approx(1 - 0.005 - 32000 / 120000, abs=0.02)
    shares = [part["share"] for part in answer.palette]
    assert shares[0] == pytest.approx(32000 / 120000, abs=0.01)
    assert shares[-1] == pytest.approx(0.005, abs=0.002)
    labs = np.array([part["lab"] for part in answer.palette])
    assert len(labs) == 2
    assert labs[1][1] > 45  # red
    assert labs[0][2] < -20  # blue, as they would lie on the paper of the house
    assert answer.read_on == OATLEAF


def test_the_picture_is_kept_nowhere_and_what_is_none_is_refused(catalogue: Catalogue, tmp_path: Path) -> None:
    enter_house(catalogue)
    asked(catalogue, painted(tmp_path / "a.png", ((60, 60, 200, 220), (90, 120, 60))))
    with catalogue.read() as session:
        assert session.scalar(select(func.count()).select_from(Picture)) == 0
    assert list(catalogue.files.all_originals()) == []
    (tmp_path / "letter.jpg").write_text("Dear printer, ...")
    with pytest.raises(InputError):
        asked(catalogue, tmp_path / "letter.jpg")


def test_an_empty_archive_still_tells_the_colours(catalogue: Catalogue, tmp_path: Path) -> None:
    answer = asked(catalogue, painted(tmp_path / "a.png", ((60, 60, 200, 220), (90, 120, 60))))
    assert len(answer.palette) == 1
    assert (answer.prints, answer.same_design, answer.ink_sets) == ((), (), ())


def test_an_ink_set_is_covered_by_what_it_shows_on_one_paper(catalogue: Catalogue, tmp_path: Path) -> None:
    enter_house(catalogue)
    bring_in(
        catalogue,
        tmp_path,
        Patch("white", (93, 0, 5)),
        Patch("1", (55, 55, 35), [("Kilnsong", 100)]),
        Patch("2", (80, 0, 60), [("Dockrope", 100)], paper=CHALKROAD),
        Patch("3", (50, 45, 40), [("Kilnsong", 100), ("Dockrope", 100)]),
        Patch("4", (60, -20, 20), [("Nettlecoat", 60)], paper=CHALKROAD),
    )
    path = painted(tmp_path / "a.png", ((60, 60, 200, 160), (214, 70, 70)), ((60, 170, 200, 220), (216, 190, 60)))
    answer = asked(catalogue, path)
    labs, shares = palette_of(answer)
    covers = {cover.inks: cover for cover in answer.ink_sets}
    assert covers["Kilnsong", "Dockrope"].paper == OATLEAF
    # the dull yellow on the other paper is no help to a pair that was printed on this one
    on_oatleaf = delta_e(np.array([(93, 0, 5), (55, 55, 35), (50, 45, 40)])[:, None], labs[None]).min(axis=0)
    assert covers["Kilnsong", "Dockrope"].mean == pytest.approx(float(np.average(on_oatleaf, weights=shares)))
    assert {cover.inks for cover in asked(catalogue, path, paper=CHALKROAD).ink_sets} == {
        ("Dockrope",),
        ("Nettlecoat",),
    }


def test_ink_sets_that_can_be_printed_stand_before_those_that_cannot_and_those_told(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    enter_house(catalogue, Kilnsong={"in-house": False}, Ferrywake={"looks": "#c04040"})
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "drum", "1", ink="Sootwell", machine="Upstairs", position=1)
    bring_in(
        catalogue,
        tmp_path,
        Patch("1", (55, 50, 30), [("Kilnsong", 100)]),
        Patch("2", (40, 0, 0), [("Sootwell", 70)]),
        Patch("3", (55, 30, 20), [("Dockrope", 50), ("Gullbone", 50)]),
        Patch("4", (50, 30, 20), [("Dockrope", 50), ("Gullbone", 50), ("Sootwell", 20)]),
    )
    path = painted(tmp_path / "a.png", ((60, 60, 200, 220), (214, 70, 70)))
    answer = asked(catalogue, path, limit=20)
    assert [cover.inks for cover in answer.ink_sets][-2:] == [("Kilnsong",), ("Ferrywake",)]
    assert answer.ink_sets[-2].why_not_now == "Kilnsong is retired: no drum in the house"
    assert answer.ink_sets[-1].evidence == "told"
    assert [cover.inks for cover in asked(catalogue, path, loaded=True).ink_sets] == [("Sootwell",)]
    in_house = asked(catalogue, path, in_house=True, evidence=("proven",)).ink_sets
    assert {cover.inks for cover in in_house} == {
        ("Sootwell",),
        ("Dockrope", "Gullbone"),
        ("Dockrope", "Gullbone", "Sootwell"),
    }
    one_pass = asked(catalogue, path, passes=1, with_inks=("Dockrope", "Gullbone", "Sootwell")).ink_sets
    assert {cover.inks for cover in one_pass} == {("Sootwell",), ("Dockrope", "Gullbone")}


# --- in the demo


def picture_of(catalogue: Catalogue, copy: str) -> tuple[str, Path]:
    """Return the uid and file of a copy's first picture."""
    with catalogue.read() as session:
        query = select(Picture.uid, Picture.sha256).join(Copy, Copy.id == Picture.copy_id).where(Copy.ref == copy)
        uid, sha256 = session.execute(query.order_by(Picture.id)).first() or ("", "")
    return uid, catalogue.files.path(sha256)


def palette_of(answer: PictureAnswer) -> tuple[np.ndarray, np.ndarray]:
    return np.array([part["lab"] for part in answer.palette]), np.array([part["share"] for part in answer.palette])


def brute_cover(evidence: Evidence, answer: PictureAnswer, inks: tuple[str, ...]) -> tuple[float, float, str]:
    """Return mean, worst and kind of evidence of an ink set on its best paper, patch by patch."""
    labs, shares = palette_of(answer)
    parts = {part for count in range(len(inks) + 1) for part in combinations(inks, count)}
    papers = {recipe.paper for recipe in evidence.recipes if recipe.inks == inks}
    found = []
    for paper in sorted(papers - {None}) or [evidence.paper_of_screen]:
        rows = [
            row
            for row, number in enumerate(evidence.recipe)
            if evidence.recipes[number].inks in parts and evidence.recipes[number].paper in (paper, None)
        ]
        distance = delta_e(evidence.lab[rows][:, None], labs[None])
        kinds = evidence.kind[np.array(rows)[distance.argmin(axis=0)]]
        kind = max(range(5), key=lambda each, kinds=kinds: float(shares[kinds == each].sum()))
        best = distance.min(axis=0)
        found.append((float(np.average(best, weights=shares)), float(best.max()), KINDS[kind]))
    return min(found)


def test_ink_sets_are_ranked_by_their_area_weighted_mean(demo: Catalogue) -> None:
    _, path = picture_of(demo, "QA-0001/1")
    answer = asked(demo, path, limit=1000)
    with demo.read() as session:
        evidence, planner = load_evidence(session), pass_planner(session)
    sets = {recipe.inks for recipe in evidence.recipes if recipe.inks}
    assert {cover.inks for cover in answer.ink_sets} == sets
    chosen = [sorted(sets)[number] for number in np.random.default_rng(5).permutation(len(sets))[:12]]
    by_inks = {cover.inks: cover for cover in answer.ink_sets}
    for inks in [cover.inks for cover in answer.ink_sets[:8]] + chosen:
        cover = by_inks[inks]
        mean, worst, _ = brute_cover(evidence, answer, inks)
        assert (cover.mean, cover.worst) == (pytest.approx(mean, abs=1e-6), pytest.approx(worst, abs=1e-6))
        assert cover.passes == planner.plan(list(inks)).count

    def place(cover: InkSetCover) -> tuple[Any, ...]:
        group = 3 if cover.evidence in ("told", "guess") else 1 if cover.printable_now else 2
        return group, int(cover.mean / 0.5), not cover.loaded, cover.passes, cover.mean

    assert list(map(place, answer.ink_sets)) == sorted(map(place, answer.ink_sets))
    assert asked(demo, path).ink_sets == answer.ink_sets[:5]


def media_relative(lab: np.ndarray, paper: np.ndarray | None) -> np.ndarray:
    """Return Lab with the paper as white: XYZ scaled by the whites, as media-relative colorimetry does (ICC.1)."""
    import colour

    if paper is None:
        return lab
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    scaled = colour.Lab_to_XYZ(lab, d50) / colour.Lab_to_XYZ(paper, d50) * colour.xy_to_XYZ(d50)
    return np.clip(colour.XYZ_to_Lab(scaled, d50), (0, -200, -200), (100, 200, 200))


def moved(colours_1: np.ndarray, shares_1: np.ndarray, colours_2: np.ndarray, shares_2: np.ndarray) -> float:
    """Return the earth mover's distance as the linear programme that defines it (Rubner et al. 2000)."""
    from scipy.optimize import linprog

    cost = delta_e(colours_1[:, None], colours_2[None])
    m, n = cost.shape
    give = [[1.0 if at // n == row else 0.0 for at in range(m * n)] for row in range(m)]
    take = [[1.0 if at % n == column else 0.0 for at in range(m * n)] for column in range(n)]
    amounts = [*(shares_1 / shares_1.sum()), *(shares_2 / shares_2.sum())]
    return float(linprog(cost.ravel(), A_eq=(give + take)[:-1], b_eq=amounts[:-1], bounds=(0, None)).fun)


def test_prints_are_the_nearest_by_earth_movers_distance(demo: Catalogue) -> None:
    uid, path = picture_of(demo, "QA-0012/1")
    answer = asked(demo, path, limit=6)
    with demo.read() as session:
        rows = session.scalars(select(PaletteColour).order_by(PaletteColour.picture_id, PaletteColour.position)).all()
        pictures = session.scalars(select(Picture).order_by(Picture.id)).all()
        palettes = {}
        for picture in pictures:
            own = [row for row in rows if row.picture_id == picture.id]
            paper = None if picture.paper_l is None else np.array([picture.paper_l, picture.paper_a, picture.paper_b])
            labs = np.array([(row.lab_l, row.lab_a, row.lab_b) for row in own])
            palettes[picture.uid] = (media_relative(labs, paper), np.array([row.share for row in own]))
    expected = sorted((moved(*palettes[uid], *palette), other) for other, palette in palettes.items())[:6]
    assert [each.picture for each in answer.prints] == [other for _, other in expected]
    # both D50 whites differ in their last digit
    assert [each.distance for each in answer.prints] == pytest.approx([far for far, _ in expected], abs=5e-3)
    assert (answer.prints[0].picture, answer.prints[0].work) == (uid, "QA-0012")


def test_another_colourway_of_the_same_design_is_a_candidate(demo: Catalogue) -> None:
    from demo_archive.scenario import scenario

    work = next(each for each in scenario().works if each.title == "Nine Tides")
    first, second = (
        next(copy.ref for copy in work.copies if copy.variant == variant.ref) for variant in work.variants[:2]
    )
    own, path = picture_of(demo, first)
    other, _ = picture_of(demo, second)
    found = asked(demo, path, limit=10).same_design
    assert {own, other} <= {each.picture for each in found}
    assert found[0].picture == own
    assert found[0].bits == 0
    assert {each.work for each in found if each.picture in (own, other)} == {work.ref}
