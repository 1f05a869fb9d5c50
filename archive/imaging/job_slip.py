"""Reading a photographed job slip: its code, and which of its boxes are ticked.

The slip's layout comes as plain values, in millimetres. The photo is laid on it by the corner marks; what bent paper
leaves over is taken from the printed frames of the boxes themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.errors import InputError
from archive.imaging.codes import Point, grey_of, read_codes

Floats = NDArray[np.float64]
Light = NDArray[np.float32]
_PX_PER_MM = 10.0  # of the flattened slip
_LEAST_MARKS = 3  # of the four: a thumb may lie on one
_SEARCH_MM = 2.4  # how far a frame is looked for from where it should be: less than half the way to the next
_FRAME_OFF_MM = 0.35  # how far a frame may lie off the bend of the paper
_LEAST_FRAMES = 0.8  # share of the frames that must lie on it
_FRAME_MM, _INSET_MM = 0.3, 0.75  # the printed line, and how much of a box's edge is left out
_TICKED, _EMPTY = 0.07, 0.045  # mean darkness inside a box, paper 0, black 1: thin ticks begin at about 0.14
_STROKE, _REACH = 0.22, 0.55  # what counts as ink, and how much of a box's side a tick reaches across
_CLEARLY_LESS = 1 / 3  # of the tick beside it: a tail that runs into the next box


@dataclass(frozen=True, slots=True)
class BoxReading:
    """One box: `state` is ticked, empty or doubt; `darkness` is what is in it beyond an empty one, 0 to 1."""

    group: str
    value: str
    state: str
    darkness: float


@dataclass(frozen=True, slots=True)
class SlipReading:
    """What a slip says.

    Parameters
    ----------
    code : str or None
        What its code says; None when it could not be read.
    ticked : dict
        The value of every group with one sure tick.
    in_doubt : dict
        The values to choose from, of every group where a person must look: half a tick, or more than one.
    boxes : tuple of BoxReading
    corners_px : tuple of points
        The slip's corners in the picture, clockwise from its upper left.
    residual_mm : float
        How far the corner marks lie from a flat sheet's, root mean square.
    """

    code: str | None
    ticked: dict[str, str]
    in_doubt: dict[str, tuple[str, ...]]
    boxes: tuple[BoxReading, ...]
    corners_px: tuple[Point, Point, Point, Point]
    residual_mm: float


def read_slip(pixels: NDArray[Any], layout: dict[str, Any]) -> SlipReading:
    """Return which boxes of a photographed slip are ticked.

    Parameters
    ----------
    pixels : (height, width) or (height, width, 3) ndarray of uint8 or uint16
        The upright photo, grey or RGB as encoded; turned, tilted, anything round the slip.
    layout : dict
        `code`, `width`, `height`, `dictionary`, `marks`, `boxes` as they were printed.

    Raises
    ------
    InputError
        The slip is not found, is another one, is there twice, or is too bent.
    """
    code = _same_code(pixels, layout)
    to_photo, residual = _place_slip(grey_of(pixels), layout)
    darkness = _darkness(_flattened(pixels, to_photo, layout))
    shifts = _shifts(darkness, layout["boxes"])
    inside = [_inside(darkness, box, shift) for box, shift in zip(layout["boxes"], shifts, strict=True)]
    means = sorted(float(each.mean()) for each in inside)
    least = float(np.median(means[: max(1, len(means) // 2)]))  # of empty boxes: most of them are
    boxes = tuple(_judged(box, each, least) for box, each in zip(layout["boxes"], inside, strict=True))
    ticked, in_doubt = _by_group(boxes)
    return SlipReading(code, ticked, in_doubt, boxes, _corners(to_photo, layout), residual)


def _same_code(pixels: NDArray[Any], layout: dict[str, Any]) -> str | None:
    """Return the slip's code when it is seen; refuse when only other slips' are."""
    wanted = str(layout["code"])
    kind = wanted.rpartition(":")[0]
    slips = [code.text for code in read_codes(pixels, thorough=True) if code.text.startswith(f"{kind}:")]
    if slips and wanted not in slips:
        raise InputError(
            "the picture shows another slip: {code}", code=slips[0], mend="Read it with the layout of that slip"
        )
    return wanted if slips else None


def looks_like_slip(pixels: NDArray[Any], dictionary: str = "4x4_50") -> bool:
    """Return whether a picture shows the corner marks of a slip: worth a thorough look for its code."""
    numbers = {number for number, _ in _find_marks(grey_of(pixels), dictionary)}
    return len(numbers & {0, 1, 2, 3}) >= _LEAST_MARKS


# --- laying the photo on the layout -----------------------------------------------------------------------


def _place_slip(grey: NDArray[np.uint8], layout: dict[str, Any]) -> tuple[Floats, float]:
    """Return the 3 × 3 matrix from millimetres on the slip to pixels, and the marks' residual in millimetres."""
    import cv2

    found = _find_marks(grey, str(layout["dictionary"]))
    known = {int(mark["id"]): _square(mark) for mark in layout["marks"]}
    seen = [(known[number], corners) for number, corners in found if number in known]
    if len({number for number, _ in found if number in known}) < len(seen):
        raise InputError("the picture shows two slips", mend="Photograph one at a time")
    if len(seen) < _LEAST_MARKS:
        raise InputError(
            "only {count} of the {all} corner marks of the slip are found",
            count=len(seen),
            all=len(known),
            mend="Photograph the slip whole, flat and sharp, with nothing on its corners",
        )
    on_slip = np.concatenate([corners for corners, _ in seen])
    in_photo = np.concatenate([corners for _, corners in seen])
    to_photo, _ = cv2.findHomography(on_slip, in_photo, 0)
    back = cv2.perspectiveTransform(in_photo[None], np.linalg.inv(to_photo))[0]
    residual = float(np.sqrt(((back - on_slip) ** 2).sum(axis=1).mean()))
    return np.asarray(to_photo, dtype=np.float64), residual


def _find_marks(grey: NDArray[np.uint8], dictionary: str) -> list[tuple[int, Floats]]:
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    kind = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{dictionary.upper()}"))
    corners, numbers, _ = cv2.aruco.ArucoDetector(kind, settings).detectMarkers(grey)
    if numbers is None:
        return []
    pairs = zip(np.ravel(numbers), corners, strict=True)
    # pixel centres lie at whole numbers there, and at halves everywhere else in the archive
    return [(int(number), np.asarray(four, dtype=np.float64).reshape(4, 2) + 0.5) for number, four in pairs]


def _square(box: dict[str, Any]) -> Floats:
    x, y, size = float(box["x"]), float(box["y"]), float(box["size"])
    return np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)])


def _flattened(pixels: NDArray[Any], to_photo: Floats, layout: dict[str, Any]) -> Light:
    """Return the slip seen straight from above, RGB or grey with a channel axis, 0 to 1."""
    import cv2

    size = round(layout["width"] * _PX_PER_MM), round(layout["height"] * _PX_PER_MM)
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])  # as above: to centres at whole numbers
    to_mm = np.diag([1 / _PX_PER_MM, 1 / _PX_PER_MM, 1.0])
    matrix = half @ to_photo @ to_mm @ np.linalg.inv(half)
    flat = cv2.warpPerspective(pixels, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    full = 65535 if pixels.dtype == np.uint16 else 255
    return np.asarray(flat.reshape(*flat.shape[:2], -1), dtype=np.float32) / np.float32(full)


def _darkness(flat: Light) -> Light:
    """Return how dark each pixel is against the paper round it, 0 to 1, by its darkest channel.

    The darkest channel, because a blue pen is bright in blue and dark in red.
    """
    import cv2

    height, width, channels = flat.shape
    coarse = (max(1, round(width / _PX_PER_MM)), max(1, round(height / _PX_PER_MM)))  # one pixel a millimetre
    darkness = np.zeros((height, width), dtype=np.float32)
    around = np.ones((15, 15), dtype=np.uint8)
    for channel in range(channels):
        plane = np.ascontiguousarray(flat[:, :, channel])
        small = cv2.medianBlur(cv2.resize(plane, coarse, interpolation=cv2.INTER_AREA), 3)
        paper = cv2.GaussianBlur(cv2.dilate(small, around), (0, 0), 6.0)
        paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
        darkness = np.maximum(darkness, 1 - np.clip(plane / np.maximum(paper, 0.02), 0, 1))
    return darkness


# --- the boxes --------------------------------------------------------------------------------------------


def _shifts(darkness: Light, boxes: list[dict[str, Any]]) -> Floats:
    """Return how far each box lies from its place, (n, 2) in millimetres: one smooth bend of the paper for all."""
    found = np.array([_shift_of_frame(darkness, box) for box in boxes])
    centres = np.array([(box["x"] + box["size"] / 2, box["y"] + box["size"] / 2) for box in boxes], dtype=np.float64)
    x, y = ((centres - centres.mean(axis=0)) / 100).T
    terms = np.stack([np.ones_like(x), x, y, x * y, x * x, y * y], axis=1)
    kept = np.ones(len(boxes), dtype=bool)
    for _ in range(4):
        bend = terms @ np.linalg.lstsq(terms[kept], found[kept], rcond=None)[0]
        off = np.hypot(*(found - bend).T)
        kept = off <= max(_FRAME_OFF_MM, 1.5 * float(np.median(off)))  # a thick tick pulls its own frame aside
    if (off <= _FRAME_OFF_MM).mean() < _LEAST_FRAMES:
        raise InputError("the slip is too bent to be read", mend="Lay it flat and photograph it again")
    return np.asarray(bend, dtype=np.float64)


def _shift_of_frame(darkness: Light, box: dict[str, Any]) -> tuple[float, float]:
    """Return where a box's printed frame lies best, from where it should be, in millimetres."""
    import cv2

    size, reach = round(box["size"] * _PX_PER_MM), round(_SEARCH_MM * _PX_PER_MM)
    left, top = round(box["x"] * _PX_PER_MM), round(box["y"] * _PX_PER_MM)
    line = round(_FRAME_MM * _PX_PER_MM)
    frame = np.ones((size + 2 * line, size + 2 * line), dtype=np.float32)  # one line's width of paper outside
    frame[2 * line : -2 * line, 2 * line : -2 * line] = 0
    frame[:line], frame[-line:], frame[:, :line], frame[:, -line:] = 0, 0, 0, 0
    frame -= frame.mean()
    reach += line
    part = darkness[top - reach : top + size + reach, left - reach : left + size + reach]
    if part.shape != (size + 2 * reach, size + 2 * reach):
        return 0.0, 0.0
    _, _, _, best = cv2.minMaxLoc(cv2.matchTemplate(part, frame, cv2.TM_CCORR))
    offset = reach - line
    return (best[0] - offset) / _PX_PER_MM, (best[1] - offset) / _PX_PER_MM


def _inside(darkness: Light, box: dict[str, Any], shift: Floats) -> Light:
    """Return the darkness inside a box, its frame left out."""
    x, y = float(box["x"]) + shift[0] + _INSET_MM, float(box["y"]) + shift[1] + _INSET_MM
    side = float(box["size"]) - 2 * _INSET_MM
    rows = slice(max(0, round(y * _PX_PER_MM)), max(1, round((y + side) * _PX_PER_MM)))
    columns = slice(max(0, round(x * _PX_PER_MM)), max(1, round((x + side) * _PX_PER_MM)))
    return darkness[rows, columns]


def _judged(box: dict[str, Any], inside: Light, least: float) -> BoxReading:
    darkness = max(0.0, float(inside.mean()) - least)
    return BoxReading(str(box["group"]), str(box["value"]), _state(inside, darkness), darkness)


def _state(inside: Light, darkness: float) -> str:
    if darkness < _EMPTY:
        return "empty"
    return "ticked" if darkness >= _TICKED and _reach(inside) >= _REACH else "doubt"


def _reach(inside: Light) -> float:
    """Return how much of the box's side its strokes reach across, the longer way; a dot reaches nowhere."""
    places = np.argwhere(inside > _STROKE)
    if len(places) == 0:
        return 0.0
    first, last = np.percentile(places, (2, 98), axis=0)  # single grains of noise do not count
    return float(((last - first) / inside.shape).max())


def _by_group(boxes: tuple[BoxReading, ...]) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """Return the sure ticks, and the groups where a person must choose."""
    ticked: dict[str, str] = {}
    in_doubt: dict[str, tuple[str, ...]] = {}
    for group in dict.fromkeys(box.group for box in boxes):
        marked = [box for box in boxes if box.group == group and box.state != "empty"]
        darkest = max(marked, key=lambda box: box.darkness, default=None)
        if darkest is None:
            continue
        rivals = [box for box in marked if box.darkness >= _CLEARLY_LESS * darkest.darkness]
        if darkest.state == "ticked" and len(rivals) == 1:
            ticked[group] = darkest.value
        else:
            in_doubt[group] = tuple(box.value for box in rivals)
    return ticked, in_doubt


def _corners(to_photo: Floats, layout: dict[str, Any]) -> tuple[Point, Point, Point, Point]:
    import cv2

    width, height = float(layout["width"]), float(layout["height"])
    on_slip = np.array([[(0, 0), (width, 0), (width, height), (0, height)]], dtype=np.float64)
    first, second, third, fourth = ((float(x), float(y)) for x, y in cv2.perspectiveTransform(on_slip, to_photo)[0])
    return first, second, third, fourth
