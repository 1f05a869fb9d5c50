"""Samples that are no colours at all are far from a card's, and nothing is said on the command line about them."""

from __future__ import annotations

import numpy as np
import pytest

from archive.imaging.card_turns import COVERS, LIKE_A_CARD, quick_residuals


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 0.0])
def test_what_is_no_number_or_black_is_far_from_a_card_without_a_warning(value: float) -> None:
    # warnings are errors in the test run
    samples = np.full((len(COVERS), 24, 3), value)
    assert (quick_residuals(samples, COVERS) > 2 * LIKE_A_CARD).all()


def test_a_grid_of_which_nothing_is_seen_divides_by_nothing() -> None:
    assert np.isfinite(quick_residuals(np.full((2, 24, 3), 0.5), np.zeros((2, 24)))).all()
