"""Imports point down, nothing imports in a circle, and small commands load no large library."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# What each part may import of ours besides itself. archive/__init__.py gives only the version and lazy names.
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "colour": {"errors"},
    "imaging": {"errors", "colour"},
    "exchange": {"errors"},
    "planning": {"errors"},
    "catalogue": {"errors"},
    "output": {"errors", "colour"},
    "services": {"errors", "colour", "imaging", "exchange", "planning", "catalogue", "output"},
    "cli": {"errors", "catalogue", "services", "output"},
    "web": {"errors", "catalogue", "services", "output"},
}
# Libraries that only these parts may import.
ONLY_IN = {
    "sqlalchemy": {"catalogue", "services", "cli", "web"},
    "alembic": {"catalogue"},
    "psycopg": {"catalogue"},
    "click": {"cli"},
    "rich": {"cli"},
    "flask": {"web"},
    "waitress": {"web", "cli"},
    "typst": {"output"},
    "segno": {"output"},
    "zxingcpp": {"imaging"},
}


def modules(folder: str) -> dict[str, str]:
    """Return the text of every module below a folder of the repository, by dotted name."""
    found = {}
    for path in sorted((ROOT / folder).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_text(encoding="utf-8")
    return found


def imports_of(text: str, *, for_types: bool = True) -> Iterator[str]:
    """Yield every dotted name a module imports, also inside functions; `a.b` for `from a import b`."""
    tree = ast.parse(text)
    skipped = set() if for_types else {id(node) for node in only_for_types(tree)}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = "." * node.level + (node.module or "")
            yield from (f"{source}.{alias.name}" for alias in node.names)


def only_for_types(tree: ast.AST) -> Iterator[ast.AST]:
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            for statement in node.body:
                yield from ast.walk(statement)


def faults(module: str, text: str) -> list[str]:
    """Return what a module of `archive` imports against the rules."""
    part = module.partition(".")[2].partition(".")[0]
    allowed = MAY_IMPORT.get(part, set(MAY_IMPORT)) | {part}
    wrong = []
    for name in imports_of(text):
        first, *rest = name.split(".")
        if rest[-1:] == ["*"]:
            wrong.append(f"{module} imports * from {name[:-2]}")
        if name.startswith("."):
            wrong.append(f"{module} imports {name}: write it from the top, archive.…")
        if first in ("tests", "demo_archive", "migrations"):
            wrong.append(f"{module} imports {name}")
        if first == "archive" and rest and rest[0] in MAY_IMPORT and rest[0] not in allowed:
            wrong.append(f"{module} imports {name}")
        if first in ONLY_IN and part not in ONLY_IN[first]:
            wrong.append(f"{module} imports {name}")
    return wrong


def test_every_part_of_the_package_has_its_rule() -> None:
    parts = {
        path.stem for path in (ROOT / "archive").iterdir() if path.suffix == ".py" or (path / "__init__.py").is_file()
    }
    assert parts - {"__init__"} <= set(MAY_IMPORT)


def test_imports_point_down() -> None:
    found = modules("archive")
    assert len(found) > 20
    assert [fault for module, text in found.items() for fault in faults(module, text)] == []


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("archive.colour.spaces", "from archive.catalogue import base"),
        ("archive.colour.spaces", "import sqlalchemy"),
        ("archive.planning.passes", "def plan():\n    from archive.services import house"),
        ("archive.exchange.cgats", "from ..colour import spaces"),
        ("archive.catalogue.files", "from archive.services.works import get_work"),
        ("archive.cli.match", "import archive.web.app"),
        ("archive.web.app", "from archive.cli import main"),
        ("archive.services.works", "import click"),
        ("archive.services.works", "from archive.errors import *"),
        ("archive.services.demo", "from demo_archive import build"),
        ("archive.errors", "from archive.colour import spaces"),
        ("archive.output.typeset", "from archive.services import works"),
        ("archive.output.job_slip", "from archive.imaging import job_slip"),
        ("archive.imaging.job_slip", "from archive.output import job_slip"),
        ("archive.cli.run", "import typst"),
    ],
)
def test_the_rules_catch_what_they_forbid(module: str, text: str) -> None:
    assert faults(module, text) != []


def test_no_module_imports_itself_through_others() -> None:
    texts = modules("archive") | modules("demo_archive")
    graph = {}
    for module, text in texts.items():
        named = imports_of(text, for_types=False)
        known = {name if name in texts else name.rpartition(".")[0] for name in named}
        graph[module] = (known & set(texts)) - {module}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(f"import cycle: {' -> '.join(reversed(error.args[1]))}")


def test_the_press_simulator_shares_no_code_with_the_archive() -> None:
    # The demo is printed by the simulator and judged by the archive: shared code would judge itself.
    may = {"demo_archive.build", "demo_archive.__main__"}
    texts = {module: text for module, text in modules("demo_archive").items() if module not in may}
    assert texts
    named = [(module, name) for module, text in texts.items() for name in imports_of(text)]
    assert [pair for pair in named if pair[1].split(".")[0] == "archive"] == []


def test_a_migration_imports_nothing_of_ours() -> None:
    texts = modules("migrations/versions")
    assert texts
    named = [(module, name) for module, text in texts.items() for name in imports_of(text)]
    assert [pair for pair in named if pair[1].split(".")[0] in ("archive", "demo_archive")] == []


# --- what is loaded when ----------------------------------------------------------------------------------

# Prints the modules that a piece of code loaded, and the files it opened that are no code.
REPORT = """
import json, sys
opened = []
before = set(sys.modules)
def hook(event, args):
    if event == "open" and not str(args[0]).endswith((".py", ".pyc")) and "__pycache__" not in str(args[0]):
        opened.append(str(args[0]))
{watch}
{code}
print("\\n" + json.dumps([sorted(set(sys.modules) - before), opened]), file=sys.stderr)
"""
COMMAND = """
import contextlib, io
from archive.cli import main
with contextlib.redirect_stdout(io.StringIO()):
    try:
        main({arguments!r}, standalone_mode=False)
    except SystemExit:
        pass
"""
HEAVY = {"numpy", "scipy", "colour", "cv2", "PIL", "pi_heif", "edtf", "typst", "segno", "zxingcpp"}


def loaded_by(code: str, *, watch: str = "") -> tuple[set[str], list[str]]:
    environment = {name: value for name, value in os.environ.items() if name != "INKCHEST_ARCHIVE"}
    done = subprocess.run(
        [sys.executable, "-c", REPORT.format(code=code, watch=watch)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env=environment,
    )
    assert done.returncode == 0, done.stderr
    names, opened = json.loads(done.stderr.strip().splitlines()[-1])
    return {name.split(".")[0] for name in names} | {name for name in names if name.startswith("archive.")}, opened


def test_importing_the_package_does_no_work() -> None:
    names, opened = loaded_by("import archive", watch="sys.addaudithook(hook)")
    assert {name for name in names if name.startswith("archive.")} == set()
    assert names & (HEAVY | {"sqlalchemy", "alembic", "click"}) == set()
    assert opened == []


@pytest.mark.parametrize("option", ["--version", "--help"])
def test_version_and_help_load_no_database(option: str) -> None:
    names, _ = loaded_by(COMMAND.format(arguments=[option]))
    assert "archive.cli.root" in names
    assert names & (HEAVY | {"sqlalchemy", "alembic"}) == set()


def test_small_commands_load_no_large_library(tmp_path: Path) -> None:
    chest = str(tmp_path / "chest")
    names, _ = loaded_by(COMMAND.format(arguments=["start", chest]))
    assert names & HEAVY == set()
    for arguments in (["ink", "add", "Kilnsong"], ["ink", "list", "--json"]):
        names, _ = loaded_by(COMMAND.format(arguments=["--archive", chest, *arguments]))
        assert "archive.services" in names
        # An archive of the present revision needs no migration, so alembic stays away too.
        assert names & (HEAVY | {"alembic"}) == set()


# Runs commands one after the other and prints, for each, which large libraries came with it.
ONE_BY_ONE = """
import contextlib, io, json, sys
from archive.cli import main
came = {{}}
for arguments in {commands!r}:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        try:
            code = main(arguments, standalone_mode=False)
        except SystemExit as stop:
            code = stop.code
    loaded = sorted(name for name in {heavy!r} if name in sys.modules)
    came[" ".join(arguments)] = [code or 0, loaded]
print(json.dumps(came))
"""
HOUSE = ("ink", "machine", "drum", "filling", "paper", "person", "place")
PRINTS = ("work", "variant", "copy", "appearance", "run", "file", "picture")
LIGHT = [
    ["paper", "add", "Oatleaf 120", "--gsm", "120"],
    ["paper", "edit", "Oatleaf 120", "--sheets-left", "800"],
    ["paper", "show", "Oatleaf 120"],
    ["machine", "add", "Upstairs"],
    ["drum", "add", "7", "--ink", "Kilnsong", "--machine", "Upstairs", "--position", "1"],
    ["place", "add", "Storeroom / drawer 5"],
    *([noun, "list"] for noun in (*HOUSE, *PRINTS)),
    ["claim", "add", "ink", "Kilnsong", "--field", "batch", "--value", "KI-1"],
    ["claim", "list", "ink", "Kilnsong"],
    ["profile", "list"],
    ["profile", "set", "house_paper", "Oatleaf 120"],
    ["history"],
    ["history", "ink", "Kilnsong"],
    ["undo"],
    ["machine", "add", "Landing"],
    ["machine", "remove", "Landing"],
    ["bin", "list"],
    ["bin", "empty", "--yes"],
    ["check"],
    ["find", "tides"],
    ["recipe", "list"],
    ["swatch", "list"],
    ["picture", "loose"],
    [],
]


def test_lists_records_and_history_load_no_large_library(tmp_path: Path) -> None:
    chest = str(tmp_path / "chest")
    loaded_by(COMMAND.format(arguments=["start", chest]))  # by itself: it makes the tables, with alembic
    commands = [["--archive", chest, *each] for each in [["ink", "add", "Kilnsong"], *LIGHT]]
    code = ONE_BY_ONE.format(commands=commands, heavy=sorted(HEAVY | {"alembic"}))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    came = json.loads(done.stdout)
    assert len(came) == len(commands)
    assert {command: found for command, found in came.items() if found != [0, []]} == {}


@pytest.mark.parametrize("noun", ["match", "readings", "swatch", "recipe", "find", "backup"])
def test_help_of_a_command_needs_no_database_open(noun: str) -> None:
    names, _ = loaded_by(COMMAND.format(arguments=[noun, "--help"]))
    assert names & {"scipy", "colour", "cv2", "pi_heif", "edtf", "alembic", "archive.catalogue.database"} == set()
