"""CGATS text: real press files, an instrument's file and the odd ways of others are all read or refused by name."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.errors import ArchiveError, InputError, ManyErrors
from archive.exchange.cgats import is_cgats, read_cgats, write_cgats
from archive.exchange.readings import ReadingRow, ReadingsFile, ReadLayer, Spectrum, apply_inks
from archive.exchange.text import decode_text

# Published characterisation data of real presses, Debian package icc-profiles-free; rows counted in each file's own
# NUMBER_OF_SETS.
PRESSES = Path("/usr/share/color/icc")
PRESS_ROWS = {
    "FOGRA28L": 1485,
    "FOGRA29L": 1485,
    "FOGRA30L": 1485,
    "FOGRA39L": 1617,
    "FOGRA40L": 1617,
    "TR002": 928,
    "TR003": 1617,
    "TR005": 1617,
    "TR006": 1617,
}
CMYK = [("CMYK_C", "Ferrywake"), ("CMYK_M", "Kilnsong"), ("CMYK_Y", "Dockrope"), ("CMYK_K", "Sootwell")]

# Three rows of a public, MIT-licensed CGATS sample: tints of one spot ink on off-white uncoated paper as an
# instrument wrote them (sample, L* a* b*, then 380 to 730 nm in steps of 10).
RAMP = (
    "0 85,46 1,38 5,97 0,180005 0,233768 0,312105 0,401500 0,485367 0,543177 0,579028 0,603711 0,622557 0,635980 "
    "0,645866 0,655322 0,662949 0,667344 0,669915 0,668157 0,663573 0,656697 0,651547 0,654500 0,656007 0,657238 "
    "0,660150 0,675877 0,709681 0,751066 0,785796 0,808390 0,822435 0,829419 0,833173 0,835547 0,839279 0,843145 "
    "0,846537 0,851780",
    "50 69,08 -14,61 -7,52 0,130534 0,175579 0,236808 0,301056 0,356497 0,398305 0,430139 0,456174 0,477513 0,490419 "
    "0,499454 0,515498 0,530565 0,529991 0,509827 0,479357 0,448159 0,411502 0,369845 0,337017 0,318228 0,310970 "
    "0,302671 0,297852 0,303765 0,315032 0,327958 0,342880 0,358984 0,368480 0,368407 0,361892 0,350544 0,341220 "
    "0,345887 0,366501",
    "100 50,44 -29,94 -18,86 0,074788 0,104986 0,146182 0,185483 0,214333 0,240277 0,266598 0,291979 0,313950 0,325199 "
    "0,333499 0,355227 0,377989 0,373283 0,334949 0,286146 0,242717 0,196999 0,149754 0,115178 0,098411 0,092668 "
    "0,086053 0,080224 0,079019 0,080497 0,083993 0,090819 0,099605 0,105103 0,104043 0,098745 0,090769 0,085325 "
    "0,089809 0,105135",
)


def read(text: str, name: str = "strip.txt") -> ReadingsFile:
    (file,) = read_cgats(text, name)
    return file


def press(name: str) -> ReadingsFile:
    path = PRESSES / f"{name}.ti3"
    return read(decode_text(path.read_bytes(), path.name).text, path.name)


def table(fields: str, *rows: str, header: str = "") -> str:
    lines = ["CGATS.17", *header.splitlines(), "BEGIN_DATA_FORMAT", fields, "END_DATA_FORMAT", "BEGIN_DATA"]
    return "\n".join([*lines, *rows, "END_DATA", ""])


def faults(text: str) -> list[str]:
    with pytest.raises(ManyErrors) as caught:
        read(text)
    return [str(error) for error in caught.value.errors]


@pytest.mark.parametrize("name", PRESS_ROWS)
def test_every_row_of_a_published_press_file_is_kept(name: str) -> None:
    file = press(name)
    assert (file.name, file.kind, file.inks_known) == (name, "cgats", False)
    assert len(file.rows) == PRESS_ROWS[name]
    assert file.device_fields == ("CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K")
    assert all(row.lab and row.xyz and len(row.original) == 11 for row in file.rows)
    assert file.notices == ()


def test_a_press_files_numbers_are_those_printed_in_it() -> None:
    # FOGRA30L: "9 0 100 0 0 35.25 21.09 15.51 53.04 59.94 4.46"; XYZ counts to 100 there, to 1 here
    row = press("FOGRA30L").rows[8]
    assert (row.sample, row.line) == ("9", 28)
    assert row.device == (("CMYK_C", 0.0), ("CMYK_M", 100.0), ("CMYK_Y", 0.0), ("CMYK_K", 0.0))
    assert (row.xyz, row.lab) == ((0.3525, 0.2109, 0.1551), (53.04, 59.94, 4.46))


def test_xyz_and_lab_of_a_press_file_agree_on_lightness() -> None:
    # CIE 1976: L* = 116 Y^(1/3) - 16 above Y = 0.008856. Y has two decimals of 100, so L* can differ by 0.1 here.
    for row in press("FOGRA39L").rows:
        assert row.xyz is not None
        assert row.lab is not None
        if row.xyz[1] > 0.02:
            assert 116 * row.xyz[1] ** (1 / 3) - 16 == pytest.approx(row.lab[0], abs=0.1)


def test_a_file_in_another_encoding_keeps_its_header_as_written() -> None:
    file = press("TR002")
    assert ("TARGET_TYPE", "ANSI IT8.7/3") in file.header
    assert {row.backing for row in file.rows} == {"black"}


def test_repeated_recipes_stay_rows_of_their_own() -> None:
    # FOGRA30L holds 28 recipes twice
    file = apply_inks(press("FOGRA30L"), CMYK)
    recipes = Counter(row.layers for row in file.rows)
    assert len(file.rows) == 1485
    assert sum(count - 1 for count in recipes.values()) == 28


def test_a_chart_of_sixteen_hundred_patches_reads_in_half_a_second() -> None:
    path = PRESSES / "TR006.ti3"
    start = time.perf_counter()
    read(decode_text(path.read_bytes(), path.name).text, path.name)
    assert time.perf_counter() - start < 0.5


def ramp_text(end: str) -> str:
    fields = "\t".join(["SampleID", "LAB_L", "LAB_A", "LAB_B", *["SPECTRAL_NM", "SPECTRAL_DEC"] * 36, ""])
    lines = ["CGATS.17", 'ORIGINATOR\t""', 'MEASUREMENT_GEOMETRY\t"45/0"', 'WEIGHTING_FUNCTION\t"OBSERVER,2 degree"']
    lines += ['WEIGHTING_FUNCTION\t"ILLUMINANT,D50"', "NUMBER_OF_FIELDS\t76", "BEGIN_DATA_FORMAT", fields]
    lines += ["END_DATA_FORMAT", "NUMBER_OF_SETS\t3", "BEGIN_DATA"]
    for sample, *cells in (row.split() for row in RAMP):
        pairs = [part for band, cell in enumerate(cells[3:]) for part in (f"{380 + 10 * band}", cell)]
        lines.append("\t".join([f'"{sample}"', *cells[:3], *pairs, ""]))
    return end.join([*lines, "END_DATA", ""])


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_an_instruments_file_with_decimal_commas_and_repeated_fields_is_read(end: str) -> None:
    file = read(ramp_text(end))
    paper, _, solid = file.rows
    assert paper.lab == (85.46, 1.38, 5.97)
    assert (solid.sample, solid.lab) == ("100", (50.44, -29.94, -18.86))
    assert solid.spectrum is not None
    assert (solid.spectrum.start_nm, solid.spectrum.step_nm, len(solid.spectrum.values)) == (380, 10, 36)
    assert solid.spectrum.values[:2] == (0.074788, 0.104986)
    assert solid.spectrum.values[-1] == 0.105135
    assert (file.notices, file.device_fields, file.inks_known) == ((), (), False)
    assert len(solid.original) == 76


def test_an_instruments_file_in_a_spreadsheets_hands_is_read_through_its_encoding() -> None:
    decoded = decode_text(ramp_text("\r\n").encode("utf-16"), "ramp.txt")
    assert len(read(decoded.text).rows) == 3


@pytest.mark.parametrize(
    "field",
    [
        "SPECTRAL_NM{}",
        "SPECTRAL_NM_{}",
        "SPECTRAL_{}",
        "nm{}",
        "R_{}",
        "R{}",
        "spectral_dec_{}",
        "{}",
        "{}nm",
        "NM_{}.0",
    ],
)
def test_spectral_fields_are_known_in_their_spellings(field: str) -> None:
    fields = " ".join(field.format(nm) for nm in (400, 420, 440))
    (row,) = read(table(f"SAMPLE_ID {fields}", "1 0.25 0.5 0.75")).rows
    assert row.spectrum == Spectrum(400, 20, (0.25, 0.5, 0.75))


def test_spectral_fields_in_any_order_are_put_in_order() -> None:
    (row,) = read(table("SAMPLE_ID R_420 R_400", "1 0.5 0.25")).rows
    assert row.spectrum == Spectrum(400, 20, (0.25, 0.5))


def test_spectra_that_pass_two_are_percent_and_say_so() -> None:
    file = read(table("SAMPLE_ID R_400 R_420", "1 1.5 1.75", "2 50 75"))
    assert [row.spectrum.values for row in file.rows if row.spectrum] == [(0.015, 0.0175), (0.5, 0.75)]
    assert [notice.code for notice in file.notices] == ["spectra_in_percent"]


def test_a_fields_name_settles_percent_or_not() -> None:
    percent = read(table("SAMPLE_ID SPECTRAL_PCT_400 SPECTRAL_PCT_420", "1 1.5 0.5")).rows[0].spectrum
    assert percent == Spectrum(400, 20, (0.015, 0.005))
    assert "beyond 0 to 2" in faults(table("SAMPLE_ID SPECTRAL_DEC_400 SPECTRAL_DEC_420", "1 2.5 0.5"))[0]


def test_a_brightened_papers_reflectance_passes_with_a_notice_and_nonsense_does_not() -> None:
    file = read(table("SAMPLE_ID R_400 R_420", "1 0.5 1.1", "2 -0.001 0.5", "3 0 2"))
    assert [str(notice) for notice in file.notices] == [
        "strip.txt, line 6, R_400: 1.1 is out of the usual 0 to 1",
        "strip.txt, line 7, R_400: -0.001 is out of the usual 0 to 1",
        "strip.txt, line 8, R_400: 2.0 is out of the usual 0 to 1",
    ]
    assert "line 6, R_400: -0.5 is beyond" in faults(table("SAMPLE_ID R_400 R_420", "1 0.5 -0.5"))[0]
    assert "line 6, R_400: 2.01 is beyond" in faults(table("SAMPLE_ID R_400 R_420", "1 201 50"))[0]


def test_wavelengths_must_be_even() -> None:
    assert "not evenly spaced" in faults(table("SAMPLE_ID R_400 R_410 R_430", "1 .1 .2 .3"))[0]
    pairs = "SPECTRAL_NM SPECTRAL_DEC SPECTRAL_NM SPECTRAL_DEC"
    assert "not evenly spaced" in faults(table(f"SAMPLE_ID {pairs}", "1 410 .1 400 .2"))[0]


@pytest.mark.parametrize("fields", ["LAB_L LAB_A LAB_B", "lab_l lab_a lab_b", "L* a* b*", "LAB_L* LAB_A* LAB_B*"])
def test_lab_fields_are_known_in_their_spellings(fields: str) -> None:
    assert read(table(f"SAMPLE_ID {fields}", "1 48.5 41.9 37.4")).rows[0].lab == (48.5, 41.9, 37.4)


def test_tables_of_one_file_become_sets_of_their_own() -> None:
    one = table("SAMPLE_ID LAB_L LAB_A LAB_B", "1 50 1 2", header='MEASUREMENT_SOURCE "MeasurementCondition=M1"')
    two = table("SAMPLE_NAME\tXYZ_X\tXYZ_Y\tXYZ_Z", '"a b"\t50\t60\t40', header='NUMBER_OF_SETS 1\nFILTER "M2"')
    files = read_cgats(one + two, "Box 3.txt")
    assert [file.name for file in files] == ["Box 3 1", "Box 3 2"]
    assert (files[0].rows[0].lab, files[0].rows[0].condition) == ((50, 1, 2), "M1")
    assert (files[1].rows[0].sample, files[1].rows[0].xyz) == ("a b", (0.5, 0.6, 0.4))
    assert files[1].rows[0].condition == "M2"


def test_blanks_quotes_comments_and_empty_cells_are_understood() -> None:
    text = table(
        "SAMPLE_ID\tSAMPLE_NAME\tLAB_L\tLAB_A\tLAB_B",
        "# a comment",
        "",
        "1\t'it''s'\t50\t1\t2\t",
        '2  "say ""hi"""   51 1    2  # said aloud',
        "3\t\t52\t1\t2",
        header="# made by hand\nKEYWORD \"SHELF\"\nSHELF 'top' # the one on the left\nPRESSROOM Upstairs left",
    )
    file = read(text)
    assert [dict(row.original)["SAMPLE_NAME"] for row in file.rows] == ["it's", 'say "hi"', ""]
    assert [row.sample for row in file.rows] == ["1", "2", "3"]
    assert file.header == (
        ("CGATS.17", ""),
        ("KEYWORD", "SHELF"),
        ("SHELF", "top"),
        ("PRESSROOM", "Upstairs left"),
    )
    assert [str(notice) for notice in file.notices] == ["strip.txt: these keywords are kept, but not read: PRESSROOM"]


def test_repeated_sample_fields_give_the_first_that_is_filled() -> None:
    rows = read(table("SAMPLE_ID\tSAMPLE_ID\tLAB_L\tLAB_A\tLAB_B", "1\tA1\t50\t0\t0", "\tA2\t51\t0\t0")).rows
    assert [row.sample for row in rows] == ["1", "A2"]
    assert rows[0].original[:2] == (("SAMPLE_ID", "1"), ("SAMPLE_ID", "A1"))


def test_counts_need_not_be_given() -> None:
    assert (
        read("BEGIN_DATA_FORMAT LAB_L LAB_A LAB_B END_DATA_FORMAT\nBEGIN_DATA\n50 0 0\nEND_DATA").rows[0].sample == "3"
    )


def test_counts_that_do_not_agree_are_told_with_both_numbers() -> None:
    header = "NUMBER_OF_FIELDS 5\nNUMBER_OF_SETS 3"
    found = faults(table("SAMPLE_ID LAB_L LAB_A LAB_B", "1 50 0 0", "2 51 0 0", header=header))
    assert "NUMBER_OF_FIELDS says 5, but the data format names 4 fields" in found[0]
    assert "NUMBER_OF_SETS says 3, but there are 2 data lines" in found[1]


def test_a_line_with_another_count_of_values_is_named() -> None:
    found = faults(table("SAMPLE_ID LAB_L LAB_A LAB_B", "1 50 0", "2 51 0 0", "3 52 0 0 7"))
    assert [fault.split(".", 2)[1] for fault in found] == [
        "txt, line 6: the line has 3 values, the data format names 4 fields",
        "txt, line 8: the line has 5 values, the data format names 4 fields",
    ]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("1 10 nan 0 0", 'strip.txt, line 6, LAB_L: "nan" is not a number'),
        ("1 10 50 inf 0", 'line 6, LAB_A: "inf" is not a number'),
        ("1 10 50 0 22.May", '"22.May" is a date'),
        ("1 10 116 0 0", "line 6, LAB_L: L* 116.0 is beyond 0 to 115"),
        ("1 10 -0.1 0 0", "L* -0.1 is beyond"),
        ("1 130 50 0 0", "line 6, CMYK_C: tint 130 is beyond 0 to 100"),
        ("1 '' 50 0 0", "line 6, CMYK_C: the tint is empty"),
        ("1 10 50 '' 0", "line 6, LAB_A: the cell is empty"),
        ('"1 10 50 0 0', "line 6: the quotation marks do not pair up"),
    ],
)
def test_a_bad_value_is_named_by_line_and_field(row: str, words: str) -> None:
    (fault,) = faults(table("SAMPLE_ID CMYK_C LAB_L LAB_A LAB_B", row))
    assert words in fault


def test_all_bad_lines_are_told_at_once() -> None:
    found = faults(table("SAMPLE_ID LAB_L LAB_A LAB_B", "1 50 0", "2 nan 0 0", "3 51 0 0", "4 52 x 400"))
    places = sorted(fault.split(": ")[0] for fault in found)
    assert places == [
        "strip.txt, line 6",
        "strip.txt, line 7, LAB_L",
        "strip.txt, line 9, LAB_A",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no BEGIN_DATA block"),
        ("CGATS.17\nhello", "no BEGIN_DATA block"),
        ("CGATS.17\nBEGIN_DATA\n1 50\nEND_DATA", "no BEGIN_DATA_FORMAT block stands before BEGIN_DATA"),
        ("BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n50 0 0\n", "END_DATA is missing"),
        ("BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\n", "END_DATA_FORMAT is missing"),
        ("BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nBEGIN_DATA\n50 0 0\nEND_DATA", "END_DATA_FORMAT is missing"),
        ("END_DATA", "END_DATA ends a block that never began"),
        ("BEGIN_DATA_FORMAT\nSAMPLE_ID\nEND_DATA_FORMAT\nBEGIN_DATA\n1\nEND_DATA", "no Lab, XYZ or spectral"),
        ("BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\nEND_DATA", "holds no readings"),
        ("BEGIN_DATA_FORMAT\nLAB_L\nEND_DATA_FORMAT\nBEGIN_DATA 50\n50\nEND_DATA", "text after BEGIN_DATA"),
    ],
)
def test_a_broken_file_says_what_is_missing(text: str, words: str) -> None:
    assert words in faults(text)[0]


def test_a_table_cut_short_before_the_next_is_told() -> None:
    whole = table("LAB_L LAB_A LAB_B", "50 0 0")
    found = faults(whole.replace("END_DATA\n", "") + whole)
    assert any("line 5: the block that begins here never ends: END_DATA is missing" in fault for fault in found)


def test_other_lights_and_small_xyz_are_told() -> None:
    header = 'WEIGHTING_FUNCTION "ILLUMINANT,D65"\nWEIGHTING_FUNCTION "OBSERVER,10 degree"'
    file = read(table("SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "1 0.6 0.7 0.5", header=header))
    assert [notice.code for notice in file.notices] == ["other_light", "other_light", "xyz_small"]


def test_only_numbers_that_could_be_percent_become_device_fields() -> None:
    fields = "SAMPLE_ID 2CLR_1 Dockrope ROW_NAME RGB_R LAB_C LAB_L LAB_A LAB_B"
    file = read(table(fields, "1 40 60 a 255 9 50 0 0", "2 0 100 7 0 9 50 0 0"))
    assert file.rows[0].device == (("2CLR_1", 40.0), ("Dockrope", 60.0))
    assert "ROW_NAME, RGB_R, LAB_C" in str(file.notices[0])


def chart(*rows: str) -> ReadingsFile:
    return read(table("SAMPLE_ID CMYK_C CMYK_M CMYK_Y LAB_L LAB_A LAB_B", *(f"{row} 50 0 0" for row in rows)))


THREE = [("CMYK_Y", "Dockrope"), ("cmyk_m", "Kilnsong"), ("CMYK_C", "Ferrywake")]


def test_inks_print_in_the_order_they_are_named_two_to_a_pass() -> None:
    paper, three, outer = apply_inks(chart("1 0 0 0", "2 30 20 10", "3 100 0 50"), THREE).rows
    assert paper.layers == ()
    assert three.layers == (
        ReadLayer("Dockrope", 10, 1),
        ReadLayer("Kilnsong", 20, 1),
        ReadLayer("Ferrywake", 30, 2),
    )
    assert outer.layers == (ReadLayer("Dockrope", 50, 1), ReadLayer("Ferrywake", 100, 2))


def test_an_ink_alone_on_its_patch_took_one_pass() -> None:
    (row,) = apply_inks(chart("1 100 0 0"), THREE).rows
    assert row.layers == (ReadLayer("Ferrywake", 100, 1),)


def test_passes_may_be_told() -> None:
    file = apply_inks(chart("1 30 20 10"), THREE, {"Kilnsong": 2})
    assert [layer.print_pass for layer in file.rows[0].layers] == [1, 2, 2]
    alone = apply_inks(chart("1 30 20 10"), THREE, inks_per_pass=1)
    assert [layer.print_pass for layer in alone.rows[0].layers] == [1, 2, 3]
    assert alone.inks_known


@pytest.mark.parametrize(
    ("inks", "passes", "words"),
    [
        ([("CMYK_G", "Nettlecoat")], {}, r"no device field CMYK_G\. The table has these: CMYK_C, CMYK_M, CMYK_Y"),
        ([*THREE, ("CMYK_Y", "Nettlecoat")], {}, "CMYK_Y is given two inks"),
        (THREE[:2], {}, "CMYK_C has tints, but no ink is given for it"),
        (THREE, {"Sootwell": 2}, "a pass is given for Sootwell"),
        (THREE, {"Dockrope": 2, "Kilnsong": 1}, "Kilnsong is in pass 1, but an ink before it is in pass 2"),
    ],
)
def test_inks_that_do_not_fit_the_table_are_refused(
    inks: list[tuple[str, str]], passes: dict[str, int], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        apply_inks(chart("1 30 20 10"), inks, passes)


def test_a_table_without_device_fields_says_so() -> None:
    file = read(table("SAMPLE_ID LAB_L LAB_A LAB_B", "1 50 0 0"))
    with pytest.raises(InputError, match="The table has these: none"):
        apply_inks(file, THREE)


def test_cgats_is_told_from_other_text() -> None:
    assert is_cgats(table("LAB_L LAB_A LAB_B", "50 0 0"))
    assert is_cgats("begin_data\n")
    assert not is_cgats("sample,lab_l\nBEGIN,1\n")


def test_a_written_press_file_reads_back_with_its_inks() -> None:
    rows = apply_inks(press("FOGRA30L"), CMYK).rows
    back = read(write_cgats(rows, descriptor="uncoated", created="2019-05-04"))
    assert back.inks_known
    assert [(row.sample, row.layers, row.lab, row.xyz) for row in back.rows] == [
        (row.sample, row.layers, row.lab, row.xyz) for row in rows
    ]
    assert back.notices == ()
    assert ("DESCRIPTOR", "uncoated") in back.header


def test_an_ink_printed_twice_on_one_patch_has_two_channels() -> None:
    layers = (ReadLayer("Dockrope", 40, 1), ReadLayer("Dockrope", 100, 2))
    text = write_cgats([ReadingRow(0, "1", layers=layers, lab=(50.0, 0.0, 0.0))])
    assert "2CLR_1\t2CLR_2" in text
    assert read(text).rows[0].layers == layers


def test_spectra_of_two_instruments_do_not_fit_one_table() -> None:
    rows = [ReadingRow(0, "1", spectrum=Spectrum(start, 10, (0.5, 0.5))) for start in (380, 400)]
    with pytest.raises(InputError, match="different wavelengths"):
        write_cgats(rows)


@pytest.mark.parametrize("step", ["9:1", "1:0", "x"])
def test_a_printing_order_that_names_no_channel_is_refused(step: str) -> None:
    text = write_cgats([ReadingRow(0, "1", layers=(ReadLayer("Dockrope", 40, 1),), lab=(50.0, 0.0, 0.0))])
    assert f"'{step}' names no channel" in faults(text.replace('"1:1"', f'"{step}"'))[0]


def numbers(least: float, most: float) -> st.SearchStrategy[float]:
    return st.floats(least, most, allow_nan=False).map(lambda number: number + 0.0)


TEXTS = st.text(st.characters(exclude_categories=["C"]), max_size=12).map(str.strip).filter(bool)
ROWS = st.builds(
    ReadingRow,
    line=st.just(0),
    sample=TEXTS,
    paper=st.none() | TEXTS,
    layers=st.lists(st.builds(ReadLayer, TEXTS, numbers(0, 100), st.none() | st.integers(1, 9)), max_size=4).map(tuple),
    lab=st.tuples(numbers(0, 115), numbers(-300, 300), numbers(-300, 300)),
    xyz=st.none() | st.tuples(numbers(0, 2), numbers(0, 2), numbers(0, 2)),
    spectrum=st.none() | st.builds(Spectrum, st.just(380.0), st.just(20.0), st.tuples(*[numbers(0, 2)] * 3)),
    condition=st.none() | st.sampled_from(["M0", "M1", "M2", "M3", "camera", "eye"]),
    printed_on=st.none() | st.dates().map(str),
    n=st.none() | st.integers(1, 1000),
    spread=st.none() | numbers(0, 50),
    note=st.none() | TEXTS,
)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(st.lists(ROWS, min_size=1, max_size=4))
def test_written_rows_read_back_the_same(rows: list[ReadingRow]) -> None:
    found = read(write_cgats(rows)).rows
    assert [replace(row, line=0, original=(), device=()) for row in found] == rows


WORDS = st.sampled_from(
    """BEGIN_DATA END_DATA BEGIN_DATA_FORMAT END_DATA_FORMAT NUMBER_OF_SETS NUMBER_OF_FIELDS KEYWORD SAMPLE_ID LAB_L
    LAB_A LAB_B XYZ_X XYZ_Y XYZ_Z R_400 R_410 SPECTRAL_NM SPECTRAL_DEC CMYK_C 2CLR_1 PRINT_ORDER INK_1 MEASURED_ON
    1 1:1 50 4,5 -3 nan 1e400 22.May " ' "" 'x' # M1""".split()  # noqa: SIM905 - words read better than a list
)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.lists(st.tuples(WORDS | st.text(max_size=5), st.sampled_from([" ", "\t", "\n", "\r\n"])), max_size=40))
def test_any_words_give_rows_or_our_own_error(words: list[tuple[str, str]]) -> None:
    try:
        files = read_cgats("".join(part for pair in words for part in pair), "strip.txt")
    except ArchiveError:
        return
    assert any(file.rows for file in files)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.lists(WORDS, min_size=1, max_size=8), st.lists(st.lists(WORDS, min_size=1, max_size=8), max_size=4))
def test_any_table_gives_rows_or_our_own_error(fields: list[str], rows: list[list[str]]) -> None:
    try:
        files = read_cgats(table("\t".join(fields), *("\t".join(row) for row in rows)), "strip.txt")
    except ArchiveError:
        return
    assert any(file.rows for file in files)
