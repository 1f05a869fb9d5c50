"""The public names are listed once, exist, and cost nothing until they are used."""

from __future__ import annotations

import subprocess
import sys

import pytest

import archive


def test_every_listed_name_is_there_and_no_other_is_promised() -> None:
    assert set(archive.__all__) == set(archive._PUBLIC)
    assert len(archive.__all__) == len(set(archive.__all__))
    for name in archive.__all__:
        assert getattr(archive, name).__name__ == name


def test_every_public_name_has_a_docstring() -> None:
    assert [name for name in archive.__all__ if not getattr(archive, name).__doc__] == []


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        archive.nothing  # noqa: B018 - asking is the test


def test_importing_the_package_loads_none_of_its_modules() -> None:
    code = "import sys, archive; print([n for n in sys.modules if n.startswith('archive.')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
