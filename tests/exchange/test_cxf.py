"""CxF3 both ways: a foreign file is read as it means, ours reads back equal and keeps to the schema."""

from __future__ import annotations

import dataclasses
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from archive.errors import InputError, ManyErrors
from archive.exchange.cxf import is_cxf, read_cxf
from archive.exchange.cxf_out import write_cxf
from archive.exchange.readings import ReadingRow, ReadingsFile, ReadLayer, Spectrum, apply_inks

# ---- a foreign file: the sample that the package colour-cxf (BSD) carries, a chart of 144 patches


def sample() -> bytes:
    import colour_cxf

    return (Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf").read_bytes()


def test_a_foreign_chart_is_read_patch_by_patch() -> None:
    (file,) = read_cxf(sample(), "chart.cxf")
    assert (file.name, file.kind, len(file.rows), file.inks_known) == ("chart", "cxf", 144, False)
    second = file.rows[1]
    # the file's own figures, as printed in it
    assert (second.sample, second.lab, second.xyz) == ("2", (47.83558, 63.29078, 36.27213), None)
    assert second.spectrum is not None
    assert (second.spectrum.start_nm, second.spectrum.step_nm, len(second.spectrum.values)) == (380, 10, 31)
    assert (second.spectrum.values[0], second.spectrum.values[-1]) == (0.0394959, 0.8545514)
    assert (second.measured_on, second.condition) == ("2007-06-14", None)
    assert ("ColorValues/ColorCIELab/L", "47.83558") in second.original
    assert ("ColorSpecification CS1/TristimulusSpec/Illuminant", "D50") in file.header
    assert [str(notice) for notice in file.notices] == ["chart.cxf: 144 ColorSRGB: kept, but not read"]


def test_the_package_and_we_read_the_same_numbers_in_the_foreign_chart() -> None:
    import colour_cxf

    (file,) = read_cxf(sample(), "chart.cxf")
    theirs = colour_cxf.read_cxf(sample()).resources.object_collection.object_value
    for row, patch in zip(file.rows, theirs, strict=True):
        by_kind = {type(value).__name__: value for value in patch.color_values.choice}
        lab = by_kind["ColorCielab"]
        assert row.lab == (lab.l, lab.a, lab.b)
        assert row.spectrum is not None
        assert list(row.spectrum.values) == by_kind["ReflectanceSpectrum"].value


# ---- a foreign file after the standard's pattern, written from memory

SPECIFICATION = """
<cc:ColorSpecification Id="{id}"><cc:TristimulusSpec><cc:Illuminant>{illuminant}</cc:Illuminant>
<cc:Observer>{observer}</cc:Observer><cc:Method>E308_Table5</cc:Method></cc:TristimulusSpec>
<cc:MeasurementSpec><cc:MeasurementType>{type}</cc:MeasurementType><cc:GeometryChoice><cc:SingleAngle>
<cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration><cc:IlluminationAngle>45</cc:IlluminationAngle>
<cc:MeasurementAngle>0</cc:MeasurementAngle></cc:SingleAngle></cc:GeometryChoice>
{grid}<cc:Backing>black</cc:Backing><cc:Device><cc:Model>Handheld</cc:Model>
<cc:DeviceIllumination>{condition}</cc:DeviceIllumination></cc:Device></cc:MeasurementSpec></cc:ColorSpecification>
"""
GRID = '<cc:WavelengthRange StartWL="400" Increment="100"/>'


def specification(id: str = "CS1", **told: str) -> str:
    usual = {"illuminant": "D50", "observer": "2_Degree", "condition": "M1_Daylight", "grid": GRID}
    return SPECIFICATION.format(id=id, **{"type": "Spectrum_Reflectance", **usual, **told})


def lab(numbers: str = "50 10 -20", spec: str = "CS1") -> str:
    parts = "".join(f"<cc:{tag}>{n}</cc:{tag}>" for tag, n in zip("LAB", numbers.split(), strict=True))
    return f'<cc:ColorCIELab ColorSpecification="{spec}">{parts}</cc:ColorCIELab>'


def xyz(numbers: str, spec: str = "CS1") -> str:
    parts = "".join(f"<cc:{tag}>{n}</cc:{tag}>" for tag, n in zip("XYZ", numbers.split(), strict=True))
    return f'<cc:ColorCIEXYZ ColorSpecification="{spec}">{parts}</cc:ColorCIEXYZ>'


def spectrum(factors: str, spec: str = "CS1", more: str = "") -> str:
    return f'<cc:ReflectanceSpectrum {more} ColorSpecification="{spec}">{factors}</cc:ReflectanceSpectrum>'


def patch(values: str, device: str = "", name: str = "A1", kind: str = "Target", more: str = "") -> str:
    device = f"<cc:DeviceColorValues>{device}</cc:DeviceColorValues>" if device else ""
    return (
        f'<cc:Object ObjectType="{kind}" Name="{name}" Id="{name}"><cc:CreationDate>2019-05-04T10:00:00Z'
        f"</cc:CreationDate><cc:ColorValues>{values}</cc:ColorValues>{device}{more}</cc:Object>"
    )


def document(*objects: str, specs: str | None = None, head: str = "") -> bytes:
    specs = specification() if specs is None else specs
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{head}<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">'
        "<cc:FileInformation><cc:Creator>A workshop</cc:Creator></cc:FileInformation><cc:Resources>"
        f"<cc:ObjectCollection>{''.join(objects)}</cc:ObjectCollection>"
        f"<cc:ColorSpecificationCollection>{specs}</cc:ColorSpecificationCollection></cc:Resources></cc:CxF>"
    ).encode()


def read(*objects: str, specs: str | None = None) -> ReadingsFile:
    (file,) = read_cxf(document(*objects, specs=specs), "strip 7.cxf")
    return file


def codes(file: ReadingsFile) -> list[str]:
    return [notice.code for notice in file.notices]


def faults(*objects: str, specs: str | None = None) -> list[str]:
    with pytest.raises(ManyErrors) as caught:
        read(*objects, specs=specs)
    return [str(error) for error in caught.value.errors]


def test_a_patch_has_its_values_and_the_conditions_of_its_specification() -> None:
    file = read(patch(spectrum("0.1 0.2 0.3 0.4") + lab("48.5 41.9 37.4") + xyz("20.5 17.1 5.25")))
    (row,) = file.rows
    assert (row.sample, row.lab, row.xyz) == ("A1", (48.5, 41.9, 37.4), (0.205, 0.171, 0.0525))
    assert row.spectrum == Spectrum(400, 100, (0.1, 0.2, 0.3, 0.4))
    assert (row.condition, row.backing, row.instrument) == ("M1", "black", "Handheld")
    assert (row.measured_on, row.layers, file.notices) == ("2019-05-04", (), ())


@pytest.mark.parametrize(
    ("word", "condition"),
    [("M0_Incandescent", "M0"), ("M1_Daylight", "M1"), ("M2_UVExcluded", "M2"), ("M3_Polarized", "M3"), ("LED", None)],
)
def test_the_illumination_tells_the_measurement_condition(word: str, condition: str | None) -> None:
    assert read(patch(lab()), specs=specification(condition=word)).rows[0].condition == condition


def test_values_under_two_conditions_become_two_sets() -> None:
    specs = specification() + specification("CS2", condition="M2_UVExcluded")
    objects = [patch(lab(spec="CS1") + lab("49 9 -18", "CS2"), name=name) for name in ("A1", "A2")]
    first, second = read_cxf(document(*objects, specs=specs), "strip 7.cxf")
    assert (first.name, second.name) == ("strip 7 M1", "strip 7 M2")
    assert [row.lab for row in second.rows] == [(49, 9, -18), (49, 9, -18)]
    assert {row.condition for row in first.rows} == {"M1"}


def test_of_two_lights_the_one_for_d50_and_two_degrees_is_read() -> None:
    specs = specification("CS2", illuminant="D65", observer="10_Degree") + specification()
    file = read(patch(lab("40 1 1", "CS2") + lab("48.5 41.9 37.4")), specs=specs)
    assert (file.rows[0].lab, codes(file)) == ((48.5, 41.9, 37.4), [])


def test_another_light_is_told_with_the_light() -> None:
    file = read(patch(lab()), specs=specification(illuminant="D65", observer="10_Degree"))
    assert [(notice.code, notice.values["told"]) for notice in file.notices] == [
        ("other_light", "D65"),
        ("other_light", "10 Degree"),
    ]
    assert codes(read(patch(spectrum("0.1 0.2")), specs=specification(illuminant="D65"))) == []


def test_of_two_values_for_one_condition_the_first_is_read_and_the_other_told_once() -> None:
    twice = lab("48.5 41.9 37.4") + lab("40 1 1") + spectrum("0.1 0.2") + spectrum("0.3 0.4")
    file = read(patch(twice, name="A1"), patch(twice, name="A2"))
    assert [row.lab for row in file.rows] == [(48.5, 41.9, 37.4)] * 2
    assert [str(notice) for notice in file.notices] == [
        "strip 7.cxf: 2 patches with a second ColorCIELab for one condition and light: kept, but not read",
        "strip 7.cxf: 2 patches with a second spectrum for one condition: kept, but not read",
    ]


def test_the_day_of_the_measurement_stands_before_that_of_the_object() -> None:
    measured = spectrum("0.1 0.2", more='MeasureDate="2020-01-31T23:30:00+01:00"')
    assert read(patch(measured)).rows[0].measured_on == "2020-01-31"


CMYK = "<cc:Cyan>40</cc:Cyan><cc:Magenta>0</cc:Magenta><cc:Yellow>100</cc:Yellow><cc:Black>0</cc:Black>"


def spot(name: str, percent: str) -> str:
    return f"<cc:SpotColor><cc:Name>{name}</cc:Name><cc:Percentage>{percent}</cc:Percentage></cc:SpotColor>"


def test_device_values_become_fields_by_name_in_percent() -> None:
    plus = f'<cc:ColorCMYKPlusN ColorSpecification="CS1">{CMYK}{spot("Kilnsong", "60")}</cc:ColorCMYKPlusN>'
    custom = f'<cc:ColorCustom Name="n" ColorSpecification="CS1">{spot("Dockrope", "12.5")}</cc:ColorCustom>'
    file = read(patch(lab(), plus, "A1"), patch(lab(), custom, "A2"), patch(lab(), kind="Substrate", name="A3"))
    assert file.device_fields == ("CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K", "Kilnsong", "Dockrope")
    assert [percent for _, percent in file.rows[0].device] == [40, 0, 100, 0, 60, 0]
    assert [percent for _, percent in file.rows[1].device] == [0, 0, 0, 0, 0, 12.5]
    assert {percent for _, percent in file.rows[2].device} == {0}  # the substrate is bare paper
    inks = [("Dockrope", "Dockrope"), ("CMYK_Y", "Gullbone"), ("CMYK_C", "Ferrywake"), ("Kilnsong", "Kilnsong")]
    layers = apply_inks(file, inks).rows[0].layers
    assert [(layer.ink, layer.tint) for layer in layers] == [("Gullbone", 100), ("Ferrywake", 40), ("Kilnsong", 60)]


def test_patches_that_tell_no_device_values_are_kept_apart_from_those_that_do() -> None:
    cmyk = f'<cc:ColorCMYK ColorSpecification="CS1">{CMYK}</cc:ColorCMYK>'
    files = read_cxf(document(patch(lab(), cmyk, "A1"), patch(lab(), name="A2")), "strip.cxf")
    assert [[row.sample for row in file.rows] for file in files] == [["A1"], ["A2"]]
    assert files[1].device_fields == ()


def test_one_ink_with_two_tints_is_wrong() -> None:
    custom = f'<cc:ColorCustom Name="n" ColorSpecification="CS1">{spot("Kilnsong", "10")}{spot("Kilnsong", "20")}'
    (fault,) = faults(patch(lab(), custom + "</cc:ColorCustom>"))
    assert 'object "A1", Kilnsong: the patch has two tints of one ink' in fault


def test_every_fault_is_told_with_its_object() -> None:
    told = faults(
        patch(lab("248 1 1"), name="A1"),
        patch(lab("50 x 1"), name="A2"),
        patch(spectrum("0.1 0.2 7"), name="A3"),
        patch(lab("50 900 1"), name="A4"),
    )
    assert len(told) == 4
    assert told[0].startswith('strip 7.cxf, line 1, object "A1", ColorCIELab L: L* 248.0 is beyond')
    assert 'object "A2", ColorCIELab A: "x" is not a number' in told[1]
    assert 'object "A3", ReflectanceSpectrum: 7.0 is beyond 0 to 2' in told[2]
    assert "900.0 is no a* or b* of a print" in told[3]


def test_a_spectrum_without_wavelengths_is_refused() -> None:
    (fault,) = faults(patch(spectrum("0.1 0.2")), specs=specification(grid=""))
    assert "nothing tells the wavelengths of the spectrum" in fault


def test_tags_of_other_programs_are_kept_and_not_read() -> None:
    tags = '<cc:TagCollection Name="theirs"><cc:Tag Name="paper" Value="Chalkroad 90"/></cc:TagCollection>'
    (row,) = read(patch(lab(), more=tags)).rows
    assert row.paper is None
    assert ("TagCollection/Tag@Value", "Chalkroad 90") in row.original


def test_what_passes_light_is_no_print() -> None:
    specs = specification() + specification("CS2", type="Colorimetric_Transmittance")
    file = read(patch(lab(), name="A1"), patch(lab(spec="CS2"), name="A2"), specs=specs)
    assert [row.sample for row in file.rows] == ["A1"]
    assert codes(file) == ["values_not_read", "values_not_read"]


def test_a_specification_that_is_missing_is_told() -> None:
    file = read(patch(lab(spec="CS9")))
    assert (file.rows[0].condition, codes(file)) == (None, ["specification_missing"])


def test_xyz_that_count_to_one_are_told() -> None:
    assert codes(read(patch(xyz("0.2 0.17 0.05")))) == ["xyz_small"]


def test_a_file_without_readings_is_refused() -> None:
    with pytest.raises(ManyErrors, match="holds no readings"):
        read_cxf(document(patch("")), "empty.cxf")


# ---- hostile and broken documents


def refused(data: bytes) -> str:
    with pytest.raises(InputError) as caught:
        read_cxf(data, "strip.cxf")
    return str(caught.value)


def test_entities_that_grow_without_bound_are_refused_at_once() -> None:
    steps = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
    head = f'<!DOCTYPE CxF [<!ENTITY e0 "ha">{steps}]>'
    begun = time.perf_counter()
    assert "declares a document type (DTD)" in refused(document(patch(lab("&e11; 0 0")), head=head))
    assert time.perf_counter() - begun < 1


def test_a_file_on_the_disk_is_never_read_through_an_entity(tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("11.5")
    head = f'<!DOCTYPE CxF [<!ENTITY e SYSTEM "{(tmp_path / "secret.txt").as_uri()}">]>'
    told = refused(document(patch(lab("&e; 0 0")), head=head))
    assert "declares a document type (DTD)" in told
    assert "11.5" not in told


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("doctype", ["<!DOCTYPE CxF>", '<!DOCTYPE CxF SYSTEM "http://127.0.0.1:9/a.dtd">'])
def test_any_document_type_is_refused_in_any_encoding(doctype: str, encoding: str) -> None:
    text = document(patch(lab()), head=doctype).decode().replace('encoding="UTF-8"', f'encoding="{encoding}"')
    assert "declares a document type (DTD)" in refused(text.encode(encoding))


def test_utf_16_is_read() -> None:
    text = document(patch(lab(), name="Größe")).decode().replace('encoding="UTF-8"', 'encoding="UTF-16"')
    data = text.encode("utf-16")
    assert is_cxf(data)
    assert read_cxf(data, "strip.cxf")[0].rows[0].sample == "Größe"


@pytest.mark.parametrize("data", [b"", b"hello", b"<a", document(patch(lab()))[:-9], b"<a>&nbsp;</a>", b"\xff\xfe\x00"])
def test_what_is_not_well_formed_is_refused(data: bytes) -> None:
    assert "no well-formed XML" in refused(data)


def test_another_vocabulary_is_refused_by_its_name() -> None:
    assert "it begins with html" in refused(b"<html/>")
    assert not is_cxf(b"<html/>")


def test_a_document_deeper_than_any_reading_is_refused() -> None:
    assert "no well-formed XML" in refused(document("<cc:a>" * 5000 + "</cc:a>" * 5000))


# ---- ours, written and read back

SAID = ReadingRow(
    1,
    sample="0042",
    paper="Oatleaf 120",
    layers=(ReadLayer("Dockrope", 100, 1), ReadLayer("Kilnsong", 60, 1), ReadLayer("Dockrope", 12.5, 2)),
    lab=(48.5, 41.9, 37.4),
    xyz=(0.205, 0.171, 0.0525),
    spectrum=Spectrum(380, 10, tuple(n / 40 for n in range(36))),
    work="QA-0042",
    run="3",
    machine="Upstairs",
    screen="FM",
    condition="M1",
    backing="white",
    instrument="Handheld",
    measured_on="2019-05-04",
    printed_on="2019-05",
    hours_after=30.5,
    n=3,
    spread=0.25,
    note="a little uneven & <thin>",
)


def comparable(row: ReadingRow) -> ReadingRow:
    return replace(row, line=0, original=(), device=())


def read_back(rows: list[ReadingRow]) -> list[ReadingRow]:
    files = read_cxf(write_cxf(rows, created="2026-01-05", descriptor="strip 7"), "strip 7.cxf")
    assert all(file.inks_known for file in files)
    return [comparable(row) for file in files for row in file.rows]


def test_our_rows_read_back_equal_with_every_detail() -> None:
    assert read_back([SAID]) == [comparable(SAID)]


def test_bare_paper_and_unknown_passes_read_back_equal() -> None:
    bare = replace(SAID, layers=(), sample="paper")
    unknown = replace(SAID, layers=(ReadLayer("Kilnsong", 100, None),))
    assert read_back([bare, unknown]) == [comparable(bare), comparable(unknown)]


@pytest.mark.parametrize(
    "row",
    [
        replace(SAID, condition="camera", spectrum=None),
        replace(SAID, condition=None, instrument=None, backing=None, lab=None),
        replace(SAID, spectrum=Spectrum(350, 2.5, (0.1, 0.2, 0.3))),  # the schema's range begins at 360, in whole nm
        replace(SAID, spectrum=Spectrum(730, 10, (0.1, 0.2))),
        replace(SAID, xyz=(-0.001, 0.0, 0.002)),  # the schema has no XYZ below zero
        replace(SAID, lab=None, spectrum=None),
    ],
)
def test_what_the_schema_has_no_usual_place_for_reads_back_equal(row: ReadingRow) -> None:
    assert read_back([row]) == [comparable(row)]
    assert schema_faults(write_cxf([row], created="2026-01-05")) == []


def test_the_passes_must_fit_the_layers() -> None:
    data = write_cxf([SAID], created="2026-01-05").replace(b'Value="1 1 2"', b'Value="1 1"')
    with pytest.raises(ManyErrors, match="there are 3 layers, but the tag tells 2 passes"):
        read_cxf(data, "strip.cxf")


@pytest.mark.parametrize("bad", ["a\x00b", "a\x0bb", "\ud800", "\ufffe"])
def test_a_character_that_xml_cannot_carry_is_refused_by_name(bad: str) -> None:
    for row in (replace(SAID, note=bad), replace(SAID, layers=(ReadLayer(bad, 1, 1),))):
        with pytest.raises(InputError, match="which XML cannot carry"):
            write_cxf([row], created="2026-01-05")


def test_nothing_is_written_for_nothing() -> None:
    with pytest.raises(InputError, match="no readings to write"):
        write_cxf([], created="2026-01-05")
    with pytest.raises(InputError, match="0042 has no reading"):
        write_cxf([replace(SAID, lab=None, xyz=None, spectrum=None)], created="2026-01-05")
    with pytest.raises(InputError, match="not a whole date"):
        write_cxf([SAID], created="2026-01")


WORDS = st.text(
    st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufffe\uffff"), min_size=1, max_size=12
).filter(lambda text: text == text.strip())
NAMES = st.none() | WORDS
PERCENT = st.floats(0.1, 100, allow_nan=False)
LABS = st.tuples(st.floats(0, 115), st.floats(-300, 300), st.floats(-300, 300))
FACTORS = st.floats(-0.01, 2, allow_nan=False)
SPECTRA = st.builds(
    Spectrum,
    st.sampled_from([340.0, 360.0, 380.0, 400.0, 410.0]),
    st.sampled_from([5.0, 10.0, 20.0]),
    st.lists(FACTORS, min_size=2, max_size=6).map(tuple),
)
ROWS = st.builds(
    ReadingRow,
    line=st.just(0),
    sample=WORDS,
    paper=NAMES,
    layers=st.lists(st.builds(ReadLayer, WORDS, PERCENT, st.none() | st.integers(1, 9)), max_size=3).map(tuple),
    lab=LABS,
    xyz=st.none() | st.tuples(FACTORS, FACTORS, FACTORS),
    spectrum=st.none() | SPECTRA,
    work=NAMES,
    condition=st.sampled_from([None, "M0", "M1", "M2", "M3", "camera", "eye"]),
    backing=NAMES,
    instrument=NAMES,
    measured_on=st.sampled_from([None, "2019", "2019-05", "2019-05-04"]),
    hours_after=st.none() | st.floats(0, 1e6),
    n=st.none() | st.integers(1, 1000),
    note=NAMES,
)


@settings(max_examples=60)
@given(st.lists(ROWS, min_size=1, max_size=4))
def test_any_rows_read_back_equal_and_keep_to_the_schema(rows: list[ReadingRow]) -> None:
    found = read_back(rows)
    assert sorted(map(repr, found)) == sorted(repr(comparable(row)) for row in rows)
    assert schema_faults(write_cxf(rows, created="2026-01-05")) == []


# ---- the schema, as the package colour-cxf carries it: classes made from the XSD of CxF3-core


def schema_faults(data: bytes) -> list[str]:
    """Return what the schema's model says against the document: unknown, missing, out of range, out of order."""
    import colour_cxf

    model = colour_cxf.read_cxf(data)  # refuses unknown elements and attributes
    ordered = etree.fromstring(colour_cxf.write_cxf(model))
    ours = etree.fromstring(data)
    order = [element.tag for element in ours.iter()]
    out_of_order = [] if order == [element.tag for element in ordered.iter()] else ["the elements are out of order"]
    return [*out_of_order, *_model_faults(model, "CxF")]


def _model_faults(thing: Any, path: str) -> list[str]:
    found: list[str] = []
    for part in dataclasses.fields(thing):
        value, rules = getattr(thing, part.name), part.metadata
        if rules.get("required") and value is None:
            found.append(f"{path}: {part.name} is missing")
        values = value if isinstance(value, list) else [] if value is None else [value]
        if len(values) < rules.get("min_occurs", 0):
            found.append(f"{path}: too few {part.name}")
        for item in values:
            if dataclasses.is_dataclass(item):
                found += _model_faults(item, f"{path}/{part.name}")
            elif isinstance(item, int | float):
                low, high = rules.get("min_inclusive", item), rules.get("max_inclusive", item)
                above, below = rules.get("min_exclusive", item - 1), rules.get("max_exclusive", item + 1)
                if not (low <= item <= high and above < item < below):
                    found.append(f"{path}: {part.name} {item} is out of range")
    return found


def test_our_document_keeps_to_the_schema() -> None:
    assert schema_faults(write_cxf([SAID, replace(SAID, layers=())], created="2026-01-05", descriptor="x")) == []


def test_the_schema_check_itself_finds_what_is_wrong() -> None:
    good = write_cxf([SAID], created="2026-01-05")
    assert schema_faults(good.replace(b"<cc:L>48.5</cc:L>", b"<cc:L>-1</cc:L>")) != []
    moved = good.replace(b"    <cc:Creator>inkchest</cc:Creator>\n", b"").replace(
        b"</cc:CreationDate>\n    <cc:Desc", b"</cc:CreationDate>\n<cc:Creator>inkchest</cc:Creator><cc:Desc"
    )
    assert schema_faults(moved) != []
    assert schema_faults(good.replace(b' ObjectType="Target"', b"")) != []
