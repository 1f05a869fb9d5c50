"""The press simulator obeys the physics and the trade it claims, and is no Yule-Nielsen press."""

from __future__ import annotations

import ast
import itertools
import sys
from pathlib import Path

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

import demo_archive
from demo_archive.camera import Camera, photographed
from demo_archive.inks import INK_BODIES
from demo_archive.papers import PAPER_BODIES
from demo_archive.press import AVERAGE, Conditions, demichel, print_patch, true_lab, two_flux
from demo_archive.spectra import (
    WAVELENGTHS,
    encode_srgb,
    reflectance_to_lab,
    reflectance_to_xyz,
    xyz_to_lab,
    xyz_to_linear_rgb,
)
from demo_archive.values import Layer

Floats = NDArray[np.float64]
HOUSE = "Oatleaf 120"
TRANSPARENT = [body.name for body in INK_BODIES.values() if body.kind == "transparent"]


def delta_e(lab_1: Floats, lab_2: Floats) -> Floats:
    return np.asarray(colour.delta_E(lab_1, lab_2, method="CIE 2000"))


def solid(ink: str, print_pass: int = 1) -> Layer:
    return Layer(ink, 100.0, print_pass)


def test_the_simulator_imports_only_numpy_pillow_and_the_standard_library() -> None:
    allowed = {*sys.stdlib_module_names, "numpy", "PIL", "demo_archive"}
    for path in sorted(Path(demo_archive.__file__).parent.glob("*.py")):
        if path.name in ("build.py", "__main__.py"):  # these two feed the archive
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert {name.split(".")[0] for name in names} <= allowed, path.name


@pytest.mark.parametrize("ink", [*TRANSPARENT, "Gullbone", "Tinhymn"])
def test_spectrum_to_lab_agrees_with_colour_science(ink: str) -> None:
    # colour-science integrates at 1 nm after interpolation; sums at 10 nm differ by about 0.1.
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    d50 = colour.SDS_ILLUMINANTS["D50"].copy().align(cmfs.shape)
    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])
    for tint in (20.0, 60.0, 100.0):
        reflectance = print_patch((Layer(ink, tint, 1),), HOUSE)
        sd = colour.SpectralDistribution(reflectance, WAVELENGTHS).align(cmfs.shape)
        xyz = colour.sd_to_XYZ(sd, cmfs, d50, method="Integration") / 100
        expected = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white))
        assert delta_e(reflectance_to_lab(reflectance), expected) < 0.3


def test_a_perfect_white_is_lab_100_0_0() -> None:
    assert reflectance_to_lab(np.ones(36)) == pytest.approx([100, 0, 0], abs=1e-9)


def test_a_thick_film_reaches_the_kubelka_munk_limit() -> None:
    # Kubelka & Munk 1931: R_infinity = 1 + K/S - sqrt((K/S)^2 + 2 K/S)
    k, s = np.array([0.1, 1.0, 5.0]), np.array([1.0, 0.5, 0.2])
    front, through = two_flux(k, s, 60.0)
    ratio = k / s
    assert front == pytest.approx(1 + ratio - np.sqrt(ratio**2 + 2 * ratio), abs=1e-6)
    assert through == pytest.approx(0, abs=1e-6)


def test_a_film_that_absorbs_nothing_loses_no_light() -> None:
    # Kubelka 1948: without absorption R = SX / (SX + 1), T = 1 - R
    front, through = two_flux(np.array([1e-10]), np.array([0.8]), 1.5)
    assert front == pytest.approx(1.2 / 2.2, abs=1e-4)
    assert front + through == pytest.approx(1, abs=1e-4)


def test_demichel_areas_of_two_inks_are_the_products() -> None:
    # Demichel 1924: (1-a)(1-b), a(1-b), (1-a)b, ab
    assert demichel(np.array([0.3, 0.6])) == pytest.approx([0.28, 0.12, 0.42, 0.18])


@pytest.mark.parametrize("paper", sorted(PAPER_BODIES))
def test_a_bare_sheet_shows_its_measured_reflectance(paper: str) -> None:
    assert print_patch((), paper) == pytest.approx(PAPER_BODIES[paper].reflectance, abs=1e-12)


def test_only_the_fluorescent_ink_sends_back_more_than_it_got() -> None:
    for ink in INK_BODIES:
        reflectance = print_patch((solid(ink),), HOUSE)
        assert reflectance.min() > 0
        assert (reflectance.max() > 1) == (ink == "Oddlight")
        assert reflectance.max() <= 2


@pytest.mark.parametrize(
    "pair",
    [("Ferrywake", "Dockrope"), ("Kilnsong", "Ferrywake"), ("Peltrose", "Tidewick"), ("Gullbone", "Sootwell")],
)
def test_a_over_b_is_another_colour_than_b_over_a(pair: tuple[str, str]) -> None:
    one, other = (solid(ink) for ink in pair)
    assert delta_e(true_lab((one, other), HOUSE), true_lab((other, one), HOUSE)) > 3


@pytest.mark.parametrize("pair", [("Ferrywake", "Dockrope"), ("Kilnsong", "Ferrywake"), ("Sootwell", "Gullbone")])
def test_a_second_ink_takes_less_on_a_wet_one_than_on_a_settled_one(pair: tuple[str, str]) -> None:
    lower, upper = pair
    wet = true_lab((solid(lower), solid(upper)), HOUSE)
    settled = true_lab((solid(lower), solid(upper, 2)), HOUSE)
    alone = true_lab((solid(lower),), HOUSE)
    assert delta_e(wet, settled) > 1
    assert delta_e(settled, alone) > delta_e(wet, alone)


@pytest.mark.parametrize("ink", sorted(INK_BODIES))
def test_a_3_percent_tint_is_lost_and_a_96_percent_tint_closes(ink: str) -> None:
    # Common practice of the trade: nothing below 3 to 4 % holds, above about 90 % it prints as a solid.
    bare = true_lab((), HOUSE)
    assert true_lab((Layer(ink, 3.0, 1),), HOUSE) == pytest.approx(bare, abs=1e-9)
    assert true_lab((Layer(ink, 96.0, 1),), HOUSE) == pytest.approx(true_lab((solid(ink),), HOUSE), abs=1e-9)


@pytest.mark.parametrize("ink", TRANSPARENT)
def test_more_tint_is_darker_and_mid_tones_gain(ink: str) -> None:
    tints = np.arange(5.0, 92.0, 3.0)
    lightness = [true_lab((Layer(ink, float(tint), 1),), HOUSE)[0] for tint in tints]
    assert np.all(np.diff(lightness) < 0)
    bare, full = true_lab((), HOUSE)[0], true_lab((solid(ink),), HOUSE)[0]
    assert true_lab((Layer(ink, 50.0, 1),), HOUSE)[0] < (bare + full) / 2


def test_days_differ_by_1_5_to_3_on_average() -> None:
    # The range this demo sets itself, within published run-to-run figures.
    misses = []
    for ink, tint in itertools.product(TRANSPARENT, (100.0, 60.0)):
        layers = (Layer(ink, tint, 1),)
        usual = true_lab(layers, HOUSE, Conditions("Upstairs"))
        days = [true_lab(layers, HOUSE, Conditions("Upstairs", day=str(day))) for day in range(25)]
        misses.append(float(delta_e(np.array(days), usual).mean()))
    assert 1.5 < np.mean(misses) < 3


def test_the_same_day_prints_the_same() -> None:
    layers, monday = (Layer("Ferrywake", 60.0, 1),), Conditions("Upstairs", day="monday", sheet=40)
    assert np.array_equal(true_lab(layers, HOUSE, monday), true_lab(layers, HOUSE, monday))


def test_machines_differ() -> None:
    def row(machine: str) -> Floats:
        return np.array(
            [true_lab((Layer("Ferrywake", t, 1),), HOUSE, Conditions(machine)) for t in (20.0, 50.0, 100.0)]
        )

    for one, other in itertools.combinations(("Upstairs", "Landing", "Backroom"), 2):
        assert delta_e(row(one), row(other)).max() > 0.7


def test_first_sheets_are_weak_old_sheets_fade_and_more_density_is_darker() -> None:
    layers = (solid("Peltrose"),)

    def lightness(**changes: float) -> float:
        return float(true_lab(layers, HOUSE, Conditions("Landing", **changes))[0])  # type: ignore[arg-type]

    assert lightness(sheet=1) > lightness(sheet=60) + 1
    assert lightness(years=20) > lightness() + 1
    assert lightness(density=5) < lightness() < lightness(speed=5)


def test_the_screen_changes_the_tint_but_not_the_solid() -> None:
    assert delta_e(*(true_lab((Layer("Kilnsong", 50.0, 1),), HOUSE, screen=s) for s in ("AM", "FM"))) > 0.3
    solids = [true_lab((solid("Kilnsong"),), HOUSE, screen=screen) for screen in ("AM", "FM")]
    assert delta_e(*solids) < 0.3


def _yule_nielsen_misses(lower: str, upper: str, n: float) -> float:
    """Return the mean miss of Yule-Nielsen in XYZ on 16 overprints, each coverage fitted to its own ink's tint."""

    def xyz(*layers: Layer) -> Floats:
        return reflectance_to_xyz(print_patch(layers, HOUSE))

    bare, one, other, both = (
        p ** (1 / n) for p in (xyz(), xyz(solid(lower)), xyz(solid(upper)), xyz(solid(lower), solid(upper)))
    )
    steps = np.linspace(0, 1, 201)[:, None]

    def fitted(ink: str, root: Floats, tint: float) -> float:
        guesses = xyz_to_lab(((1 - steps) * bare + steps * root) ** n)
        return float(steps[np.argmin(delta_e(guesses, xyz_to_lab(xyz(Layer(ink, tint, 1)))))][0])

    tints = (20.0, 40.0, 60.0, 80.0)
    covers = [[fitted(lower, one, t) for t in tints], [fitted(upper, other, t) for t in tints]]
    misses = []
    for (t, a), (u, b) in itertools.product(zip(tints, covers[0], strict=True), zip(tints, covers[1], strict=True)):
        mixed = (1 - a) * (1 - b) * bare + a * (1 - b) * one + (1 - a) * b * other + a * b * both
        truth = xyz_to_lab(xyz(Layer(lower, t, 1), Layer(upper, u, 1)))
        misses.append(float(delta_e(xyz_to_lab(mixed**n), truth)))
    return float(np.mean(misses))


@pytest.mark.parametrize("pair", [("Kilnsong", "Ferrywake"), ("Ferrywake", "Dockrope")])
def test_no_yule_nielsen_press_reproduces_it(pair: tuple[str, str]) -> None:
    best = min(_yule_nielsen_misses(*pair, n) for n in (1, 1.25, 1.5, 1.75, 2, 2.5, 3, 4, 6, 10, 20))
    assert best > 0.2


@pytest.mark.parametrize("layers", [(solid("Kilnsong"),), (Layer("Dockrope", 40.0, 1), Layer("Nettlecoat", 70.0, 1))])
def test_a_plain_camera_shows_what_the_press_printed(layers: tuple[Layer, ...]) -> None:
    plain = Camera(gains=(1, 1, 1), fall_off=0, blur=0, noise=0, contrast=0, quality=95)
    tints = [Image.new("L", (4, 4), round((layer.tint or 0) * 2.55)) for layer in layers]
    seen = np.asarray(photographed(tints, layers, HOUSE, AVERAGE, plain), dtype=float)[0, 0]
    printed = encode_srgb(xyz_to_linear_rgb(reflectance_to_xyz(print_patch(layers, HOUSE)))) * 255
    assert seen == pytest.approx(printed, abs=2)
