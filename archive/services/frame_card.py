"""The colour card in a frame: it checks the sitting's correction, and replaces it where its own is clearly better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.colour.camera import Correction
from archive.colour.camera_fit import fit_correction
from archive.colour.camera_local import card_is_plausible
from archive.colour.card_editions import reference_lab, reference_xyz
from archive.colour.difference import delta_e_2000
from archive.colour.spaces import LIGHTEST, WIDEST
from archive.errors import ColourError
from archive.imaging.colour_card import FoundCard
from archive.imaging.containers import Kind
from archive.imaging.fall_off import FallOff
from archive.imaging.frame_check import FrameWarning
from archive.imaging.linear import LinearPicture

_NO_CAMERA: dict[Kind, str] = {
    "grey": "it is grey: there is no colour in it to read",
    "cmyk": "it holds amounts of ink, which are no camera's values",
}
_CLEARLY_BETTER = 0.7  # a frame's own card replaces the sitting's correction below this share of its miss [own choice]


@dataclass(frozen=True, slots=True)
class Setup:
    """What a sitting knows before its frames: the field of light, the correction, the card.

    `mm_per_px` is the card shot's, for frames of the same size that show no card; `is_strip` tells that a strip of the
    workshop's own is the colour card.
    """

    fall_off: FallOff | None
    correction: Correction | None
    edition: str
    card_mm: tuple[float, float]
    mm_per_px: float | None = None
    size_px: tuple[int, int] | None = None
    lpi: float = 71.0
    max_megapixels: float = 300.0
    left_out: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class CardSeen:
    """The colour card as a frame shows it; `residual` is the miss of the correction that is used, CIEDE2000."""

    found: bool
    by_hand: bool
    turn: int | None
    corners_px: tuple[tuple[float, float], ...]
    residual: dict[str, float] | None
    claim: float | None

    def as_json(self) -> dict[str, Any]:
        """Return it as the command line gives it."""
        return {
            "found": self.found,
            "by_hand": self.by_hand,
            "turn": self.turn,
            "corners_px": [list(point) for point in self.corners_px],
            "residual": self.residual,
            "claim": self.claim,
        }


def corrected_by_card(
    card: FoundCard | None, light: LinearPicture, kind: Kind, setup: Setup
) -> tuple[Correction | None, Correction | None, CardSeen | None, tuple[FrameWarning, ...]]:
    """Return the correction to use, the frame's own where it replaces the sitting's, the card seen, and doubts.

    The sitting's correction holds; a card in the frame checks it. Where it misses the card by more than it claims, the
    card's own correction is fitted, and replaces it when clearly better.
    """
    if light.space != "rgb" or kind != "rgb":
        why = _NO_CAMERA.get(kind, "its profile is a table: a camera's correction cannot be laid on it")
        mend = "Take it as the camera's own JPEG, HEIC or TIFF."
        return None, None, _seen(card, light, None, None), (FrameWarning("no_camera_values", why, mend),)
    if card is None:
        return setup.correction, None, None, ()
    if not card.is_sure:
        what = f"a colour card is seen, but not which way it lies: {card.refusal}; it checks nothing"
        mend = "Show all of the card, flat and in even light."
        return setup.correction, None, _seen(card, light, None, None), (FrameWarning("card_unsure", what, mend),)
    missed = _miss(setup.correction, card, setup.edition) if setup.correction is not None else None
    holds = setup.correction is not None and missed is not None and missed["mean"] <= setup.correction.claim
    own = None if holds else _own_fit(card, light, setup)
    if own is not None and (missed is None or own.claim < _CLEARLY_BETTER * missed["mean"]):
        residual = {"mean": own.residual.mean, "worst": own.residual.worst}
        return own, own, _seen(card, light, residual, own.claim), ()
    if setup.correction is None:
        return None, None, _seen(card, light, None, None), ()
    warnings: tuple[FrameWarning, ...] = ()
    if missed is not None and missed["mean"] > 1.5 * setup.correction.claim:
        what = f"the sitting's correction misses this frame's card by {missed['mean']:.1f} on average"
        warnings = (FrameWarning("correction_off", what, "Has the light changed? Open a new sitting."),)
    return setup.correction, None, _seen(card, light, missed, setup.correction.claim), warnings


def _miss(correction: Correction, card: FoundCard, edition: str) -> dict[str, float]:
    kept = card.usable
    lab = np.clip(correction.apply(card.light[kept]), (0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))
    off = delta_e_2000(lab, reference_lab(edition)[kept])
    return {"mean": float(off.mean()), "worst": float(off.max())}


def _own_fit(card: FoundCard, light: LinearPicture, setup: Setup) -> Correction | None:
    try:
        correction = fit_card(card, light, setup.edition, setup.left_out)
    except ColourError:
        return None
    return correction if card_is_plausible(correction) and correction.is_better else None


def fit_card(card: FoundCard, light: LinearPicture, edition: str, left_out: Sequence[int] = ()) -> Correction:
    """Return the correction that a card gives.

    Raises
    ------
    ColourError
        Too few of its patches can be used, or its greys do not fall from white to black.
    """
    out = sorted({*left_out, *np.flatnonzero(~card.usable).tolist()})
    rgb = np.nan_to_num(card.light)
    return fit_correction(rgb, reference_xyz(edition), left_out=out, profile_xyz=rgb @ light.to_xyz)


def _seen(
    card: FoundCard | None, light: LinearPicture, residual: dict[str, float] | None, claim: float | None
) -> CardSeen | None:
    if card is None:
        return None
    corners = tuple((float(x), float(y)) for x, y in card.corners * light.scale)
    return CardSeen(card.is_sure, card.by_hand, card.turn, corners, residual, claim)
