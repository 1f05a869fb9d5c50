"""The light of an archive picture as its sitting corrected it: of a window at full size, or of the whole squared sheet.

The original stays untouched; crop and correction are numbers beside it and are laid on when they are asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.models import Appearance, Frame, Picture, Sitting
from archive.colour.camera import Correction
from archive.colour.spaces import xyz_d50_to_srgb
from archive.errors import InputError
from archive.imaging.decode import open_picture
from archive.imaging.fall_off import FallOff, apply_fall_off
from archive.imaging.gutter import find_gutter, gutter_mask
from archive.imaging.linear import read_linear
from archive.imaging.patches import LightPicture, lost_in_file
from archive.imaging.plane import homography, moved, square
from archive.services.frame_reading import LIGHT_SIDE, corrected_xyz

Light = NDArray[np.float32]
_SHEET_PX_PER_MM = 4.0  # of a squared sheet in which flat areas are looked for: ten cells are fourteen pixels


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class CorrectedPicture:
    """What a sitting keeps of a picture's light: the field, the correction, how far off it may be, the sheet."""

    fall_off: FallOff | None
    correction: Correction
    claim: float
    corners: tuple[tuple[float, float], ...]
    mm_per_px: float | None
    size_mm: tuple[float, float] | None
    is_spread: bool


def corrected(session: Session, picture: Picture) -> CorrectedPicture | None:
    """Return what the sitting that took a picture says of its colours; None when none corrected it."""
    row = session.execute(
        select(Frame, Sitting)
        .join(Sitting, Sitting.id == Frame.sitting_id)
        .where(Frame.picture_id == picture.id, Frame.status == "taken", Frame.binned_at.is_(None))
        .order_by(Frame.id)
    ).first()
    if row is None:
        return None
    frame, sitting = row
    plain = frame.correction or sitting.correction
    if plain is None or frame.claim is None:
        return None
    fall_off = plain.get("fall_off", sitting.fall_off)  # its own paper's, or none, for one unlike the white shot
    appearance = session.get(Appearance, picture.appearance_id) if picture.appearance_id else None
    size = (frame.width_mm, frame.height_mm) if frame.width_mm and frame.height_mm else None
    return CorrectedPicture(
        fall_off=FallOff.from_plain(fall_off) if fall_off else None,
        correction=Correction.from_plain(plain),
        claim=frame.claim,
        corners=tuple((float(x), float(y)) for x, y in frame.corners or ()),
        mm_per_px=frame.mm_per_px,
        size_mm=size,
        is_spread=appearance is not None and appearance.role == "spread",
    )


def read_window(
    files: Files, picture: Picture, facts: CorrectedPicture, box: tuple[float, float, float, float], mm_per_px: float
) -> tuple[LightPicture, tuple[int, int]]:
    """Return a corrected part of the upright original at full size, and the pixel where it begins.

    Parameters
    ----------
    box : left, top, right, bottom in pixels of the upright original

    Raises
    ------
    InputError
        The box leaves the picture, or the file's colours are a table's.
    NotFoundError
        The original is gone.
    """
    left, top = max(int(np.floor(box[0])), 0), max(int(np.floor(box[1])), 0)
    right, bottom = min(int(np.ceil(box[2])), picture.width), min(int(np.ceil(box[3])), picture.height)
    if right <= left or bottom <= top or box[0] < 0 or box[1] < 0 or box[2] > picture.width or box[3] > picture.height:
        raise InputError(
            "the patch leaves the picture, which is {width} by {height}",
            width=picture.width,
            height=picture.height,
            where=f"picture {picture.name}",
            mend="Choose a point further in, or a smaller radius",
        )
    with files.open(picture.sha256) as stream:
        opened = open_picture(stream.read(), name=picture.name)
    encoded = opened.pixels[top:bottom, left:right]
    light = opened.reader().light(encoded)
    if light.ndim == 2 or light.shape[2] == 1:
        light = np.repeat(light.reshape(*light.shape[:2], 1), 3, axis=2)
    if facts.fall_off is not None:
        light = light / facts.fall_off.over((picture.width, picture.height), rows=(top, bottom))[:, left:right]
    clipped, out_of_range = lost_in_file(encoded.reshape(*encoded.shape[:2], -1))
    gutter = _gutter_of(files, picture, facts, (left, top, right, bottom)) if facts.is_spread else None
    xyz = corrected_xyz(np.asarray(light, np.float32), np.eye(3), facts.correction)
    return LightPicture(xyz, mm_per_px, clipped, out_of_range, gutter), (left, top)


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class SheetLight:
    """A squared sheet's light, and the way back to pixels of the original."""

    light: LightPicture
    to_original: NDArray[np.float64]

    def original(self, x: float, y: float) -> tuple[float, float]:
        """Return a point of the squared sheet as a point of the upright original."""
        found = moved(self.to_original, [[x, y]])[0]
        return float(found[0]), float(found[1])


def read_sheet(files: Files, picture: Picture, facts: CorrectedPicture) -> SheetLight:
    """Return the squared, corrected sheet, fine enough to find flat areas in.

    Raises
    ------
    InputError
        The sheet's size is not known, so that it has no millimetres.
    """
    if facts.size_mm is None or not facts.corners:
        raise InputError(
            "the sheet's size is not known",
            where=f"picture {picture.name}",
            mend="Photograph it with the colour card beside it",
        )
    with files.open(picture.sha256) as stream:
        source = open_picture(stream.read(), name=picture.name)
    light = read_linear(source, LIGHT_SIDE * 2)
    even = apply_fall_off(light.light, facts.fall_off) if facts.fall_off is not None else light.light
    corners = light.from_original(facts.corners)
    width, height = facts.size_mm
    per_mm = min(_SHEET_PX_PER_MM, 1 / max((facts.mm_per_px or 0.25) * float(light.scale[0]), 1e-6))
    xyz = corrected_xyz(square(even, corners, width, height, px_per_mm=per_mm), light.to_xyz, facts.correction)
    clipped = square(light.clipped, corners, width, height, px_per_mm=per_mm) > 0.02
    gutter = _fold(xyz, 1 / per_mm) if facts.is_spread else None
    rows, columns = xyz.shape[:2]
    target = [[0, 0], [columns, 0], [columns, rows], [0, rows]]
    return SheetLight(
        LightPicture(xyz, 1 / per_mm, clipped, clipped, gutter), homography(target, np.asarray(facts.corners))
    )


def _fold(xyz: Light, mm_per_px: float) -> NDArray[np.bool_]:
    """Return where the fold of a book's spread shades the page."""
    rgb = np.rint(xyz_d50_to_srgb(np.clip(xyz, 0.0, 2.0)) * 255).astype(np.uint8)
    return gutter_mask(rgb.shape[:2], find_gutter(rgb, view="spread"), mm_per_px=mm_per_px)


def _gutter_of(
    files: Files, picture: Picture, facts: CorrectedPicture, box: tuple[int, int, int, int]
) -> NDArray[np.bool_] | None:
    """Return where, in a window of the original, the fold shades the page."""
    if facts.size_mm is None:
        return None
    sheet = read_sheet(files, picture, facts)
    mask = sheet.light.gutter
    if mask is None:
        return None
    left, top, right, bottom = box
    y, x = np.mgrid[top:bottom, left:right] + 0.5
    there = moved(np.linalg.inv(sheet.to_original), np.stack([x.ravel(), y.ravel()], axis=1))
    columns, rows = np.floor(there).astype(int).T
    inside = (rows >= 0) & (rows < mask.shape[0]) & (columns >= 0) & (columns < mask.shape[1])
    found = np.zeros(len(rows), bool)
    found[inside] = mask[rows[inside], columns[inside]]
    return found.reshape(y.shape)


def corrected_picture(
    files: Files, picture: Picture, facts: CorrectedPicture, *, px_per_mm: float
) -> NDArray[np.uint8]:
    """Return the full corrected, squared sheet as sRGB, (h, w, 3) of 8 bits: made when asked for.

    Raises
    ------
    InputError
        The sheet's size is not known, or the result would be too large.
    """
    if facts.size_mm is None or not facts.corners:
        raise InputError(
            "the sheet's size is not known", where=f"picture {picture.name}", mend="Photograph it with the card"
        )
    with files.open(picture.sha256) as stream:
        light = read_linear(open_picture(stream.read(), name=picture.name))
    even = apply_fall_off(light.light, facts.fall_off) if facts.fall_off is not None else light.light
    cut = square(even, facts.corners, *facts.size_mm, px_per_mm=px_per_mm)
    strips = [cut[top : top + 256] for top in range(0, len(cut), 256)]
    encoded = [xyz_d50_to_srgb(np.clip(corrected_xyz(strip, light.to_xyz, facts.correction), 0, 2)) for strip in strips]
    return np.rint(np.concatenate(encoded) * 255).astype(np.uint8)
