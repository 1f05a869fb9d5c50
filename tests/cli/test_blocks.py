"""Colours are shown as large blocks where a terminal can, and as text everywhere else."""

from __future__ import annotations

import re

import pytest

from archive.cli.blocks import beside, painted
from tests.cli.shop import Shop

BLOCK = re.compile(r"\x1b\[48;2;\d+;\d+;\d+m {8}\x1b\[0m")
WHITE, BLUE = (100.0, 0.0, 0.0), (40.0, 2.0, -41.0)


def test_a_match_touches_the_wanted_colour_over_three_lines(shop: Shop) -> None:
    text = shop.do("match", "colour", "lab:52.3,-18.4,12.2", "--limit", "1", FORCE_COLOR="1")
    lines = text.splitlines()
    wanted = BLOCK.match(lines[0])
    assert wanted is not None
    assert [BLOCK.match(line) is not None for line in lines[:3]] == [True, True, True]
    first = next(number for number, line in enumerate(lines) if line.startswith(" 1. "))
    for line in lines[first : first + 3]:
        left, right = BLOCK.findall(line)
        assert left == wanted[0]
        assert left + right in line
    assert "Dockrope 100 %, then Ferrywake 60 %, on Oatleaf 120" in lines[first]
    assert BLOCK.search(lines[first + 3]) is None


def test_text_below_the_blocks_stays_in_its_column(shop: Shop) -> None:
    text = shop.do("match", "colour", "lab:52.3,-18.4,12.2", "--limit", "1", FORCE_COLOR="1")
    bare = re.sub(r"\x1b\[[0-9;]*m", "", text).splitlines()
    first = next(number for number, line in enumerate(bare) if line.startswith(" 1. "))
    column = bare[first].index("Dockrope")
    part = bare[first : bare.index("", first)]
    assert len(part) > 4
    assert all(line[column] != " " and line[4:column].strip() == "" for line in part)


@pytest.mark.parametrize("environment", [{}, {"NO_COLOR": "1"}, {"NO_COLOR": "1", "FORCE_COLOR": "1"}])
def test_without_colour_a_match_names_it_in_text(environment: dict[str, str], shop: Shop) -> None:
    text = shop.do("match", "colour", "lab:52.3,-18.4,12.2", "--limit", "1", **environment)
    assert "\x1b" not in text
    assert len(re.findall(r"#[0-9a-f]{6}, ", text)) == 2


def test_json_holds_no_blocks(shop: Shop) -> None:
    assert "\x1b" not in shop.do("match", "colour", "#2a5ea8", "--json", FORCE_COLOR="1")


def test_a_palette_is_as_wide_as_its_shares(shop: Shop) -> None:
    text = shop.do("match", "picture", str(shop.folder.parent / "tides.jpg"), FORCE_COLOR="1")
    strips = [line for line in text.splitlines() if line.count("\x1b[48") > 1]
    assert len(strips) == 3
    assert len(set(strips)) == 1
    widths = [len(part) for part in re.findall(r"m( +)\x1b", strips[0])]
    assert widths[:-1] == sorted(widths[:-1], reverse=True)  # the paper stands last


def test_lines_are_wrapped_beside_the_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    lines = beside([WHITE, BLUE], ["one pass, " * 12], lead=" 1. ")
    bare = [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in lines]
    assert len(bare) > 3
    assert max(len(line) for line in bare) < 60
    assert all(line[:4] == "    " for line in bare[1:])


def test_a_terminal_of_256_colours_gets_the_nearest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    for name in ("COLORTERM", "FORCE_COLOR", "NO_COLOR", "WT_SESSION"):
        monkeypatch.delenv(name, raising=False)
    # xterm's colour cube: 16 + 36 r + 6 g + b, levels 0 95 135 175 215 255
    assert painted("#ffffff", 1) == "\x1b[48;5;231m \x1b[0m"
    assert painted("#5f87af", 1) == f"\x1b[48;5;{16 + 36 * 1 + 6 * 2 + 3}m \x1b[0m"
    assert painted("#0000fe", 1) == "\x1b[48;5;21m \x1b[0m"


def test_an_ink_shows_its_looks(shop: Shop) -> None:
    assert "\x1b[48;2;42;94;168m" in shop.do("ink", "show", "Ferrywake", FORCE_COLOR="1")  # #2a5ea8
    assert "looks: #2a5ea8" in shop.do("ink", "show", "Ferrywake")
