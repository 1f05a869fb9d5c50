"""Reading one frame of a sitting: what it shows, where the sheet lies, its colours through the sitting's correction.

Works on files and plain values only, so that several frames can be read at once; nothing is written.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from archive.colour.camera import Correction
from archive.colour.camera_fit import fit_correction
from archive.colour.camera_local import card_is_plausible
from archive.colour.card_editions import reference_lab, reference_xyz
from archive.colour.difference import delta_e_2000
from archive.colour.palette import find_palette
from archive.colour.spaces import LIGHTEST, WIDEST, xyz_d50_to_srgb, xyz_to_lab
from archive.errors import ColourError, InputError
from archive.imaging.codes import read_codes
from archive.imaging.colour_card import FoundCard, find_cards
from archive.imaging.decode import Picture, open_picture
from archive.imaging.fall_off import FallOff, apply_fall_off
from archive.imaging.frame_check import FrameWarning, check_frame
from archive.imaging.linear import LinearPicture, read_linear
from archive.imaging.plane import size_from_card, square
from archive.imaging.sheet import FoundSheet, find_sheet
from archive.imaging.sheet_look import SheetLook, look_at
from archive.services.pictures import PALETTE_SIDE, ReadPicture, read_picture

LIGHT_SIDE = 1600  # pixels of the long side at which cards are looked for and colours are read
SHEET_SIDE = 384  # pixels of the small picture of the sheet alone
_CLEARLY_BETTER = 0.7  # a frame's own card replaces the sitting's correction below this share of its miss [own choice]

Rgb = NDArray[np.uint8]
Light = NDArray[np.float32]


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


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class FrameRead:
    """All that was read off a frame, before anything is written."""

    read: ReadPicture
    codes: tuple[str, ...]
    sheet: FoundSheet
    mm_per_px: float | None
    size_mm: tuple[float, float] | None
    card: CardSeen | None
    correction: Correction | None  # its own, where that replaces the sitting's
    claim: float | None
    warnings: tuple[FrameWarning, ...]
    look: SheetLook | None = field(repr=False)
    sheet_jpeg: bytes = field(repr=False, default=b"")

    @property
    def gives_colour(self) -> bool:
        """Whether colours can be read off it through a correction."""
        spoilt = {"clipped", "blurred", "too_dark"} & {warning.code for warning in self.warnings}
        return self.claim is not None and not spoilt


def read_frame(path: Path, setup: Setup) -> FrameRead:
    """Return what a frame shows.

    Raises
    ------
    InputError, NotFoundError
        The file cannot be decoded.
    """
    picture = open_picture(path, max_megapixels=setup.max_megapixels, name=path.name)
    full = _eight_bits(picture)
    small = _made_small(full)
    light = read_linear(picture, LIGHT_SIDE)
    even, warnings = _evened(light, setup)
    card = _largest(find_cards(even, light.clipped, leave_out=setup.left_out))
    codes = tuple(code.text for code in read_codes(small))
    beside = [card.corners * light.scale] if card is not None else []
    beside += [np.array(code.corners_px) * (picture.width / small.shape[1]) for code in read_codes(small)]
    sheet = find_sheet(small, exclude=beside, size=(picture.width, picture.height))
    scale, size_mm, more = _scaled(sheet, card, light, picture, setup)
    correction, own, seen, judged = _corrected(card, light, setup)
    warnings += (*more, *judged, *_no_correction(correction))
    warnings += check_frame(small, sheet.corners_px, full=full, mm_per_px=scale, screens_lpi=(setup.lpi,))
    claim = correction.claim if correction is not None else None
    lab, jpeg = _sheet_alone(light, even, sheet, size_mm, correction)
    return FrameRead(
        read=_with_palette(read_picture(path, max_megapixels=setup.max_megapixels), lab, correction),
        codes=codes,
        sheet=sheet,
        mm_per_px=scale,
        size_mm=size_mm,
        card=seen,
        correction=own,
        claim=claim,
        warnings=_told_once(warnings if sheet.sure else (*warnings, _unsure(sheet))),
        look=look_at(lab) if min(lab.shape[:2]) >= 32 else None,
        sheet_jpeg=jpeg,
    )


# --- the picture at the sizes that are looked at


def _eight_bits(picture: Picture) -> Rgb:
    """Return the upright original as (h, w, 3) of 8 bits."""
    pixels = picture.pixels
    eight: Rgb = (pixels >> 8).astype(np.uint8) if pixels.dtype == np.uint16 else np.asarray(pixels, np.uint8)
    if eight.ndim == 2:
        return np.repeat(eight[..., None], 3, axis=2)
    if eight.shape[2] == 4:  # amounts of ink
        return np.asarray(
            (255 - eight[..., :3].astype(np.int16)) * (255 - eight[..., 3:].astype(np.int16)) // 255, np.uint8
        )
    return eight


def _made_small(full: Rgb) -> Rgb:
    import cv2

    scale = LIGHT_SIDE / max(full.shape[:2])
    if scale >= 1:
        return full
    size = round(full.shape[1] * scale), round(full.shape[0] * scale)
    return np.asarray(cv2.resize(full, size, interpolation=cv2.INTER_AREA), np.uint8)


def _evened(light: LinearPicture, setup: Setup) -> tuple[Light, tuple[FrameWarning, ...]]:
    """Return the light with the sitting's fall-off taken out, and what a person should know where it cannot be."""
    if setup.fall_off is None or light.space != "rgb":
        return light.light, ()
    try:
        return apply_fall_off(light.light, setup.fall_off, name=light.name), ()
    except InputError as error:
        return light.light, (FrameWarning("fall_off_not_taken_out", error.what, error.mend),)


# --- the card


def _largest(cards: Sequence[FoundCard]) -> FoundCard | None:
    return cards[0] if cards else None


def _scaled(
    sheet: FoundSheet, card: FoundCard | None, light: LinearPicture, picture: Picture, setup: Setup
) -> tuple[float | None, tuple[float, float] | None, tuple[FrameWarning, ...]]:
    """Return millimetres a pixel, the sheet's size in millimetres, and doubts."""
    if card is not None and card.is_sure:
        try:
            size = size_from_card(sheet.corners_px, card.corners * light.scale, setup.card_mm)
        except InputError as error:
            return None, None, (FrameWarning("card_not_in_plane", error.what, error.mend),)
        return size.mm_per_px, (size.width_mm, size.height_mm), ()
    if setup.mm_per_px is not None and setup.size_px == (picture.width, picture.height):
        sides = _sides(sheet)
        return setup.mm_per_px, (sides[0] * setup.mm_per_px, sides[1] * setup.mm_per_px), ()
    return None, None, ()


def _sides(sheet: FoundSheet) -> tuple[float, float]:
    corners = np.array(sheet.corners_px)
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    return float((lengths[0] + lengths[2]) / 2), float((lengths[1] + lengths[3]) / 2)


def _corrected(
    card: FoundCard | None, light: LinearPicture, setup: Setup
) -> tuple[Correction | None, Correction | None, CardSeen | None, tuple[FrameWarning, ...]]:
    """Return the correction to use, the frame's own where it replaces the sitting's, the card seen, and doubts.

    The sitting's correction holds; a card in the frame checks it and replaces it when clearly better.
    """
    if light.space != "rgb":
        why = "its profile is a table: a camera's correction cannot be laid on it"
        return None, None, _seen(card, light, None, None), (FrameWarning("no_camera_values", why, "Shoot it as JPEG."),)
    if card is None:
        return setup.correction, None, None, ()
    if not card.is_sure:
        what = f"a colour card is seen, but not which way it lies: {card.refusal}"
        mend = "Show all of the card, or give its four corners by hand."
        return setup.correction, None, _seen(card, light, None, None), (FrameWarning("card_unsure", what, mend),)
    missed = _miss(setup.correction, card, setup.edition) if setup.correction is not None else None
    own = _own_fit(card, light, setup)
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


# --- the sheet alone


def corrected_xyz(light: Light, to_xyz: NDArray[np.float64], correction: Correction | None) -> Light:
    """Return XYZ under D50 of evened linear light, (…, 3): through the correction, else as the profile has it."""
    if correction is None:
        return np.asarray(light @ to_xyz.astype(np.float32), np.float32)
    return np.asarray(correction.to_xyz(light), np.float32)


def _sheet_alone(
    light: LinearPicture,
    even: Light,
    sheet: FoundSheet,
    size_mm: tuple[float, float] | None,
    correction: Correction | None,
) -> tuple[Light, bytes]:
    """Return the squared sheet as Lab, small, and the same as a JPEG to look at."""
    sides = size_mm or _sides(sheet)
    per_mm = SHEET_SIDE / max(sides)
    corners = light.from_original(sheet.corners_px)
    cut = square(even, corners, sides[0], sides[1], px_per_mm=per_mm)
    xyz = np.clip(corrected_xyz(cut, light.to_xyz, correction), 0.0, 2.0)
    lab = np.clip(xyz_to_lab(xyz), (0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST)).astype(np.float32)
    encoded = xyz_d50_to_srgb(xyz)
    out = io.BytesIO()
    Image.fromarray(np.rint(encoded * 255).astype(np.uint8)).save(out, "JPEG", quality=92, subsampling=0)
    return lab, out.getvalue()


def _with_palette(read: ReadPicture, lab: Light, correction: Correction | None) -> ReadPicture:
    """Return the picture with the palette of the sheet alone, read through the correction where there is one."""
    import cv2

    scale = PALETTE_SIDE / max(lab.shape[:2])
    size = max(round(lab.shape[1] * scale), 1), max(round(lab.shape[0] * scale), 1)
    small = cv2.resize(lab, size, interpolation=cv2.INTER_AREA) if scale < 1 else lab
    path = f"{read.colour_path}, then the sitting's correction" if correction is not None else read.colour_path
    return replace(read, palette=find_palette(np.asarray(small, np.float32)), colour_path=path)


# --- what a person should know


def _no_correction(correction: Correction | None) -> tuple[FrameWarning, ...]:
    if correction is not None:
        return ()
    what = "no correction: its colours are seen, not measured"
    return (FrameWarning("no_correction", what, "Open a sitting with a white sheet and a colour card."),)


def _unsure(sheet: FoundSheet) -> FrameWarning:
    return FrameWarning(
        "sheet_unsure", f"the sheet's edges are not sure: {sheet.why}", "Leave a plain border round it."
    )


def _told_once(warnings: Sequence[FrameWarning]) -> tuple[FrameWarning, ...]:
    return tuple({warning.code: warning for warning in reversed(warnings)}.values())[::-1]
