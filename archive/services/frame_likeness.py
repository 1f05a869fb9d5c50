"""What a new frame is like among the frames taken before: the same copy, a variant, perhaps the same design."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
from PIL import Image
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Frame, Picture
from archive.colour.spaces import srgb_to_xyz_d50, xyz_to_lab
from archive.imaging.likeness import CORRECTED, UNCORRECTED, find_like
from archive.imaging.sheet_look import SheetLook, look_at
from archive.services.frame_reading import FrameRead

_MOST = 12  # candidates by hash that are looked at


def sheet_name(sha256: str) -> str:
    """Return the derived file's name for the small squared picture of a sheet."""
    return f"sheets/{sha256[:2]}/{sha256}.jpg"


@dataclass
class LikeFrames:
    """The looks of the frames so far: picture ids, hashes of shapes, originals, and whether their colours are true."""

    catalogue: Catalogue
    pictures: list[int] = field(default_factory=list)
    words: list[int] = field(default_factory=list)
    originals: list[str] = field(default_factory=list)
    is_true: list[bool] = field(default_factory=list)

    @classmethod
    def load(cls, session: Session, catalogue: Catalogue) -> LikeFrames:
        """Return the looks of all frames in the archive."""
        query = (
            select(Frame.picture_id, Frame.look, Frame.sha256, Frame.claim)
            .join(Picture, Picture.id == Frame.picture_id)
            .where(Frame.binned_at.is_(None), Picture.binned_at.is_(None), Frame.look.is_not(None))
            .where(Frame.kind == "print")
            .order_by(Frame.id)
        )
        found = cls(catalogue)
        for picture_id, look, sha256, claim in session.execute(query):
            found._append(picture_id or 0, int(str(look), 16), sha256, claim is not None)
        return found

    def _append(self, picture_id: int, word: int, sha256: str, is_true: bool) -> None:
        self.pictures.append(picture_id)
        self.words.append(word)
        self.originals.append(sha256)
        self.is_true.append(is_true)

    def add(self, picture_id: int | None, found: FrameRead) -> None:
        """Remember a frame that was just taken; a blank one is like nothing."""
        if picture_id is not None and found.look is not None and not found.look.is_blank:
            self._append(picture_id, int(found.look.hashes[0]), found.read.sha256, found.claim is not None)

    def like(self, session: Session, found: FrameRead) -> list[dict[str, str]]:
        """Return what a frame is like, as it is kept: the picture's uid, as what, and that nobody decided yet."""
        if found.look is None or found.look.is_blank or not self.words:
            return []
        whites = CORRECTED if found.claim is not None else UNCORRECTED
        alike = find_like(found.look, np.array(self.words, dtype=np.uint64), self._look_of, whites=whites, most=_MOST)
        living = dict(
            session.execute(
                select(Picture.id, Picture.uid).where(
                    Picture.id.in_([self.pictures[each.index] for each in alike]), Picture.binned_at.is_(None)
                )
            ).all()
        )
        return [
            {"picture": living[self.pictures[each.index]], "as": each.likeness.kind, "state": "open"}
            for each in alike
            if self.pictures[each.index] in living
        ]

    def _look_of(self, index: int) -> SheetLook:
        path = self.catalogue.files.derived_path(sheet_name(self.originals[index]))
        if not path.is_file():
            return look_at(np.full((64, 64, 3), (95.0, 0.0, 0.0)))  # gone: a blank sheet is like nothing
        encoded = np.asarray(Image.open(io.BytesIO(path.read_bytes())).convert("RGB")) / 255
        return look_at(np.clip(xyz_to_lab(srgb_to_xyz_d50(encoded)), -200, 115))
