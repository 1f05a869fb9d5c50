"""Files of readings come in whole or not at all, and only once; what goes out comes in again."""

from __future__ import annotations

import hashlib
import shutil
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue, open_archive, start_archive
from archive.catalogue.models import Change, Layer, Measurement, ReadingsSet, Recipe, Run, Swatch
from archive.errors import InputError, ManyErrors, NotFoundError
from archive.services.changes import undo
from archive.services.readings import ImportOptions, import_readings, read_readings_file
from archive.services.readings_out import export_readings, reading_rows
from tests.acts import act
from tests.archives import Archives
from tests.services.make import (
    OATLEAF,
    Patch,
    add,
    ask,
    bring_in,
    bring_in_text,
    delta_e,
    enter_house,
    lab_text,
    readings,
)

# Measurements of presses that were published to make colour profiles from, in Debian's icc-profiles-free.
PRESS_FILES = sorted(Path("/usr/share/color/icc").glob("**/*.ti3"))
PRESS_INKS = (("CMYK_C", "Ferrywake"), ("CMYK_M", "Kilnsong"), ("CMYK_Y", "Dockrope"), ("CMYK_K", "Sootwell"))
TABLES = (Change, Swatch, Measurement, Recipe, Layer, ReadingsSet, Run)


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    enter_house(catalogue)
    return catalogue


def counts(catalogue: Catalogue) -> dict[str, int]:
    with catalogue.read() as session:
        return {table.__tablename__: session.scalar(select(func.count()).select_from(table)) or 0 for table in TABLES}


def file_bytes(catalogue: Catalogue) -> dict[str, str]:
    return {
        str(path.relative_to(catalogue.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(catalogue.folder.rglob("*"))
        if path.is_file() and not path.name.endswith("-shm")  # shared memory of the readers, no data
    }


def measured(catalogue: Catalogue) -> list[tuple[Any, ...]]:
    """Return all that a measurement tells, in an order of its own."""
    with catalogue.read() as session:
        return sorted(
            (
                (
                    *(row.sample, row.paper, row.layers, row.lab, row.xyz, row.spectrum, row.condition, row.backing),
                    *(row.instrument, row.measured_on, row.printed_on, row.hours_after, row.n, row.spread, row.note),
                    *(row.machine, row.screen, row.work),
                )
                for row in reading_rows(session)
            ),
            key=repr,
        )


def press_table(path: Path) -> tuple[list[tuple[float, ...]], np.ndarray]:
    """Return CMYK and Lab of a press file, read by a few lines of the test's own."""
    lines = [line.strip() for line in path.read_bytes().decode("latin-1").splitlines() if line.strip()]
    fields = lines[lines.index("BEGIN_DATA_FORMAT") + 1].split()
    data = lines[lines.index("BEGIN_DATA") + 1 : lines.index("END_DATA")]
    rows = [line.split() for line in data if not line.startswith("#")]
    tints = [tuple(float(row[fields.index(name)]) for name, _ in PRESS_INKS) for row in rows]
    lab = [[float(row[fields.index(f"LAB_{axis}")]) for axis in "LAB"] for row in rows]
    return tints, np.array(lab)


# --- the files of real presses


def test_nine_press_files_are_at_hand() -> None:
    assert len(PRESS_FILES) == 9


@pytest.mark.parametrize("path", PRESS_FILES, ids=lambda path: path.stem)
def test_a_press_file_keeps_every_row_and_answers_like_brute_force_over_its_own_lab(
    house: Catalogue, path: Path
) -> None:
    tints, labs = press_table(path)
    report = import_readings(house, path, ImportOptions(OATLEAF, PRESS_INKS), act("import", kind="import"))
    assert (report.rows, report.added, report.known) == (len(tints), len(tints), 0)
    assert report.bare_paper == sum(1 for row in tints if not any(row))
    assert counts(house)["measurement"] == len(tints)
    # a recipe is a paper and its tints to 0.1 %
    keys = [tuple(round(tint * 10) for tint in row) for row in tints]
    assert report.new_recipes == len(set(keys))
    rng = np.random.default_rng(len(tints))
    for wanted in labs[rng.integers(0, len(labs), 2)] + rng.normal(0, (4, 6, 6), (2, 3)):
        wanted = np.clip(wanted, (0, -128, -128), (100, 128, 128))
        best: dict[tuple[int, ...], float] = {}
        for key, distance in zip(keys, delta_e(wanted, labs), strict=True):
            if any(key):  # bare paper is no answer
                best[key] = min(best.get(key, np.inf), float(distance))
        answer = ask(house, lab_text(wanted), by_delta=True, limit=10)
        assert [match.delta_e_2000 for match in answer.matches] == pytest.approx(sorted(best.values())[:10], abs=1e-6)
        for match in answer.matches:
            told = {layer["ink"]: round(layer["tint"] * 10) for layer in match.layers}
            key = tuple(told.get(ink, 0) for _, ink in PRESS_INKS)
            assert match.delta_e_2000 == pytest.approx(best[key], abs=1e-6)


def test_the_press_file_nearest_to_this_trade_has_1485_rows_and_28_recipes_twice(house: Catalogue) -> None:
    path = next(path for path in PRESS_FILES if path.stem == "FOGRA30L")
    tints, _ = press_table(path)
    assert (len(tints), sum(1 for many in Counter(tints).values() if many == 2)) == (1485, 28)
    import_readings(house, path, ImportOptions(OATLEAF, PRESS_INKS), act("import", kind="import"))
    with house.read() as session:
        by_recipe = Counter(session.scalars(select(Swatch.recipe_id)))
        header = dict(session.scalars(select(ReadingsSet.header)).one())
    assert sorted(by_recipe.values()) == [1] * (1485 - 2 * 28) + [2] * 28
    # the header stays as it stood
    assert header["DESCRIPTOR"] == "FOGRA30"
    assert header["CREATED"] == "September 2003"
    assert "paper type 5 = slightly yellowish, uncoated, 120 g/m2" in header["PRINT_CONDITIONS"]


# --- refused whole, and everything told


def test_all_that_is_wrong_is_told_at_once_and_nothing_is_written(house: Catalogue, tmp_path: Path) -> None:
    text = readings(
        Patch("1", (60, 10, 10), [("Feriwake", 50)]),
        Patch("2", (60, 10, 10), [("Feriwake", 60)]),
        Patch("3", (60, 10, 10), [("Dockrope", 60)], paper="Oatleef 120"),
        Patch("4", (60, 10, 10), [("Dockrope", 60)], more={"machine": "Cellar"}),
    )
    before, files = counts(house), file_bytes(house)
    with pytest.raises(ManyErrors) as caught:
        bring_in_text(house, tmp_path, text, "strip.csv")
    words = [str(error) for error in caught.value.errors]
    assert len(words) == 3
    assert "strip, line 2, ink_1 and 1 more row: no ink called Feriwake. Did you mean Ferrywake" in words[0]
    assert "strip, line 4, paper: no paper called Oatleef 120. Did you mean Oatleaf 120" in words[1]
    assert "strip, line 5, machine: no machine called Cellar" in words[2]
    assert all(isinstance(error, NotFoundError) for error in caught.value.errors)
    assert counts(house) == before
    assert file_bytes(house) == files


def test_every_bad_cell_is_told_and_nothing_is_written(house: Catalogue, tmp_path: Path) -> None:
    good = readings(Patch("1", (60, 10, 10), [("Dockrope", 60)]), Patch("2", (50, 0, 0), [("Dockrope", 70)]))
    text = good.replace("1,Oatleaf 120,Dockrope,60,,60,10,10", "1,Oatleaf 120,Dockrope,600,,60,10,1o")
    text = text.replace("2,Oatleaf 120,Dockrope,70,,50,0,0", "2,Oatleaf 120,Dockrope,70,,150,0,0")
    before = counts(house)
    with pytest.raises(ManyErrors) as caught:
        bring_in_text(house, tmp_path, text, "strip.csv")
    places = sorted(error.where for error in caught.value.errors)
    assert places == ["strip.csv, line 2, lab_b", "strip.csv, line 2, tint_1", "strip.csv, line 3, lab_l"]
    assert counts(house) == before


def test_a_colour_that_no_print_has_is_refused_with_its_line(house: Catalogue, tmp_path: Path) -> None:
    text = readings(Patch("1", (60, 10, 10), [("Dockrope", 60)]), Patch("2", (50, 250, 0), [("Dockrope", 70)]))
    with pytest.raises(ManyErrors, match=r"strip, line 3: the reading makes Lab 50\.0, 250\.0, 0\.0"):
        bring_in_text(house, tmp_path, text, "strip.csv")


def test_a_file_without_inks_asks_which_they_are(house: Catalogue, tmp_path: Path) -> None:
    path = PRESS_FILES[0]
    with pytest.raises(InputError, match=r"CMYK_C, CMYK_M, CMYK_Y, CMYK_K are no inks of this house.*--ink"):
        import_readings(house, path, ImportOptions(OATLEAF), act(), dry_run=True)
    with pytest.raises(ManyErrors, match=r"no paper is named.*--paper") as caught:
        import_readings(house, path, ImportOptions(None, PRESS_INKS), act(), dry_run=True)
    assert len(caught.value.errors) == 1
    with pytest.raises(InputError, match="a pass is given for Ferrywake, and no ink"):
        import_readings(house, path, ImportOptions(OATLEAF, passes={"Ferrywake": 2}), act(), dry_run=True)
    with pytest.raises(InputError, match="cannot read the file"):
        read_readings_file(tmp_path / "not-there.csv")


# --- dry runs, and the same set again


def strip() -> tuple[Patch, ...]:
    return (
        Patch("white", (92, 0, 6)),
        Patch("a", (60, 10, 10), [("Dockrope", 60)], more={"measured_on": "2024-05-01"}),
        Patch("b", (50, 20, 10), [("Dockrope", 60), ("Ferrywake", 40)]),
        Patch("b", (50, 20, 10), [("Dockrope", 60), ("Ferrywake", 40)]),
    )


def test_a_dry_run_reports_the_same_and_writes_nothing(house: Catalogue, tmp_path: Path) -> None:
    before, files = counts(house), file_bytes(house)
    dry = bring_in_text(house, tmp_path, readings(*strip()), "strip.csv", dry=True)
    assert counts(house) == before
    assert file_bytes(house) == files
    wet = bring_in(house, tmp_path, *strip())
    assert {**dry.as_json(), "dry_run": False} == wet.as_json()
    assert (wet.added, wet.bare_paper, wet.new_recipes) == (4, 1, 3)
    assert (wet.papers, wet.inks) == ((OATLEAF,), ("Dockrope", "Ferrywake"))


def test_a_dry_run_counts_a_recipe_of_two_tables_once(house: Catalogue, tmp_path: Path) -> None:
    table = cgats("SAMPLE_ID 1CLR_1 LAB_L LAB_A LAB_B", "1 50 60 10 10", "2 0 92 0 5")
    options = ImportOptions(OATLEAF, (("1CLR_1", "Dockrope"),))
    dry = bring_in_text(house, tmp_path, table + table, "two.txt", options, dry=True)
    wet = bring_in_text(house, tmp_path, table + table, "two.txt", options)
    assert (dry.new_recipes, wet.new_recipes, wet.added) == (2, 2, 4)


def test_the_same_set_again_adds_nothing_and_a_changed_value_adds_one(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, *strip())
    before = counts(house)
    again = bring_in(house, tmp_path, *strip())
    assert (again.added, again.known, again.new_recipes) == (0, 4, 0)
    assert counts(house) == before
    white, first, *rest = strip()
    changed = bring_in(house, tmp_path, white, Patch("a", (61, 10, 10), first.layers, more=first.more), *rest)
    assert (changed.added, changed.known) == (1, 3)
    after = counts(house)
    assert after["swatch"] == before["swatch"] + 1
    assert after["measurement"] == before["measurement"] + 1
    assert after["recipe"] == before["recipe"]


def test_a_row_twice_in_one_file_is_two_patches(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, *strip())
    match = ask(house, "lab:50,20,10").matches[0]
    assert (match.delta_e_2000, match.also) == (0, 1)
    third = bring_in(house, tmp_path, *strip(), strip()[-1])
    assert (third.added, third.known) == (1, 4)


def test_an_import_is_undone_whole_and_can_come_again(house: Catalogue, tmp_path: Path) -> None:
    add(house, "machine", "Upstairs")
    patches = (*strip(), Patch("c", (30, 0, 0), [("Sootwell", 90)], more={"machine": "upstairs"}))
    bring_in(house, tmp_path, *patches)
    with house.read() as session:
        change_id = session.scalars(select(Change.id).where(Change.kind == "import")).one()
    with house.write(act("undo", kind="undo", undoes_id=change_id)) as session:
        undo(session, change_id)
    assert ask(house, "lab:50,20,10").matches == ()
    with house.read() as session:
        for table in (Swatch, Measurement, Recipe, Run, ReadingsSet):
            assert session.scalars(select(table).where(table.binned_at.is_(None))).all() == [], table
    again = bring_in(house, tmp_path, *patches)
    assert (again.added, again.known, again.new_recipes) == (5, 0, 4)
    assert len(ask(house, "lab:50,20,10").matches) == 3


# --- Lab, spectra, XYZ


def cgats(fields: str, *rows: str, header: str = "") -> str:
    table = f"{header}\nNUMBER_OF_FIELDS {len(fields.split())}\nBEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\n"
    return f"CGATS.17\n{table}NUMBER_OF_SETS {len(rows)}\nBEGIN_DATA\n" + "\n".join(rows) + "\nEND_DATA\n"


NMS = range(400, 710, 10)
ONE_INK = ImportOptions(OATLEAF, (("1CLR_1", "Dockrope"),))


def dull_yellow() -> np.ndarray:
    """Return a made-up reflectance of a dull yellow solid."""
    nm = np.array(NMS)
    return 0.12 + 0.5 / (1 + np.exp(-(nm - 520) / 18))


def lab_of_spectrum(values: np.ndarray, light: str = "D50") -> tuple[np.ndarray, np.ndarray]:
    """Return Lab for D50 and XYZ for a light, 2 degrees, by colour-science (ASTM E308)."""
    import colour

    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    spectrum = colour.SpectralDistribution(values, colour.SpectralShape(400, 700, 10))
    xyz = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that the light is cut to 360-780 nm, as the standard asks
        for name in ("D50", light):
            lamp = colour.SDS_ILLUMINANTS[name]
            xyz[name] = colour.sd_to_XYZ(spectrum, observer, lamp, method="ASTM E308") / 100
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    return np.asarray(colour.XYZ_to_Lab(xyz["D50"], white)), np.asarray(xyz[light])


def stored(catalogue: Catalogue) -> list[Measurement]:
    with catalogue.read() as session:
        found = list(session.scalars(select(Measurement).order_by(Measurement.id)))
        session.expunge_all()
        return found


def test_lab_stands_as_read_and_spectra_and_xyz_speak_only_where_it_is_missing(
    house: Catalogue, tmp_path: Path
) -> None:
    from_spectrum, xyz = lab_of_spectrum(dull_yellow())
    bands = " ".join(f"{value:.6f}" for value in dull_yellow())
    other = " ".join(f"{value * 0.5:.6f}" for value in dull_yellow())
    numbers = " ".join(f"{100 * part:.5f}" for part in xyz)
    fields = f"SAMPLE_ID 1CLR_1 LAB_L LAB_A LAB_B XYZ_X XYZ_Y XYZ_Z {' '.join(f'NM_{nm}' for nm in NMS)}"
    nothing = '""'
    text = cgats(
        fields,
        f"all 100 71.5 3.25 41.125 {numbers} {bands}",
        f"spectrum 90 {' '.join([nothing] * 3)} 10 11 12 {bands}",
        f"xyz 80 {' '.join([nothing] * 3)} {numbers} {' '.join([nothing] * 31)}",
        f"other 70 30 1 2 {numbers} {other}",
    ).replace(" ", "\t")
    bring_in_text(house, tmp_path, text, "solid.txt", ONE_INK)
    every, spectral, from_xyz, last = stored(house)
    assert ((every.lab_l, every.lab_a, every.lab_b), every.lab_from) == ((71.5, 3.25, 41.125), "lab")
    assert every.spectrum["values"] == pytest.approx(dull_yellow(), abs=1e-6)
    assert (every.spectrum["start_nm"], every.spectrum["step_nm"]) == (400, 10)
    assert every.xyz == pytest.approx(xyz, abs=1e-6)
    # ASTM E308 by colour-science; its D50 white has other last digits than the ICC's: 0.03 in b*
    assert [spectral.lab_l, spectral.lab_a, spectral.lab_b] == pytest.approx(from_spectrum, abs=0.05)
    assert spectral.lab_from == "spectrum"
    assert [from_xyz.lab_l, from_xyz.lab_a, from_xyz.lab_b] == pytest.approx(from_spectrum, abs=0.05)
    assert from_xyz.lab_from == "xyz"
    assert (last.lab_l, last.lab_from) == (30, "lab")


def test_a_little_below_zero_at_the_dark_end_is_noise(house: Catalogue, tmp_path: Path) -> None:
    values = np.where(np.array(NMS) < 430, -0.004, 0.03)
    bands = " ".join(f"{value:.4f}" for value in values)
    text = cgats(f"SAMPLE_ID 1CLR_1 {' '.join(f'NM_{nm}' for nm in NMS)}", f"black 100 {bands}")
    report = bring_in_text(house, tmp_path, text, "black.txt", ONE_INK)
    (black,) = stored(house)
    expected, _ = lab_of_spectrum(np.maximum(values, 0))
    assert [black.lab_l, black.lab_a, black.lab_b] == pytest.approx(expected, abs=0.05)
    assert black.spectrum["values"][0] == -0.004  # kept as read
    assert [notice.code for notice in report.notices] == ["factor_unusual"]


def test_spectra_that_no_published_weights_fit_are_refused_where_nothing_else_tells_the_colour(
    house: Catalogue, tmp_path: Path
) -> None:
    fields = " ".join(f"NM_{nm}" for nm in range(450, 660, 10))
    bands = " ".join(["0.4"] * 21)
    with pytest.raises(ManyErrors, match=r"odd, line .*leaves out light that the eye sees"):
        bring_in_text(house, tmp_path, cgats(f"SAMPLE_ID 1CLR_1 {fields}", f"1 50 {bands}"), "odd.txt", ONE_INK)
    text = cgats(f"SAMPLE_ID 1CLR_1 LAB_L LAB_A LAB_B {fields}", f"1 50 70 0 0 {bands}")
    assert bring_in_text(house, tmp_path, text, "odd.txt", ONE_INK).added == 1


OTHER_LIGHT = 'ILLUMINANT "D65"\nOBSERVER "2"'


def test_xyz_for_another_light_is_adapted_and_never_taken_as_d50(house: Catalogue, tmp_path: Path) -> None:
    import colour

    whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    _, xyz = lab_of_spectrum(dull_yellow(), "D65")
    adapted = colour.adaptation.chromatic_adaptation_VonKries(
        xyz, colour.xy_to_XYZ(whites["D65"]), colour.xy_to_XYZ(whites["D50"]), transform="Bradford"
    )
    expected = colour.XYZ_to_Lab(adapted, whites["D50"])
    numbers = " ".join(f"{100 * part:.6f}" for part in xyz)
    text = cgats("SAMPLE_ID 1CLR_1 XYZ_X XYZ_Y XYZ_Z", f"1 100 {numbers}", header=OTHER_LIGHT)
    report = bring_in_text(house, tmp_path, text, "north-light.txt", ONE_INK)
    (row,) = stored(house)
    assert [row.lab_l, row.lab_a, row.lab_b] == pytest.approx(expected, abs=0.05)
    assert row.colour_path == "XYZ for D65, adapted to D50 by Bradford"
    assert "other_light" in [notice.code for notice in report.notices]
    # Lab for D65 goes the same way: back to XYZ with its own white first
    lab = colour.XYZ_to_Lab(xyz, whites["D65"])
    numbers = " ".join(f"{part:.6f}" for part in lab)
    text = cgats("SAMPLE_ID 1CLR_1 LAB_L LAB_A LAB_B", f"1 90 {numbers}", header=OTHER_LIGHT)
    bring_in_text(house, tmp_path, text, "north-lab.txt", ONE_INK)
    row = stored(house)[-1]
    assert [row.lab_l, row.lab_a, row.lab_b] == pytest.approx(expected, abs=0.05)


def test_a_spectrum_comes_before_lab_for_another_light(house: Catalogue, tmp_path: Path) -> None:
    expected, _ = lab_of_spectrum(dull_yellow())
    bands = " ".join(f"{value:.6f}" for value in dull_yellow())
    fields = f"SAMPLE_ID 1CLR_1 LAB_L LAB_A LAB_B {' '.join(f'NM_{nm}' for nm in NMS)}"
    header = 'WEIGHTING_FUNCTION "OBSERVER, 10 degree"'
    bring_in_text(house, tmp_path, cgats(fields, f"1 100 20 20 20 {bands}", header=header), "ten.txt", ONE_INK)
    (row,) = stored(house)
    assert [row.lab_l, row.lab_a, row.lab_b] == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    "header", ['OBSERVER "10 degree"', 'OBSERVER "CIE 1964"', 'ILLUMINANT "the lamp over the long table"']
)
def test_values_for_another_observer_or_an_unknown_light_are_refused(
    house: Catalogue, tmp_path: Path, header: str
) -> None:
    text = cgats("SAMPLE_ID 1CLR_1 LAB_L LAB_A LAB_B", "1 100 70 0 40", "2 90 70 0 40", header=header)
    before = counts(house)
    with pytest.raises(ManyErrors, match="Export the readings for D50 and 2 degrees") as caught:
        bring_in_text(house, tmp_path, text, "odd-light.txt", ONE_INK)
    assert len(caught.value.errors) == 1
    assert counts(house) == before


# --- passes


def passes_of(catalogue: Catalogue) -> list[tuple[tuple[str, float, int | None], ...]]:
    with catalogue.read() as session:
        return [tuple((e.ink, e.tint, e.print_pass) for e in row.layers) for row in reading_rows(session)]


FOUR = "SAMPLE_ID CMYK_C CMYK_M CMYK_Y CMYK_K LAB_L LAB_A LAB_B"


def test_printing_order_is_the_order_of_the_ink_options_two_to_a_pass(house: Catalogue, tmp_path: Path) -> None:
    order = (PRESS_INKS[2], PRESS_INKS[0], PRESS_INKS[3], PRESS_INKS[1])
    text = cgats(FOUR, "1 10 20 30 40 50 0 0", "2 0 20 0 40 50 0 0", "3 0 0 30 0 80 0 40")
    bring_in_text(house, tmp_path, text, "four.txt", ImportOptions(OATLEAF, order))
    assert passes_of(house) == [
        (("Dockrope", 30, 1), ("Ferrywake", 10, 1), ("Sootwell", 40, 2), ("Kilnsong", 20, 2)),
        (("Sootwell", 40, 1), ("Kilnsong", 20, 1)),  # counted anew on each patch
        (("Dockrope", 30, 1),),
    ]


def test_a_pass_option_moves_an_ink_and_names_it_in_any_case(house: Catalogue, tmp_path: Path) -> None:
    text = cgats(FOUR, "1 10 20 30 0 50 0 0")
    options = ImportOptions(OATLEAF, PRESS_INKS[:3], {"kilnsong": 2})
    bring_in_text(house, tmp_path, text, "three.txt", options)
    assert passes_of(house) == [(("Ferrywake", 10, 1), ("Kilnsong", 20, 2), ("Dockrope", 30, 2))]


def test_the_profile_says_how_many_drums_go_down_in_one_pass(house: Catalogue, tmp_path: Path) -> None:
    from archive.services.profile import set_profile

    with house.write(act()) as session:
        set_profile(session, "drums_per_pass", "1")
    bring_in_text(house, tmp_path, cgats(FOUR, "1 10 20 0 0 50 0 0"), "one.txt", ImportOptions(OATLEAF, PRESS_INKS))
    bring_in(house, tmp_path, Patch("b", (50, 20, 10), [("Dockrope", 60), ("Ferrywake", 40)]))
    assert [[number for _, _, number in row] for row in passes_of(house)] == [[1, 2], [1, 2]]


def test_a_machine_named_without_a_run_keeps_machine_screen_and_day(house: Catalogue, tmp_path: Path) -> None:
    add(house, "machine", "Upstairs")
    more = {"machine": "UPSTAIRS", "screen": "AM", "printed_on": "2024-05-01"}
    bring_in(house, tmp_path, Patch("1", (60, 0, 40), [("Dockrope", 60)], more=more), strip()[2])
    match = ask(house, "lab:60,0,40").matches[0]
    assert match.settings == {"machine": "Upstairs", "density": None, "speed": None, "screen": "AM", "fillings": []}


# --- out and in again


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive with a house, a machine and a work, to be copied."""
    folder = tmp_path_factory.mktemp("furnished") / "archive"
    catalogue = start_archive(folder)
    enter_house(catalogue)
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "work", "W-1", title="Nine Tides")
    add(catalogue, "variant", None, work="W-1")
    catalogue.close()
    return folder


def copied(furnished: Path, folder: Path) -> Catalogue:
    shutil.copytree(furnished, folder)
    return open_archive(folder)


NUMBERS = st.floats(-90, 90).map(lambda number: round(number, 4))
LAYERS = st.lists(
    st.tuples(st.sampled_from(["Kilnsong", "Ferrywake", "Dockrope", "Nettlecoat"]), st.integers(1, 1000)),
    max_size=3,
    unique_by=lambda layer: layer[0],
)
TEXTS = st.text(st.characters(blacklist_categories=["C", "Z"], blacklist_characters='"'), min_size=1, max_size=12)
DETAILS = st.fixed_dictionaries(
    {},
    optional={
        "work": st.just("W-1"),
        "machine": st.just("Upstairs"),
        "screen": st.sampled_from(["FM", "AM"]),
        "condition": st.sampled_from(["M0", "M1", "M2", "camera", "eye"]),
        "backing": st.sampled_from(["white", "black"]),
        "instrument": TEXTS,
        "measured_on": st.dates().map(lambda day: day.isoformat()),
        "printed_on": st.dates().map(lambda day: day.isoformat()),
        "hours_after": st.integers(0, 500),
        "n": st.integers(1, 9),
        "spread": st.integers(0, 300).map(lambda number: number / 100),
        "note": TEXTS,
    },
)
PATCHES = st.lists(
    st.builds(
        Patch,
        sample=TEXTS,
        lab=st.tuples(st.integers(0, 11400).map(lambda number: number / 100), NUMBERS, NUMBERS),
        layers=LAYERS.map(lambda layers: [(ink, tint / 10) for ink, tint in layers]),
        paper=st.sampled_from([OATLEAF, "Chalkroad 90"]),
        more=DETAILS,
    ),
    min_size=1,
    max_size=12,
)


@pytest.mark.usefixtures("database_kind")
@settings(max_examples=10)
@given(patches=PATCHES)
def test_what_is_exported_comes_in_again_the_same(
    patches: list[Patch], furnished: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("round")
    first = copied(furnished, folder / "first")
    bring_in(first, folder, *patches)
    for form, suffix in (("csv", "csv"), ("cgats", "txt")):
        out = folder / f"out.{suffix}"
        with first.read() as session:
            assert export_readings(session, out, form) == len(patches)
        second = copied(furnished, folder / form)
        report = import_readings(second, out, ImportOptions(), act("import", kind="import"))
        assert report.added == len(patches)
        assert measured(second) == measured(first)
        second.close()
    first.close()


def test_spectra_survive_cgats_to_the_last_digit(house: Catalogue, archives: Archives, tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    rows = [" ".join(repr(float(value)) for value in rng.uniform(0.02, 0.95, 31)) for _ in range(5)]
    fields = f"SAMPLE_ID 1CLR_1 {' '.join(f'NM_{nm}' for nm in NMS)}"
    text = cgats(fields, *(f"p{number} {number * 20} {row}" for number, row in enumerate(rows)))
    bring_in_text(house, tmp_path, text, "spectra.txt", ONE_INK)
    with house.read() as session:
        export_readings(session, tmp_path / "out.txt", "cgats")
    second = archives.start(tmp_path / "second")
    enter_house(second)
    import_readings(second, tmp_path / "out.txt", ImportOptions(), act("import", kind="import"))
    assert measured(second) == measured(house)
    assert all(row[5] is not None for row in measured(second))


def test_an_export_can_be_of_one_paper_or_ink_and_is_refused_when_nothing_is_left(
    house: Catalogue, tmp_path: Path
) -> None:
    bring_in(house, tmp_path, *strip(), Patch("c", (50, 0, 0), [("Kilnsong", 40)], paper="Chalkroad 90"))
    with house.read() as session:
        assert export_readings(session, tmp_path / "a.csv", "csv", paper="chalkroad 90") == 1
        assert export_readings(session, tmp_path / "b.csv", "csv", ink="ferrywake") == 2
        with pytest.raises(InputError, match="no measured swatch to write"):
            export_readings(session, tmp_path / "c.csv", "csv", ink="Gullbone")


# --- CxF3


def test_readings_go_out_as_cxf_and_come_in_elsewhere_the_same(
    house: Catalogue, archives: Archives, tmp_path: Path
) -> None:
    add(house, "machine", "Upstairs")
    detail = {"condition": "M1", "backing": "black", "instrument": "desk reader", "measured_on": "2024-05-04"}
    bring_in(
        house,
        tmp_path,
        Patch("white", (93.1, 0.2, 4.9), more=detail),
        Patch("A1", (52.3, -18.4, 12.2), (("Dockrope", 100, 1), ("Ferrywake", 60, 2)), more=detail),
        Patch(
            "A2", (40.2, 2.1, -41.0), (("Ferrywake", 99.5),), more={"condition": "M0", "n": 3, "machine": "Upstairs"}
        ),
        Patch("A3", (48.0, 60.0, 30.0), (("Kilnsong", 40), ("Kilnsong", 40)), more={"screen": "AM", "note": "a & b"}),
    )
    with house.read() as session:
        assert export_readings(session, tmp_path / "out.cxf", "cxf") == 4
    other = archives.start(tmp_path / "other")
    enter_house(other)
    add(other, "machine", "Upstairs")
    report = import_readings(other, tmp_path / "out.cxf", ImportOptions(), act("import", kind="import"))
    assert (report.rows, report.added, report.bare_paper) == (4, 4, 1)
    assert report.sets == ("out M1", "out M0", "out no condition")
    assert measured(other) == measured(house)
    again = import_readings(other, tmp_path / "out.cxf", ImportOptions(), act("import", kind="import"))
    assert (again.added, again.known) == (0, 4)
    with other.read() as session:
        assert set(session.scalars(select(ReadingsSet.kind))) == {"cxf"}


FOREIGN_CXF = """<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources><cc:ObjectCollection>
<cc:Object ObjectType="Target" Name="A1" Id="1"><cc:ColorValues><cc:ColorCIELab ColorSpecification="CS1">
<cc:L>52.3</cc:L><cc:A>-18.4</cc:A><cc:B>12.2</cc:B></cc:ColorCIELab></cc:ColorValues>
<cc:DeviceColorValues><cc:ColorCustom Name="ours" ColorSpecification="CS1">
<cc:SpotColor><cc:Name>Deep Blue</cc:Name><cc:Percentage>60</cc:Percentage></cc:SpotColor>
<cc:SpotColor><cc:Name>Straw</cc:Name><cc:Percentage>100</cc:Percentage></cc:SpotColor>
</cc:ColorCustom></cc:DeviceColorValues></cc:Object></cc:ObjectCollection>
<cc:ColorSpecificationCollection><cc:ColorSpecification Id="CS1"><cc:TristimulusSpec>
<cc:Illuminant>D50</cc:Illuminant><cc:Observer>2_Degree</cc:Observer></cc:TristimulusSpec>
</cc:ColorSpecification></cc:ColorSpecificationCollection></cc:Resources></cc:CxF>"""


def test_the_spot_colours_of_a_foreign_cxf_file_each_need_an_ink(house: Catalogue, tmp_path: Path) -> None:
    before = counts(house)
    with pytest.raises(InputError, match="Deep Blue, Straw are no inks"):
        bring_in_text(house, tmp_path, FOREIGN_CXF, "chart.cxf", ImportOptions(OATLEAF))
    with pytest.raises(InputError, match="Deep Blue has tints, but no ink"):
        bring_in_text(house, tmp_path, FOREIGN_CXF, "chart.cxf", ImportOptions(OATLEAF, (("Straw", "Dockrope"),)))
    assert counts(house) == before
    inks = (("Straw", "Dockrope"), ("Deep Blue", "Ferrywake"))
    assert bring_in_text(house, tmp_path, FOREIGN_CXF, "chart.cxf", ImportOptions(OATLEAF, inks)).added == 1
    match = ask(house, "lab:52.3,-18.4,12.2").matches[0]
    assert [(layer["ink"], layer["tint"]) for layer in match.layers] == [("Dockrope", 100), ("Ferrywake", 60)]
    assert match.delta_e_2000 == pytest.approx(0, abs=1e-6)


def test_a_cxf_file_that_tells_no_inks_is_refused_as_such(house: Catalogue) -> None:
    import colour_cxf

    sample = Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf"  # 144 patches, no device values
    (file,) = read_readings_file(sample)
    assert len(file.rows) == 144
    before = counts(house)
    with pytest.raises(InputError, match="nothing in the file tells which inks were printed"):
        import_readings(house, sample, ImportOptions(OATLEAF), act("import", kind="import"))
    assert counts(house) == before


def test_a_cxf_file_with_an_entity_of_another_file_is_refused(house: Catalogue, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("Wren Tallow")
    doctype = f'<!DOCTYPE cc:CxF [<!ENTITY steal SYSTEM "{secret.as_uri()}">]><cc:CxF'
    text = FOREIGN_CXF.replace("<cc:CxF", doctype, 1).replace("Deep Blue", "&steal;")
    before = counts(house)
    with pytest.raises(InputError, match="declares a document type") as caught:
        bring_in_text(house, tmp_path, text, "chart.cxf", ImportOptions(OATLEAF))
    assert "Wren Tallow" not in str(caught.value)
    assert counts(house) == before


def test_a_reading_whose_day_is_not_known_to_the_day_is_kept_and_answers(house: Catalogue, tmp_path: Path) -> None:
    more = {"measured_on": "2019-05", "printed_on": "2019"}
    bring_in(house, tmp_path, Patch("p1", (50.0, 40.0, 30.0), [("Kilnsong", 100)], more=more))
    first = ask(house, "lab:50,40,30").matches[0]
    assert first.measured_on == "2019-05"
    assert first.delta_e_2000 < 1e-9
