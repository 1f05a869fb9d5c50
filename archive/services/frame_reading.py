"""Reading one frame of a sitting: what it shows, where the sheet lies, its colours through the sitting's correction.

Works on files and plain values only, so that several frames can be read at once; nothing is written.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from archive.colour.camera import Correction
from archive.colour.palette import Palette, find_palette
from archive.colour.spaces import LIGHTEST, WIDEST, xyz_d50_to_srgb, xyz_to_lab
from archive.errors import InputError
from archive.imaging.bare_paper import BarePaper, field_on_paper, find_bare_paper
from archive.imaging.codes import read_codes
from archive.imaging.colour_card import FoundCard, find_cards
from archive.imaging.decode import REDUCED_SIDE, Picture, Reduced, open_picture, resize_light
from archive.imaging.fall_off import FallOff, apply_fall_off
from archive.imaging.frame_check import FrameWarning, check_frame
from archive.imaging.frame_pixels import LARGE, FramePixels, read_frame_pixels
from archive.imaging.linear import LinearPicture
from archive.imaging.plane import size_from_card, square
from archive.imaging.sheet import FoundSheet, find_sheet
from archive.imaging.sheet_look import SheetLook, look_at
from archive.imaging.tone_map import suspect_local_tone_map
from archive.services.frame_card import CardSeen, Setup, corrected_by_card
from archive.services.pictures import PALETTE_SIDE, ReadPicture, describe_picture

LIGHT_SIDE = 1600  # pixels of the long side at which cards are looked for and colours are read
SHEET_SIDE = 384  # pixels of the small picture of the sheet alone
_LIGHTER_BY = 18.0  # L* by which paper may differ for each unit of a tone map's strength: 36 for each unit of log light
# on paper (from the cube root of CIE 1976), surroundings differ by about half a unit [own choice]
_ONE_LARGE = Lock()
Light = NDArray[np.float32]


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
    fall_off: FallOff | None  # its own paper's, where it has another shape than the white shot
    is_sitting_lit: bool  # whether the sitting's fall-off is the one to take out, its own or none otherwise
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
    is_large = picture.width * picture.height > LARGE
    # A large scan takes a gigabyte while it is decoded: one at a time.
    with _ONE_LARGE if is_large else nullcontext(), ThreadPoolExecutor(1) as beside:
        # The second thread is for what nothing else waits for.
        return _read(path, picture, read_frame_pixels(picture, LIGHT_SIDE), setup, beside)


def _read(path: Path, picture: Picture, pixels: FramePixels, setup: Setup, beside: Executor) -> FrameRead:
    described = beside.submit(_described, path, picture, pixels.light)
    small, light = pixels.small, pixels.light
    even, unlike = _evened(light, setup)
    card = _card(even, light, setup)
    codes = read_codes(small)
    known = [card.corners * light.scale] if card is not None else []
    known += [np.array(code.corners_px) * (picture.width / small.shape[1]) for code in codes]
    sheet = find_sheet(small, exclude=known, size=(picture.width, picture.height))
    corners = light.from_original(sheet.corners_px)
    paper = find_bare_paper(even, corners, is_even=setup.fall_off is not None and unlike is None)
    own_fall_off: FallOff | None = None
    warnings: tuple[FrameWarning, ...] = ()
    if unlike is not None:
        own_fall_off, warnings = _fall_off_of(paper, unlike)
        if own_fall_off is not None:
            even = apply_fall_off(even, own_fall_off)
            card, paper = _card(even, light, setup), find_bare_paper(even, corners, is_even=True)
    scale, size_mm, more = _scaled(sheet, card, light, picture, setup)
    checked = beside.submit(
        check_frame, small, sheet.corners_px, full=pixels.fine, mm_per_px=scale, screens_lpi=(setup.lpi,)
    )
    correction, own, seen, judged = corrected_by_card(card, light, picture.kind, setup)
    lab, jpeg = _sheet_alone(light, even, sheet, size_mm, correction)
    palette = _palette(lab)
    claim, mapped = _claimed(correction, paper)
    warnings = (*warnings, *_noted(picture), *more, *judged, *mapped, *_no_correction(setup), *checked.result())
    return FrameRead(
        read=_with_colours(described.result(), palette, correction),
        codes=tuple(code.text for code in codes),
        sheet=sheet,
        mm_per_px=scale,
        size_mm=size_mm,
        card=seen,
        correction=own,
        fall_off=own_fall_off,
        is_sitting_lit=unlike is None,
        claim=claim,
        warnings=_told_once(warnings if sheet.sure else (*warnings, _unsure(sheet))),
        look=look_at(lab) if min(lab.shape[:2]) >= 32 else None,
        sheet_jpeg=jpeg,
    )


# --- its light


def _evened(light: LinearPicture, setup: Setup) -> tuple[Light, InputError | None]:
    """Return the light with the sitting's fall-off taken out, or as it is and why that cannot be."""
    if setup.fall_off is None or light.space != "rgb":
        return light.light, None
    try:
        return apply_fall_off(light.light, setup.fall_off, name=light.name), None
    except InputError as error:
        return light.light, error


def _fall_off_of(paper: BarePaper, unlike: InputError) -> tuple[FallOff | None, tuple[FrameWarning, ...]]:
    """Return the fall-off that the paper shows, for a frame that is unlike the white shot; else a warning."""
    try:
        return field_on_paper(paper), ()
    except InputError as error:
        what = f"{unlike.what}; {error.what}"
        return None, (FrameWarning("fall_off_not_taken_out", what, unlike.mend),)


def _claimed(correction: Correction | None, paper: BarePaper) -> tuple[float | None, tuple[FrameWarning, ...]]:
    """Return how far off colours may be, and what a local tone map does to that: wider, or no colour at all."""
    if correction is None:
        return None, ()
    found = suspect_local_tone_map(paper.light, paper.where)
    if found.verdict not in ("doubtful", "strong"):
        return correction.claim, ()
    what = "the camera seems to have brightened dark parts by themselves"
    mend = "Switch off HDR and scene optimisers in the camera, or use another camera app, and shoot again."
    if found.verdict == "strong":
        return None, (FrameWarning("local_tone_map", f"{what}: no colour is read from it", mend),)
    claim = float(np.hypot(correction.claim, found.strength * _LIGHTER_BY))
    return claim, (FrameWarning("local_tone_map", f"{what}: its colours are claimed to {claim:.1f} only", mend),)


# --- the card


def _card(even: Light, light: LinearPicture, setup: Setup) -> FoundCard | None:
    """Return the largest colour card of the frame."""
    cards = find_cards(even, light.clipped, leave_out=setup.left_out)
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


def _described(path: Path, picture: Picture, light: LinearPicture) -> ReadPicture:
    """Return what is kept of any picture, still without a palette."""
    reduced = Reduced(resize_light(light.xyz(), REDUCED_SIDE))
    return describe_picture(path, picture, reduced, Palette(None, 0.0, False, ()))


def _palette(lab: Light) -> Palette:
    """Return the palette of the sheet alone."""
    import cv2

    scale = PALETTE_SIDE / max(lab.shape[:2])
    size = max(round(lab.shape[1] * scale), 1), max(round(lab.shape[0] * scale), 1)
    small = cv2.resize(lab, size, interpolation=cv2.INTER_AREA) if scale < 1 else lab
    return find_palette(np.asarray(small, np.float32))


def _with_colours(read: ReadPicture, palette: Palette, correction: Correction | None) -> ReadPicture:
    way = read.colour_path
    return replace(
        read,
        palette=palette,
        colour_path=f"{way}, then the sitting's correction" if correction is not None else way,
    )


# --- what a person should know


def _no_correction(setup: Setup) -> tuple[FrameWarning, ...]:
    if setup.correction is not None:
        return ()
    what = "no correction: its colours are seen, not measured"
    return (FrameWarning("no_correction", what, "Open a sitting with a white sheet and a colour card."),)


def _noted(picture: Picture) -> tuple[FrameWarning, ...]:
    """Return what the file itself gave cause to note, such as a profile that cannot be right."""
    mend = "Copy the file from the camera itself, as it was taken."
    return tuple(FrameWarning(notice.code, str(replace(notice, where="")), mend) for notice in picture.notices)


def _unsure(sheet: FoundSheet) -> FrameWarning:
    return FrameWarning(
        "sheet_unsure", f"the sheet's edges are not sure: {sheet.why}", "Leave a plain border round it."
    )


def _told_once(warnings: Sequence[FrameWarning]) -> tuple[FrameWarning, ...]:
    return tuple({warning.code: warning for warning in reversed(warnings)}.values())[::-1]
