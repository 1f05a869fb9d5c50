"""The wheel holds all that an archive needs: it is built, installed in a bare environment, and used."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from archive import __version__

ROOT = Path(__file__).resolve().parent.parent
FOLDERS = ("migrations", "demo_archive")  # they lie beside the package in a clone and inside it in the wheel


def run(*command: str | Path, cwd: Path) -> str:
    """Return what a command prints; its environment knows nothing of this clone."""
    hidden = {"PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "INKCHEST_ARCHIVE"}
    environment = {name: value for name, value in os.environ.items() if name not in hidden}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{command}: {done.stdout}{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the built wheel."""
    out = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out, cwd=ROOT)
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def bare(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the scripts folder of an environment with the wheel in it and this clone out of reach.

    The libraries come from the environment that runs the tests, so no network is needed: a folder named in a
    .pth file is searched, but the .pth files inside it, where an editable install hides, are not read.
    """
    folder = tmp_path_factory.mktemp("bare")
    venv.create(folder, with_pip=False, symlinks=os.name != "nt")
    names = sysconfig.get_path_names()
    assert "purelib" in names
    base = {"base": str(folder), "platbase": str(folder)}
    libraries = Path(sysconfig.get_path("purelib", "venv", vars=base))
    (libraries / "libraries.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    scripts = Path(sysconfig.get_path("scripts", "venv", vars=base))
    python = scripts / Path(sys.executable).name
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-index", "--no-deps"]
    run(*pip, "--disable-pip-version-check", "--ignore-installed", wheel, cwd=folder)
    return scripts


def shipped(folder: str) -> set[str]:
    """Return the code files of a folder of the clone, as the wheel should name them."""
    here = ROOT / folder
    return {f"archive/_shipped/{folder}/{path.relative_to(here).as_posix()}" for path in here.rglob("*.py")}


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_wheel_ships_migrations_and_demo_inside_the_package(wheel: Path, folder: str) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    assert shipped(folder)
    assert shipped(folder) <= names


def test_the_wheel_holds_the_whole_package_and_nothing_else(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names}
    assert tops == {"archive", f"inkchest-{__version__}.dist-info"}
    package = {path.relative_to(ROOT).as_posix() for path in (ROOT / "archive").rglob("*.py")}
    assert package <= set(names)
    assert "archive/py.typed" in names
    assert [name for name in names if name.endswith((".pyc", ".sqlite3"))] == []


def test_the_installed_package_is_the_wheel_and_not_this_clone(bare: Path, tmp_path: Path) -> None:
    python = bare / Path(sys.executable).name
    where = run(python, "-c", "import archive; print(archive.__file__)", cwd=tmp_path)
    assert bare.parent in Path(where.strip()).parents


def test_the_installed_command_starts_an_archive_and_keeps_an_ink(bare: Path, tmp_path: Path) -> None:
    inkchest = bare / "inkchest"
    chest = tmp_path / "chest"
    assert __version__ in run(inkchest, "--version", cwd=tmp_path)
    run(inkchest, "start", chest, cwd=tmp_path)
    run(inkchest, "--archive", chest, "ink", "add", "Kilnsong", cwd=tmp_path)
    listed = json.loads(run(inkchest, "--archive", chest, "ink", "list", "--json", cwd=tmp_path))
    assert [ink["name"] for ink in listed] == ["Kilnsong"]


def test_the_installed_migrations_run_down_and_up_again(bare: Path, tmp_path: Path) -> None:
    python = bare / Path(sys.executable).name
    chest = tmp_path / "chest"
    run(bare / "inkchest", "start", chest, cwd=tmp_path)
    code = (
        "import sys; from archive.catalogue.database import make_engine; from archive.catalogue.revision import *;"
        "engine = make_engine('sqlite:///' + sys.argv[1]); upgrade(engine, 'base'); print(stored_revision(engine));"
        "upgrade(engine); print(stored_revision(engine) == REVISION)"
    )
    assert run(python, "-c", code, chest / "archive.sqlite3", cwd=tmp_path).split() == ["None", "True"]
    run(bare / "inkchest", "--archive", chest, "ink", "add", "Kilnsong", cwd=tmp_path)


def test_the_installed_demo_is_printed_and_answers(bare: Path, tmp_path: Path) -> None:
    inkchest = bare / "inkchest"
    evening = tmp_path / "evening"
    run(inkchest, "demo", evening, "--first-evening", cwd=tmp_path)
    answer = json.loads(run(inkchest, "--archive", evening, "match", "colour", "dusty green", "--json", cwd=tmp_path))
    assert answer["matches"][0]["evidence"] == "seen"
