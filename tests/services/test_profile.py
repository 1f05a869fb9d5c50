"""The workshop's profile: start values, and what it takes for one."""

from __future__ import annotations

from typing import Any

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import InputError, NotFoundError
from archive.services.profile import list_profile, read_profile, set_profile
from tests.acts import act
from tests.services.keeping import enter, newest, undo


def put(catalogue: Catalogue, key: str, text: str) -> Any:
    with catalogue.write(act(f"set {key}")) as session:
        return set_profile(session, key, text).value


def test_a_fresh_archive_has_the_start_values(catalogue: Catalogue) -> None:
    with catalogue.read() as session:
        profile = read_profile(session)
        # the verdicts of the trade, common practice: same up to 3, close up to 6, related up to 12
        assert [profile[f"verdict_{word}"] for word in ("same", "close", "related")] == [3, 6, 12]
        assert all(item.value == item.start and item.meaning for item in list_profile(session))


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("backup_days", "3", 3),
        ("drift_same_pass_mm", "0.4", 0.4),
        ("paper_white", "91.5, -0.4, 4", [91.5, -0.4, 4]),
        ("conditions", "m0, M1", ["M0", "M1"]),
        ("screen", "am", "AM"),
        ("workshop_name", "Quay Attic Printroom", "Quay Attic Printroom"),
    ],
)
def test_a_setting_is_kept_and_can_be_undone(catalogue: Catalogue, key: str, text: str, value: Any) -> None:
    assert put(catalogue, key, text) == value
    with catalogue.read() as session:
        assert read_profile(session)[key] == value
    undo(catalogue)
    with catalogue.read() as session:
        (item,) = (each for each in list_profile(session) if each.key == key)
        assert item.value == item.start


def test_a_setting_that_is_changed_keeps_what_it_was(catalogue: Catalogue) -> None:
    put(catalogue, "backup_days", "3")
    put(catalogue, "backup_days", "14")
    (change,) = newest(catalogue).edits
    assert (change.old, change.new) == (3, 14)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("backup_days", "often"),
        ("backup_days", "-1"),
        ("backup_days", "nan"),
        ("backup_days", "1e9"),
        ("paper_white", "92, 0"),
        ("paper_white", "92, 0, red"),
        ("conditions", "M1, M7"),
        ("conditions", "M1, M1"),
        ("screen", "dots"),
        ("workshop_name", "a\x00b"),
    ],
)
def test_what_is_no_value_is_refused(catalogue: Catalogue, key: str, text: str) -> None:
    with pytest.raises(InputError):
        put(catalogue, key, text)
    with catalogue.read() as session:
        assert all(item.value == item.start for item in list_profile(session))


def test_a_setting_that_is_none_is_told(catalogue: Catalogue) -> None:
    with pytest.raises(NotFoundError, match="no setting colour"):
        put(catalogue, "colour", "1")


def test_settings_are_heeded(catalogue: Catalogue) -> None:
    put(catalogue, "ref_prefix", "QA-")
    assert enter(catalogue, None).record.label == "QA-0001"
