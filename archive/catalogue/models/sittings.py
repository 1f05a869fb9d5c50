"""The storeroom's table: sittings and their frames, what is still to describe and to ask, and job slips."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Double, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from archive.catalogue.base import JsonText, Kept, derived, one_of, table_args, unique_among_living

FRAME_KINDS = ("print", "place card", "colour card", "white sheet", "job slip")
FRAME_STATUS = ("taken", "skipped", "refused")


class Sitting(Kept):
    """One session at the copy stand: the white-sheet shot, the colour-card shot, the correction they give."""

    __tablename__ = "sitting"
    __table_args__ = table_args(unique_among_living("sitting", "ref_key"))

    ref: Mapped[str]  # the day and a letter: 2024-03-09a
    ref_key: Mapped[str] = derived()
    opened_at: Mapped[str]
    closed_at: Mapped[str | None]
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"), index=True)  # where what is taken now lies
    edition: Mapped[str]
    card_width_mm: Mapped[float] = mapped_column(Double)
    card_height_mm: Mapped[float] = mapped_column(Double)
    fall_off: Mapped[Any] = mapped_column(JsonText, nullable=True)
    card: Mapped[Any] = mapped_column(JsonText, nullable=True)
    correction: Mapped[Any] = mapped_column(JsonText, nullable=True)
    claim: Mapped[float | None] = mapped_column(Double)  # how far off a colour may be on average, CIEDE2000
    verdict: Mapped[str]
    grades: Mapped[Any] = mapped_column(JsonText, nullable=True)
    note: Mapped[str] = mapped_column(default="")


class SittingShot(Kept):
    """The white-sheet or the colour-card shot of a sitting; the file lies in the originals."""

    __tablename__ = "sitting_shot"
    __table_args__ = table_args(one_of("kind", "white sheet", "colour card"))

    sitting_id: Mapped[int] = mapped_column(ForeignKey("sitting.id"), index=True)
    kind: Mapped[str]
    sha256: Mapped[str] = mapped_column(index=True)
    name: Mapped[str]
    media_type: Mapped[str]
    size: Mapped[int]


class Frame(Kept):
    """One file that a sitting took: the crop and the correction as numbers beside the untouched original."""

    __tablename__ = "frame"
    __table_args__ = table_args(
        unique_among_living("frame", "sitting_id", "sha256"),
        one_of("kind", *FRAME_KINDS),
        one_of("status", *FRAME_STATUS),
    )

    sitting_id: Mapped[int] = mapped_column(ForeignKey("sitting.id"), index=True)
    position: Mapped[int]
    kind: Mapped[str] = mapped_column(default="print")
    status: Mapped[str]
    why: Mapped[str] = mapped_column(default="")
    sha256: Mapped[str]
    name: Mapped[str]
    taken_at: Mapped[str | None]
    group_number: Mapped[int | None]
    picture_id: Mapped[int | None] = mapped_column(ForeignKey("picture.id"), index=True)
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"), index=True)
    corners: Mapped[Any] = mapped_column(JsonText, nullable=True)  # [[x, y] × 4], clockwise from the upper left
    corners_sure: Mapped[bool] = mapped_column(default=False)
    mm_per_px: Mapped[float | None] = mapped_column(Double)
    width_mm: Mapped[float | None] = mapped_column(Double)
    height_mm: Mapped[float | None] = mapped_column(Double)
    card: Mapped[Any] = mapped_column(JsonText, nullable=True)
    correction: Mapped[Any] = mapped_column(JsonText, nullable=True)  # its own card's, where that was clearly better
    claim: Mapped[float | None] = mapped_column(Double)
    warnings: Mapped[Any] = mapped_column(JsonText, nullable=True)
    alike: Mapped[Any] = mapped_column(JsonText, nullable=True)  # [{"picture", "as", "state"}]
    look: Mapped[str | None]  # hash of its shapes, 16 hexadecimal digits; none for what is blank


class Joined(Kept):
    """A sheet taken in several frames: how they fit together, or why they stay parts."""

    __tablename__ = "joined"
    __table_args__ = table_args()

    copy_id: Mapped[int] = mapped_column(ForeignKey("copy.id"), index=True)
    parts: Mapped[Any] = mapped_column(JsonText)  # [{"picture", "to_first": 3 × 3 | null}]
    residual_mm: Mapped[float | None] = mapped_column(Double)
    why: Mapped[str] = mapped_column(default="")


class Proposal(Kept):
    """A flat colour area found on a picture, waiting to be given its inks."""

    __tablename__ = "proposal"
    __table_args__ = table_args(one_of("state", "open", "accepted", "declined"))

    picture_id: Mapped[int] = mapped_column(ForeignKey("picture.id"), index=True)
    x: Mapped[float] = mapped_column(Double)
    y: Mapped[float] = mapped_column(Double)
    radius_px: Mapped[float] = mapped_column(Double)
    lab_l: Mapped[float] = mapped_column(Double)
    lab_a: Mapped[float] = mapped_column(Double)
    lab_b: Mapped[float] = mapped_column(Double)
    spread: Mapped[float] = mapped_column(Double)
    share: Mapped[float] = mapped_column(Double)
    state: Mapped[str] = mapped_column(default="open")
    swatch_id: Mapped[int | None] = mapped_column(ForeignKey("swatch.id"), index=True)


class Inquiry(Kept):
    """What somebody still reachable could tell of a record."""

    __tablename__ = "inquiry"
    __table_args__ = table_args(one_of("state", "open", "answered", "nobody left"))

    subject_table: Mapped[str]
    subject_id: Mapped[int]
    field: Mapped[str]
    words: Mapped[str]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    asked_on: Mapped[str]
    state: Mapped[str] = mapped_column(default="open")
    claim_id: Mapped[int | None] = mapped_column(ForeignKey("claim.id"), index=True)


class Slip(Kept):
    """A job slip: what its boxes stand for, and the run it became."""

    __tablename__ = "slip"
    __table_args__ = table_args()

    printed_on: Mapped[str]
    layout: Mapped[Any] = mapped_column(JsonText)
    picture_id: Mapped[int | None] = mapped_column(ForeignKey("picture.id"), index=True)
    ticks: Mapped[Any] = mapped_column(JsonText, nullable=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
