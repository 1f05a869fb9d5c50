"""Masters of a strip: exact to the pixel, each with its own marks; codes and words are solid."""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from archive.errors import InputError
from archive.output.strip_sheet import master_file, strip_masters, tint_grey
from archive.planning.strip_designs import design_tints
from archive.planning.strip_layout import StripDrum, StripHead, strip_layout

UID = "0192c3a4-5b6c-7d8e-9f00-112233445566"
DPI = 300


@pytest.fixture(scope="module")
def layout() -> dict[str, Any]:
    head = StripHead(UID, f"inkchest:strip:{UID}", "eleven", {"Paper": "Oatleaf 120"}, "FM")
    return strip_layout(head, design_tints("eleven", 2), [StripDrum("Ferrywake", 1, 1), StripDrum("Dockrope", 1, 2)])


def box_px(box: dict[str, Any], dpi: int = DPI) -> tuple[int, int, int, int]:
    x, y, size = box["x"], box["y"], box["size"]
    left, top, right, bottom = (round(mm / 25.4 * dpi) for mm in (x, y, x + size, y + size))
    return left, top, right, bottom


def test_a_tint_is_one_grey_value_of_the_file() -> None:
    assert [tint_grey(tint) for tint in (0, 100)] == [255, 0]
    for tint in range(101):
        assert abs((255 - tint_grey(tint)) / 255 * 100 - tint) <= 0.5 / 2.55 + 1e-9  # half a step of eight bits


def test_every_patch_is_flat_and_nothing_is_smoothed(layout: dict[str, Any]) -> None:
    for number, master in enumerate(strip_masters(layout, dpi=DPI)):
        allowed = {tint_grey(patch["tints"][number]) for patch in layout["patches"]} | {0, 255}
        assert set(np.unique(master.grey).tolist()) <= allowed
        for patch in layout["patches"]:
            left, top, right, bottom = box_px(patch)
            inside = master.grey[top:bottom, left:right]
            assert set(np.unique(inside).tolist()) == {tint_grey(patch["tints"][number])}
            around = master.grey[top - 6 : bottom + 6, left - 6 : right + 6].astype(int)
            assert (around.sum() - inside.astype(int).sum()) == 255 * (around.size - inside.size)


def test_each_drum_carries_its_own_marks_and_one_of_them_the_code(layout: dict[str, Any]) -> None:
    first, second = strip_masters(layout, dpi=DPI)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    for master, drum in zip((first, second), layout["drums"], strict=True):
        corners, numbers, _ = detector.detectMarkers(master.grey)
        assert sorted(np.ravel(numbers).tolist()) == [mark["id"] for mark in drum["marks"]]
        for number, found in zip(np.ravel(numbers), corners, strict=True):
            mark = next(each for each in drum["marks"] if each["id"] == number)
            left, top, _, _ = box_px(mark)
            assert np.abs(found[0][0] - (left, top)).max() <= 1.5
    codes = [[code.text for code in zxingcpp.read_barcodes(master.grey)] for master in (first, second)]
    assert codes == [[f"inkchest:strip:{UID}"], []]


@pytest.mark.parametrize("dpi", [150, 600])
def test_a_tiff_holds_the_same_pixels_at_the_machines_resolution(layout: dict[str, Any], dpi: int) -> None:
    (master, _) = strip_masters(layout, dpi=dpi)
    with Image.open(io.BytesIO(master_file(master, "tiff"))) as picture:
        assert picture.mode == "L"
        assert picture.info["dpi"] == pytest.approx((dpi, dpi))
        assert (np.asarray(picture) == master.grey).all()
        assert picture.width == round(layout["width"] / 25.4 * dpi)


def test_a_pdf_is_one_page_of_the_sheets_size_with_the_same_pixels(layout: dict[str, Any]) -> None:
    (master, _) = strip_masters(layout, dpi=DPI)
    document = pypdfium2.PdfDocument(master_file(master, "pdf"))
    try:
        (page,) = document
        assert page.get_size() == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.3)
        (image,) = page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
        assert (np.asarray(image.get_bitmap().to_pil().convert("L")) == master.grey).all()
    finally:
        document.close()


def test_equal_layouts_give_equal_bytes(layout: dict[str, Any]) -> None:
    first, second = (master_file(strip_masters(layout, dpi=150)[0], "pdf") for _ in range(2))
    assert first == second


def test_long_names_stay_in_their_room(layout: dict[str, Any]) -> None:
    long = {**layout, "words": [{**w, "text": w["text"] * 4} if w["style"] == "name" else w for w in layout["words"]]}
    (_, second) = strip_masters(long, dpi=DPI)
    (name,) = [word for word in long["words"] if word["drum"] == 1]
    right = round((name["x"] + name["width"]) / 25.4 * DPI)
    top, bottom = (round((name["y"] + mm) / 25.4 * DPI) for mm in (0, 4))
    assert (second.grey[top:bottom, right + 1 : right + 30] == 255).all()


def test_what_a_code_could_not_be_read_from_is_refused(layout: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="too few"):
        strip_masters(layout, dpi=72)
    with pytest.raises(InputError, match="no form jpeg"):
        master_file(strip_masters(layout, dpi=150)[0], "jpeg")
