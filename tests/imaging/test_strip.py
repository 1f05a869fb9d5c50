"""Reading a strip off a picture: the sheet, each drum's drift, every patch, and what must be refused.

The sheets are printed by the demo's press and laid into a picture by `tests/studio`; both share nothing with the
reader. The picture's light is true, so that only finding and reading are tested; cameras are in the services' tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.errors import InputError
from archive.imaging.patches import LightPicture
from archive.imaging.strip import StripReading, read_strip, strip_codes, tint_state
from archive.output.strip_sheet import strip_masters
from archive.planning.strip_designs import design_tints
from archive.planning.strip_layout import StripDrum, StripHead, strip_layout
from demo_archive.press import Conditions
from tests.studio import camera, lens
from tests.studio.strips import PrintedStrip, printed, seen_flat, true_patches

UID = "0192c3a4-5b6c-7d8e-9f00-112233445566"
OTHER = "0192c3a4-5b6c-7d8e-9f00-665544332211"
PAPER = "Oatleaf 120"
DRIFT_MM = (1.6, -1.2)  # two millimetres
WHEN = Conditions(screen="FM")


def layout(*inks: str, design: str = "eleven", uid: str = UID) -> dict[str, Any]:
    drums = [StripDrum(ink, number // 2 + 1, number % 2 + 1) for number, ink in enumerate(inks)]
    head = StripHead(uid, f"inkchest:strip:{uid}", design, {}, "FM")
    return strip_layout(head, design_tints(design, len(inks)), drums)


def sheet(made: dict[str, Any], **more: Any) -> PrintedStrip:
    drums = [(master.ink, master.print_pass, master.grey) for master in strip_masters(made, dpi=150)]
    return printed(drums, PAPER, size_mm=(made["width"], made["height"]), when=WHEN, **more)


@dataclass(frozen=True)
class Shot:
    """A picture of a strip: encoded pixels and true light."""

    pixels: NDArray[np.uint8]
    xyz: NDArray[np.float32]

    def read(self, made: dict[str, Any], *, clipped: Any = None) -> StripReading:
        return read_strip(self.pixels, LightPicture(self.xyz, 1.0, clipped, clipped), made)

    def with_paint(self, corners: Any, light: tuple[float, float, float]) -> Shot:
        xyz = lens.place(self.xyz, np.full((8, 8, 3), light), corners, supersample=1)
        return Shot(lens.encoded_8_bit(np.maximum(xyz, 0)), xyz)


def view(turn_deg: float, *, px_per_mm: float = 4.4, shift_px: tuple[float, float] = (0.0, 0.0)) -> lens.View:
    across = abs(np.sin(np.radians(turn_deg))) > 0.7
    width, height = (1400, 1050) if across else (1050, 1400)
    return lens.View(width, height, px_per_mm, tilt_deg=3.0, shift_px=shift_px)


def shot(strip: PrintedStrip, turn_deg: float = 0.0, **more: Any) -> Shot:
    seen = view(turn_deg, **more)
    corners = seen.project(lens.rectangle(*strip.size_mm, turn_deg=turn_deg))
    return Shot(*seen_flat(strip, corners=corners, size=(seen.width, seen.height)))


def on_shot(made: dict[str, Any], box: dict[str, Any], turn_deg: float = 0.0) -> Any:
    """Return a box of the layout in pixels of a shot."""
    middle = np.array([made["width"], made["height"]]) / 2
    x, y, size = box["x"], box["y"], box["size"]
    points = np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)]) - middle
    turn = np.radians(turn_deg)
    turned = points @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return view(turn_deg).project(turned)


@pytest.fixture(scope="module")
def pair() -> dict[str, Any]:
    return layout("Ferrywake", "Dockrope")


@pytest.fixture(scope="module")
def drifted(pair: dict[str, Any]) -> PrintedStrip:
    return sheet(pair, drift_mm=[(0.0, 0.0), DRIFT_MM])


@pytest.fixture(scope="module")
def upright(drifted: PrintedStrip) -> Shot:
    return shot(drifted)


def truth(made: dict[str, Any]) -> NDArray[np.float64]:
    inks = [(drum["ink"], drum["pass"]) for drum in made["drums"]]
    return true_patches([patch["tints"] for patch in made["patches"]], inks, PAPER, WHEN)


def off(found: StripReading, made: dict[str, Any]) -> NDArray[np.float64]:
    return camera.difference(np.array([patch.lab for patch in found.patches]), truth(made))


@pytest.mark.parametrize("turn_deg", [2.0, 93.0, 180.0, 268.0])
def test_every_patch_is_found_whichever_way_the_sheet_lies(
    pair: dict[str, Any], drifted: PrintedStrip, turn_deg: float
) -> None:
    taken = shot(drifted, turn_deg)
    found = taken.read(pair)
    assert len(found.patches) == 11
    assert found.rejected == ()
    # the grey values of the file round tints by up to 0.2 %, which alone is up to 0.2
    assert off(found, pair).max() <= 0.5
    assert strip_codes(taken.pixels) == (pair["code"],)


def test_each_drum_tells_its_own_drift(pair: dict[str, Any], upright: Shot) -> None:
    first, second = upright.read(pair).drums
    assert first.drift_mm == pytest.approx(0.0, abs=0.1)
    assert second.shift_mm == pytest.approx(DRIFT_MM, abs=0.1)  # 150 dpi moves it in steps of 0.17 mm
    assert (first.marks, second.marks) == (4, 4)


def test_scenario_22_patches_are_read_inside_the_drift_and_small_ones_rejected_by_name(
    pair: dict[str, Any], upright: Shot
) -> None:
    found = upright.read(pair)
    size = pair["patches"][0]["size"]
    assert all(patch.clean_mm <= size - 1.6 for patch in found.patches)  # the longer part of the drift
    small = {
        **pair,
        "patches": [{**patch, "size": 6.0} if patch["number"] == 4 else patch for patch in pair["patches"]],
    }
    rejected = upright.read(small)
    assert rejected.rejected == ("patch 4: too small",)
    assert [patch.number for patch in rejected.patches if patch.usable] == [1, 2, 3, 5, 6, 7, 8, 9, 10, 11]


def test_an_uneven_and_a_clipped_patch_are_rejected_by_name(pair: dict[str, Any], upright: Shot) -> None:
    patch = pair["patches"][6]
    half = {**patch, "x": patch["x"] + patch["size"] / 2, "size": patch["size"] / 2}
    scratched = upright.with_paint(on_shot(pair, half), (0.02, 0.02, 0.02))
    clipped = np.zeros(upright.pixels.shape[:2], dtype=bool)
    (left, top), (right, bottom) = np.array(on_shot(pair, pair["patches"][1]))[[0, 2]]
    clipped[int(top) : int(bottom), int(left) : int(right)] = True
    found = scratched.read(pair, clipped=clipped)
    assert len(found.rejected) == 2
    assert found.rejected[0].startswith("patch 2: clipped")
    assert found.rejected[1].startswith("patch 7: uneven")


def test_a_thumb_on_one_corner_is_no_hindrance_and_on_two_is_told(pair: dict[str, Any], upright: Shot) -> None:
    marks = pair["drums"][0]["marks"]
    one = upright.with_paint(on_shot(pair, marks[2]), (0.3, 0.25, 0.2))
    assert off(one.read(pair), pair).max() <= 0.6
    two = one.with_paint(on_shot(pair, marks[0]), (0.3, 0.25, 0.2))
    with pytest.raises(InputError, match="only 2 of the 4 corner marks that Ferrywake printed"):
        two.read(pair)


def test_a_cropped_strip_is_told(pair: dict[str, Any], drifted: PrintedStrip) -> None:
    taken = shot(drifted, shift_px=(0.0, -120.0))
    with pytest.raises(InputError, match="cropped"):
        taken.read(pair)


def test_a_drum_that_is_missing_is_named(pair: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="the drum with Dockrope is missing or too pale: 0 of its 4"):
        shot(sheet(pair, left_out=[1])).read(pair)


def test_a_drum_that_is_too_pale_is_named(pair: dict[str, Any], upright: Shot) -> None:
    paper = np.array([0.78, 0.81, 0.64])
    taken = upright
    for mark in pair["drums"][1]["marks"]:
        away = {**mark, "x": mark["x"] + DRIFT_MM[0] - 1, "y": mark["y"] + DRIFT_MM[1] - 1, "size": mark["size"] + 2}
        taken = taken.with_paint(on_shot(pair, away), tuple(paper))
    with pytest.raises(InputError, match="Dockrope is missing or too pale"):
        taken.read(pair)


def test_another_sheets_strip_is_told(upright: Shot) -> None:
    with pytest.raises(InputError, match=f"another strip: {UID}"):
        upright.read(layout("Ferrywake", "Dockrope", uid=OTHER))


def test_a_picture_without_a_strip_is_told(pair: dict[str, Any]) -> None:
    grey = np.full((600, 800, 3), 0.2, np.float32)
    with pytest.raises(InputError, match="only 0 of the 4"):
        Shot(lens.encoded_8_bit(grey), grey).read(pair)


def test_three_inks_in_two_passes_are_read(drifted: PrintedStrip) -> None:
    made = layout("Sootwell", "Kilnsong", "Dockrope", design="twenty-seven")
    strip = sheet(made, drift_mm=[(0.0, 0.0), (0.6, 0.3), (-1.2, 1.6)])
    found = shot(strip).read(made)
    assert found.rejected == ()
    assert off(found, made).max() <= 0.6
    assert [drum.shift_mm for drum in found.drums] == [
        pytest.approx(each, abs=0.12) for each in [(0.0, 0.0), (0.6, 0.3), (-1.2, 1.6)]
    ]


def test_a_pale_ink_alone_carries_code_and_marks() -> None:
    made = layout("Dockrope", design="lightest")
    found = shot(sheet(made)).read(made)
    assert found.rejected == ()
    assert off(found, made).mean() <= 0.3


PAPER_LAB, SOLID_LAB = (93.0, 0.2, 5.0), (40.0, 2.0, -41.0)


@pytest.mark.parametrize(
    ("tints", "lab", "state"),
    [
        ((4.0, 0.0), (92.8, 0.2, 5.0), "lost"),
        ((4.0, 0.0), (91.0, 0.2, 2.0), ""),
        ((96.0, 0.0), (40.5, 2.0, -41.0), "closed"),
        ((80.0, 0.0), (46.0, 1.0, -36.0), ""),
        ((4.0, 4.0), (92.8, 0.2, 5.0), ""),  # two inks: whose tint was lost is not told
        ((0.0, 0.0), (93.0, 0.2, 5.0), ""),
        ((100.0, 0.0), SOLID_LAB, ""),
    ],
)
def test_a_tint_is_lost_in_the_paper_or_closed_to_its_solid(
    tints: tuple[float, float], lab: tuple[float, float, float], state: str
) -> None:
    assert tint_state(tints, lab, [PAPER_LAB], {(100.0, 0.0): SOLID_LAB}, 0.1) == state


def test_noisy_paper_hides_more() -> None:
    seen = (92.0, 0.2, 5.0)
    assert tint_state((4.0,), seen, [PAPER_LAB], {}, 0.1) == ""
    assert tint_state((4.0,), seen, [PAPER_LAB], {}, 0.8) == "lost"
