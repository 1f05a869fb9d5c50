"""How it was made and how it looks: recipes, runs, pictures, swatches, measurements."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Double, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship

from archive.catalogue.base import Base, JsonText, Kept, derived, one_of, table_args, unique_among_living, within

SCREENS = ("FM", "AM")


class Recipe(Kept):
    """Ordered layers on a paper; a told one may leave ink, order or tint open."""

    __tablename__ = "recipe"
    __table_args__ = table_args(unique_among_living("recipe", "key"), one_of("screen", *SCREENS))

    key: Mapped[str | None]  # none for what is told
    paper_id: Mapped[int | None] = mapped_column(ForeignKey("paper.id"), index=True)
    screen: Mapped[str | None]
    lpi: Mapped[float | None] = mapped_column(Double)
    is_told: Mapped[bool] = mapped_column(default=False)
    order_known: Mapped[bool] = mapped_column(default=True)
    words: Mapped[str] = mapped_column(default="")
    origin: Mapped[str | None]
    layers: Mapped[list[Layer]] = relationship(lazy="raise", order_by="Layer.position")


class Layer(Base):
    """One ink laid on the sheet; position 1 prints first."""

    __tablename__ = "layer"
    __table_args__ = (
        within("tint_low", 0, 100),
        within("tint_high", 0, 100),
        within("print_pass", 1, 9),
    )

    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipe.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    print_pass: Mapped[int | None]
    ink_id: Mapped[int | None] = mapped_column(ForeignKey("ink.id"), index=True)
    ink_words: Mapped[str] = mapped_column(default="")
    ink_sure: Mapped[bool] = mapped_column(default=True)
    tint_low: Mapped[float | None] = mapped_column(Double)
    tint_high: Mapped[float | None] = mapped_column(Double)
    angle: Mapped[float | None] = mapped_column(Double)


class Run(Kept):
    """One printing of a variant."""

    __tablename__ = "run"
    __table_args__ = table_args(
        unique_among_living("run", "ref_key"),
        one_of("screen", *SCREENS),
        within("density", 0, 20),
        within("speed", 0, 300),
        within("good", 0, 10**9),
        within("spoiled", 0, 10**9),
        within("waited_hours", 0, 10**6),
    )

    ref: Mapped[str]
    ref_key: Mapped[str] = derived()
    variant_id: Mapped[int | None] = mapped_column(ForeignKey("variant.id"), index=True)
    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipe.id"), index=True)
    printed_on: Mapped[str | None]
    machine_id: Mapped[int | None] = mapped_column(ForeignKey("machine.id"), index=True)
    density: Mapped[float | None] = mapped_column(Double)
    speed: Mapped[float | None] = mapped_column(Double)
    screen: Mapped[str | None]
    good: Mapped[int | None]
    spoiled: Mapped[int | None]
    waited_hours: Mapped[float | None] = mapped_column(Double)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    note: Mapped[str] = mapped_column(default="")
    origin: Mapped[str | None]


class RunFilling(Base):
    """A filling that a run was printed with."""

    __tablename__ = "run_filling"

    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"), primary_key=True)
    filling_id: Mapped[int] = mapped_column(ForeignKey("filling.id"), primary_key=True, index=True)


class Picture(Kept):
    """An image file of a copy; the file lies in the originals under its SHA-256."""

    __tablename__ = "picture"
    __table_args__ = table_args(unique_among_living("picture", "sha256"))

    copy_id: Mapped[int | None] = mapped_column(ForeignKey("copy.id"), index=True)
    appearance_id: Mapped[int | None] = mapped_column(ForeignKey("appearance.id"), index=True)
    sha256: Mapped[str]
    name: Mapped[str]  # the file's own name, as the camera gave it
    media_type: Mapped[str]
    size: Mapped[int]
    width: Mapped[int]
    height: Mapped[int]
    bits: Mapped[int]
    colour_path: Mapped[str]
    taken_at: Mapped[str | None]
    phash: Mapped[str]
    is_plain: Mapped[bool] = mapped_column(default=False)
    paper_l: Mapped[float | None] = mapped_column(Double)
    paper_a: Mapped[float | None] = mapped_column(Double)
    paper_b: Mapped[float | None] = mapped_column(Double)
    paper_share: Mapped[float | None] = mapped_column(Double)
    paper_sure: Mapped[bool] = mapped_column(default=False)
    note: Mapped[str] = mapped_column(default="")
    came_from: Mapped[str] = mapped_column(default="")  # the folders it lay in, as they were called
    claim: Mapped[float | None] = mapped_column(Double)  # of the sitting that corrected it, mean CIEDE2000


class PaletteColour(Base):
    """One of the main colours of a picture, as read through its profile."""

    __tablename__ = "palette_colour"

    picture_id: Mapped[int] = mapped_column(ForeignKey("picture.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    lab_l: Mapped[float] = mapped_column(Double)
    lab_a: Mapped[float] = mapped_column(Double)
    lab_b: Mapped[float] = mapped_column(Double)
    share: Mapped[float] = mapped_column(Double)


class ReadingsSet(Kept):
    """A file of readings that was brought in; its header is kept as it stood."""

    __tablename__ = "readings_set"
    __table_args__ = table_args(one_of("kind", "csv", "cgats", "cxf"))

    name: Mapped[str]
    name_key: Mapped[str] = derived(index=True)
    kind: Mapped[str]
    file_name: Mapped[str]
    header: Mapped[Any] = mapped_column(JsonText, nullable=True)


class Swatch(Kept):
    """A printed patch; its standing colour is set by the one service that adds measurements."""

    __tablename__ = "swatch"
    __table_args__ = table_args()

    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipe.id"), index=True)
    set_id: Mapped[int | None] = mapped_column(ForeignKey("readings_set.id"), index=True)
    sample: Mapped[str] = mapped_column(default="")
    name: Mapped[str] = mapped_column(default="")  # what the workshop calls the colour
    name_key: Mapped[str] = derived(default="", index=True)
    fingerprint: Mapped[str | None] = mapped_column(index=True)  # set, sample and values of its row
    picture_id: Mapped[int | None] = mapped_column(ForeignKey("picture.id"), index=True)
    x: Mapped[float | None] = mapped_column(Double)
    y: Mapped[float | None] = mapped_column(Double)
    radius_px: Mapped[float | None] = mapped_column(Double)
    copy_id: Mapped[int | None] = mapped_column(ForeignKey("copy.id"), index=True)
    variant_id: Mapped[int | None] = mapped_column(ForeignKey("variant.id"), index=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
    printed_on: Mapped[str | None]
    standing_id: Mapped[int | None] = derived()  # its measurement; no foreign key, since that would be a ring
    lab_l: Mapped[float | None] = derived(Double)
    lab_a: Mapped[float | None] = derived(Double)
    lab_b: Mapped[float | None] = derived(Double)
    method: Mapped[str | None] = derived()
    condition: Mapped[str | None] = derived()
    spread: Mapped[float | None] = derived(Double)
    n: Mapped[int | None] = derived()
    measured_on: Mapped[str | None] = derived()
    out_of_range: Mapped[bool] = mapped_column(default=False)
    note: Mapped[str] = mapped_column(default="")
    origin: Mapped[str | None]
    claim: Mapped[float | None] = derived(Double)


class Measurement(Kept):
    """One reading of a swatch; never overwritten, only measured again."""

    __tablename__ = "measurement"
    __table_args__ = table_args(
        one_of("method", "instrument", "camera", "picture", "eye"),
        one_of("lab_from", "lab", "spectrum", "xyz", "picture", "eye"),
    )

    swatch_id: Mapped[int] = mapped_column(ForeignKey("swatch.id"), index=True)
    lab_l: Mapped[float] = mapped_column(Double)
    lab_a: Mapped[float] = mapped_column(Double)
    lab_b: Mapped[float] = mapped_column(Double)
    lab_from: Mapped[str] = mapped_column(default="lab")
    spectrum: Mapped[Any] = mapped_column(JsonText, nullable=True)  # {"start_nm", "step_nm", "values"}
    xyz: Mapped[Any] = mapped_column(JsonText, nullable=True)  # X, Y, Z as the file had them, Y = 1 for white
    method: Mapped[str] = mapped_column(default="instrument")
    condition: Mapped[str | None]
    backing: Mapped[str | None]
    instrument: Mapped[str | None]
    measured_on: Mapped[str | None]
    hours_after: Mapped[float | None] = mapped_column(Double)
    n: Mapped[int | None]
    spread: Mapped[float | None] = mapped_column(Double)
    colour_path: Mapped[str] = mapped_column(default="")
    note: Mapped[str] = mapped_column(default="")
    origin: Mapped[str | None]
    claim: Mapped[float | None] = mapped_column(Double)  # of the correction it was read through, mean CIEDE2000
