"""Reading a colour off a picture, keeping and naming swatches."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.identity import today
from archive.catalogue.models import Appearance, Ink, Measurement, Picture, Recipe, Swatch, Variant
from archive.colour.difference import R95, delta_e_2000, sd_per_axis
from archive.colour.spaces import lab_to_xyz
from archive.colour.wanted import parse_wanted
from archive.errors import InputError
from archive.exchange.readings import read_condition
from archive.exchange.text import read_date
from archive.imaging.decode import open_picture, read_lab
from archive.imaging.patches import FEWEST_CELLS, read_region
from archive.services.lookup import find_record
from archive.services.measuring import set_standing
from archive.services.pair_residuals import learnt_of_pair
from archive.services.picture_light import CorrectedPicture, corrected, read_window
from archive.services.profile import read_profile
from archive.services.recipes import ExactLayer, RecipeBook
from archive.services.swatch_list import SwatchSummary, show_swatch, swatch_called
from archive.services.told import read_told

_UNEVEN = 3.0  # mean CIEDE2000 across the patch beyond which it is called uneven [own choice: one verdict step]
_UNKNOWN_SCALE = 0.1  # mm a pixel, where no card tells it: ten cells are then not asked for
_CLIPPED = (0.02, 0.98)  # of the encoded scale, common practice: beyond it a channel says no more


@dataclass(frozen=True, slots=True)
class Region:
    """A disc on a picture, in pixels of the upright original."""

    x: float
    y: float
    radius_px: float


@dataclass(frozen=True, slots=True)
class SwatchReading:
    """A colour read off a picture: Lab, its spread (mean CIEDE2000 from the mean), and what speaks against it."""

    lab: tuple[float, float, float]
    spread: float
    uncertainty: float
    usable: bool
    flags: tuple[str, ...]
    swatch: str | None = None
    claim: float | None = None  # of the sitting's correction, mean CIEDE2000; none without one
    learnt_from: int = 0  # patches of its pair that were measured too, where what they show was added


def read_swatch(session: Session, files: Files, picture_ref: str, region: Region) -> SwatchReading:
    """Return the colour of a disc on an archive picture.

    Raises
    ------
    NotFoundError
        No such picture, or its file is gone.
    InputError
        The disc lies outside the picture or holds no whole pixel.
    """
    picture: Picture = find_record(session, "picture", picture_ref)
    facts = corrected(session, picture)
    if facts is not None:
        return _measured(session, files, picture, region, facts)
    labs, encoded = _pixels(files, picture, region)
    mean = labs.mean(axis=0)
    spread = float(delta_e_2000(labs, mean).mean())
    flags = []
    if spread > _UNEVEN:
        flags.append("uneven")
    if _is_clipped(encoded):
        flags.append("clipped")
    if len(labs) < 16:
        flags.append("too small")
    flags.append("no colour card: seen, not measured")
    profile = read_profile(session)
    sd = np.hypot(float(profile["reading_picture"]), max(float(profile["place_sd"]), sd_per_axis(spread)))
    lab = (float(mean[0]), float(mean[1]), float(mean[2]))
    usable = not {"uneven", "clipped", "too small"} & set(flags)
    return SwatchReading(lab, spread, float(R95 * sd), usable, tuple(flags))


def _measured(
    session: Session, files: Files, picture: Picture, region: Region, facts: CorrectedPicture
) -> SwatchReading:
    """Return a colour read through the correction of the picture's sitting: a measurement by camera."""
    profile = read_profile(session)
    mm_per_px = facts.mm_per_px or _UNKNOWN_SCALE
    box = (
        region.x - region.radius_px,
        region.y - region.radius_px,
        region.x + region.radius_px,
        region.y + region.radius_px,
    )
    light, (left, top) = read_window(files, picture, facts, box, mm_per_px)
    inside = (box[0] - left, box[1] - top, box[2] - left, box[3] - top)
    found = read_region(light, inside, lpi=float(profile["screen_lpi"]))
    flags = found.flags if facts.mm_per_px else (*(flag for flag in found.flags if flag != "too small"), "no scale")
    usable = found.usable or (not facts.mm_per_px and set(found.flags) <= {"uneven", "too small"})
    off = _known_to(profile, facts.claim, found.spread)
    return SwatchReading(found.lab, found.spread, off, usable, flags, claim=facts.claim)


def _known_to(profile: dict[str, Any], claim: float, spread: float) -> float:
    """Return the 95 % radius of a camera's reading: its claim, and the place on the sheet."""
    return float(R95 * np.hypot(sd_per_axis(claim), max(float(profile["place_sd"]), sd_per_axis(spread))))


def _pixels(files: Files, picture: Picture, region: Region) -> tuple[Any, Any]:
    x, y, radius = region.x, region.y, region.radius_px
    inside = radius <= x <= picture.width - radius and radius <= y <= picture.height - radius
    if radius <= 0 or not inside:
        raise InputError(
            "the disc at {x:g},{y:g} with {radius:g} pixels leaves the picture, which is {width} by {height}",
            x=x,
            y=y,
            radius=radius,
            width=picture.width,
            height=picture.height,
            where=f"picture {picture.name}",
            mend="Choose a point further in, or a smaller radius",
        )
    with files.open(picture.sha256) as stream:
        opened = open_picture(stream.read(), name=picture.name)
    lab = read_lab(opened)
    rows, columns = np.ogrid[: lab.shape[0], : lab.shape[1]]
    disc = (columns + 0.5 - x) ** 2 + (rows + 0.5 - y) ** 2 <= radius**2
    if not disc.any():
        raise InputError("the disc holds no whole pixel", where=f"picture {picture.name}", mend="Use a larger radius")
    pixels = opened.pixels
    full = 65535 if pixels.dtype == np.uint16 else 255
    return np.asarray(lab[disc], dtype=np.float64), pixels[disc] / full


def _is_clipped(encoded: Any) -> bool:
    """Return whether more than one pixel in fifty has a channel at the end of its scale."""
    at_end = (encoded <= _CLIPPED[0] / 4) | (encoded >= _CLIPPED[1])
    at_end = at_end.any(axis=-1) if at_end.ndim > 1 else at_end
    return bool(at_end.mean() > 0.02)


def save_swatch(
    session: Session, picture_ref: str, region: Region, reading: SwatchReading, inks: str, paper: str | None
) -> SwatchReading:
    """Keep a reading as a swatch with the inks that are told for it.

    Raises
    ------
    InputError, NotFoundError
        The inks or the paper cannot be read, or a tint is left open.
    """
    if not reading.usable:
        raise InputError(
            "the patch cannot be trusted: {flags}", flags=", ".join(reading.flags), mend="Choose another spot"
        )
    picture: Picture = find_record(session, "picture", picture_ref)
    variant_id, known_paper = _variant_and_paper(session, picture)
    paper_id = find_record(session, "paper", paper).id if paper else known_paper
    if paper_id is None:
        raise InputError("a swatch lies on a paper", mend="Name it: --paper NAME")
    recipe = RecipeBook(session).exact(paper_id, _exact_layers(session, inks), None)
    session.flush()
    seen, reading = reading, _with_its_pair(session, picture, recipe, reading)
    swatch = Swatch(
        recipe_id=recipe.id,
        picture_id=picture.id,
        copy_id=picture.copy_id,
        variant_id=variant_id,
        x=region.x,
        y=region.y,
        radius_px=region.radius_px,
    )
    session.add(swatch)
    session.flush()
    lab_l, lab_a, lab_b = reading.lab
    session.add(
        Measurement(
            swatch_id=swatch.id,
            lab_l=lab_l,
            lab_a=lab_a,
            lab_b=lab_b,
            lab_from="picture",
            method="camera" if reading.claim is not None else "picture",
            condition="camera",
            claim=reading.claim,
            measured_on=(picture.taken_at or "")[:10] or None,
            spread=reading.spread,
            xyz=lab_to_xyz(seen.lab).tolist() if reading.learnt_from else None,
            colour_path=picture.colour_path + (", then what was learnt of its pair" if reading.learnt_from else ""),
        )
    )
    session.flush()
    set_standing(session, [swatch.id])
    return replace(reading, swatch=swatch.uid)


def _with_its_pair(session: Session, picture: Picture, recipe: Recipe, reading: SwatchReading) -> SwatchReading:
    """Return a reading with what its sitting's camera is known to get wrong on its pair taken out, where that helps."""
    learnt = learnt_of_pair(session, picture, recipe) if reading.claim is not None else None
    if learnt is None or reading.claim is None or learnt.residual.claim >= reading.claim:
        return reading
    lab_l, lab_a, lab_b = (float(part) for part in learnt.residual.apply(reading.lab))
    return replace(
        reading,
        lab=(lab_l, lab_a, lab_b),
        claim=learnt.residual.claim,
        uncertainty=_known_to(read_profile(session), learnt.residual.claim, reading.spread),
        learnt_from=learnt.patches,
    )


def _variant_and_paper(session: Session, picture: Picture) -> tuple[int | None, int | None]:
    if picture.copy_id is None:
        return None, None
    query = select(Appearance.variant_id).where(Appearance.copy_id == picture.copy_id, Appearance.binned_at.is_(None))
    variants = list(session.scalars(query))
    if len(set(variants)) != 1:
        return None, None
    variant = session.get_one(Variant, variants[0])
    recipe = session.get(Recipe, variant.recipe_id) if variant.recipe_id else None
    return variant.id, recipe.paper_id if recipe else None


def _exact_layers(session: Session, inks: str) -> list[ExactLayer]:
    if inks.strip().casefold() in ("", "bare paper", "paper"):
        return []
    names = tuple(session.scalars(select(Ink.name).where(Ink.binned_at.is_(None)).order_by(Ink.id)))
    told = read_told(inks, known_inks=names)
    drums = int(read_profile(session)["drums_per_pass"])
    layers = []
    for number, layer in enumerate(told.layers):
        if layer.tint_low is None or layer.tint_low != layer.tint_high or not told.order_known:
            raise InputError(
                "a swatch needs every tint, and the order",
                where=inks,
                mend='Say it as "Ferrywake 60 % over Dockrope 100 %"',
            )
        ink = find_record(session, "ink", layer.ink)
        layers.append(ExactLayer(ink.id, layer.tint_low, number // drums + 1))
    return layers


def measure_again(session: Session, uid: str, lab: str, facts: dict[str, Any]) -> SwatchSummary:
    """Add a reading to a swatch; the older ones stay beside it.

    Raises
    ------
    NotFoundError
        No such swatch.
    InputError
        The reading is no colour, or a fact cannot be read.
    """
    swatch = swatch_called(session, uid)
    lab_l, lab_a, lab_b = (float(part) for part in parse_wanted(f"lab:{lab}").lab or ())
    method, condition = str(facts["method"]), facts["condition"]
    if method not in ("instrument", "eye"):
        raise InputError(
            "{method} is no way to measure here",
            method=method,
            where="--method",
            mend="Use instrument or eye; a camera measures in a sitting",
        )
    session.add(
        Measurement(
            swatch_id=swatch.id,
            lab_l=lab_l,
            lab_a=lab_a,
            lab_b=lab_b,
            lab_from="eye" if method == "eye" else "lab",
            method=method,
            condition=read_condition(str(condition)) if condition else None,
            instrument=facts["instrument"],
            measured_on=read_date(str(facts["measured_on"] or today().isoformat())),
            hours_after=facts["hours_after"],
            colour_path="as read",
        )
    )
    session.flush()
    set_standing(session, [swatch.id])
    session.flush()
    return show_swatch(session, uid)


def radius_in_pixels(
    session: Session, picture_ref: str, radius_mm: float | None, radius_px: float | None, width_mm: float | None
) -> float:
    """Return a disc's radius in pixels of the picture.

    Raises
    ------
    InputError
        Millimetres are asked for, and nothing tells how large the picture is.
    """
    picture: Picture = find_record(session, "picture", picture_ref)
    facts = corrected(session, picture)
    scale = facts.mm_per_px if facts is not None else None
    if radius_px is not None:
        return radius_px
    if radius_mm is None:
        cells = FEWEST_CELLS * 25.4 / float(read_profile(session)["screen_lpi"]) / 2
        return max(cells / scale, 4.0) if scale else picture.width / 100
    if scale and not width_mm:
        return radius_mm / scale
    if not width_mm or width_mm <= 0:
        raise InputError(
            "the picture has no scale yet",
            where=f"picture {picture.name}",
            mend="Say how wide it is (--width-mm 420), or use --radius-px",
        )
    return radius_mm * picture.width / width_mm
