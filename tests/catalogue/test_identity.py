"""Uids against RFC 9562, and folded words."""

from __future__ import annotations

import time
import unicodedata
import uuid

from hypothesis import example, given
from hypothesis import strategies as st

from archive.catalogue.identity import fold, new_uid, sort_key


def test_a_uid_is_a_version_7_of_the_standard_variant() -> None:
    # RFC 9562, section 5.7: version 0b0111 in octet 6, variant 0b10 in octet 8; Python's uuid reads both apart
    for _ in range(200):
        text = new_uid()
        parsed = uuid.UUID(text)
        assert str(parsed) == text
        assert parsed.version == 7
        assert parsed.variant == uuid.RFC_4122
        assert text[14] == "7"
        assert text[19] in "89ab"


def test_a_uid_begins_with_the_milliseconds_since_1970() -> None:
    before = time.time_ns() // 1_000_000
    milliseconds = uuid.UUID(new_uid()).int >> 80  # RFC 9562, section 5.7: unix_ts_ms, the first 48 bits
    assert before <= milliseconds <= time.time_ns() // 1_000_000


def test_uids_of_later_moments_sort_later() -> None:
    first = new_uid()
    time.sleep(0.003)
    assert first < new_uid()


def test_uids_do_not_repeat() -> None:
    assert len({new_uid() for _ in range(5000)}) == 5000


def test_the_sample_of_the_standard_has_the_layout_that_is_used_here() -> None:
    # RFC 9562, appendix A.6, from memory of the document: 017F22E2-79B0-7CC3-98C4-DC0C0C07398F
    sample = uuid.UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
    assert sample.version == 7
    assert sample.int >> 80 == 0x017F22E279B0
    assert time.gmtime((sample.int >> 80) / 1000)[:6] == (2022, 2, 22, 19, 22, 22)


def test_words_are_found_without_accents_and_case() -> None:
    assert fold("Été") == fold("ete") == "ete"
    assert fold("  Nine   TIDES ") == "nine tides"
    assert fold("Straße") == fold("STRASSE")
    assert fold("E\N{COMBINING ACUTE ACCENT}te") == "ete"
    assert fold("ﬁlm") == "film"


@given(st.text())
@example("ŉ")
@example("ͅ")
def test_folding_twice_changes_nothing_more(text: str) -> None:
    assert fold(fold(text)) == fold(text)


@given(st.text())
def test_folding_does_not_tell_composed_from_decomposed(text: str) -> None:
    assert fold(unicodedata.normalize("NFC", text)) == fold(unicodedata.normalize("NFD", text))


def test_drawer_5_sorts_before_drawer_12() -> None:
    assert sorted(["drawer 12", "Drawer 5"], key=sort_key) == ["Drawer 5", "drawer 12"]
