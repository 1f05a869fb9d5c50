"""Photographs of prints on tables, for tests: the truth of where the sheet and the colour card lie is told with each.

Like the camera it stands on, it is test code that shares nothing with the archive. Light is linear; a sheet's paper
lies near 0.85, tables from near black to paler than the paper.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from tests.studio import lens

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

CARD_MM = (108.0, 64.0)
SHEETS_MM = ((148.0, 210.0), (210.0, 297.0), (297.0, 420.0), (420.0, 594.0), (200.0, 200.0), (190.0, 400.0))
# Light of 24 patches at 1.0, roughly a colour card's; the sheet finder only sees that they are many and bright.
_PATCHES = (
    np.array(
        [
            "14",
            "7",
            "5",
            "54",
            "31",
            "22",
            "11",
            "19",
            "33",
            "9",
            "14",
            "5",
            "24",
            "22",
            "43",
            "12",
            "51",
            "41",
            "68",
            "20",
            "3",
            "6",
            "9",
            "37",
            "55",
            "9",
            "12",
            "11",
            "5",
            "14",
            "33",
            "51",
            "5",
            "77",
            "36",
            "3",
            "3",
            "5",
            "30",
            "5",
            "30",
            "6",
            "45",
            "3",
            "4",
            "82",
            "58",
            "2",
            "51",
            "9",
            "30",
            "1",
            "24",
            "38",
            "88",
            "88",
            "87",
            "58",
            "58",
            "58",
            "36",
            "36",
            "36",
            "19",
            "19",
            "19",
            "9",
            "9",
            "9",
            "3",
            "3",
            "3",
        ],
        np.float32,
    ).reshape(4, 6, 3)
    / 100
)


@dataclass(frozen=True, slots=True)
class Setting:
    """How one photograph is set up; lengths in millimetres on the table."""

    picture: tuple[int, int] = (1200, 900)
    sheet_mm: tuple[float, float] = (297.0, 420.0)
    turn_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 90.0
    fill: float = 0.8  # of the picture that sheet and card take up
    shift: tuple[float, float] = (0.0, 0.0)  # of what is left, -1 to 1
    has_card: bool = True
    table: str = "grey"
    table_light: tuple[float, float, float] = (0.2, 0.2, 0.2)
    paper: tuple[float, float, float] = (0.84, 0.82, 0.75)
    design: str = "blocks"
    contact_mm: float = 1.5  # reach of the thin shadow beside the sheet
    contact: float = 0.25  # how much light it takes
    cast: float = 0.0  # a wide soft shadow over table and sheet
    shot: lens.Shot = field(default_factory=lens.Shot)


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A photograph and the truth: corners in pixels, clockwise from what is upper left in the picture."""

    rgb: NDArray[np.uint8]
    sheet: Floats
    card: Floats | None  # from the card's own upper left
    setting: Setting


# --- sheets -------------------------------------------------------------------------------------------------


def printed_sheet(setting: Setting, rng: np.random.Generator, *, px_per_mm: float = 2.5) -> Light:
    """Return a print as a flat picture of linear light: paper multiplied by what the inks let through."""
    width, height = (max(round(side * px_per_mm), 16) for side in setting.sheet_mm)
    flat = np.empty((height, width, 3), np.float32)
    flat[:] = setting.paper
    inks = rng.permutation(_INKS)[:2]
    for ink in inks:
        cover = _cover(setting.design, (height, width), rng)
        flat *= 1 - cover[..., None] * (1 - ink)
    fibres = rng.standard_normal((height, width, 1)).astype(np.float32)
    return np.asarray(flat * (1 + 0.008 * fibres), np.float32)


_INKS = np.array(
    [[0.75, 0.1, 0.06], [0.06, 0.2, 0.55], [0.8, 0.6, 0.1], [0.1, 0.4, 0.2], [0.04, 0.04, 0.05], [0.85, 0.45, 0.5]],
    np.float32,
)


def _cover(design: str, shape: tuple[int, int], rng: np.random.Generator) -> Light:
    """Return how much of one ink lies where, 0-1."""
    height, width = shape
    cover = np.zeros(shape, np.float32)
    if design == "blank":
        return cover
    if design == "pale":
        cover[height // 4 : -height // 4, width // 4 : -width // 4] = 0.12
    elif design == "bleed":
        cover[:] = rng.uniform(0.3, 1.0)
        _shapes(cover, rng, 3)
    elif design == "part bleed":
        cover[: round(height * rng.uniform(0.3, 0.8))] = rng.uniform(0.5, 1.0)
        _shapes(cover, rng, 2)
    elif design == "frame":
        edge = round(min(shape) * rng.uniform(0.03, 0.12))
        thick = max(round(min(shape) * rng.uniform(0.004, 0.03)), 2)
        cv2.rectangle(cover, (edge, edge), (width - edge, height - edge), 1.0, thick)
        _shapes(cover, rng, 2)
    elif design == "field":
        rough = rng.standard_normal((6, 5)).astype(np.float32)
        smooth = cv2.resize(rough, (width, height), interpolation=cv2.INTER_CUBIC)
        margin = round(min(shape) * 0.04)
        inner = np.s_[margin : height - margin, margin : width - margin]
        cover[inner] = np.clip(0.5 + 0.4 * smooth[inner], 0, 1)
    elif design == "text":
        _text(cover, rng)
    else:
        margin = round(min(shape) * rng.uniform(0.02, 0.1))
        cover[margin : height - margin, margin : width - margin] = rng.uniform(0.2, 1.0)
        _shapes(cover, rng, 3)
        cover[:margin], cover[-margin:], cover[:, :margin], cover[:, -margin:] = 0, 0, 0, 0
    return cover


def _shapes(cover: Light, rng: np.random.Generator, count: int) -> None:
    height, width = cover.shape
    for _ in range(count):
        x, y = (int(v) for v in rng.uniform(0.1, 0.9, 2) * (width, height))
        size = int(rng.uniform(0.05, 0.3) * min(height, width))
        amount = float(rng.choice([0.0, 0.5, 1.0]))
        if rng.random() < 0.5:
            cv2.circle(cover, (x, y), size, amount, -1)
        else:
            cv2.rectangle(cover, (x - size, y - size // 2), (x + size, y + size // 2), amount, -1)


def _text(cover: Light, rng: np.random.Generator) -> None:
    height, width = cover.shape
    line = max(height // 45, 6)
    for top in range(round(height * 0.1), round(height * 0.9), line):
        x = round(width * 0.1)
        end = width * rng.uniform(0.5, 0.9)
        while x < end:
            word = int(rng.integers(1, 6)) * line // 2
            cover[top : top + line // 2, x : min(x + word, round(width * 0.9))] = 0.8
            x += word + line // 2


# --- tables -------------------------------------------------------------------------------------------------


def table_top(setting: Setting, rng: np.random.Generator, *, side: int = 1100) -> Light:
    """Return a square of table as a flat picture of linear light."""
    flat = np.ones((side, side), np.float32)
    if setting.table in ("light wood", "dark wood"):
        rough = rng.standard_normal((side // 2, side // 60 + 2)).astype(np.float32)
        grain = cv2.GaussianBlur(cv2.resize(rough, (side, side), interpolation=cv2.INTER_CUBIC), (0, 0), 1.2)
        wide = cv2.resize(rng.standard_normal((12, 3)).astype(np.float32), (side, side), interpolation=cv2.INTER_CUBIC)
        flat += 0.12 * grain + 0.12 * wide
        for joint in rng.integers(0, side, 3):
            flat[joint : joint + 2] *= 0.6
        flat = np.maximum(flat, 0.3)
    elif setting.table == "cork":
        rough = rng.standard_normal((side // 3, side // 3)).astype(np.float32)
        flat += 0.25 * cv2.resize(rough, (side, side), interpolation=cv2.INTER_CUBIC)
        flat = np.maximum(flat, 0.3)
    else:
        flat += 0.012 * rng.standard_normal((side, side)).astype(np.float32)
    return np.asarray(flat[..., None] * np.asarray(setting.table_light, np.float32), np.float32)


def card_picture() -> Light:
    """Return a colour card as a flat picture: 24 patches on dark."""
    flat = np.full((640, 1080, 3), 0.035, np.float32)
    for row in range(4):
        for column in range(6):
            x, y = 30 + column * 172, 30 + row * 150
            flat[y : y + 130, x : x + 152] = _PATCHES[row, column]
    return flat


# --- the photograph -----------------------------------------------------------------------------------------


def lay_out(setting: Setting) -> tuple[lens.View, Floats, Floats | None]:
    """Return the view and, on the table in mm, the sheet's corners and the card's."""
    width, height = setting.sheet_mm
    sheet = lens.rectangle(width, height, turn_deg=setting.turn_deg)
    card = None
    if setting.has_card:
        # Below a wide sheet, beside a high one.
        reach = np.ptp(sheet, axis=0) / 2 + (12 + CARD_MM[1] / 2)
        at = (0.0, reach[1]) if np.ptp(sheet[:, 0]) > np.ptp(sheet[:, 1]) else (reach[0], 0.0)
        card = lens.rectangle(*CARD_MM, at=at, turn_deg=90.0 if at[0] else 0.0)
    things = sheet if card is None else np.concatenate([sheet, card])
    middle = (things.min(0) + things.max(0)) / 2
    picture = np.array(setting.picture, float)
    view = lens.View(
        *setting.picture,
        px_per_mm=1.0,
        tilt_deg=setting.tilt_deg,
        tilt_towards_deg=setting.tilt_towards_deg,
        look_at_mm=(float(middle[0]), float(middle[1])),
        focal=0.75 * max(setting.picture) / setting.picture[0],
    )
    for _ in range(4):  # nearer the camera perspective grows, so this is approached step by step
        box = view.project(things)
        view = replace(view, px_per_mm=view.px_per_mm * setting.fill * float((picture / np.ptp(box, axis=0)).min()))
    box = view.project(things)
    low, high = box.min(0), box.max(0)
    free = np.maximum(picture - (high - low), 0) / 2
    shift = picture / 2 - (low + high) / 2 + free * setting.shift
    return replace(view, shift_px=(float(shift[0]), float(shift[1]))), sheet, card


def clockwise(corners: ArrayLike) -> Floats:
    """Return four corners beginning with the one that is upper left in the picture."""
    corners = np.asarray(corners, float)
    middle = corners.mean(0)
    angles = np.arctan2(*(corners - middle)[:, ::-1].T)
    corners = corners[np.argsort(angles)]
    return np.roll(corners, -int(np.argmin(_leanings(corners))), axis=0)


def _leanings(corners: Floats) -> Floats:
    """Return how far from level the side would be that leaves each corner as the upper one."""
    along = np.roll(corners, -1, axis=0) - corners
    return np.asarray(np.abs(np.arctan2(along[:, 1], along[:, 0])))


def photograph(setting: Setting, rng: np.random.Generator) -> Photo:
    """Return the photograph of a print on a table."""
    view, sheet, card = lay_out(setting)
    width, height = setting.picture
    reach = max(width, height) / view.px_per_mm * 1.6
    table = lens.rectangle(2 * reach, 2 * reach, at=view.look_at_mm, turn_deg=float(rng.uniform(0, 360)))
    canvas = np.zeros((height, width, 3), np.float32)
    canvas = lens.place(canvas, table_top(setting, rng), view.project(table), supersample=1)
    canvas *= _contact_shadow(setting, view, sheet, rng)[..., None]
    if card is not None:
        canvas = lens.place(canvas, card_picture(), view.project(card), supersample=2)
    density = min(view.px_per_mm * 2, 1600 / max(setting.sheet_mm))
    canvas = lens.place(canvas, printed_sheet(setting, rng, px_per_mm=density), view.project(sheet), supersample=2)
    if setting.cast:
        canvas *= _cast_shadow(setting, rng)[..., None]
    rgb = lens.opened(setting.shot.jpeg(canvas, rng))
    return Photo(rgb, clockwise(view.project(sheet)), None if card is None else view.project(card), setting)


def _contact_shadow(setting: Setting, view: lens.View, sheet: Floats, rng: np.random.Generator) -> Light:
    """Return what the sheet's thickness and lamps leave of the light beside it."""
    angle = rng.uniform(0, 2 * np.pi)
    shifted = sheet + setting.contact_mm * 0.5 * np.array([np.cos(angle), np.sin(angle)])
    field = np.zeros((setting.picture[1], setting.picture[0]), np.float32)
    cv2.fillConvexPoly(field, np.round(view.project(shifted) * 16).astype(np.int32), 1.0, cv2.LINE_AA, 4)
    return np.asarray(1 - setting.contact * _soft(field, max(setting.contact_mm * view.px_per_mm, 0.7)), np.float32)


def _soft(field: Light, sigma: float) -> Light:
    return np.asarray(cv2.GaussianBlur(field, (0, 0), sigma), np.float32)


def _cast_shadow(setting: Setting, rng: np.random.Generator) -> Light:
    """Return a wide soft shadow, as of somebody standing at the table."""
    width, height = setting.picture
    field = np.zeros((height // 8, width // 8), np.float32)
    at = rng.uniform(0, 1, 2) * (width // 8, height // 8)
    cv2.ellipse(field, (at, (width / 12, width / 6), float(rng.uniform(0, 180))), 1.0, -1)
    soft = _soft(field, width / 8 * 0.06)
    return np.asarray(1 - setting.cast * cv2.resize(soft, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)


# --- chance -------------------------------------------------------------------------------------------------

DESIGNS = ("blank", "pale", "bleed", "part bleed", "frame", "field", "text", "blocks", "blocks", "blocks")
TABLES = ("pale", "pale", "pale", "white", "dark", "grey", "light wood", "light wood", "dark wood", "cork")


def random_setting(rng: np.random.Generator, *, picture: tuple[int, int] = (1400, 1050)) -> Setting:
    """Return a setting as they come: mostly square on, a third of the tables about as pale as the paper."""
    table = TABLES[int(rng.integers(len(TABLES)))]
    paper = _off_white(rng)
    mm = SHEETS_MM[int(rng.integers(len(SHEETS_MM)))]
    if rng.random() < 0.5:
        mm = mm[::-1]
    is_upright = rng.random() < 0.4
    turn = rng.normal(0, 4) if rng.random() < 0.85 else rng.uniform(-40, 40)
    tilt = abs(rng.normal(0, 4)) if rng.random() < 0.85 else rng.uniform(8, 22)
    return Setting(
        picture=picture[::-1] if is_upright else picture,
        sheet_mm=mm,
        turn_deg=float(turn),
        tilt_deg=float(tilt),
        tilt_towards_deg=float(rng.uniform(0, 360)),
        fill=float(rng.uniform(0.6, 0.94)),
        shift=(float(rng.uniform(-0.6, 0.6)), float(rng.uniform(-0.6, 0.6))),
        has_card=bool(rng.random() < 0.6),
        table=table,
        table_light=_table_light(table, paper, rng),
        paper=paper,
        design=DESIGNS[int(rng.integers(len(DESIGNS)))],
        contact_mm=float(rng.uniform(0.4, 3)),
        contact=float(rng.uniform(0.05, 0.45)),
        cast=float(rng.uniform(0.1, 0.4)) if rng.random() < 0.3 else 0.0,
        shot=_random_shot(rng),
    )


def _random_shot(rng: np.random.Generator) -> lens.Shot:
    return lens.Shot(
        exposure=float(rng.uniform(0.6, 0.98)),
        loss=float(rng.uniform(0, 0.3)),
        lean=float(rng.uniform(0, 0.3)),
        lean_towards_deg=float(rng.uniform(0, 360)),
        defocus_px=float(rng.uniform(0.3, 1.2)),
        full_well=float(rng.uniform(1500, 9000)),
        local=0.3 if rng.random() < 0.1 else 0.0,
        gains=tuple(float(v) for v in rng.uniform(0.9, 1.05, 3)),  # type: ignore[arg-type]
        tone=float(rng.uniform(0, 0.5)),
        quality=int(rng.integers(80, 95)),
    )


def _off_white(rng: np.random.Generator) -> tuple[float, float, float]:
    light, warmth = rng.uniform(0.72, 0.88), rng.uniform(0.0, 0.14)
    return float(light), float(light * (1 - warmth * 0.25)), float(light * (1 - warmth))


def _table_light(table: str, paper: tuple[float, float, float], rng: np.random.Generator) -> tuple[float, float, float]:
    if table == "pale":  # near the paper's own, 4-15 % darker or lighter, and a little cooler or warmer
        off = rng.uniform(0.04, 0.15) * rng.choice([-1, -1, 1])
        cast = rng.uniform(-0.04, 0.04)
        red, green, blue = np.minimum(np.array(paper) * (1 + off) * [1 + cast, 1, 1 - cast], 0.95)
    elif table == "white":
        red = green = blue = rng.uniform(0.88, 0.95)
    elif table == "dark":
        red, green, blue = rng.uniform(0.02, 0.08) * np.array([1, 1, rng.uniform(0.8, 1.2)])
    elif table == "grey":
        red = green = blue = rng.uniform(0.12, 0.4)
    elif table == "light wood":
        red, green, blue = rng.uniform(0.4, 0.6) * np.array([1, 0.76, 0.5])
    elif table == "dark wood":
        red, green, blue = rng.uniform(0.1, 0.25) * np.array([1, 0.6, 0.35])
    else:
        red, green, blue = rng.uniform(0.25, 0.4) * np.array([1, 0.72, 0.45])
    return float(red), float(green), float(blue)


def random_photo(number: int, *, seed: int = 7, picture: tuple[int, int] = (1400, 1050)) -> Photo:
    """Return one of the seeded photographs by its number."""
    rng = np.random.default_rng([seed, number])
    return photograph(random_setting(rng, picture=picture), rng)
