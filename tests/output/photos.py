"""Rendered photos of printed pages: what a pen draws on them, how a phone sees them; nothing shared with readers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
import pypdfium2
from numpy.typing import NDArray

PX_PER_MM = 10.0  # of a page before it is photographed
PENS = {"black": (25, 25, 28), "blue": (40, 60, 150), "pencil": (95, 95, 98)}
Picture = NDArray[np.uint8]


def rendered(pdf: bytes, page: int = 0, *, px_per_mm: float = PX_PER_MM) -> Picture:
    """Return a page of a PDF as RGB pixels."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        bitmap = document[page].render(scale=px_per_mm * 25.4 / 72)
        return np.ascontiguousarray(bitmap.to_numpy()[:, :, 2::-1])
    finally:
        document.close()


def tick(
    page: Picture, box: dict[str, Any], rng: np.random.Generator, *, pen: str = "black", width_mm: float = 0.5
) -> None:
    """Draw a tick, a cross or a scribble in a box; tails run over its edge as a hand's do."""
    size, x, y = (float(box[name]) * PX_PER_MM for name in ("size", "x", "y"))
    around = size * rng.normal(0, 0.06, (8, 2))
    shapes = {
        0: [[(0.15, 0.5), (0.4, 0.85), (0.95, 0.0)]],
        1: [[(0.12, 0.12), (0.9, 0.9)], [(0.88, 0.1), (0.1, 0.92)]],
        2: [[(0.1, 0.3), (0.9, 0.25), (0.15, 0.6), (0.85, 0.55), (0.2, 0.85), (0.9, 0.8)]],
    }
    for stroke in shapes[int(rng.integers(3))]:
        points = [(x + size * u + around[i][0], y + size * v + around[i][1]) for i, (u, v) in enumerate(stroke)]
        draw(page, points, pen, width_mm)


def draw(page: Picture, points: Sequence[tuple[float, float]], pen: str, width_mm: float) -> None:
    """Draw one stroke of a pen, in pixels of the page."""
    line = np.array(points).round().astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(page, [line], False, PENS[pen], max(1, round(width_mm * PX_PER_MM)), cv2.LINE_AA)


def photographed(
    page: Picture,
    rng: np.random.Generator,
    *,
    size: tuple[int, int] = (1600, 1200),
    tilt: float = 25.0,
    turn: float | None = None,
    share: float = 0.85,
    curl_mm: float = 3.0,
    blur_px: float = 1.2,
    noise: float = 4.0,
    quality: int = 85,
) -> tuple[Picture, NDArray[np.float64]]:
    """Return the page on a table as a phone sees it, and the page's corners there (clockwise from its upper left).

    Parameters
    ----------
    tilt, turn : float
        Degrees: the most that the camera leans, and how the page lies (any way when left out).
    share : float
        Of the photo's shorter side, how long the page's longer side is.
    curl_mm : float
        How high bent paper stands up, seen as a shift along its tilt.
    """
    curled = _curled(page, curl_mm, rng)
    corners = _corners(curled.shape, size, np.radians(tilt), turn, share, rng)
    height, width = curled.shape[:2]
    on_page = np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(on_page, corners.astype(np.float32))
    small = cv2.GaussianBlur(curled, (0, 0), 1.2)  # so that shrinking does not alias
    table = np.full((size[1], size[0], 3), rng.integers(60, 190, 3), dtype=np.uint8)
    photo = cv2.warpPerspective(small, matrix, size, dst=table, borderMode=cv2.BORDER_TRANSPARENT).astype(np.float32)
    photo *= (_light(size, rng)[:, :, None] * rng.uniform(0.85, 1.0, 3)).astype(np.float32)
    grain = rng.standard_normal(photo.shape, dtype=np.float32) * np.float32(noise)
    photo = cv2.GaussianBlur(photo, (0, 0), blur_px) + grain
    done, encoded = cv2.imencode(
        ".jpg", np.clip(photo, 0, 255).astype(np.uint8)[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    assert done
    return np.ascontiguousarray(cv2.imdecode(encoded, cv2.IMREAD_COLOR)[:, :, ::-1]), corners


def _curled(page: Picture, curl_mm: float, rng: np.random.Generator) -> Picture:
    """Shift the page's middle against its edges, as a bent sheet looks from the side."""
    height, width = page.shape[:2]
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    lift = np.sin(np.pi * columns / width) * np.float32(curl_mm * PX_PER_MM * 0.3)
    angle = rng.uniform(0, 2 * np.pi)
    moved_x, moved_y = columns + lift * np.float32(np.cos(angle)), rows + lift * np.float32(np.sin(angle))
    return np.asarray(
        cv2.remap(page, moved_x, moved_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8
    )


def _corners(
    shape: tuple[int, ...],
    size: tuple[int, int],
    tilt: float,
    turn: float | None,
    share: float,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Return where a camera that leans over a page sees its corners."""
    height, width = shape[:2]
    flat = np.array([(-width, -height), (width, -height), (width, height), (-width, height)]) / (2 * max(width, height))
    angle = rng.uniform(0, 2 * np.pi) if turn is None else np.radians(turn)
    turned = flat @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    lean, towards = rng.uniform(0, tilt), rng.uniform(0, 2 * np.pi)
    away = turned @ np.array([np.cos(towards), np.sin(towards)])
    across = turned - np.outer(away, [np.cos(towards), np.sin(towards)])
    seen = across + np.outer(away * np.cos(lean), [np.cos(towards), np.sin(towards)])
    seen /= (1 + away * np.sin(lean) / 2)[:, None]  # the eye is two page lengths away
    scaled = seen * share * min(size)
    room = np.array(size) / 2 - np.abs(scaled).max(axis=0) - 10
    middle = np.array(size) / 2 + rng.uniform(-1, 1, 2) * np.maximum(room, 0)
    return np.asarray(scaled + middle, dtype=np.float64)


def _light(size: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float64]:
    """Return lamp light that falls off across the table, 0.45 to 1."""
    columns, rows = np.meshgrid(np.linspace(-1, 1, size[0]), np.linspace(-1, 1, size[1]))
    centre = rng.uniform(-1, 1, 2)
    return np.asarray(np.clip(1 - 0.22 * ((columns - centre[0]) ** 2 + (rows - centre[1]) ** 2) ** 0.8, 0.45, 1))
