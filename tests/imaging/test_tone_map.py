"""Local tone maps that the renderer puts on, and pictures without one."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.imaging.linear import read_linear
from archive.imaging.tone_map import ToneMapSuspicion, suspect_local_tone_map
from tests.studio import lens

SIZE = (600, 800)
TABLES = (0.05, 0.2, 0.35, 0.6)  # reflectance, beside paper of 0.75


def suspicion(seed: int, table: float, local: float) -> ToneMapSuspicion:
    """Return what is told of a sheet with a few prints on a table, photographed with a tone map of some strength."""
    rng = np.random.default_rng(seed)
    light = np.full((*SIZE, 3), table, np.float32)
    light[60:540, 90:710] = 0.75
    bare = np.zeros(SIZE, bool)
    bare[70:530, 100:700] = True
    for y, x in rng.integers([80, 110], [400, 550], (3, 2)):
        light[y : y + 90, x : x + 110] = rng.uniform(0.05, 0.5, 3)
        bare[y - 10 : y + 100, x - 10 : x + 120] = False
    shot = lens.Shot(
        exposure=float(rng.uniform(0.7, 1.1)),
        loss=float(rng.uniform(0, 0.3)),
        lean=float(rng.uniform(0, 0.15)),
        defocus_px=0.8,
        tone=float(rng.uniform(0, 0.6)),
        local=local,
    )
    picture = read_linear(shot.jpeg(light, rng))
    return suspect_local_tone_map(picture.light, bare)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_phones_local_tone_map_is_detected(seed: int, table: float) -> None:
    found = suspicion(seed, table, 0.35)
    assert found.verdict == "strong"
    # Its reach is not known, which makes it look weaker than it is.
    assert 0.15 < found.strength < 0.45


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lamps_lens_and_tone_curve_raise_no_alarm(seed: int, table: float) -> None:
    assert suspicion(seed, table, 0.0).verdict == "none"


def test_a_weak_one_is_doubtful() -> None:
    assert suspicion(1, 0.2, 0.12).verdict == "doubtful"


def test_stray_light_is_no_tone_map() -> None:
    light = np.full((*SIZE, 3), 0.1, np.float32)
    light[60:540, 90:710] = 0.6
    bare = np.zeros(SIZE, bool)
    bare[70:530, 100:700] = True
    stray = light + 0.06 * lens.defocus(light, 25)
    assert suspect_local_tone_map(stray, bare).verdict == "none"


@pytest.mark.parametrize("case", ["all white", "too small"])
def test_without_surroundings_or_surface_nothing_is_judged(case: str) -> None:
    light: NDArray[np.float32] = np.full((*SIZE, 3), 0.7, np.float32)
    bare = np.ones(SIZE, bool)
    if case == "too small":
        bare[:] = False
        bare[:20, :20] = True
    assert suspect_local_tone_map(light, bare).verdict == "not judged"
