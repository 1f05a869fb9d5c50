"""One verdict, and the criteria behind it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from archive.colour.camera import LocalTone, Residual
from archive.colour.camera_fit import fit_correction
from archive.colour.camera_grades import CardVerdict, judge_card
from archive.errors import ColourError
from tests.studio import camera as studio

CARD = studio.card_reflectance()
XYZ, LAB = studio.true_xyz(CARD), studio.true_lab(CARD)
RGB = studio.card_rgb(studio.Shot("D65"))
GOOD = fit_correction(RGB, XYZ)


def value(verdict: CardVerdict, name: str) -> float:
    return next(criterion.measured for criterion in verdict.criteria if criterion.name == name)


def test_a_good_shot_is_good_for_recipes_and_a_worse_one_for_looks() -> None:
    assert judge_card(GOOD, LAB, LAB).good_for == "good for recipes"
    assert judge_card(replace(GOOD, claim=4.0), LAB, LAB).good_for == "good for looks"
    assert judge_card(replace(GOOD, claim=7.0), LAB, LAB).good_for == "shoot again"


def test_local_tone_mapping_and_a_better_profile_decide_before_the_claim() -> None:
    doubtful, strong = (replace(GOOD, local=LocalTone(0.1, 4.0, 0.0, word)) for word in ("doubtful", "strong"))
    assert judge_card(doubtful, LAB, LAB).good_for == "good for looks"
    assert judge_card(strong, LAB, LAB).good_for == "shoot again"
    worse = replace(GOOD, profile_alone=Residual(0.1, 0.2, (0.1,) * 24))
    assert judge_card(worse, LAB, LAB).good_for == "shoot again"


def test_criteria_measure_what_they_say() -> None:
    card = LAB.copy()
    card[20, 0] += 1.7  # a grey too light
    card[21, 1:] += [3.0, 4.0]  # a grey with a cast of 5
    card[18, 0] = LAB[19, 0] + 0.9 * (LAB[18, 0] - LAB[19, 0])
    verdict = judge_card(GOOD, card, LAB, pixels_per_inch=242.0, bits=8)
    assert value(verdict, "tone response") == pytest.approx(max(1.7, 0.1 * (LAB[18, 0] - LAB[19, 0])))
    assert value(verdict, "white balance") == pytest.approx(5.0)
    assert value(verdict, "gain in the highlights") == pytest.approx(0.9)
    left_out = np.array(GOOD.leave_one_out.by_patch, dtype=float)
    assert value(verdict, "colour, mean") == pytest.approx(left_out.mean())
    assert value(verdict, "colour, worst") == pytest.approx(left_out.max())
    assert value(verdict, "resolution") == 242.0


def test_every_criterion_has_formula_limits_and_source_and_no_grade_is_given() -> None:
    verdict = judge_card(GOOD, LAB, LAB)
    for criterion in verdict.criteria:
        assert criterion.formula
        assert criterion.limits
        assert criterion.source
    words = str(verdict).casefold()
    assert not any(word in words for word in ("star", "level", "grade", "pass"))
    assert {"resolution", "bit depth", "noise"} <= set(verdict.not_measured)
    assert not {criterion.name for criterion in verdict.criteria} & set(verdict.not_measured)


def test_limits_are_the_published_ones() -> None:
    # A public comparison table of ISO 19264-1:2021, FADGI 2023 and Metamorfoze 2.0 draft, some of its figures.
    limits = {criterion.name: criterion.limits for criterion in judge_card(GOOD, LAB, LAB).criteria}
    assert limits["colour, mean"]["ISO 19264-1:2021"].startswith("≤ 4")
    assert limits["colour, mean"]["FADGI 2023, bound general collections"] == "< 2, < 3.5, < 5, < 6.5"
    assert limits["colour, worst"]["Metamorfoze 2.0 draft"] == "≤ 7, ≤ 14"
    assert limits["white balance"]["ISO 19264-1:2021"] == "≤ 3, ≤ 4, ≤ 5"


def test_covered_greys_are_not_measured_and_a_wrong_shape_is_told() -> None:
    covered = fit_correction(RGB, XYZ, left_out=(18, 19, 20, 21, 22))
    assert "tone response" in judge_card(covered, LAB, LAB).not_measured
    with pytest.raises(ColourError):
        judge_card(GOOD, LAB[:4], LAB)
