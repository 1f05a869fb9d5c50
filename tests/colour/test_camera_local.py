"""Local tone mapping and uneven light, as a card shows them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from archive.colour.camera_fit import fit_correction
from archive.colour.camera_local import card_doubts, card_is_plausible
from tests.studio import camera as studio

XYZ = studio.true_xyz(studio.card_reflectance())


@pytest.mark.parametrize("seed", [1, 2])
def test_plain_shots_are_not_suspected(seed: int) -> None:
    for shot in studio.shots(seed=seed):
        found = fit_correction(studio.card_rgb(shot), XYZ)
        assert found.local.found == "none"
        assert card_is_plausible(found)


def test_strong_local_tone_mapping_is_found_and_refused() -> None:
    shots = [replace(shot, local=0.25) for shot in studio.shots(seed=3)]
    found = [fit_correction(studio.card_rgb(shot), XYZ) for shot in shots]
    suspected = [f for f in found if f.local.found == "strong"]
    assert len(suspected) >= 0.9 * len(found)
    assert not any(card_is_plausible(f) for f in suspected)
    assert np.mean([f.local.strength for f in found]) == pytest.approx(0.25, abs=0.05)


def test_the_claim_is_widened_where_a_print_lies_in_other_surroundings() -> None:
    prints = studio.prints()[::4]
    for shot in studio.shots(studio.GOOD_LAMPS, seed=7):
        mapped = replace(shot, local=0.2)
        found = fit_correction(studio.card_rgb(mapped), XYZ)
        for around in (0.3, 0.6):
            rgb = studio.device_rgb(prints, mapped, np.full(len(prints), around), pixels=64)
            whole = ((rgb > 1e-3) & (rgb < 0.95)).all(axis=1)
            miss = studio.difference(found.apply(rgb[whole]), studio.true_lab(prints[whole])).mean()
            assert found.claim > 0.8 * miss
        assert found.claim > 1.5 * found.leave_one_out.mean


def test_light_that_falls_across_the_card_is_told() -> None:
    ramp = np.tile(np.linspace(1.0, 0.75, 6), 4)[:, None]
    doubts = card_doubts(fit_correction(studio.card_rgb(studio.Shot("D65")) * ramp, XYZ))
    assert "light_falls_across_card" in {doubt.code for doubt in doubts}
    assert all(str(doubt) for doubt in doubts)


def test_a_large_residual_and_a_better_profile_are_told() -> None:
    rgb = studio.card_rgb(studio.Shot())
    rgb[5], rgb[14] = rgb[14].copy(), rgb[5].copy()
    wrong = fit_correction(rgb, XYZ, profile_xyz=XYZ)
    codes = [doubt.code for doubt in card_doubts(wrong)]
    assert codes[0] == "card_residual_large"
    assert "correction_makes_it_worse" in codes
    assert not card_is_plausible(wrong)


def test_half_a_card_accuses_nobody() -> None:
    shot = studio.Shot("D65", local=0.2)
    found = fit_correction(studio.card_rgb(shot), XYZ, left_out=tuple(range(12)))
    assert found.local.found == "none"
