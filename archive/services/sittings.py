"""Sittings at the copy stand: opened with a white sheet and a colour card, closed when the box is done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from string import ascii_lowercase
from typing import Any

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act
from archive.catalogue.identity import now, today
from archive.catalogue.models import Frame, Place, Sitting, SittingShot
from archive.colour.camera import Correction
from archive.colour.camera_grades import CardVerdict, judge_card
from archive.colour.camera_local import card_doubts
from archive.colour.card_editions import EDITIONS, reference_lab
from archive.colour.spaces import LIGHTEST, WIDEST
from archive.errors import ConflictError, InputError, NotFoundError
from archive.imaging.colour_card import FoundCard, find_cards, read_card
from archive.imaging.decode import open_picture
from archive.imaging.fall_off import FallOff, apply_fall_off
from archive.imaging.linear import LinearPicture, read_linear
from archive.imaging.white_frame import WhiteFrame, judge_white
from archive.services.frame_card import Setup, fit_card
from archive.services.frame_reading import LIGHT_SIDE
from archive.services.lookup import find_record
from archive.services.profile import read_profile

SHOOT_AGAIN = "shoot again"


@dataclass(frozen=True, slots=True)
class NewSitting:
    """What a sitting is opened with; `corners` are the card's, by hand, in pixels of the upright original."""

    white: Path
    card: Path
    edition: str | None = None
    card_mm: tuple[float, float] | None = None
    place: str | None = None
    left_out: tuple[int, ...] = ()
    corners: tuple[tuple[float, float], ...] | None = None
    anyway: bool = False


@dataclass(frozen=True, slots=True)
class SittingCard:
    """A sitting as it is shown: its verdict, how far off its colours may be, and what it took."""

    id: int
    uid: str
    ref: str
    opened_at: str
    closed_at: str | None
    place: str | None
    edition: str
    verdict: str
    why: str
    claim: float | None
    card: dict[str, Any] | None
    criteria: tuple[dict[str, Any], ...]
    not_measured: tuple[str, ...]
    frames: dict[str, int]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Judged:
    white: WhiteFrame
    card: FoundCard
    light: LinearPicture
    correction: Correction
    verdict: CardVerdict
    doubts: tuple[str, ...]
    mm_per_px: float


def open_sitting(catalogue: Catalogue, new: NewSitting, act: Act) -> SittingCard:
    """Open a sitting: judge the white-sheet shot, find the card, learn the correction; one change.

    Raises
    ------
    InputError
        The white shot or the card cannot be used, with the mend; no sitting is made.
    ConflictError
        Another sitting is open.
    """
    with catalogue.read() as session:
        profile = read_profile(session)
        already = open_one(session)
        if already is not None:
            mend = "Close it: `inkchest sitting close`"
            raise ConflictError("a sitting is open already", where=f"sitting {already.ref}", mend=mend)
        if new.place:
            find_record(session, "place", new.place, where="--place")
    edition = new.edition or str(profile["card_edition"])
    card_mm = new.card_mm or (float(profile["card_mm"][0]), float(profile["card_mm"][1]))
    judged = _judge(new, edition, card_mm, profile)
    if judged.verdict.good_for == SHOOT_AGAIN and not new.anyway:
        raise InputError(
            "shoot the card again: {why}",
            why="; ".join(dict.fromkeys((judged.verdict.why, *judged.doubts))),
            where=new.card.name,
            mend="Check edition, light and that nothing lies on the card; or open it --anyway, for looks only",
        )
    shots = [
        _kept(catalogue.files, kind, path) for kind, path in (("white sheet", new.white), ("colour card", new.card))
    ]
    with catalogue.write(act) as session:
        place = find_record(session, "place", new.place) if new.place else None
        sitting = Sitting(
            ref=_next_ref(session),
            opened_at=now(),
            place_id=place.id if place is not None else None,
            edition=edition,
            card_width_mm=card_mm[0],
            card_height_mm=card_mm[1],
            fall_off=judged.white.fall_off.to_plain(),
            card=_card_facts(judged),
            correction=judged.correction.to_plain() if judged.verdict.good_for != SHOOT_AGAIN else None,
            claim=judged.correction.claim if judged.verdict.good_for != SHOOT_AGAIN else None,
            verdict=judged.verdict.good_for,
            grades=_grades(judged.verdict),
        )
        sitting.ref_key = sitting.ref
        session.add(sitting)
        session.flush()
        session.add_all([SittingShot(sitting_id=sitting.id, **shot) for shot in shots])
        session.flush()
        notes = (*(str(notice) for notice in judged.white.notices), *judged.doubts)
        return _summary(session, sitting, notes)


def _judge(new: NewSitting, edition: str, card_mm: tuple[float, float], profile: dict[str, Any]) -> _Judged:
    if edition not in EDITIONS:
        raise InputError("no edition {edition}", edition=edition, where="--edition", mend=f"Use {', '.join(EDITIONS)}")
    most = float(profile["largest_megapixels"])
    white = judge_white(read_linear(open_picture(new.white, max_megapixels=most, name=new.white.name), LIGHT_SIDE))
    picture = open_picture(new.card, max_megapixels=most, name=new.card.name)
    light = read_linear(picture, LIGHT_SIDE)
    if light.space != "rgb":
        raise InputError(
            "its profile is a table, so the camera's own values cannot be had",
            where=new.card.name,
            mend="Shoot the card as a camera's JPEG, HEIC or TIFF",
        )
    even = apply_fall_off(light.light, white.fall_off, name=new.card.name)
    card = _card(new, even, light)
    correction = fit_card(card, light, edition, new.left_out)
    lab = np.clip(correction.apply(np.nan_to_num(card.light)), (0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))
    mm_per_px = _mm_per_px(card, light, card_mm)
    verdict = judge_card(correction, lab, reference_lab(edition), pixels_per_inch=25.4 / mm_per_px, bits=picture.bits)
    limits = (float(profile["card_residual_mean"]), float(profile["card_residual_worst"]))
    doubts = tuple(str(doubt) for doubt in card_doubts(correction, limits))
    return _Judged(white, card, light, correction, verdict, doubts, mm_per_px)


def _card(new: NewSitting, even: Any, light: LinearPicture) -> FoundCard:
    """Return the one colour card of the card shot, or the one between four corners by hand."""
    if new.corners is not None:
        card = read_card(even, light.from_original(new.corners), light.clipped, leave_out=new.left_out)
        if not card.is_sure:
            raise _unproven(card, new)
        return card
    found = find_cards(even, light.clipped, leave_out=new.left_out)
    sure = [card for card in found if card.is_sure]
    if len(sure) > 1:
        raise InputError(
            "two colour cards are in the picture", where=new.card.name, mend="Show one, and shoot it again"
        )
    if sure:
        return sure[0]
    if found:
        raise _unproven(found[0], new)
    raise InputError(
        "no colour card is found in the picture",
        where=new.card.name,
        mend="Show it whole and flat in even light, or give its four corners: --corners X,Y X,Y X,Y X,Y",
    )


def _unproven(card: FoundCard, new: NewSitting) -> InputError:
    return InputError(
        "which way the colour card lies is not proven: {why}",
        why=card.refusal,
        where=new.card.name,
        mend="Uncover it, or leave covered patches out with --leave-out, and check the edition",
    )


def _mm_per_px(card: FoundCard, light: LinearPicture, card_mm: tuple[float, float]) -> float:
    corners = card.corners * light.scale
    x, y = corners[:, 0], corners[:, 1]
    area = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
    return float(np.sqrt(card_mm[0] * card_mm[1] / area))


def _kept(files: Files, kind: str, path: Path) -> dict[str, Any]:
    with path.open("rb") as stream:
        sha256 = files.put(stream)
    media_type = open_picture(path, name=path.name).media_type
    return {"kind": kind, "sha256": sha256, "name": path.name, "media_type": media_type, "size": path.stat().st_size}


def _card_facts(judged: _Judged) -> dict[str, Any]:
    corners = judged.card.corners * judged.light.scale
    return {
        "found": True,
        "by_hand": judged.card.by_hand,
        "turn": judged.card.turn,
        "corners_px": [[round(float(x), 2), round(float(y), 2)] for x, y in corners],
        "residual": {"mean": judged.correction.residual.mean, "worst": judged.correction.residual.worst},
        "claim": judged.correction.claim,
        "left_out": [place + 1 for place in judged.correction.left_out],
        "mm_per_px": judged.mm_per_px,
        "size_px": [judged.light.width, judged.light.height],
    }


def _grades(verdict: CardVerdict) -> dict[str, Any]:
    return {
        "why": verdict.why,
        "criteria": [
            {
                "name": each.name,
                "measured": each.measured,
                "unit": each.unit,
                "formula": each.formula,
                "limits": dict(each.limits),
                "source": each.source,
            }
            for each in verdict.criteria
        ],
        "not_measured": list(verdict.not_measured),
    }


def _next_ref(session: Session) -> str:
    """Return the day and the first letter that is free: 2024-03-09a, after z 2024-03-09z2."""
    day = today().isoformat()
    taken = set(session.scalars(select(Sitting.ref_key).where(Sitting.ref_key.startswith(day))))
    names = [*(f"{day}{letter}" for letter in ascii_lowercase), *(f"{day}z{number}" for number in range(2, 1000))]
    return next(name for name in names if name not in taken)


def open_one(session: Session) -> Sitting | None:
    """Return the sitting that is open, if one is."""
    query = select(Sitting).where(Sitting.closed_at.is_(None), Sitting.binned_at.is_(None)).order_by(Sitting.id.desc())
    return session.scalars(query).first()


def the_open_one(session: Session) -> Sitting:
    """Return the sitting that is open.

    Raises
    ------
    NotFoundError
        None is.
    """
    sitting = open_one(session)
    if sitting is None:
        raise NotFoundError("no sitting is open", mend="Open one: `inkchest sitting open --white FILE --card FILE`")
    return sitting


def setup_of(session: Session, sitting: Sitting) -> Setup:
    """Return what frames of a sitting are read with."""
    profile = read_profile(session)
    card = sitting.card or {}
    size = card.get("size_px")
    return Setup(
        fall_off=FallOff.from_plain(sitting.fall_off) if sitting.fall_off else None,
        correction=Correction.from_plain(sitting.correction) if sitting.correction else None,
        edition=sitting.edition,
        card_mm=(sitting.card_width_mm, sitting.card_height_mm),
        mm_per_px=card.get("mm_per_px"),
        size_px=(int(size[0]), int(size[1])) if size else None,
        lpi=float(profile["screen_lpi"]),
        max_megapixels=float(profile["largest_megapixels"]),
        left_out=tuple(place - 1 for place in card.get("left_out", ())),
    )


def close_sitting(session: Session) -> SittingCard:
    """Close the open sitting and return what it took.

    Raises
    ------
    NotFoundError
        None is open.
    """
    sitting = the_open_one(session)
    sitting.closed_at = now()
    session.flush()
    return _summary(session, sitting)


def list_sittings(session: Session) -> list[SittingCard]:
    """Return every sitting, the newest first."""
    query = select(Sitting).where(Sitting.binned_at.is_(None)).order_by(Sitting.id.desc())
    return [_summary(session, sitting) for sitting in session.scalars(query).all()]


def show_sitting(session: Session, ref: str) -> SittingCard:
    """Return one sitting by its ref or uid.

    Raises
    ------
    NotFoundError
        There is none of that name.
    """
    query = select(Sitting).where(Sitting.binned_at.is_(None), (Sitting.ref_key == ref) | (Sitting.uid == ref))
    sitting = session.scalars(query).first()
    if sitting is None:
        raise NotFoundError("no sitting {ref}", ref=ref, mend="See `inkchest sitting list`")
    return _summary(session, sitting)


def _summary(session: Session, sitting: Sitting, notes: Sequence[str] = ()) -> SittingCard:
    place = session.get(Place, sitting.place_id) if sitting.place_id else None
    counts = select(Frame.status, func.count()).where(Frame.sitting_id == sitting.id, Frame.binned_at.is_(None))
    grades = sitting.grades or {}
    return SittingCard(
        sitting.id,
        sitting.uid,
        sitting.ref,
        sitting.opened_at,
        sitting.closed_at,
        place.path if place is not None else None,
        sitting.edition,
        sitting.verdict,
        str(grades.get("why", "")),
        sitting.claim,
        sitting.card,
        tuple(grades.get("criteria", ())),
        tuple(grades.get("not_measured", ())),
        dict(Counter(dict(session.execute(counts.group_by(Frame.status)).all()))),
        tuple(notes),
    )
