"""Strips, whole: made, printed by the demo's press, photographed in a sitting, read, kept, and what they teach.

The press (two-flux films, no Yule–Nielsen in it) and the camera (published sensitivities) share nothing with the
reader; differences are CIEDE2000 as colour-science computes it. Where a limit has no source it is common practice.
"""

from __future__ import annotations

import csv
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue, open_archive, start_archive
from archive.catalogue.models import Ink, Measurement, Recipe, Strip, StripPatch, Swatch
from archive.errors import ArchiveError, CatalogueError, ConflictError, InputError, NotFoundError
from archive.output.strip_sheet import strip_masters
from archive.services.check import check_archive
from archive.services.finding import FindOptions
from archive.services.saved_questions import keep_question
from archive.services.sittings import NewSitting, open_sitting
from archive.services.strip_keeping import ReadOptions, StripReport
from archive.services.strip_list import StripCard, list_strips, show_strip, strip_called, strip_reference
from archive.services.strip_next import NextStrip, next_strips
from archive.services.strip_reading import read_strip_file
from archive.services.strips import NewStrips, make_strips
from demo_archive.press import Conditions
from tests.acts import act
from tests.services.keeping import add, enter, remove, undo
from tests.services.make import OATLEAF, ask, enter_house, lab_text
from tests.studio import camera
from tests.studio.storeroom import CARD_MM, Stand, written
from tests.studio.strips import PrintedStrip, photo, printed, true_patches

LAMPS = ("D50", "D65", "high-CRI LED")
WHEN = Conditions(machine="Upstairs", day="2024-05-04", screen="FM")
DRIFT_MM = ((0.0, 0.0), (1.6, -1.2))  # two millimetres
DPI = 150
EDITION = "averaged"  # of the card that the stand shows
Floats = NDArray[np.float64]


def make(catalogue: Catalogue, folder: Path, *inks: str, **more: Any) -> list[StripCard]:
    sets = tuple(tuple(each.split(",")) for each in inks)
    folder.mkdir(exist_ok=True)
    with catalogue.write(act("make strips")) as session:
        return make_strips(session, NewStrips(sets, **{"paper": OATLEAF, "machine": "Backroom", **more}), folder)


def entered(catalogue: Catalogue) -> Catalogue:
    """Enter the house, and a coarse machine: its masters are drawn in a moment."""
    enter_house(catalogue)
    add(catalogue, "machine", "Backroom", dpi="150")
    return catalogue


def layout_of(catalogue: Catalogue, ref: str) -> dict[str, Any]:
    with catalogue.read() as session:
        layout: dict[str, Any] = strip_called(session, ref).layout
        return layout


def tints_of(layout: dict[str, Any]) -> list[list[float]]:
    return [patch["tints"] for patch in layout["patches"]]


def printed_from(layout: dict[str, Any], **more: Any) -> PrintedStrip:
    drums = [(master.ink, master.print_pass, master.grey) for master in strip_masters(layout, dpi=DPI)]
    return printed(drums, OATLEAF, size_mm=(layout["width"], layout["height"]), when=WHEN, **more)


def truth_of(layout: dict[str, Any], when: Conditions = WHEN) -> Floats:
    inks = [(drum["ink"], drum["pass"]) for drum in layout["drums"]]
    return true_patches(tints_of(layout), inks, OATLEAF, when)


def read(catalogue: Catalogue, path: Path, **options: Any) -> StripReport:
    return read_strip_file(catalogue, path, ReadOptions(**options), act("read a strip"))


def readings(path: Path, labs: Floats, samples: list[str] | None = None) -> Path:
    """Write readings in the order of the patches, as an instrument's software gives them."""
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["sample", "lab_l", "lab_a", "lab_b", "condition"])
        for number, lab in enumerate(labs):
            writer.writerow([samples[number] if samples else "", *(f"{part:.3f}" for part in lab), "M1"])
    return path


@dataclass(frozen=True)
class Printed:
    """An archive with one strip made, the sheet as it was printed with two millimetres of drift, and its truth."""

    archive: Path
    layout: dict[str, Any]
    sheet: PrintedStrip
    truth: Floats


@pytest.fixture(scope="module")
def eleven(tmp_path_factory: pytest.TempPathFactory) -> Printed:
    """Return the eleven of Dockrope and Ferrywake, printed once for all lamps."""
    folder = tmp_path_factory.mktemp("eleven")
    catalogue = entered(start_archive(folder / "archive"))
    make(catalogue, folder / "masters", "Ferrywake,Dockrope")
    layout = layout_of(catalogue, "S-1")
    catalogue.close()
    return Printed(folder / "archive", layout, printed_from(layout, drift_mm=DRIFT_MM), truth_of(layout))


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    return entered(catalogue)


def in_sitting(printed: Printed, folder: Path, lamp: str) -> tuple[Catalogue, Stand]:
    """Return a copy of the archive with a sitting open under a lamp."""
    shutil.copytree(printed.archive, folder / "archive")
    catalogue = open_archive(folder / "archive")
    stand = Stand(lamp=lamp)
    white, card = written(folder / "white.jpg", stand.white()), written(folder / "card.jpg", stand.card().jpeg)
    open_sitting(catalogue, NewSitting(white, card, card_mm=CARD_MM, edition=EDITION), act("open a sitting"))
    return catalogue, stand


# --- making


def test_scenario_21_six_drums_give_sheets_of_tint_rows_and_a_pair_in_the_stated_order(
    house: Catalogue, tmp_path: Path
) -> None:
    add(house, "machine", "Upstairs", dpi="300")
    sets = ("Kilnsong,Ferrywake", "Dockrope,Nettlecoat", "Sootwell,Gullbone")
    rows = make(house, tmp_path / "rows", *sets, design="row", machine="Upstairs")
    pair = make(house, tmp_path / "pair", "Ferrywake,Dockrope", "Dockrope,Ferrywake", machine="Upstairs")
    assert [strip.inks for strip in rows] == [tuple(each.split(",")) for each in sets]
    assert [strip.inks for strip in pair] == [("Ferrywake", "Dockrope"), ("Dockrope", "Ferrywake")]
    for strip in [*rows, *pair]:
        layout = layout_of(house, strip.ref)
        said = " ".join(word["text"] for word in layout["words"])
        assert min(patch["size"] for patch in layout["patches"]) >= 12
        assert all(name in said for name in (*strip.inks, "FM", OATLEAF, "Upstairs", "Date", "Density", "Speed"))
        assert [each["ink"] for each in strip.files] == list(strip.inks)
        assert all(Path(each["file"]).stat().st_size > 10_000 for each in strip.files)
    assert {patch["tints"][0] for patch in layout_of(house, rows[0].ref)["patches"]} >= {10.0, 50.0, 100.0}


def test_both_orders_of_a_pair_are_two_sheets(house: Catalogue, tmp_path: Path) -> None:
    made = make(house, tmp_path / "masters", "Ferrywake,Dockrope", design="both")
    assert [strip.inks for strip in made] == [("Ferrywake", "Dockrope"), ("Dockrope", "Ferrywake")]
    assert {strip.design for strip in made} == {"eleven"}


def test_a_file_that_is_there_already_stops_it_and_nothing_half_written_stays(house: Catalogue, tmp_path: Path) -> None:
    (tmp_path / "masters").mkdir()
    (tmp_path / "masters" / "S-1-2-Dockrope.pdf").write_text("mine")
    with pytest.raises(CatalogueError, match="cannot write"):
        make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    assert [path.name for path in (tmp_path / "masters").iterdir()] == ["S-1-2-Dockrope.pdf"]
    with house.read() as session:
        assert list_strips(session) == []


def test_inks_without_a_common_machine_are_told(house: Catalogue, tmp_path: Path) -> None:
    for machine in ("Upstairs", "Landing"):
        add(house, "machine", machine)
    add(house, "drum", "1", ink="Ferrywake", fits=("Upstairs",))
    add(house, "drum", "2", ink="Dockrope", fits=("Landing",))
    (made,) = make(house, tmp_path / "masters", "Ferrywake,Dockrope", machine="Upstairs")
    assert any(note.startswith("not printable now") for note in made.notes)


@pytest.mark.parametrize(
    ("inks", "more", "says"),
    [
        (("Ferrywake",), {"design": "eleven"}, "not made for 1 inks"),
        (("Ferrywake,Ferrywake",), {}, "stands twice"),
        (("Ferrywake,Quill",), {}, "no ink called Quill"),
        (("Ferrywake,Dockrope",), {"design": "twelve"}, "no design twelve"),
        (("Ferrywake,Dockrope",), {"sheet": "A9"}, "no sheet A9"),
        (("Ferrywake,Dockrope",), {"screen": "XM"}, "no screen XM"),
        (("Ferrywake,Dockrope",), {"form": "docx"}, "no form docx"),
        (("Ferrywake,Dockrope,Kilnsong",), {"design": "both"}, "only a pair"),
    ],
)
def test_what_cannot_be_a_strip_is_refused_with_the_mend(
    house: Catalogue, tmp_path: Path, inks: tuple[str, ...], more: dict[str, Any], says: str
) -> None:
    with pytest.raises(ArchiveError, match=says) as refused:
        make(house, tmp_path / "masters", *inks, **more)
    assert refused.value.mend
    assert list((tmp_path / "masters").iterdir()) == []


# --- reading a photo


@pytest.mark.parametrize("lamp", LAMPS)
def test_a_strip_photographed_in_a_sitting_is_read_whole(eleven: Printed, tmp_path: Path, lamp: str) -> None:
    catalogue, stand = in_sitting(eleven, tmp_path, lamp)
    path = written(tmp_path / "strip.jpg", photo(eleven.sheet, stand, tilt_deg=3.0))
    report = read(catalogue, path, hours_after=0.0, run={"printed-on": "2024-05-04", "density": "3", "speed": "3"})
    off = camera.difference(np.array([patch.lab for patch in report.patches]), eleven.truth)
    assert len(report.patches) == 11
    assert report.rejected == ()
    assert off.mean() <= 1.5  # own limit for good lamps
    assert report.claim is not None
    by_ink = {drum["ink"]: drum for drum in report.drums}
    assert by_ink["Dockrope"]["shift_mm"] == pytest.approx([1.6, -1.2], abs=0.15)
    with catalogue.read() as session:
        swatches = session.scalars(select(Swatch).join(StripPatch, StripPatch.swatch_id == Swatch.id)).all()
        assert len(swatches) == 11
        assert {swatch.method for swatch in swatches} == {"camera"}
        assert {swatch.printed_on for swatch in swatches} == {"2024-05-04"}
        keys = session.scalars(select(Recipe.key).where(Recipe.id.in_([swatch.recipe_id for swatch in swatches]))).all()
        assert len(keys) == 11
        assert all(keys)
    assert [damage for damage in check_archive(catalogue) if damage.is_harm] == []
    found = ask(catalogue, lab_text(eleven.truth[3]), absolute=True)
    assert found.matches[0].evidence == "proven"
    catalogue.close()


def test_under_a_worse_lamp_it_is_as_far_off_as_the_sitting_says(eleven: Printed, tmp_path: Path) -> None:
    catalogue, stand = in_sitting(eleven, tmp_path, "narrow-band tube")
    report = read(catalogue, written(tmp_path / "strip.jpg", photo(eleven.sheet, stand)), hours_after=24.0)
    off = camera.difference(np.array([patch.lab for patch in report.patches]), eleven.truth)
    assert report.claim is not None
    assert off.mean() <= report.claim
    catalogue.close()


def test_upside_down_and_from_a_messenger_it_reads_the_same(eleven: Printed, tmp_path: Path) -> None:
    catalogue, stand = in_sitting(eleven, tmp_path, "D65")
    bare = tmp_path / "bare.jpg"
    written(tmp_path / "turned.jpg", photo(eleven.sheet, stand, turn_deg=271.0))
    with Image.open(tmp_path / "turned.jpg") as picture:
        picture.save(bare, quality=92)  # what a messenger leaves: no Exif
    report = read(catalogue, bare, hours_after=24.0)
    assert report.kind == "photo"
    off = camera.difference(np.array([patch.lab for patch in report.patches]), eleven.truth)
    assert off.mean() <= 1.5
    with pytest.raises(ConflictError, match="already"):
        read(catalogue, bare, hours_after=24.0)
    catalogue.close()


def test_a_photo_without_a_sitting_is_no_measurement_and_a_scan_is_seen(eleven: Printed, tmp_path: Path) -> None:
    shutil.copytree(eleven.archive, tmp_path / "archive")
    catalogue = open_archive(tmp_path / "archive")
    data = photo(eleven.sheet, Stand())
    taken = written(tmp_path / "taken.jpg", data, taken="2025-03-14 10:00:00")
    exposed = tmp_path / "exposed.jpg"
    with Image.open(taken) as picture:
        exif = picture.getexif()
        exif.get_ifd(0x8769)[0x829A] = 0.01  # ExposureTime, Exif 2.32
        picture.save(exposed, quality=92, exif=exif)
        picture.save(tmp_path / "scan.png")
    with pytest.raises(InputError, match="sitting"):
        read(catalogue, exposed, hours_after=24.0)
    report = read(catalogue, tmp_path / "scan.png", hours_after=24.0)
    assert report.kind == "scan"
    assert any("seen, not measured" in note for note in report.notes)
    catalogue.close()


# --- readings, order, time


def test_readings_in_patch_order_become_proven_swatches_and_a_dry_run_writes_nothing(
    house: Catalogue, tmp_path: Path
) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    path = readings(tmp_path / "strip.csv", truth_of(layout_of(house, "S-1")))
    dry = read(house, path, strip="S-1", hours_after=24.0, dry_run=True)
    assert (dry.added, dry.dry_run, len(dry.patches)) == (0, True, 11)
    with house.read() as session:
        assert session.scalars(select(Swatch)).all() == []
    report = read(house, path, strip="S-1", hours_after=24.0)
    assert report.added == 11
    undo(house)
    with house.read() as session:
        assert show_strip(session, "S-1").strip.measured == 0


@pytest.mark.parametrize(
    ("given", "says"), [(lambda n: list(range(n))[::-1], "from the last"), (lambda n: [*range(1, n), 0], "one patch")]
)
def test_readings_in_the_wrong_order_are_found_out(house: Catalogue, tmp_path: Path, given: Any, says: str) -> None:
    make(house, tmp_path / "masters", "Kilnsong,Ferrywake")
    truth = truth_of(layout_of(house, "S-1"))
    path = readings(tmp_path / "strip.csv", truth[given(len(truth))])
    with pytest.raises(InputError, match=says):
        read(house, path, strip="S-1", hours_after=24.0)
    with house.read() as session:
        assert session.scalars(select(Measurement)).all() == []


def test_readings_read_backwards_are_taken_when_it_is_said(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Kilnsong,Ferrywake")
    truth = truth_of(layout_of(house, "S-1"))
    path = readings(tmp_path / "strip.csv", truth[::-1])
    report = read(house, path, strip="S-1", hours_after=24.0, order="reversed")
    assert np.abs(np.array([patch.lab for patch in report.patches]) - truth).max() < 0.001
    samples = [str(number) for number in range(11, 0, -1)]
    again = readings(tmp_path / "numbered.csv", truth[::-1], samples)  # the patches' own numbers need no order
    assert (
        np.abs(np.array([p.lab for p in read(house, again, strip="S-1", hours_after=48.0).patches]) - truth).max()
        < 1e-3
    )


def test_readings_of_another_strip_or_too_few_are_refused(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Kilnsong,Ferrywake")
    rng = np.random.default_rng(3)
    path = readings(tmp_path / "other.csv", rng.uniform((10, -50, -50), (95, 50, 50), (11, 3)))
    with pytest.raises(InputError, match="no order"):
        read(house, path, strip="S-1", hours_after=24.0)
    with pytest.raises(InputError, match="5 readings for a strip of 11"):
        read(house, readings(tmp_path / "few.csv", np.full((5, 3), 50.0)), strip="S-1", hours_after=24.0)
    with pytest.raises(InputError, match="which strip"):
        read(house, path, hours_after=24.0)
    with pytest.raises(NotFoundError, match="no strip S-9"):
        read(house, path, strip="S-9", hours_after=24.0)


def test_wet_or_settled_is_asked_and_the_next_day_teaches_the_shift(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    truth = truth_of(layout_of(house, "S-1"))
    moved = np.array([1.5, -0.5, 0.8])
    wet = readings(tmp_path / "wet.csv", truth - moved)
    with pytest.raises(InputError, match="wet or settled"):
        read(house, wet, strip="S-1")
    assert read(house, wet, strip="S-1", hours_after=0.0).shift is None
    report = read(house, readings(tmp_path / "dry.csv", truth), strip="S-1", hours_after=24.0)
    assert report.shift is not None
    assert report.shift["lab"] == pytest.approx(list(moved), abs=0.002)
    assert report.shift["patches"] == 11
    with house.read() as session:
        whole = show_strip(session, "S-1")
        assert whole.strip.read == 2
        lab = np.array([patch["lab"] for patch in whole.patches])
    assert np.abs(lab - truth).max() < 0.001  # the settled reading stands, the wet one stays beside it


def test_a_sheet_printed_long_ago_needs_no_question(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    path = readings(tmp_path / "strip.csv", truth_of(layout_of(house, "S-1")))
    report = read(house, path, strip="S-1", run={"printed-on": "2024-05-04"})
    assert report.hours_after > 24 * 30


def test_a_sheet_printed_on_another_day_is_another_strip(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    truth = truth_of(layout_of(house, "S-1"))
    read(house, readings(tmp_path / "a.csv", truth), strip="S-1", run={"printed-on": "2024-05-04"})
    again = readings(tmp_path / "b.csv", truth + 0.2)
    with pytest.raises(ConflictError, match="printed on 2024-05-04, not on 2024-06-01"):
        read(house, again, strip="S-1", run={"printed-on": "2024-06-01"})
    assert read(house, again, strip="S-1", run={"printed-on": "2024-05-04"}).added == 11


def test_an_ink_that_was_merged_away_stops_the_reading(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    path = readings(tmp_path / "strip.csv", truth_of(layout_of(house, "S-1")))
    remove(house, "ink", "Dockrope")
    with pytest.raises(ConflictError, match="removed or merged"):
        read(house, path, strip="S-1", hours_after=24.0)
    with house.read() as session:
        assert show_strip(session, "S-1").strip.inks == ("Ferrywake", "Dockrope")
    assert [damage for damage in check_archive(house) if damage.is_harm] == []


# --- what strips teach


def test_scenario_23_two_orders_are_two_colours(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope", design="both")
    solids = {}
    for ref in ("S-1", "S-2"):
        layout = layout_of(house, ref)
        read(house, readings(tmp_path / f"{ref}.csv", truth_of(layout)), strip=ref, hours_after=24.0)
        with house.read() as session:
            (both,) = [p for p in show_strip(session, ref).patches if p["tints"] == [100.0, 100.0]]
            solids[ref] = both
    assert camera.difference(np.array(solids["S-1"]["lab"]), np.array(solids["S-2"]["lab"])) > 3
    assert solids["S-1"]["swatch"] != solids["S-2"]["swatch"]


def test_scenario_24_a_tint_that_did_not_print_is_lost_and_the_lightest_tint_is_raised(tmp_path: Path) -> None:
    catalogue = entered(start_archive(tmp_path / "archive"))
    make(catalogue, tmp_path / "masters", "Nettlecoat", design="lightest")
    layout = layout_of(catalogue, "S-1")
    truth = dict(zip((each[0] for each in tints_of(layout)), truth_of(layout), strict=True))
    really_lost = {tint for tint, lab in truth.items() if tint and np.allclose(lab, truth[0.0], atol=1e-9)}
    assert really_lost  # the press loses some
    stand = Stand()
    white, card = written(tmp_path / "white.jpg", stand.white()), written(tmp_path / "card.jpg", stand.card().jpeg)
    open_sitting(catalogue, NewSitting(white, card, card_mm=CARD_MM, edition=EDITION), act("open a sitting"))
    path = written(tmp_path / "strip.jpg", photo(printed_from(layout), stand))
    report = read(catalogue, path, hours_after=24.0)
    lost = {patch.tints[0] for patch in report.patches if patch.state == "lost"}
    assert lost == really_lost
    with catalogue.read() as session:
        ink = session.scalars(select(Ink).where(Ink.name == "Nettlecoat")).one()
        assert ink.lightest_tint == min(tint for tint in truth if tint > max(really_lost))
    assert any("was lost" in note for note in report.notes)
    catalogue.close()


def test_a_tint_that_equals_its_solid_lowers_the_closing_tint(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Kilnsong", design="closing")
    layout = layout_of(house, "S-1")
    truth = truth_of(layout)
    tints = [each[0] for each in tints_of(layout)]
    solid = truth[tints.index(100.0)]
    for number, tint in enumerate(tints):
        if tint >= 92:
            truth[number] = solid + 0.1
    report = read(house, readings(tmp_path / "strip.csv", truth), strip="S-1", hours_after=24.0)
    assert "Kilnsong 92 %" in report.closed
    with house.read() as session:
        closing = session.scalars(select(Ink.closing_tint).where(Ink.name == "Kilnsong")).one()
    assert closing == min(float(each.removeprefix("Kilnsong ").removesuffix(" %")) for each in report.closed)
    assert any("closes to solid" in note for note in report.notes)


def test_a_strip_measured_once_is_a_colour_card(house: Catalogue, tmp_path: Path) -> None:
    make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    layout = layout_of(house, "S-1")
    with house.read() as session, pytest.raises(InputError, match="measured by an instrument"):
        strip_reference(session, "S-1")
    truth = truth_of(layout)
    read(house, readings(tmp_path / "strip.csv", truth), strip="S-1", hours_after=24.0)
    with house.read() as session:
        found = strip_reference(session, "S-1")
    white = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022
    assert len(found.xyz) == 11
    bare = tints_of(layout).index([0.0, 0.0])
    y = ((truth[bare][0] + 16) / 116) ** 3  # CIE 15: L* to Y
    assert found.xyz[bare][1] == pytest.approx(y * white[1], abs=1e-4)
    patch = layout["patches"][bare]
    assert found.points_mm[bare] == (patch["x"] + patch["size"] / 2, patch["y"] + patch["size"] / 2)


# --- what to print next


def next_of(catalogue: Catalogue) -> list[NextStrip]:
    with catalogue.read() as session:
        return [each for each in next_strips(session, limit=20) if each.design == "eleven"]


def test_next_is_what_is_asked_and_used_and_never_measured(house: Catalogue, tmp_path: Path) -> None:
    for number in range(2):
        enter(house, f"QA-{number}", inks="Ferrywake 60 % over Dockrope", paper=OATLEAF)
    enter(house, "QA-7", inks="Kilnsong over Sootwell", paper=OATLEAF)
    assert [each.inks for each in next_of(house)] == [("Dockrope", "Ferrywake"), ("Sootwell", "Kilnsong")]
    with house.write(act("keep a question")) as session:
        keep_question(session, "red over black", FindOptions(ink="Kilnsong", over="Sootwell"))
    first = next_of(house)[0]
    assert (first.inks, first.asked, first.works) == (("Sootwell", "Kilnsong"), 1, 1)
    make(house, tmp_path / "masters", "Sootwell,Kilnsong")  # made and waits to be read: not asked for again
    assert [each.inks for each in next_of(house)] == [("Dockrope", "Ferrywake")]
    make(house, tmp_path / "masters", "Dockrope,Ferrywake")
    read(house, readings(tmp_path / "a.csv", truth_of(layout_of(house, "S-2"))), strip="S-2", hours_after=24.0)
    assert next_of(house) == []


def test_a_retired_ink_is_not_printed_next(house: Catalogue) -> None:
    enter(house, "QA-1", inks="Tinhymn over Dockrope", paper=OATLEAF)
    assert next_of(house) == []


def test_a_strip_keeps_its_uid_on_the_sheet(house: Catalogue, tmp_path: Path) -> None:
    (made,) = make(house, tmp_path / "masters", "Ferrywake,Dockrope")
    with house.read() as session:
        strip = session.scalars(select(Strip)).one()
        assert strip.layout["code"] == f"inkchest:strip:{made.uid}"
        assert strip_called(session, made.uid[-12:]).id == made.id  # as it stands in words on the sheet
