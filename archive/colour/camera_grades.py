"""What a card shot is good for, in one word, and behind it each criterion that was measured.

Published imaging guidelines grade whole systems from targets that a shop does not own. One 24-patch card measures
some of their criteria and no more, so each is shown beside its published limits and no level or star is given.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.camera import GREY_ROW, PATCHES, Correction
from archive.colour.spaces import Floats, check_lab
from archive.errors import ColourError

Use = Literal["good for recipes", "good for looks", "shoot again"]

RECIPES = 3.0  # dE00, the most a claim may be where colours become evidence [own choice, start value]
LOOKS = 6.0  # dE00, the same for pictures to look at [own choice, start value]
WORST = 8.0  # dE00, the most one patch may be off for recipes, twice that for looks [own choice, start value]

ISO, FADGI, METAMORFOZE = "ISO 19264-1:2021", "FADGI 2023, bound general collections", "Metamorfoze 2.0 draft"
# Limits as a public comparison table of the three gives them, an edition's strictest first.
LIMITS: dict[str, dict[str, str]] = {
    "tone response": {ISO: "≤ 2, ≤ 3, ≤ 4", FADGI: "< 1.5, < 3, < 4.5, < 6", METAMORFOZE: "≤ 2, ≤ 2, ≤ 4"},
    "gain in the highlights": {
        ISO: "0.8–1.1, 0.7–1.2, 0.6–1.3",
        FADGI: "0.8–1.1, 0.7–1.2, 0.6–1.3, 0.5–1.4",
        METAMORFOZE: "0.8–1.1",
    },
    "white balance": {ISO: "≤ 3, ≤ 4, ≤ 5", FADGI: "< 2, < 4, < 6, < 8", METAMORFOZE: "≤ 3, ≤ 3, ≤ 5"},
    "colour, mean": {ISO: "≤ 4, ≤ 5, ≤ 5", FADGI: "< 2, < 3.5, < 5, < 6.5", METAMORFOZE: "≤ 3, ≤ 4"},
    "colour, worst": {ISO: "≤ 10, ≤ 15, ≤ 15", METAMORFOZE: "≤ 7, ≤ 14"},
    "colour, 90 %": {FADGI: "< 4, < 7, < 10, < 13"},
    "resolution": {FADGI: "≥ 396, ≥ 294, ≥ 242.5, ≥ 190", METAMORFOZE: "300"},
    "bit depth": {FADGI: "8 or 16, 8 or 16, 8, 8", METAMORFOZE: "16, 8, 8"},
}
SOURCE = "a public comparison table of the three guidelines; its formula for colour differences is not stated"
NEVER_MEASURED = (  # criteria of these guidelines that no 24-patch card shows
    "noise",
    "sampling efficiency",
    "sharpening",
    "evenness of the light",
    "colour misregistration",
    "distortion of shape",
)


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion: what was measured, by which formula, and each edition's published limits, strictest first."""

    name: str
    measured: float
    unit: str
    formula: str
    limits: Mapping[str, str] = field(default_factory=dict)
    source: str = SOURCE


@dataclass(frozen=True, slots=True)
class CardVerdict:
    """What a sitting's colours are good for; the criteria measured, and the names of those that were not."""

    good_for: Use
    why: str
    criteria: tuple[Criterion, ...]
    not_measured: tuple[str, ...]


def judge_card(
    correction: Correction,
    card_lab: ArrayLike,
    reference_lab: ArrayLike,
    *,
    pixels_per_inch: float | None = None,
    bits: int | None = None,
) -> CardVerdict:
    """Return what a card shot is good for and each criterion it measures.

    Parameters
    ----------
    correction : Correction
        Colour criteria are taken from its patches left out one by one: those it was fitted to flatter it.
    card_lab, reference_lab : (24, 3) array_like
        Lab of the corrected patches, and of the card's edition, under D50.
    pixels_per_inch, bits : optional
        Of the picture, where they are known.

    Returns
    -------
    CardVerdict

    Raises
    ------
    ColourError
        The cards are not 24 colours.
    """
    card, reference = check_lab(card_lab), check_lab(reference_lab)
    if card.shape != (PATCHES, 3) or reference.shape != (PATCHES, 3):
        raise ColourError("a card has {count} patches", count=PATCHES, mend="Give all of them, in the card's order.")
    criteria = [*_grey_criteria(card, reference, correction.left_out), *_colour_criteria(correction)]
    if pixels_per_inch is not None:
        criteria.append(Criterion("resolution", pixels_per_inch, "pixels an inch", "from the card's known size"))
    if bits is not None:
        criteria.append(Criterion("bit depth", float(bits), "bits a channel", "of the file"))
    criteria = [_with_limits(criterion) for criterion in criteria]
    names = {criterion.name for criterion in criteria}
    missing = (*(name for name in LIMITS if name not in names), *NEVER_MEASURED)
    use, why = _use(correction)
    return CardVerdict(use, why, tuple(criteria), missing)


def _with_limits(plain: Criterion) -> Criterion:
    return Criterion(plain.name, plain.measured, plain.unit, plain.formula, LIMITS[plain.name])


def _grey_criteria(card: Floats, reference: Floats, left_out: tuple[int, ...]) -> list[Criterion]:
    """Return what the grey row measures; nothing when fewer than two of its patches can be used."""
    greys = [place for place in GREY_ROW if place not in left_out]
    if len(greys) < 2:
        return []
    step = card[greys] - reference[greys]
    light, darker = greys[0], greys[1]
    gain = (card[light, 0] - card[darker, 0]) / (reference[light, 0] - reference[darker, 0])
    return [
        Criterion("tone response", float(np.abs(step[:, 0]).max()), "ΔL*", "greatest |ΔL*| of the grey row"),
        Criterion("gain in the highlights", float(gain), "", "ΔL* over ΔL*, between the two lightest greys"),
        Criterion(
            "white balance", float(np.hypot(step[:, 1], step[:, 2]).max()), "ΔE*ab", "greatest hypot(Δa*, Δb*) of greys"
        ),
    ]


def _colour_criteria(correction: Correction) -> list[Criterion]:
    values = np.array([value for value in correction.leave_one_out.by_patch if value is not None])
    formula = "CIEDE2000 (ISO/CIE 11664-6, kL = kC = kH = 1), each patch predicted from the others"
    return [
        Criterion("colour, mean", float(values.mean()), "ΔE00", formula),
        Criterion("colour, worst", float(values.max()), "ΔE00", formula),
        Criterion("colour, 90 %", float(np.quantile(values, 0.9)), "ΔE00", formula),
    ]


def _use(correction: Correction) -> tuple[Use, str]:
    """Return the one verdict and its reason in words."""
    claim, worst = correction.claim, correction.leave_one_out.worst
    if not correction.is_better:
        return "shoot again", "the correction would make the card worse than the picture's own profile"
    if correction.local.found == "strong":
        return "shoot again", "the camera brightens dark places by themselves, which no correction undoes"
    if claim > LOOKS or worst > 2 * WORST:
        return "shoot again", f"colours would be off by about {claim:.1f} ΔE00, the worst card patch by {worst:.1f}"
    if correction.local.found != "none":
        return "good for looks", "the camera seems to brighten dark places by themselves"
    if claim > RECIPES or worst > WORST:
        return "good for looks", f"colours are off by about {claim:.1f} ΔE00, the worst card patch by {worst:.1f}"
    return "good for recipes", f"on average, colours are off by {claim:.1f} ΔE00 or less"
