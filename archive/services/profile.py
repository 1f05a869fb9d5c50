"""The workshop's profile: start values of the trade, each to be confirmed by the workshop.

All are common practice without a published source unless the line says otherwise; none is a constant
elsewhere in the code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Setting
from archive.errors import InputError, NotFoundError
from archive.services.fields import readable


@dataclass(frozen=True, slots=True)
class ProfileValue:
    """One setting: its value now, its start value, what it means."""

    key: str
    value: Any
    start: Any
    meaning: str


_STARTS: dict[str, tuple[Any, str]] = {
    "workshop_name": ("", "The workshop's name, for pages and tickets."),
    "ref_prefix": ("W-", "What a new work's ref begins with."),
    "house_paper": ("", "The paper that colours from a screen are read on; empty: the one with most swatches."),
    "drums_per_pass": (2, "Drums that go down in one pass."),
    "screen": ("FM", "The usual screen: FM or AM."),
    "screen_lpi": (71, "Lines an inch of an AM screen."),
    "screen_angles": ([45, 75], "Angles of AM screens, degrees."),
    "lightest_tint": (4, "The lightest tint that holds, percent."),
    "closing_tint": (90, "The tint that closes to solid, percent (screen process: handbooks say 85 to 99)."),
    "one_ink_cover_warn": (60, "One ink's cover of the sheet that is warned of, percent."),
    "one_ink_cover_strong": (75, "One ink's cover that is warned of strongly, percent."),
    "summed_cover_warn": (150, "Summed cover that is warned of, percent."),
    "summed_cover_strong": (200, "Summed cover that is warned of strongly, percent."),
    "centre_strip_mm": (40, "Width of the strip that the feed tyres run on."),
    "lead_edge_mm": (25, "Depth of the lead edge that should stay light."),
    "margin_mm": (7, "Margin that cannot be printed."),
    "wait_light_hours": (2, "Wait between passes, light cover."),
    "wait_heavy_hours": (12, "Wait between passes, heavy cover."),
    "wait_fold_hours": (24, "Wait before folding or trimming."),
    "drift_same_pass_mm": (0.7, "Drift between the two drums of a pass."),
    "drift_next_pass_mm": (2, "Drift between passes."),
    "start_up_sheets": (20, "First sheets whose colour is not to be trusted."),
    "settled_hours": (24, "Hours after printing until a colour has settled."),
    "weak_master_sheets": (2000, "Sheets from one master after which it prints weaker."),
    "verdict_same": (3, "ΔE00 up to which a colour is the same."),
    "verdict_close": (6, "ΔE00 up to which a colour is close."),
    "verdict_related": (12, "ΔE00 up to which a colour is related."),
    "card_edition": ("2014b", "Edition of the colour card: 1976, 2005, 2014a, 2014b or averaged."),
    "card_mm": ([279, 216], "Width and height of the colour card, millimetres."),
    "pause_minutes": (20, "Minutes without a frame after which a new group begins."),
    "card_residual_mean": (3, "Colour card's mean residual that is still good, ΔE00."),
    "card_residual_worst": (8, "Colour card's worst residual that is still good, ΔE00."),
    "conditions": (["M1", "M0", "M2"], "Measurement conditions, the preferred one first."),
    "fluorescent_years": (2, "Years after which a fluorescent swatch is measured again."),
    "aged_years": (10, "Years after which a proven sheet is aged."),
    "reading_instrument": (0.3, "Reading by instrument: standard deviation a Lab axis."),
    "reading_eye": (2.9, "Colour by eye: standard deviation a Lab axis."),
    "reading_picture": (4.0, "Colour from a picture without a colour card: standard deviation a Lab axis."),
    "aged_sd": (1.5, "What age adds to an aged sheet: standard deviation a Lab axis."),
    "place_sd": (0.9, "Across the patch and from sheet to sheet: standard deviation a Lab axis."),
    "day_sd": (1.5, "From one run to another: standard deviation a Lab axis of their difference."),
    # more than from one day to another: together they make 2.5 an axis, a mean ΔE00 of 4, which an eye sees at once
    "other_machine_sd": (2.0, "What another machine adds to a new run: standard deviation a Lab axis."),
    "paper_white": ([92, 0, 5], "White of a paper never measured, Lab."),
    "largest_megapixels": (300, "Largest picture, megapixels."),
    "about_years": (2, "Years that 'about' widens a date by, for sorting."),
    "backup_days": (7, "Days after which a missing backup is spoken of loudly."),
}


def read_profile(session: Session) -> dict[str, Any]:
    """Return every setting's value now."""
    profile = {key: start for key, (start, _) in _STARTS.items()}
    rows = session.execute(select(Setting.key, Setting.value).where(Setting.binned_at.is_(None)))
    profile.update({key: value for key, value in rows if key in profile})
    return profile


def start_value(key: str) -> Any:
    """Return the value that a setting begins with."""
    return _STARTS[key][0]


def list_profile(session: Session) -> list[ProfileValue]:
    """Return every setting with its start value and meaning."""
    values = read_profile(session)
    return [ProfileValue(key, values[key], start, meaning) for key, (start, meaning) in _STARTS.items()]


def set_profile(session: Session, key: str, text: str) -> ProfileValue:
    """Set one setting from what a person typed and return it.

    Raises
    ------
    NotFoundError
        No such setting.
    InputError
        The text is not of the setting's kind.
    """
    if key not in _STARTS:
        raise NotFoundError("no setting {key}", key=key, mend="See `inkchest profile list`")
    start, meaning = _STARTS[key]
    value = _parsed(key, text, start)
    row = session.scalars(select(Setting).where(Setting.key == key, Setting.binned_at.is_(None))).first()
    if row is None:
        session.add(Setting(key=key, value=value))
    else:
        row.value = value
    session.flush()
    return ProfileValue(key, value, start, meaning)


def _parsed(key: str, text: str, start: Any) -> Any:
    try:
        if isinstance(start, str):
            return _word(key, readable(text, f"profile, {key}"))
        if isinstance(start, list):
            return _list([part.strip() for part in text.split(",")], key, start)
        return _number(text)
    except ValueError as exc:
        raise InputError(
            "{text} is no value for {key}",
            text=text,
            key=key,
            mend=f"Give something like {', '.join(map(str, start)) if isinstance(start, list) else start}",
        ) from exc


def _word(key: str, text: str) -> str:
    if key != "screen":
        return text
    if text.upper() not in ("FM", "AM"):
        raise ValueError(text)
    return text.upper()


def _list(parts: list[str], key: str, start: list[Any]) -> list[Any]:
    if key == "conditions":
        conditions = [part.upper() for part in parts]
        if len(set(conditions)) != len(conditions) or not set(conditions) <= {"M0", "M1", "M2", "M3"}:
            raise ValueError(parts)
        return conditions
    if len(parts) != len(start):
        raise ValueError(parts)
    return [_number(part, low=-200.0 if key == "paper_white" else 0.0) for part in parts]


def _number(text: str, *, low: float = 0.0) -> float:
    number = float(text)
    if not low <= number < 1e6:
        raise ValueError(text)
    return int(number) if number == int(number) else number
