"""Pages are PDF/A, hold their faces, come out the same every run, and take texts as they stand."""

from __future__ import annotations

import io
from datetime import date

import pytest
import typst
from pypdf import PdfReader

from archive.errors import InputError
from archive.output.place_pages import PlacePage, place_cards, place_labels
from archive.output.typeset import TEMPLATES_FOLDER, typeset
from tests.output.values import DAY, texts, uid


def card(name: str) -> bytes:
    return place_cards([PlacePage(uid(1), name, "box")], day=DAY).pdf


def test_the_same_values_give_the_same_bytes() -> None:
    assert card("Box 14") == card("Box 14")
    other_day = place_cards([PlacePage(uid(1), "Box 14", "box")], day=date(2024, 6, 2)).pdf
    assert other_day != card("Box 14")


def test_a_page_claims_pdf_a_2b_and_the_day_it_is_for() -> None:
    # ISO 19005-2: the claim stands in the XMP packet as part 2, conformance B
    reader = PdfReader(io.BytesIO(card("Box 14")))
    xmp = reader.xmp_metadata
    assert xmp is not None
    packet = xmp.stream.get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in packet
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in packet
    assert reader.metadata is not None
    assert reader.metadata.creation_date is not None
    assert reader.metadata.creation_date.date() == DAY


def test_every_face_lies_inside_the_file() -> None:
    fonts = PdfReader(io.BytesIO(card("Box 14 Ω"))).pages[0]["/Resources"]["/Font"]
    assert fonts
    for font in fonts.values():
        (inner,) = font.get_object()["/DescendantFonts"]
        descriptor = inner.get_object()["/FontDescriptor"]
        assert "/FontFile2" in descriptor or "/FontFile3" in descriptor


@pytest.mark.parametrize("name", ["<&#$*_> [x] @a `b` = / // \\", "#{1+1} ${2}$ {name}", "- a", "'", "a ~ b"])
def test_texts_are_set_as_they_stand(name: str) -> None:
    assert " ".join(name.split()) in texts(card(name))[0]


def test_a_sign_that_no_face_has_is_told_and_drawn_as_a_square() -> None:
    pages = place_cards([PlacePage(uid(1), "箱 14", "box")], day=DAY)
    assert "□ 14" in texts(pages.pdf)[0]
    assert ["箱" in str(notice) for notice in pages.notices] == [True]


def test_a_picture_that_cannot_be_read_is_an_error_in_words() -> None:
    shown = {"code": "a.svg", "inside": "", "name": "x", "warning": "", "says": ""}
    values = {"title": "", "hint": "", "cards": [shown]}
    with pytest.raises(InputError, match="cannot be set"):
        typeset("place_cards", values, day=DAY, pages=1, pictures={"a.svg": b"no drawing"})


def test_a_fault_of_a_template_stays_a_fault() -> None:
    with pytest.raises(typst.TypstError):
        typeset("place_cards", {"title": ""}, day=DAY, pages=1)


def test_templates_load_nothing_from_elsewhere() -> None:
    templates = list(TEMPLATES_FOLDER.glob("*.typ"))
    assert len(templates) >= 5
    for template in templates:
        text = template.read_text(encoding="utf-8")
        assert "@" not in text  # a package would be fetched from a network
        assert "http" not in text


def test_no_place_is_an_error_in_words() -> None:
    for make in (place_cards, place_labels):
        with pytest.raises(InputError, match="no place to print"):
            make([], day=DAY)
