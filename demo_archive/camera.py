"""From tints to a photograph: what light the sheet sends back, and what a camera makes of it.

A colour table per sheet holds the press's answer for every mix of its inks, already seen through the camera's
exposure, white balance and tone curve; Pillow looks it up per pixel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageFilter

from demo_archive.drawing import cloud
from demo_archive.inks import INK_BODIES, SOLID, coverage
from demo_archive.papers import PAPER_BODIES
from demo_archive.press import Conditions, Film, demichel, exchange, films, luck, primaries, tint_curve
from demo_archive.spectra import Floats, encode_srgb, reflectance_to_xyz, xyz_to_linear_rgb
from demo_archive.values import Layer

TILE = 512  # side of the grain tile in pixels
TABLES = {
    "oak": (132, 108, 84),
    "slate": (74, 78, 82),
    "grey board": (118, 118, 114),
}


@dataclass(frozen=True, slots=True)
class Camera:
    """How one shot came out: gains per channel, fall-off towards the corners, blur (pixels) and noise (codes).

    `contrast` is the strength of the maker's tone curve; 0 leaves plain sRGB.
    """

    gains: tuple[float, float, float]
    fall_off: float
    blur: float
    noise: float
    contrast: float
    quality: int


def camera_for(kind: str, rng: np.random.Generator) -> Camera:
    """Return a shot of a copy stand or a phone, with the errors such shots have (common practice)."""
    is_phone = kind == "phone"
    exposure = float(rng.uniform(0.86, 1.03) if is_phone else rng.uniform(0.95, 1.02))
    warm, tint = rng.normal(0, 0.035 if is_phone else 0.010), rng.normal(0, 0.012 if is_phone else 0.004)
    gains = (exposure * (1 + warm), exposure * (1 + tint), exposure * (1 - warm))
    if is_phone:
        return Camera(gains, float(rng.uniform(0.06, 0.16)), 0.6, 2.6, 0.25, 85)
    return Camera(gains, float(rng.uniform(0.01, 0.05)), 0.35, 1.2, 0.0, 90)


def _nodes(ink: str, when: Conditions, count: int) -> Floats:
    """Return the coverages at a table's nodes: even steps over the tints, and the solid by itself at the end."""
    body = INK_BODIES[ink]
    below = coverage(body, body.closes_at - 0.01, gain_factor=_curve_gain(ink, when))
    return np.append(np.linspace(0, below, count - 1), SOLID)


def _curve_gain(ink: str, when: Conditions) -> float:
    """Return the gain factor that the press used, read back from its curve at 50 %."""
    body, middle = INK_BODIES[ink], tint_curve(ink, when)[50]
    plain, grown = coverage(body, 50), coverage(body, 50, gain_factor=2.0)
    return 1 + (middle - plain) / (grown - plain)


def _index_curve(ink: str, when: Conditions, nodes: Floats) -> list[int]:
    """Return, for each 8-bit tint, where its coverage stands between the nodes, as 0-255."""
    tints = np.arange(256) / 2.55
    covers = np.interp(tints, np.arange(101), tint_curve(ink, when))
    body = INK_BODIES[ink]
    covers[tints < body.holds_from] = 0.0
    place = np.interp(covers, nodes[:-1], np.arange(len(nodes) - 1))
    place[tints >= body.closes_at] = len(nodes) - 1
    return [round(float(p) / (len(nodes) - 1) * 255) for p in place]


def _xyz_table(layers: Sequence[Layer], paper: str, when: Conditions, nodes: Sequence[Floats]) -> Floats:
    """Return XYZ at every mix of node coverages, first ink along the first axis.

    A solid's film is thicker than a tint's, so the mixes with a solid in them have their own primaries.
    """
    body = PAPER_BODIES[paper]
    table = np.zeros((*(len(n) for n in nodes), 3))
    for solid in product((False, True), repeat=len(layers)):
        recipe = [
            Layer(layer.ink, 100.0 if full else 50.0, layer.print_pass)
            for layer, full in zip(layers, solid, strict=True)
        ]
        laid: tuple[Film, ...] = films(recipe, body, when)
        parts = [n[-1:] if full else n[:-1] for n, full in zip(nodes, solid, strict=True)]
        covers = np.stack(np.meshgrid(*parts, indexing="ij"), axis=-1)
        where = tuple(slice(-1, None) if full else slice(0, -1) for full in solid)
        table[where] = reflectance_to_xyz(exchange(demichel(covers), primaries(laid, body, when)))
    return table


def _developed(xyz: Floats, camera: Camera) -> Floats:
    """Return encoded RGB in [0, 1] of XYZ as the camera writes it."""
    encoded = encode_srgb(xyz_to_linear_rgb(xyz) * np.array(camera.gains))
    curved = encoded + camera.contrast * 0.35 * encoded * (1 - encoded) * (2 * encoded - 1)
    return np.clip(curved, 0, 1)


def photographed(
    tints: Sequence[Image.Image], layers: Sequence[Layer], paper: str, when: Conditions, camera: Camera
) -> Image.Image:
    """Return the sheet as this camera sees it, before grain, shading and blur.

    Parameters
    ----------
    tints : sequence of 8-bit grey images
        One to three, 255 = 100 % of the file, in the order of `layers`.
    """
    count = 17 if len(layers) < 3 else 9
    nodes = [_nodes(layer.ink, when, count) for layer in layers]
    rgb = _developed(_xyz_table(layers, paper, when, nodes), camera)
    index = [tint.point(_index_curve(layer.ink, when, n)) for tint, layer, n in zip(tints, layers, nodes, strict=True)]
    while len(index) < 3:  # Pillow's table has three axes
        index.append(Image.new("L", tints[0].size, 0))
        rgb = np.stack([rgb, rgb], axis=len(index) - 1)
    size = rgb.shape[:3]
    flat = rgb.transpose(2, 1, 0, 3).reshape(-1).astype(np.float32)
    table = ImageFilter.Color3DLUT(size, flat.tolist(), channels=3, target_mode="RGB")
    return Image.merge("RGB", index).filter(table)


def paper_rgb(paper: str, when: Conditions, camera: Camera) -> tuple[int, int, int]:
    """Return the bare sheet's colour in this shot, 0-255."""
    body = PAPER_BODIES[paper]
    bare = exchange(np.ones(1), primaries((), body, when))
    r, g, b = np.rint(_developed(reflectance_to_xyz(bare), camera) * 255).astype(int)
    return int(r), int(g), int(b)


@lru_cache(maxsize=1)
def _grain_tiles() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Return unevenness of the ink (with pinholes), fibre of the paper and sensor noise, each about 0 on average."""
    rng = luck("grain tile")
    fine = rng.normal(0, 1, (TILE, TILE)).astype(np.float32)
    soft = (fine + np.roll(fine, 1, 0) + np.roll(fine, 1, 1) + np.roll(fine, (1, 1), (0, 1))) / 2
    slow = cloud(rng, TILE, TILE, coarse=24, octaves=3) - 0.5
    ink = 0.6 * soft + 1.5 * slow
    ink[rng.random((TILE, TILE)) < 0.004] += 3.5
    along = soft + np.roll(soft, 2, 1) + np.roll(soft, 4, 1)  # fibres lie along the grain
    sensor = rng.normal(0, 1, (TILE, TILE, 3)).astype(np.float32)
    return ink - ink.mean(), (along - along.mean()) / 2, sensor


def _tiled(tile: NDArray[np.int16], width: int, height: int, shift: tuple[int, int]) -> NDArray[np.int16]:
    turned = np.roll(tile, shift, (0, 1))
    repeats = (-(-height // TILE), -(-width // TILE), *(1 for _ in tile.shape[2:]))
    return np.tile(turned, repeats)[:height, :width]


def with_grain(
    picture: Image.Image, paper: str, bare: tuple[int, int, int], noise: float, rng: np.random.Generator
) -> Image.Image:
    """Return a sheet with uneven ink, pinholes, the paper's fibre and the sensor's noise; colours stay on average."""
    ink, fibre, sensor = _grain_tiles()
    width, height = picture.size
    # Whole numbers in 1/256: four times faster than float over a million pixels, and the same on every machine.
    uneven = np.rint(ink * 0.028 * 256).astype(np.int16)
    added = np.rint(fibre[..., None] * 3.2 * PAPER_BODIES[paper].tooth + sensor * noise).astype(np.int16)
    shift = (int(rng.integers(TILE)), int(rng.integers(TILE)))
    pixels = np.asarray(picture).astype(np.int16)
    towards_paper = (np.array(bare, dtype=np.int16) - pixels) * _tiled(uneven, width, height, shift)[..., None]
    pixels += (towards_paper + 128) >> 8
    pixels += _tiled(added, width, height, shift)
    return Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))


def _shade(width: int, height: int, fall_off: float, has_gutter: bool) -> Image.Image:
    """Return a soft mask that darkens corners and, on a spread, the fold."""
    y, x = np.mgrid[-1:1:64j, -1:1:64j]
    shade = 1 - fall_off * (x**2 + y**2) / 2
    if has_gutter:
        shade = shade * (1 - 0.16 * np.exp(-((x / 0.035) ** 2)))
    small = Image.fromarray(np.clip(shade * 255, 0, 255).astype(np.uint8))
    return small.resize((width, height), Image.Resampling.BICUBIC)


def on_table(sheet: Image.Image, rng: np.random.Generator) -> Image.Image:
    """Return the sheet lying on a table, a little turned, with a soft shadow; the frame keeps the sheet's size."""
    width, height = sheet.size
    surface = TABLES[str(rng.choice(sorted(TABLES)))]
    scene = with_grain(Image.new("RGB", (width, height), surface), "Ryebank 100", surface, 1.5, rng)
    share = float(rng.uniform(0.82, 0.9))
    small = sheet.resize((round(width * share), round(height * share)), Image.Resampling.HAMMING)
    angle = float(rng.normal(0, 0.9))
    mask = Image.new("L", small.size, 0)  # one bare pixel all round, so that the turned edge is smooth
    mask.paste(255, (1, 1, small.width - 1, small.height - 1))
    mask = mask.rotate(angle, Image.Resampling.BILINEAR, expand=True)
    turned = small.rotate(angle, Image.Resampling.BILINEAR, expand=True)
    left, top = ((a - b) // 2 for a, b in zip(scene.size, turned.size, strict=True))
    shadow = Image.new("L", scene.size, 0)
    shadow.paste(mask.point([v * 2 // 5 for v in range(256)]), (left + 5, top + 7))
    shadow = shadow.reduce(4).filter(ImageFilter.GaussianBlur(2)).resize(scene.size)
    scene.paste((20, 20, 20), (0, 0), shadow)
    scene.paste(turned, (left, top), mask)
    return scene


def taken(scene: Image.Image, camera: Camera, *, has_gutter: bool = False) -> Image.Image:
    """Return the shot: fall-off towards the corners and a little blur."""
    shade = _shade(*scene.size, camera.fall_off, has_gutter)
    shaded = ImageChops.multiply(scene, Image.merge("RGB", (shade, shade, shade)))
    return shaded.filter(ImageFilter.BoxBlur(camera.blur))
