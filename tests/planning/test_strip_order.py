"""Readings in another order than the strip's are found out, whatever the order, and good ones are let be."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.planning.strip_designs import design_tints
from archive.planning.strip_layout import StripDrum, StripHead, strip_layout
from archive.planning.strip_order import judge_order
from demo_archive.press import Conditions
from tests.studio.strips import true_patches

NOISE = 0.5  # Lab units, of an instrument and a mottled print
CASES = [
    ("eleven", ("Ferrywake", "Dockrope")),
    ("eleven", ("Kilnsong", "Ferrywake")),
    ("eleven", ("Gullbone", "Sootwell")),
    ("sixteen", ("Nettlecoat", "Kilnsong")),
    ("row", ("Sootwell",)),
    ("lightest", ("Dockrope", "Kilnsong")),
    ("closing", ("Kilnsong",)),
    ("twenty-seven", ("Ferrywake", "Dockrope", "Kilnsong")),
]
Floats = NDArray[np.float64]


def strip(design: str, inks: tuple[str, ...], uid: int = 0) -> tuple[Floats, Floats, int]:
    """Return the tints of a strip in its order, what the press prints of them, and the patches in a row."""
    name = f"0192c3a4-5b6c-7d8e-9f00-{uid:012x}"
    drums = [StripDrum(ink, number // 2 + 1, number % 2 + 1) for number, ink in enumerate(inks)]
    layout = strip_layout(StripHead(name, name, design, {}), design_tints(design, len(inks)), drums)
    tints = [patch["tints"] for patch in layout["patches"]]
    printed = true_patches(
        tints, [(drum.ink, drum.print_pass) for drum in drums], "Oatleaf 120", Conditions(screen="FM")
    )
    noise = np.random.default_rng(uid).normal(0, NOISE, printed.shape)
    return np.array(tints), printed + noise, len({patch["x"] for patch in layout["patches"]})


@pytest.mark.parametrize(("design", "inks"), CASES)
@pytest.mark.parametrize("uid", range(3))
def test_readings_in_the_strips_own_order_fit(design: str, inks: tuple[str, ...], uid: int) -> None:
    tints, lab, columns = strip(design, inks, uid)
    assert judge_order(tints, lab, columns).fits


@pytest.mark.parametrize(("design", "inks"), CASES)
@pytest.mark.parametrize(
    ("given", "says"),
    [
        (lambda lab, columns: lab[::-1], "from the last patch to the first"),
        (lambda lab, columns: np.roll(lab, 1, axis=0), "one patch late"),
        (lambda lab, columns: np.roll(lab, -1, axis=0), "one patch early"),
        (
            lambda lab, columns: lab[sorted(range(len(lab)), key=lambda at: (at % columns, at // columns))],
            "column by column",
        ),
    ],
    ids=["backwards", "late", "early", "columns"],
)
def test_another_order_is_found_out_and_named(design: str, inks: tuple[str, ...], given: Any, says: str) -> None:
    tints, lab, columns = strip(design, inks)
    found = judge_order(tints, given(lab, columns), columns)
    assert not found.fits
    assert found.words == says
    assert found.order is not None
    assert np.abs(given(lab, columns)[list(found.order)] - lab).max() < 1e-9


def test_two_patches_exchanged_are_named() -> None:
    tints, lab, columns = strip("eleven", ("Kilnsong", "Ferrywake"))
    patches = [tuple(row) for row in tints.tolist()]
    first, second = sorted((patches.index((0.0, 0.0)), patches.index((100.0, 0.0))))
    order = list(range(len(lab)))
    order[first], order[second] = second, first
    found = judge_order(tints, lab[order], columns)
    assert found.words == f"with patches {first + 1} and {second + 1} exchanged"


def test_readings_of_something_else_fit_in_no_order() -> None:
    tints, _, columns = strip("eleven", ("Kilnsong", "Ferrywake"))
    other = np.random.default_rng(3).uniform((10, -50, -50), (95, 50, 50), (len(tints), 3))
    found = judge_order(tints, other, columns)
    assert (found.fits, found.words) == (False, "")
