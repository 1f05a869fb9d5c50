"""Bags: RFC 8493 section by section; what the standard forbids is refused, and nothing outside a bag is touched.

Section numbers are those of RFC 8493. The names in brackets are cases of the Library of Congress's public conformance
suite (a public domain work): some seen in its list of files, the others from memory; the bags are built here.
"""

from __future__ import annotations

import hashlib
import os
import socket
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.errors import CatalogueError, ConflictError, InputError, ManyErrors
from archive.exchange.bag import Bag, decode_path, encode_path, path_fault, read_bag
from archive.exchange.bag_out import write_bag

DECLARATION = "BagIt-Version: {}\nTag-File-Character-Encoding: {}\n"


def digest(data: bytes, algorithm: str = "sha256") -> str:
    return hashlib.new(algorithm, data).hexdigest()


class Maker:
    """Builds a bag by hand, so that each rule can be broken alone."""

    def __init__(self, folder: Path, version: str = "1.0", encoding: str = "UTF-8") -> None:
        self.folder, self.encoding = folder, encoding
        (folder / "data").mkdir(parents=True)
        self.tag("bagit.txt", DECLARATION.format(version, encoding), "utf-8")

    def tag(self, name: str, text: str, encoding: str = "") -> Maker:
        (self.folder / name).write_bytes(text.encode(encoding or self.encoding))
        return self

    def data(self, path: str, content: bytes = b"x") -> Maker:
        target = self.folder / "data" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
        return self

    def manifest(self, *lines: str, algorithm: str = "sha256") -> Maker:
        return self.tag(f"manifest-{algorithm}.txt", "".join(f"{line}\n" for line in lines))

    def tagmanifest(self, *names: str, algorithm: str = "sha256") -> Maker:
        lines = [f"{digest((self.folder / name).read_bytes(), algorithm)}  {name}\n" for name in names]
        return self.tag(f"tagmanifest-{algorithm}.txt", "".join(lines))

    def faults(self) -> list[str]:
        with pytest.raises(ManyErrors) as caught:
            read_bag(self.folder)
        return [str(error) for error in caught.value.errors]

    def fault(self) -> str:
        (only,) = self.faults()
        return only

    def read(self) -> Bag:
        return read_bag(self.folder)

    def paths(self) -> list[str]:
        return [entry.path for entry in self.read().entries]

    def notices(self) -> list[str]:
        return [notice.code for notice in self.read().notices]


X = digest(b"x")


@pytest.fixture
def maker(tmp_path: Path) -> Maker:
    return Maker(tmp_path / "bag")


@pytest.fixture
def old(tmp_path: Path) -> Maker:
    return Maker(tmp_path / "old", "0.97")


# ---- what we write


def test_a_bag_of_ours_is_what_the_standard_shows(tmp_path: Path) -> None:
    source = tmp_path / "a.txt"
    source.write_bytes(b"hello\n")
    told: list[tuple[int, int]] = []
    payload = [("notes/a.txt", source), ("b.bin", b"\x00\x01")]
    entries = write_bag(tmp_path / "bag", payload, {"Source": "Quay"}, lambda *pair: told.append(pair))
    # the sums as `sha256sum` prints them for these bytes; section 2.1.1 gives the declaration
    hello = "5891b5b522d5df086d0ff0b110fbd9d21bb4fc7163af34d08286a2e846f6be03"
    zero_one = digest(b"\x00\x01")
    bag = tmp_path / "bag"
    assert (bag / "bagit.txt").read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    assert (bag / "manifest-sha256.txt").read_text() == f"{zero_one}  data/b.bin\n{hello}  data/notes/a.txt\n"
    assert (bag / "bag-info.txt").read_text() == "Source: Quay\nPayload-Oxum: 8.2\n"
    tags = [line.split("  ") for line in (bag / "tagmanifest-sha256.txt").read_text().splitlines()]
    assert [name for _, name in tags] == ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]
    assert all(told == digest((bag / name).read_bytes()) for told, name in tags)
    assert sorted(path.name for path in bag.iterdir()) == sorted(
        ["data", "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"]
    )
    assert [(entry.path, entry.size, entry.sha256) for entry in entries] == [
        ("b.bin", 2, zero_one),
        ("notes/a.txt", 6, hello),
    ]
    assert entries[1].file.read_bytes() == b"hello\n"
    assert told == [(1, 2), (2, 2)]


def test_what_we_write_we_read(tmp_path: Path) -> None:
    payload = [("0042/a.jpg", b"picture"), ("100 %.txt", b"p"), ("two\nlines\r.txt", b""), ("Größe.txt", b"g")]
    info = {"External-Description": "first line\nsecond: line", "Bagging-Date": "2026-01-05", "Empty": ""}
    written = write_bag(tmp_path / "bag", payload, info)
    bag = read_bag(tmp_path / "bag")
    assert (bag.version, bag.entries, bag.notices) == ("1.0", written, ())
    assert bag.info == (*info.items(), ("Payload-Oxum", "9.4"))
    # 2.1.3: LF, CR and percent, and only those, are encoded
    manifest = (tmp_path / "bag" / "manifest-sha256.txt").read_bytes().decode()
    assert "data/100 %25.txt\n" in manifest
    assert "data/two%0Alines%0D.txt\n" in manifest
    assert "data/Größe.txt\n" in manifest


def test_a_bag_may_be_empty(tmp_path: Path) -> None:
    assert write_bag(tmp_path / "bag", [], {}) == ()
    assert read_bag(tmp_path / "bag").entries == ()


def test_an_empty_folder_may_become_the_bag(tmp_path: Path) -> None:
    (tmp_path / "bag").mkdir()
    write_bag(tmp_path / "bag", iter([("a", b"x")]), {})
    assert len(read_bag(tmp_path / "bag").entries) == 1


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("../a", "climbs out"),
        ("a/../../b", "climbs out"),
        ("/etc/passwd", "is absolute"),
        ("~root/a", "home folder"),
        ("~/a", "home folder"),
        ("C:/a", "names a drive"),
        ("a/c:b", "names a drive"),
        ("a\\b", "has a backslash"),
        ("..\\a", "has a backslash"),
        ("\\\\?\\C:\\a", "has a backslash"),
        ("//host/share", "is absolute"),
        ("a//b", "empty or . part"),
        ("a/", "empty or . part"),
        ("./a", "empty or . part"),
        ("", "is empty"),
        ("a\0b", "zero byte"),
        ("a\udcffb", "no text in Unicode"),
    ],
)
def test_a_path_that_could_lead_out_is_refused_and_nothing_is_left(tmp_path: Path, path: str, why: str) -> None:
    # 5.1: no file outside the bag is touched through a path
    assert why in path_fault(path)
    inside = tmp_path / "inside"
    inside.mkdir()
    with pytest.raises(InputError, match="the path .*" + why.replace(".", r"\.")):
        write_bag(inside / "bag", [("good.txt", b"x"), (path, b"x")], {})
    assert list(inside.iterdir()) == []
    assert list(tmp_path.iterdir()) == [inside]


@pytest.mark.parametrize("path", ["a..b/c", "..a", "a~b", "a/~b", "-", "1:a", "ab:c", " a", "a ", "nul\u2028x"])
def test_a_path_that_only_looks_odd_is_sound(path: str) -> None:
    assert path_fault(path) == ""


@pytest.mark.parametrize(
    ("first", "second"),
    [("a.txt", "a.txt"), ("a.txt", "A.TXT"), ("n\u00fa", "nu\u0301"), ("stra\u00dfe", "STRASSE"), ("a", "a/b")],
)
def test_two_paths_that_one_disk_cannot_tell_apart_are_refused(tmp_path: Path, first: str, second: str) -> None:
    # 6.1.1.3: creation of such bags is to be discouraged (case) and prevented (Unicode form)
    for pair in ((first, second), (second, first)):
        with pytest.raises(InputError, match="is taken by another"):
            write_bag(tmp_path / "bag", [(path, b"x") for path in pair], {})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_taken_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "bag").mkdir()
    (tmp_path / "bag" / "mine").write_text("mine")
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    for name in ("bag", "file", "link"):
        with pytest.raises(ConflictError, match="something is there already"):
            write_bag(tmp_path / name, [("a", b"x")], {})
    assert (tmp_path / "bag" / "mine").read_text() == (tmp_path / "file").read_text() == "mine"
    with pytest.raises(InputError, match="there is no folder"):
        write_bag(tmp_path / "no" / "bag", [], {})


def test_a_source_that_cannot_be_read_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match="No such file"):
        write_bag(tmp_path / "bag", [("a", b"x"), ("b", tmp_path / "missing")], {})
    assert list(tmp_path.iterdir()) == []


def test_an_interrupted_payload_leaves_nothing(tmp_path: Path) -> None:
    def payload() -> Iterator[tuple[str, bytes]]:
        yield "a", b"x"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_bag(tmp_path / "bag", payload(), {})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("label", ["", " a", "a ", "a:b", "a\nb", "Payload-Oxum", "payload-oxum"])
def test_a_label_that_bag_info_cannot_hold_is_refused(tmp_path: Path, label: str) -> None:
    with pytest.raises(InputError, match="cannot be a label"):  # 2.2.2
        write_bag(tmp_path / "bag", [], {label: "x"})
    with pytest.raises(InputError, match="no text in Unicode"):
        write_bag(tmp_path / "bag", [], {"a": "\ud800"})


@given(st.text())
def test_any_path_survives_the_manifests_encoding(path: str) -> None:
    encoded = encode_path(path)
    assert decode_path(encoded) == path
    assert "\n" not in encoded
    assert "\r" not in encoded


NAMES = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="/\0"), min_size=1, max_size=20).filter(
    lambda name: len(name.encode()) < 200
)
PATHS = st.lists(NAMES, min_size=1, max_size=3).map("/".join).filter(lambda path: not path_fault(path))


@settings(max_examples=40)
@given(st.dictionaries(PATHS, st.binary(max_size=20), max_size=4), st.dictionaries(st.text("ab-", min_size=1), NAMES))
def test_any_payload_is_read_back_equal(
    tmp_path_factory: pytest.TempPathFactory, payload: dict[str, bytes], info: dict[str, str]
) -> None:
    folder = tmp_path_factory.mktemp("bags") / "bag"
    try:
        write_bag(folder, payload.items(), info)
    except InputError:
        assert list(folder.parent.iterdir()) == []
        return
    bag = read_bag(folder)
    assert {entry.path: entry.file.read_bytes() for entry in bag.entries} == payload


# ---- 2.1.1 the declaration


def test_the_smallest_bag_is_valid(maker: Maker) -> None:  # [basic-bag]
    bag = maker.data("a.txt").manifest(f"{X}  data/a.txt").read()
    (entry,) = bag.entries
    assert (bag.version, entry.path, entry.size, entry.sha256) == ("1.0", "a.txt", 1, X)
    assert entry.file == maker.folder / "data" / "a.txt"
    assert (bag.info, bag.notices) == ((), ())


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])  # 2.3: any of the three line ends
def test_any_line_end_is_read(maker: Maker, end: str) -> None:
    maker.data("a").data("b").tag("bagit.txt", DECLARATION.format("1.0", "UTF-8").replace("\n", end))
    maker.tag("manifest-sha256.txt", f"{X}  data/a{end}{X}  data/b{end}")
    maker.tag("bag-info.txt", f"A: 1{end}B: 2{end} 3{end}")
    assert (maker.paths(), maker.read().info) == (["a", "b"], (("A", "1"), ("B", "2\n3")))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "BagIt-Version: 1.0\n",
        "Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n",
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nMore: 1\n",
        "BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n",  # [bagit-with-invalid-whitespace]
        "BagIt-Version:  1.0\nTag-File-Character-Encoding: UTF-8\n",
        " BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version: 1.0 \nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version: 1.0\n\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version: one\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: \n",
    ],
)
def test_a_declaration_is_two_lines_exactly(maker: Maker, text: str) -> None:
    assert "not the two lines that every bag has" in maker.manifest().tag("bagit.txt", text).fault()


def test_a_declaration_has_no_byte_order_mark(maker: Maker) -> None:  # [bom-in-bagit.txt]
    maker.manifest().tag("bagit.txt", DECLARATION.format("1.0", "UTF-8"), "utf-8-sig")
    assert "bagit.txt: it begins with a byte order mark" in maker.fault()


def test_a_folder_without_a_declaration_is_no_bag(maker: Maker) -> None:  # [missing-bagit.txt]
    (maker.folder / "bagit.txt").unlink()
    assert "there is no bagit.txt" in maker.fault()
    with pytest.raises(InputError, match="no such folder"):
        read_bag(maker.folder / "nowhere")


@pytest.mark.parametrize("version", ["0.93", "0.96", "1.1", "2.0"])
def test_other_versions_are_refused_by_their_number(tmp_path: Path, version: str) -> None:
    assert f"the bag has version {version}" in Maker(tmp_path / "bag", version).manifest().fault()


@pytest.mark.parametrize("encoding", ["UTF-16BE", "UTF-16", "ISO-8859-1", "utf-8"])  # [UTF-16-encoded-tag-files]
def test_tag_files_are_read_in_the_encoding_that_is_told(tmp_path: Path, encoding: str) -> None:
    maker = Maker(tmp_path / "bag", "0.97", encoding).data("Größe").manifest(f"{X}  data/Größe")
    assert (maker.paths(), maker.tag("bag-info.txt", "Ort: Köln\n").read().info) == (["Größe"], (("Ort", "Köln"),))


@pytest.mark.parametrize("encoding", ["rot13", "zip", "EBCDIC-9", "../../x"])
def test_an_unknown_encoding_is_told(maker: Maker, encoding: str) -> None:
    maker.manifest().tag("bagit.txt", DECLARATION.format("1.0", encoding))
    assert f"the encoding {encoding.lower()} is not known" in maker.fault()


def test_bytes_that_are_not_in_the_encoding_are_told(maker: Maker) -> None:
    maker.data("a").manifest(f"{X}  data/a").tag("bag-info.txt", "Ort: Köln\n", "latin-1")
    assert "bag-info.txt: it is not in utf-8, as bagit.txt says" in maker.fault()


def test_tag_files_in_utf_8_have_no_byte_order_mark(maker: Maker) -> None:  # 2.3
    maker.data("a").tag("manifest-sha256.txt", f"{X}  data/a\n", "utf-8-sig")
    assert "must not have here" in maker.fault()


# ---- 2.1.2 the payload


def test_data_must_be_there(maker: Maker) -> None:  # [missing-data-directory]
    (maker.folder / "data").rmdir()
    assert "the folder data/ is missing" in maker.manifest().fault()


def test_a_bag_in_a_bag_is_payload_like_any_other(maker: Maker) -> None:  # [bag-in-a-bag]
    text = DECLARATION.format("1.0", "UTF-8").encode()
    maker.data("inner/bagit.txt", text).data("inner/data/a").data("inner/manifest-sha256.txt", b"nonsense")
    maker.manifest(
        f"{digest(text)}  data/inner/bagit.txt",
        f"{X}  data/inner/data/a",
        f"{digest(b'nonsense')}  data/inner/manifest-sha256.txt",
    )
    assert len(maker.paths()) == 3


# ---- 2.1.3 the payload manifest, 2.4 checksums


@pytest.mark.parametrize("algorithm", ["md5", "sha1", "sha224", "sha256", "sha512"])  # [basic-bag-md5 …]
def test_the_checksums_of_the_registry_are_compared(maker: Maker, algorithm: str) -> None:
    maker.data("a").manifest(f"{digest(b'x', algorithm)}  data/a", algorithm=algorithm)
    assert maker.read().entries[0].sha256 == X
    maker.data("a", b"y")
    assert f"the file is not what manifest-{algorithm}.txt says" in maker.fault()


def test_checksums_may_be_in_any_case_of_letters(maker: Maker) -> None:
    assert maker.data("a").manifest(f"{X.upper()}  data/a").paths() == ["a"]


@pytest.mark.parametrize("blank", [" ", "  ", "\t", " \t \t "])
def test_one_or_more_blanks_stand_between(maker: Maker, blank: str) -> None:
    assert maker.data("a b").manifest(f"{X}{blank}data/a b").paths() == ["a b"]


@pytest.mark.parametrize("line", [f"{X}", f"{X}data/a", f" {X}  data/a", "data/a", f"{X[:-1]}g  data/a", f"{X} \t "])
def test_a_line_that_is_no_checksum_and_path_is_told(maker: Maker, line: str) -> None:
    told = maker.data("a").manifest(line).faults()
    assert "bag, line 1, manifest-sha256.txt: the line is no checksum and path" in told[0]


def test_a_checksum_of_the_wrong_length_is_told(maker: Maker) -> None:
    told = maker.data("a").manifest(f"{X[:-2]}  data/a").faults()
    assert "the checksum has 62 digits, sha256 has 64" in told[0]


def test_a_file_that_was_changed_is_told(maker: Maker) -> None:  # [corrupt-data-file]
    assert "its sha256 differs" in maker.data("a", b"y").manifest(f"{X}  data/a").fault()


def test_a_file_that_is_missing_is_told(maker: Maker) -> None:  # [missing-data-file]
    assert "line 1, manifest-sha256.txt: 'data/a' is not in the bag" in maker.manifest(f"{X}  data/a").fault()


def test_a_file_that_no_manifest_lists_is_told(maker: Maker) -> None:  # [extra-file-in-payload]
    told = maker.data("a").data(".hidden/b").manifest(f"{X}  data/a").fault()
    assert "manifest-sha256.txt: 'data/.hidden/b' is in the bag, but not listed" in told


@pytest.mark.parametrize("second", [X, "0" * 64])
def test_a_file_that_is_listed_twice_is_told(maker: Maker, second: str) -> None:  # [duplicate-entry]
    told = maker.data("a").manifest(f"{X}  data/a", f"{second}  data/a").fault()
    assert "line 2, manifest-sha256.txt: 'data/a' stands here again, after line 1" in told


def test_a_bag_without_a_payload_manifest_is_refused(maker: Maker) -> None:  # [no-manifest]
    assert "no payload manifest can be checked" in maker.data("a").fault()


def test_a_manifest_of_an_unknown_checksum_is_not_enough(maker: Maker) -> None:
    maker.data("a").manifest("abcd  data/a", algorithm="tiger")
    assert "no payload manifest can be checked" in maker.fault()
    maker.manifest(f"{X}  data/a")
    assert maker.notices() == ["checksum_unknown"]


def test_in_1_0_every_manifest_lists_every_file(maker: Maker) -> None:  # section 3
    maker.data("a").data("b").manifest(f"{X}  data/a", f"{X}  data/b")
    maker.manifest(f"{digest(b'x', 'md5')}  data/a", algorithm="md5")
    assert "manifest-md5.txt: 'data/b' is in the bag, but not listed" in maker.fault()


def test_in_0_97_one_of_the_manifests_was_enough(old: Maker) -> None:  # section 3, its note on older versions
    old.data("a").data("b").manifest(f"{X}  data/a")
    old.manifest(f"{digest(b'x', 'md5')}  data/b", algorithm="md5")
    assert (old.read().version, old.paths()) == ("0.97", ["a", "b"])
    old.data("c")
    assert "'data/c' is in the bag, but not listed" in old.fault()


def test_a_manifest_lists_no_folders_and_nothing_outside_data(maker: Maker) -> None:
    maker.data("a/b").manifest(f"{X}  data/a/b", f"{X}  data/a", f"{X}  data/a/", f"{X}  bagit.txt", f"{X}  data")
    told = maker.faults()
    assert "'data/a' is not in the bag" in told[0]
    assert "the path 'data/a/' has an empty or . part" in told[1]
    assert "the path 'bagit.txt' is not under data/" in told[2]
    assert "the path 'data' is not under data/" in told[3]
    assert len(told) == 4


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("a%0Ab", "a\nb"),
        ("a%0ab", "a\nb"),
        ("a%0D%0Ab", "a\r\nb"),
        ("100%25", "100%"),
        ("a%250Ab", "a%0Ab"),
        ("a b\tc", "a b\tc"),
        ("a\u2028b\x0bc", "a\u2028b\x0bc"),
    ],
)
def test_line_ends_and_percent_signs_in_names_are_decoded(maker: Maker, text: str, name: str) -> None:
    bag = maker.data(name).manifest(f"{X}  data/{text}").read()
    assert (bag.entries[0].path, bag.notices) == (name, ())


def test_no_other_character_is_decoded(maker: Maker) -> None:
    # 2.1.3: "those characters (and only those)"; a percent sign should have been %25, so a strict reader refuses
    assert maker.data("a%20b").manifest(f"{X}  data/a%20b").notices() == ["percent_not_encoded"]
    assert maker.paths() == ["a%20b"]


def test_in_0_97_names_stand_as_they_are(old: Maker) -> None:
    assert old.data("a%25b").manifest(f"{X}  data/a%25b").paths() == ["a%25b"]
    assert old.read().notices == ()


# ---- 2.2.1 the tag manifest


def test_a_tag_manifest_proves_the_tag_files(maker: Maker) -> None:
    maker.data("a").manifest(f"{X}  data/a").tag("extra.txt", "more").tag("bag-info.txt", "A: b\n")
    maker.tagmanifest("bagit.txt", "manifest-sha256.txt", "extra.txt")
    assert maker.paths() == ["a"]
    maker.tag("extra.txt", "changed")
    assert "extra.txt': the file is not what tagmanifest-sha256.txt says" in maker.fault()
    (maker.folder / "extra.txt").unlink()
    assert "'extra.txt' is not in the bag" in maker.fault()


def test_a_tag_manifest_must_list_the_payload_manifests(maker: Maker) -> None:
    maker.data("a").manifest(f"{X}  data/a").tagmanifest("bagit.txt")
    assert "tagmanifest-sha256.txt: it must list manifest-sha256.txt" in maker.fault()


def test_a_tag_manifest_lists_no_payload(maker: Maker) -> None:
    maker.data("a").manifest(f"{X}  data/a").tagmanifest("manifest-sha256.txt", "data/a")
    assert "the path 'data/a' is of the payload" in maker.fault()


def test_other_tag_files_are_passed_over(maker: Maker) -> None:  # 2.2.4
    (maker.folder / "notes").mkdir()
    maker.data("a").manifest(f"{X}  data/a").tag("notes/more.xml", "<a").tag("readme", "x")
    assert maker.paths() == ["a"]


# ---- 2.2.2 bag-info.txt


def test_metadata_keep_their_order_repeat_and_go_on_in_indented_lines(maker: Maker) -> None:
    # [duplicate-metadata-entries]
    maker.data("a").manifest(f"{X}  data/a")
    maker.tag("bag-info.txt", "B: 1\nA a: x: y\nB: 2\n  more\n\tand more\nEmpty: \nBare:\n\n")
    expected = (("B", "1"), ("A a", "x: y"), ("B", "2\nmore\nand more"), ("Empty", ""), ("Bare", ""))
    assert maker.read().info == expected


@pytest.mark.parametrize("line", ["no colon", "A : b", " A: b", "A:b", ": b"])
def test_metadata_of_1_0_are_label_colon_blank_value(maker: Maker, line: str) -> None:
    maker.data("a").manifest(f"{X}  data/a").tag("bag-info.txt", f"{line}\n")
    assert "bag, line 1, bag-info.txt: the line is no label, colon, blank and value" in maker.fault()


@pytest.mark.parametrize("line", ["A : b", " A: b", "A:b", "A  :   b  "])
def test_blanks_round_the_colon_belonged_to_nothing_in_0_97(old: Maker, line: str) -> None:
    old.data("a").manifest(f"{X}  data/a").tag("bag-info.txt", f"{line}\n")
    assert old.read().info == (("A", "b"),)


@pytest.mark.parametrize(("oxum", "words"), [("2.1", "says 2.1"), ("1.2", "says 1.2"), ("lots", "says lots")])
def test_payload_oxum_must_fit(maker: Maker, oxum: str, words: str) -> None:  # [invalid-oxum]
    maker.data("a").manifest(f"{X}  data/a").tag("bag-info.txt", f"payload-oxum: {oxum}\n")
    assert words + ", but the payload has 1.1 (bytes.files)" in maker.fault()
    maker.tag("bag-info.txt", "Payload-Oxum: 1.1\nPayload-Oxum: 1.1\n")
    assert "more than once" in maker.fault()


# ---- 2.2.3 fetch.txt


def test_files_to_be_fetched_are_refused(maker: Maker) -> None:  # [local-fetch] is valid there; here by decision not
    maker.data("a").manifest(f"{X}  data/a").tag("fetch.txt", "file:///etc/passwd - data/b\n")
    assert "the bag wants files fetched from elsewhere" in maker.fault()


# ---- 5.1 special directory characters


@pytest.mark.parametrize(
    "path",
    [
        "../../../README.md",  # [out-of-scope-file-paths-using-dot-notation]
        "data/../../secret",
        "data/%2E%2E/secret",
        "/etc/passwd",
        "~/secret",  # [out-of-scope-file-paths-using-tilde]
        "~root/secret",
        "C:\\secret",
        "C:/secret",
        "\\\\?\\C:\\secret",
        "data/..\\..\\secret",
        "data/C:/secret",
        "data/./a",
        "./data/a",
    ],
)
def test_a_path_that_leads_out_is_named_and_not_followed(maker: Maker, path: str) -> None:
    (maker.folder.parent / "secret").write_bytes(b"x")
    told = maker.data("a").manifest(f"{X}  data/a", f"{X}  {path}").fault()
    assert "line 2, manifest-sha256.txt: " in told
    assert repr(path) in told
    maker.manifest(f"{X}  data/a").tagmanifest("manifest-sha256.txt")
    tags = (maker.folder / "tagmanifest-sha256.txt").read_text()
    maker.tag("tagmanifest-sha256.txt", f"{tags}{X}  {path}\n")
    assert repr(path) in maker.fault()


@pytest.mark.parametrize("place", ["data/link", "link.txt", "data/deep/link", "notes"])
@pytest.mark.parametrize("to", ["file", "folder", "nothing"])
def test_a_link_is_refused_wherever_it_leads(maker: Maker, place: str, to: str) -> None:
    outside = maker.folder.parent / "outside"
    outside.mkdir()
    (outside / "file").write_bytes(b"x")
    target = {"file": outside / "file", "folder": outside, "nothing": outside / "nothing"}[to]
    (maker.folder / place).parent.mkdir(exist_ok=True)
    (maker.folder / place).symlink_to(target)
    maker.data("a").manifest(f"{X}  data/a")
    assert f"{place!r}: it is a link, which may lead out of the bag" in maker.fault()


def test_data_itself_must_be_no_link(maker: Maker) -> None:
    (maker.folder / "data").rename(maker.folder.parent / "elsewhere")
    (maker.folder / "data").symlink_to(maker.folder.parent / "elsewhere")
    assert any("it is a link" in told for told in maker.manifest().faults())


def test_the_declaration_itself_must_be_no_link(maker: Maker) -> None:
    (maker.folder / "bagit.txt").rename(maker.folder.parent / "elsewhere")
    (maker.folder / "bagit.txt").symlink_to(maker.folder.parent / "elsewhere")
    assert "it is a link" in maker.manifest().faults()[0]


def test_pipes_and_sockets_are_refused_without_being_opened(maker: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    maker.manifest(f"{X}  data/pipe")
    os.mkfifo(maker.folder / "data" / "pipe")
    monkeypatch.chdir(maker.folder / "data")  # a socket's address is short
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind("socket")
        told = maker.faults()
    assert sum("no file but a device, a pipe or a socket" in fault for fault in told) == 2


def test_names_on_the_disk_that_other_systems_would_follow_are_refused(maker: Maker) -> None:
    maker.data("..\\up").manifest(f"{X}  data/a")
    assert any("the name has a backslash" in told for told in maker.faults())
    (maker.folder / "data" / "..\\up").unlink()
    Path(os.fsdecode(os.fsencode(maker.folder / "data") + b"/\xff")).write_bytes(b"x")
    assert any("the name is no text in Unicode" in told for told in maker.faults())


def test_a_huge_tag_file_is_not_read(maker: Maker) -> None:
    with (maker.folder / "manifest-sha256.txt").open("wb") as sparse:
        sparse.truncate(64 * 2**20 + 1)
    assert "the tag file has more than 64 MiB" in maker.faults()[0]


# ---- 6.1 interoperability


@pytest.mark.parametrize("forms", [("NFC", "NFD"), ("NFD", "NFC")])  # [filename-normalization]
def test_a_name_in_another_unicode_form_is_found_and_told(maker: Maker, forms: tuple[str, str]) -> None:
    on_disk, listed = (unicodedata.normalize(form, "Größe.txt") for form in forms)
    bag = maker.data(on_disk).manifest(f"{X}  data/{listed}").read()
    assert [entry.path for entry in bag.entries] == [on_disk]
    assert [notice.code for notice in bag.notices] == ["unicode_form"]


def test_one_file_listed_in_two_unicode_forms_is_listed_twice(maker: Maker) -> None:  # 2.1.3: exactly once
    forms = [unicodedata.normalize(form, "Größe") for form in ("NFC", "NFD")]
    told = maker.data(forms[0]).manifest(*(f"{X}  data/{form}" for form in forms)).fault()
    assert "differs from a line before only in its Unicode form" in told


@pytest.mark.parametrize("names", [("a", "A"), ("Gr\u00f6sse", "Gro\u0308sse"), ("stra\u00dfe", "strasse")])
def test_names_that_one_disk_cannot_tell_apart_are_told(maker: Maker, names: tuple[str, str]) -> None:
    # [same-filename-listed-twice-with-different-normalization], 6.1.1.3
    for name in names:
        maker.data(name)
    assert maker.manifest(*(f"{X}  data/{name}" for name in names)).notices() == ["names_alike"]


def test_the_asterisk_of_checksum_tools_is_passed_over_and_told(maker: Maker) -> None:  # 6.1.3
    bag = maker.data("a").manifest(f"{X} *data/a").read()
    assert [notice.code for notice in bag.notices] == ["asterisk"]


# ---- all at once


def test_everything_that_is_wrong_is_told_at_once_and_nothing_is_changed(maker: Maker) -> None:
    maker.data("a", b"y").data("extra").tag("fetch.txt", "").tag("bag-info.txt", "Payload-Oxum: 9.9\n")
    maker.manifest(f"{X}  data/a", f"{X}  data/gone", f"{X}  ../out")
    before = sorted((path, path.stat().st_mtime_ns) for path in maker.folder.rglob("*"))
    assert len(maker.faults()) == 6
    assert sorted((path, path.stat().st_mtime_ns) for path in maker.folder.rglob("*")) == before


def test_progress_counts_the_files(tmp_path: Path) -> None:
    write_bag(tmp_path / "bag", [("a", b"x"), ("b", b"y")], {})
    told: list[tuple[int, int]] = []
    read_bag(tmp_path / "bag", lambda *pair: told.append(pair))
    assert told == [(n, 5) for n in range(1, 6)]  # two of the payload, three tag files
