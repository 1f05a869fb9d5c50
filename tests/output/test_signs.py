"""Signs: what the table says a page can show is held against the faces and against the typesetter."""

from __future__ import annotations

import json

import pytest
import typst
from fontTools.ttLib import TTFont

from archive.output.signs import FONTS_FOLDER, has_sign, missing_signs, printable, shown

FAMILIES = ("Brygada 1918", "Atkinson Hyperlegible Next", "Atkinson Hyperlegible Mono")
WEIGHTS = ("400", "600")


def covered() -> list[str]:
    """Return every sign of the table."""
    ranges = json.loads((FONTS_FOLDER / "coverage.json").read_text(encoding="ascii"))
    return [chr(number) for first, last in ranges for number in range(first, last + 1)]


def set_in(text: str, family: str, style: str) -> None:
    """Typeset a text in a face of ours with the stand-ins behind it; PDF/A-2b refuses a sign without a glyph."""
    names = json.dumps([family, "Libertinus Serif", "DejaVu Sans Mono"], ensure_ascii=False)[1:-1]
    source = f"#set text(font: ({names}), fallback: false, {style})\n#sys.inputs.words"
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(FONTS_FOLDER)])
    typst.compile(
        {"main.typ": source.encode()},
        font_paths=fonts,
        ignore_system_fonts=True,
        sys_inputs={"words": text},
        pdf_standards=["a-2b"],
        timestamp=0,
    )


@pytest.mark.parametrize("style", ["weight: 400", "weight: 600", 'style: "italic"'])
@pytest.mark.parametrize("family", FAMILIES)
def test_the_typesetter_finds_every_sign_of_the_table(family: str, style: str) -> None:
    set_in(" ".join(covered()), family, style)


def test_the_typesetter_refuses_what_the_table_lacks() -> None:
    # a sign outside every face; the check above would be worth nothing if this passed
    assert not has_sign("浜")
    with pytest.raises(typst.TypstError):
        set_in("浜", FAMILIES[1], "weight: 400")


def test_every_face_of_ours_has_the_latin_alphabets_and_its_licence() -> None:
    # Polish, Czech, Turkish, Romanian, German, French: latin and latin-ext together
    wanted = set("ĄćęłńóśźżřůğışțÄöüßÉçœ0123456789 .,;:–’“”")
    faces = sorted(FONTS_FOLDER.glob("*.ttf"))
    assert len(faces) == 6
    for face in faces:
        assert {chr(number) for number in TTFont(face).getBestCmap()} >= wanted, face.name
        family = next(part for part in ("brygada-1918", "hyperlegible-next", "hyperlegible-mono") if part in face.name)
        (licence,) = FONTS_FOLDER.glob(f"*{family}-OFL.txt")
        assert "SIL OPEN FONT LICENSE Version 1.1" in licence.read_text(encoding="utf-8")


def test_kerning_lived_through_the_joining() -> None:
    for face in FONTS_FOLDER.glob("*.ttf"):
        assert "GPOS" in TTFont(face), face.name


def test_missing_signs_are_named_once_and_in_order() -> None:
    assert missing_signs("Box 箱 14 浜 箱") == ("箱", "浜")
    assert missing_signs("Ящик Ω ΔE00 ≤ 3 → ½") == ()


def test_texts_are_composed_and_lose_only_what_cannot_be_seen() -> None:
    assert printable("E\u0301te\u0301\tone\ntwo\u200e\u202e") == "Été one two"


def test_a_page_shows_a_square_and_tells_of_it() -> None:
    values, notices = shown({"name": "箱 7", "more": ["Ящик", {"n": 3, "is": True, "none": None}]})
    assert values == {"name": "□ 7", "more": ["Ящик", {"n": 3, "is": True, "none": None}]}
    assert [str(notice) for notice in notices] == ["箱 7: no face of the page has 箱 (U+7BB1): a square stands for it"]
