"""A camera over a table, for tests: flat pictures in linear light go in, the JPEG a camera would write comes out.

It is test code and imports nothing of the archive, so that nothing is checked against itself. Light is proportional
to energy, 1.0 is what the sensor can hold just before it clips. Points are (x, y) in pixels, measured from the upper
left corner of the picture, so that the centre of its first pixel is (0.5, 0.5) and a point keeps its place when the
picture is scaled. Corners go clockwise from the upper left of the thing as it is read upright.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image

Floats = NDArray[np.float64]
Light = NDArray[np.float32]


# --- where things lie ---------------------------------------------------------------------------------------


def homography(points: ArrayLike, to_points: ArrayLike) -> Floats:
    """Return the (3, 3) matrix that takes four points to four others."""
    rows, right = [], []
    for (x, y), (u, v) in zip(np.asarray(points, float), np.asarray(to_points, float), strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)


def moved(matrix: Floats, points: ArrayLike) -> Floats:
    """Return (n, 2) points taken through a homography."""
    points = np.asarray(points, float)
    flat = np.c_[points, np.ones(len(points))] @ matrix.T
    return flat[:, :2] / flat[:, 2:]


@dataclass(frozen=True, slots=True)
class View:
    """A pinhole camera over a flat table; `project` takes table millimetres to picture pixels.

    `tilt_deg` leans the camera from the plumb line, towards the direction `tilt_towards_deg` on the table;
    `turn_deg` turns it about its axis, clockwise as the picture is seen. `focal` is the focal length in picture
    widths: 0.75 is a phone's main lens. A table point `look_at_mm` falls on the picture's middle plus `shift_px`.
    """

    width: int
    height: int
    px_per_mm: float  # at the point looked at
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 90.0
    turn_deg: float = 0.0
    look_at_mm: tuple[float, float] = (0.0, 0.0)
    shift_px: tuple[float, float] = (0.0, 0.0)
    focal: float = 0.75

    def project(self, points_mm: ArrayLike) -> Floats:
        """Return (n, 2) pixels of (n, 2) table points, x to the right and y down in the unturned picture."""
        points = np.asarray(points_mm, float) - self.look_at_mm
        turn, lean, towards = np.radians([self.turn_deg, self.tilt_deg, self.tilt_towards_deg])
        along = points @ [np.cos(towards), np.sin(towards)]
        across = points @ [-np.sin(towards), np.cos(towards)]
        focal_px = self.focal * self.width
        depth = focal_px / self.px_per_mm + along * np.sin(lean)
        flat = np.c_[along * np.cos(lean), across] * (focal_px / depth)[:, None]
        # Back from the axes of the lean to those of the table, then turned with the camera.
        angle = towards + turn
        axes = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        return flat @ axes + np.array([self.width / 2, self.height / 2]) + self.shift_px


def rectangle(width: float, height: float, *, at: tuple[float, float] = (0.0, 0.0), turn_deg: float = 0.0) -> Floats:
    """Return the corners of a rectangle lying on the table, its middle at `at`, turned clockwise."""
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
    turn = np.radians(turn_deg)
    return corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + at


def pinhole(
    width_mm: float,
    height_mm: float,
    *,
    canvas: tuple[int, int],
    share: float = 0.4,
    tilt_deg: float = 0.0,
    tilt_towards_deg: float = 90.0,
    turn_deg: float = 0.0,
    centre: tuple[float, float] | None = None,
    focal: float = 0.75,
) -> Floats:
    """Return the corners in pixels of one rectangle photographed alone.

    Parameters
    ----------
    canvas : (int, int)
        Width and height of the photograph.
    share : float
        The rectangle's width as a share of the photograph's, were it neither turned nor tilted.
    tilt_deg, tilt_towards_deg, turn_deg, focal
        See `View`; the turn is the rectangle's, clockwise.
    centre : (float, float), optional
        Where its middle falls, in pixels.
    """
    width, height = canvas
    shift = (0.0, 0.0) if centre is None else (centre[0] - width / 2, centre[1] - height / 2)
    view = View(width, height, share * width / width_mm, tilt_deg, tilt_towards_deg, 0.0, (0.0, 0.0), shift, focal)
    return view.project(rectangle(width_mm, height_mm, turn_deg=turn_deg))


def place(
    canvas: Light, flat: ArrayLike, corners: ArrayLike, *, cover: ArrayLike | None = None, supersample: int = 3
) -> Light:
    """Return the canvas with a flat picture laid on it, its four corners at the given pixels.

    Each pixel is the mean of the light that falls on it: the flat picture is averaged down to the sampling's
    fineness, sampled `supersample` times a pixel each way, and averaged again.

    Parameters
    ----------
    canvas : (h, w, 3) float32
    flat : (H, W, 3) array_like of linear light
    corners : (4, 2) array_like
        Where its upper left, upper right, lower right and lower left corners go; may lie outside the canvas.
    cover : (H, W) array_like of 0-1, optional
        How opaque the flat picture is; everywhere opaque unless given.
    """
    import cv2

    flat, corners = np.asarray(flat, np.float32), np.asarray(corners, float)
    height, width = canvas.shape[:2]
    left, top = np.clip(np.floor(corners.min(0)).astype(int) - 1, 0, [width, height])
    right, bottom = np.clip(np.ceil(corners.max(0)).astype(int) + 1, 0, [width, height])
    if right <= left or bottom <= top:
        return canvas.copy()
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1) * supersample
    size = np.minimum([flat.shape[1], flat.shape[0]], np.ceil([max(sides[0::2]), max(sides[1::2])]).astype(int) + 1)
    opaque = np.ones(flat.shape[:2], np.float32) if cover is None else np.asarray(cover, np.float32)
    layers = np.dstack([flat * opaque[..., None], opaque])
    if tuple(size) != (flat.shape[1], flat.shape[0]):
        layers = cv2.resize(layers, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA)
    whole = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], float)
    matrix = homography(whole, (corners - [left, top]) * supersample)
    # OpenCV counts from the centre of the first pixel: half a pixel off on both sides.
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    matrix = np.linalg.inv(half) @ matrix @ half
    fine = cv2.warpPerspective(
        np.pad(layers, ((1, 1), (1, 1), (0, 0))),
        matrix @ np.array([[1, 0, -1], [0, 1, -1], [0, 0, 1.0]]),
        (int(right - left) * supersample, int(bottom - top) * supersample),
        flags=cv2.INTER_LINEAR,
    )
    laid = cv2.resize(fine, (int(right - left), int(bottom - top)), interpolation=cv2.INTER_AREA)
    result = canvas.copy()
    under = result[top:bottom, left:right]
    result[top:bottom, left:right] = under * (1 - laid[..., 3:]) + laid[..., :3]
    return result


# --- what lamps and lens do to the light --------------------------------------------------------------------


def _across(shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Return x and y of each pixel from the middle, the half diagonal being 1."""
    height, width = shape[:2]
    half = np.hypot(width, height) / 2
    y, x = np.mgrid[0:height, 0:width]
    return (x + 0.5 - width / 2) / half, (y + 0.5 - height / 2) / half


def fall_off(shape: tuple[int, ...], loss: float, *, centre: tuple[float, float] = (0.0, 0.0)) -> Light:
    """Return an (h, w) field, 1 at the centre, from which light falls by about `loss` towards the corners."""
    x, y = _across(shape)
    square = (x - centre[0]) ** 2 + (y - centre[1]) ** 2
    # cos^4 has both terms; the mixture is a lens's own.
    return np.asarray(1 - loss * (0.75 * square + 0.25 * square**2), np.float32)


def lamps(shape: tuple[int, ...], lean: float, *, towards_deg: float = 0.0, hollow: float = 0.0) -> Light:
    """Return an (h, w) field of two unequal lamps: brighter on one side by `lean`, darker between them by `hollow`."""
    x, y = _across(shape)
    along = x * np.cos(np.radians(towards_deg)) + y * np.sin(np.radians(towards_deg))
    field = 1 + lean * along / 2 + hollow * (along**2 - 1)
    return np.asarray(field / field.max(), np.float32)


def defocus(light: Light, radius_px: float) -> Light:
    """Return the light spread over a disc of the given radius."""
    if radius_px < 0.3:
        return light
    reach = int(np.ceil(radius_px))
    fine = (np.arange(-reach * 8 - 4, reach * 8 + 4) + 0.5) / 8
    disc = (np.hypot(fine[:, None], fine[None]) <= radius_px).astype(np.float32)
    return _spread(light, disc.reshape(2 * reach + 1, 8, 2 * reach + 1, 8).mean((1, 3)))


def motion(light: Light, length_px: float, *, angle_deg: float = 0.0) -> Light:
    """Return the light smeared along a straight line, as a shaken hand does."""
    if length_px < 0.3:
        return light
    reach = int(np.ceil(length_px / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    for step in np.linspace(-0.5, 0.5, 40 * reach) * length_px:
        x, y = reach + step * np.cos(np.radians(angle_deg)), reach + step * np.sin(np.radians(angle_deg))
        i, j = int(y), int(x)
        for row, down in ((i, 1 - (y - i)), (i + 1, y - i)):
            for column, right in ((j, 1 - (x - j)), (j + 1, x - j)):
                if row < len(kernel) and column < len(kernel):
                    kernel[row, column] += down * right
    return _spread(light, kernel)


def _spread(light: Light, kernel: Light) -> Light:
    import cv2

    spread: Light = cv2.filter2D(light, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)
    return spread


def shot_noise(light: Light, rng: np.random.Generator, *, full_well: float = 8000.0, read: float = 4.0) -> Light:
    """Return the light with the noise of counted electrons: `full_well` of them at 1.0, `read` more by reading out."""
    spread = np.sqrt(np.maximum(light, 0) * full_well + read**2, dtype=np.float32) / full_well
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    return np.asarray(light + noise * spread, np.float32)


# --- what the camera makes of it ----------------------------------------------------------------------------


def local_tone_map(light: Light, *, strength: float = 0.35, reach: float = 0.06) -> Light:
    """Return the light as phones brighten what is dark around: large differences shrink, small ones stay.

    The surrounding's brightness (a blur of log light over `reach` of the width) is raised to the power 1 - strength.
    """
    import cv2

    grey = np.log(np.maximum(light @ np.array([0.25, 0.6, 0.15], np.float32), 2e-3))
    small = cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    base = cv2.GaussianBlur(small, (0, 0), max(reach * small.shape[1], 1.0), borderType=cv2.BORDER_REFLECT)
    base = cv2.resize(base, (light.shape[1], light.shape[0]), interpolation=cv2.INTER_LINEAR)
    anchor = float(np.percentile(base, 95))
    return np.asarray(light * np.exp(-strength * (base - anchor))[..., None], np.float32)


def srgb_encoded(light: ArrayLike) -> Floats:
    """Return values 0-1 encoded by the curve of IEC 61966-2-1; what clips is cut."""
    light = np.clip(np.asarray(light, float), 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def toned(encoded: ArrayLike, strength: float) -> Floats:
    """Return encoded values through an S-shaped tone curve: 0 none, 0.3 moderate, 0.6 strong."""
    encoded = np.asarray(encoded, float)
    return (1 - strength) * encoded + strength * encoded**2 * (3 - 2 * encoded)


def encoded_8_bit(
    light: Light, *, gains: tuple[float, float, float] = (1.0, 1.0, 1.0), tone: float = 0.0
) -> NDArray[np.uint8]:
    """Return (h, w, 3) bytes: white balance by `gains`, clipping, the sRGB curve, the camera's tone curve."""
    levels = toned(srgb_encoded(np.linspace(0, 1, 8192)), tone) * 255
    balanced = np.clip(light * np.asarray(gains, np.float32), 0, 1)
    return np.round(levels).astype(np.uint8)[np.round(balanced * 8191).astype(np.uint16)]


def jpeg(pixels: NDArray[np.uint8], *, quality: int = 90, **save: Any) -> bytes:
    """Return a JPEG with chroma at half width and height; `save` may carry `exif` or `icc_profile`."""
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", quality=quality, subsampling=2, **save)
    return stream.getvalue()


def opened(data: bytes) -> NDArray[np.uint8]:
    """Return the (h, w, 3) bytes a JPEG or PNG decodes to."""
    with Image.open(io.BytesIO(data)) as picture:
        return np.asarray(picture.convert("RGB"))


@dataclass(frozen=True, slots=True)
class Shot:
    """What happens between the table and the file, in the order in which light and camera do it."""

    exposure: float = 1.0
    loss: float = 0.0  # of light at the corners
    lean: float = 0.0  # between two unequal lamps
    lean_towards_deg: float = 0.0
    defocus_px: float = 0.0
    motion_px: float = 0.0
    motion_deg: float = 0.0
    full_well: float | None = 8000.0  # electrons at 1.0; None: no noise
    local: float = 0.0  # strength of a local tone map
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0)
    tone: float = 0.0
    quality: int = 90

    def lit(self, light: Light) -> Light:
        """Return the light that reaches the sensor."""
        field = fall_off(light.shape, self.loss) * lamps(light.shape, self.lean, towards_deg=self.lean_towards_deg)
        lit = defocus(light * (self.exposure * field)[..., None], self.defocus_px)
        return motion(lit, self.motion_px, angle_deg=self.motion_deg)

    def pixels(self, light: Light, rng: np.random.Generator) -> NDArray[np.uint8]:
        """Return the (h, w, 3) bytes the camera hands to its JPEG encoder."""
        lit = self.lit(light)
        if self.full_well is not None:
            lit = np.minimum(shot_noise(lit, rng, full_well=self.full_well), 1.0)
        if self.local:
            lit = local_tone_map(lit, strength=self.local)
        return encoded_8_bit(lit, gains=self.gains, tone=self.tone)

    def jpeg(self, light: Light, rng: np.random.Generator, **save: Any) -> bytes:
        """Return the camera's JPEG of a table in linear light."""
        return jpeg(self.pixels(light, rng), quality=self.quality, **save)
