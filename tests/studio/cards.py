"""Photographs of a colour card on a cluttered table, for tests: what was laid where is told with each.

The card's and the clutter's light comes from spectra (`tests.studio.camera`), its geometry from `tests.studio.lens`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tests.studio import camera, lens

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

FIVE_LAMPS = ("D50", "D65", "high-CRI LED", "narrow-band tube", "tungsten")
FINE = 40  # pixels of the flat card from one patch to the next
PRINTED: Floats = np.concatenate([camera.prints(), camera.PAPER[None]])


@dataclass(frozen=True, slots=True)
class Design:
    """How a card is made, in patches' pitch: the patch's side, its margins (left, top, right, bottom), the border."""

    patch: float = 0.86
    margins: tuple[float, float, float, float] = (0.12, 0.25, 0.12, 0.55)
    border: float = 0.035  # reflectance
    has_text: bool = True

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in patches' pitch."""
        left, top, right, bottom = self.margins
        return 5 + self.patch + left + right, 3 + self.patch + top + bottom


DESIGNS = (
    Design(),
    Design(patch=0.92, margins=(0.15, 0.15, 0.15, 0.15), has_text=False),
    Design(patch=0.8, margins=(0.35, 0.3, 0.35, 0.7)),
    Design(patch=0.86, margins=(0.2, 0.2, 0.2, 0.2), border=0.55, has_text=False),
)


def seen_as(lamp: str, *, balance: tuple[float, float, float] = (1.0, 1.0, 1.0), shift_nm: float = 0.0) -> Floats:
    """Return the (bands, 3) matrix from reflectance to sensor values, grey nearly grey, the white patch at 0.8."""
    weights = camera.sensitivities("filter array", shift_nm) * camera.lamp_spectrum(lamp)[:, None]
    card = camera.card_reflectance()
    return np.asarray(
        weights / (card[21] @ weights) * np.array(balance) * 0.8 / (card[18] @ weights)[1] * (card[21] @ weights)[1]
    )


def flat_card(seen: Floats, design: Design = Design(), *, reflectance: Floats | None = None) -> Light:
    """Return the card as a flat picture in linear light, read upright."""
    reflectance = camera.card_reflectance() if reflectance is None else reflectance
    width, height = design.size
    flat = np.empty((round(height * FINE), round(width * FINE), 3), np.float32)
    flat[:] = np.full(len(seen), design.border) @ seen
    left, top = design.margins[:2]
    for at, light in enumerate(reflectance @ seen):
        x, y = round((left + at % 6) * FINE), round((top + at // 6) * FINE)
        side = round(design.patch * FINE)
        flat[y : y + side, x : x + side] = light
    if design.has_text:
        ink = np.full(len(seen), 0.7) @ seen
        at_y = flat.shape[0] - round(design.margins[3] * FINE * 0.55)
        for letter in range(14):
            x = round((left + 0.2) * FINE) + letter * 6
            flat[at_y : at_y + 7, x : x + 3] = ink
    return flat


def patch_points(design: Design = Design()) -> Floats:
    """Return the (24, 2) middles of the patches as shares of the card's width and height."""
    left, top = design.margins[:2]
    at = np.arange(24)
    points = np.stack([left + at % 6 + design.patch / 2, top + at // 6 + design.patch / 2], axis=1)
    return points / np.array(design.size)


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One photograph and the truth about it."""

    jpeg: bytes = field(repr=False)
    cards: tuple[Floats, ...]  # corners in pixels, clockwise from the upper left as the card is read
    turns: tuple[int, ...]  # nearest right angle by which the card lies turned, clockwise
    share: float
    about: str


STILL = lens.Shot()


@dataclass(frozen=True, slots=True)
class Plan:
    """What a rendered photograph is made of; `share` is the card's width as a share of the picture's."""

    size: tuple[int, int] = (1600, 1200)
    share: float = 0.3
    turn_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 90.0
    at: tuple[float, float] = (0.5, 0.5)
    design: Design = DESIGNS[0]
    lamp: str = "D50"
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    table: str = "oak"
    clutter: int = 6
    shot: lens.Shot = STILL
    count: int = 1
    covered: float = 0.0  # share of the card's width under something, from its left
    is_mirrored: bool = False
    faulty: int | None = None  # a patch that has its opposite's colour


SIZES = ((1600, 1200), (2000, 1500), (1500, 2000))


def random_plan(
    rng: np.random.Generator,
    *,
    sizes: tuple[tuple[int, int], ...] = SIZES,
    smallest: float = 0.08,
    most_clutter: int = 11,
) -> Plan:
    """Return a photograph's plan: any turn, tilt to 35 degrees, 8-60 % of the width, blur, noise, five lamps."""
    size = sizes[int(rng.integers(len(sizes)))]
    share = float(np.exp(rng.uniform(np.log(smallest), np.log(0.6))))
    card_px = share * size[0]
    blur = float(rng.uniform(0, min(2.5, card_px / 150)))
    shot = lens.Shot(
        exposure=float(rng.uniform(0.6, 1.1)),
        loss=float(rng.uniform(0, 0.4)),
        lean=float(rng.uniform(0, 0.3)),
        lean_towards_deg=float(rng.uniform(0, 360)),
        defocus_px=blur,
        motion_px=float(rng.uniform(0, min(3.0, card_px / 120))) * float(rng.random() < 0.4),
        motion_deg=float(rng.uniform(0, 180)),
        full_well=float(np.exp(rng.uniform(np.log(600), np.log(12000)))),
        local=0.35 * float(rng.random() < 0.1),
        gains=tuple(float(g) for g in np.exp(rng.normal(0, 0.06, 3))),  # type: ignore[arg-type]
        tone=float(rng.uniform(0, 0.6)),
        quality=int(rng.integers(75, 96)),
    )
    turn = float(rng.uniform(0, 360))
    return Plan(
        size, share, turn, float(rng.uniform(0, 35)), float(rng.uniform(0, 360)),
        _somewhere(rng, size, card_px), DESIGNS[int(rng.integers(len(DESIGNS)))],
        FIVE_LAMPS[int(rng.integers(5))], (1.0, 1.0, 1.0), TABLE_NAMES[int(rng.integers(len(TABLE_NAMES)))],
        int(rng.integers(0, most_clutter + 1)), shot,
    )  # fmt: skip


def _somewhere(rng: np.random.Generator, size: tuple[int, int], card_px: float) -> tuple[float, float]:
    """Return a middle, as shares of the picture, from which the card does not reach over the edge."""
    reach = 0.64 * card_px * 1.25 / np.array(size)  # half the card's diagonal, and what a tilt brings nearer
    return tuple(float(rng.uniform(min(r, 0.5), max(1 - r, 0.5))) for r in reach)  # type: ignore[return-value]


# Reflectance: base, grain, and how it leans to red.
TABLES = {"oak": (0.3, 0.05, 0.35), "pale": (0.72, 0.02, 0.06), "grey": (0.2, 0.01, 0.0), "dark": (0.07, 0.012, 0.1)}
TABLE_NAMES = tuple(TABLES)


def _table(name: str, size: tuple[int, int], seen: Floats, rng: np.random.Generator) -> Light:
    import cv2

    base, grain, lean = TABLES[name]
    width, height = size
    rough = rng.standard_normal((height // 4, width // 40)).astype(np.float32)
    streaks = cv2.resize(rough, size, interpolation=cv2.INTER_CUBIC)
    spectrum = base * (1 + lean * (camera.NM - 540) / 140)
    light = (spectrum @ seen).astype(np.float32)
    return np.asarray(np.maximum(1 + streaks * grain / base * 0.5, 0.2)[..., None] * light, np.float32)


def _clutter(canvas: Light, count: int, seen: Floats, rng: np.random.Generator) -> Light:
    """Lay prints, strips of swatches and other rectangles about."""
    height, width = canvas.shape[:2]
    for _ in range(count):
        columns, rows = (int(n) for n in rng.integers(1, 8, 2))
        colours = PRINTED[rng.integers(0, len(PRINTED), columns * rows)].reshape(rows, columns, -1) @ seen
        flat = np.repeat(np.repeat(colours, 12, 0), 12, 1)
        if rng.random() < 0.7:
            paper = camera.PAPER @ seen
            flat.reshape(rows, 12, columns, 12, 3)[:, :2] = paper
            flat.reshape(rows, 12, columns, 12, 3)[:, :, :, :2] = paper
            flat = np.pad(flat, ((12, 12), (12, 12), (0, 0)))
            flat[:12], flat[-12:], flat[:, :12], flat[:, -12:] = paper, paper, paper, paper
        side = float(np.exp(rng.uniform(np.log(0.08), np.log(0.6)))) * width
        corners = lens.rectangle(side, side * flat.shape[0] / flat.shape[1], turn_deg=float(rng.uniform(0, 360)))
        canvas = lens.place(canvas, flat, corners + rng.uniform([0, 0], [width, height]), supersample=2)
    return canvas


def table_with_cards(plan: Plan, rng: np.random.Generator) -> tuple[Light, tuple[Floats, ...]]:
    """Return the table in linear light as the lens sees it, and the cards' corners in pixels."""
    seen = seen_as(plan.lamp, balance=plan.balance)
    canvas = _clutter(_table(plan.table, plan.size, seen, rng), plan.clutter, seen, rng)
    reflectance = camera.card_reflectance().copy()
    if plan.faulty is not None:
        reflectance[plan.faulty] = reflectance[23 - plan.faulty]
    flat = flat_card(seen, plan.design, reflectance=reflectance)
    if plan.is_mirrored:
        flat = flat[:, ::-1]
    wide, high = plan.design.size
    laid = []
    for number in range(plan.count):
        at = (plan.at[0] + 0.45 * number) % 1.0, plan.at[1]
        corners = lens.pinhole(
            wide, high, canvas=plan.size, share=plan.share, tilt_deg=plan.tilt_deg,
            tilt_towards_deg=plan.tilt_towards_deg, turn_deg=plan.turn_deg + 90 * number,
            centre=(at[0] * plan.size[0], at[1] * plan.size[1]),
        )  # fmt: skip
        canvas = lens.place(canvas, flat, corners)
        if plan.covered:
            cover = np.array([[-0.2, -0.1], [plan.covered, -0.1], [plan.covered, 1.1], [-0.2, 1.1]])
            whole = lens.homography([[0, 0], [1, 0], [1, 1], [0, 1]], corners)
            paper = np.broadcast_to(camera.PAPER @ seen, (8, 8, 3))
            canvas = lens.place(canvas, paper, lens.moved(whole, cover))
        laid.append(corners)
    return canvas, tuple(laid)


def photograph(plan: Plan, rng: np.random.Generator) -> Photo:
    """Return the photograph a plan asks for."""
    canvas, laid = table_with_cards(plan, rng)
    turns = tuple(round((plan.turn_deg + 90 * n) / 90) % 4 * 90 for n in range(plan.count))
    about = f"{plan.lamp}, {plan.table}, turned {plan.turn_deg:.0f}, tilted {plan.tilt_deg:.0f}"
    return Photo(plan.shot.jpeg(canvas, rng), laid, turns, plan.share, about)


def random_photograph(number: int, *, seed: int = 4) -> Photo:
    """Return one of the bench's photographs by its number; a known share of them turned by right angles."""
    rng = np.random.default_rng([seed, number])
    plan = random_plan(rng)
    if number % 3 == 0:
        plan = replace(plan, turn_deg=float(round(plan.turn_deg / 90) % 4 * 90 + rng.normal(0, 2)))
    return photograph(plan, rng)
