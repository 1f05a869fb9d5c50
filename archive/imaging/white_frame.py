"""A shot of a white sheet, judged, and the uneven light it shows.

The light of lamps and lens is a smooth field over the picture. A sheet that fills the picture shows it; dividing by
it, per channel and in linear light, comes before every other correction. What clipped cannot be brought back, so that
a white shot is refused rather than half believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats, xyz_to_lab
from archive.errors import InputError, Notice
from archive.imaging.decode import resize_light
from archive.imaging.fall_off import KNOTS, FallOff, field_of, places, polynomial_terms, robust_fit
from archive.imaging.linear import LinearPicture
from archive.imaging.profiles import Light

JUDGED_AT = 480  # pixels of the long side at which the sheet is judged: noise is averaged, print is not
MOST_CLIPPED = 0.005  # share of the picture [own choice]
DARKEST = 0.12  # linear level of the brightest channel, three stops below white [own choice]
AIM = 0.8  # linear level that the brightest place of a white sheet should have [own choice]
MOST_FALL = 0.6  # from the brightest to the darkest place: beyond it the dark side is mostly noise [own choice]
TOLD_FALL = 0.4  # worth setting the lamps anew [own choice]
STRUCTURE = 0.03  # of the light: what paper's cockles stay below [own choice]
MOST_STRUCTURE = 0.01  # share of the picture that may differ by more [own choice]
DUST_SHARE = 0.002  # of the picture: a dark spot up to this size is dust, larger is print [own choice]
CAST = 18.0  # C*ab of the sheet [own choice]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class WhiteFrame:
    """A white shot that was taken: its field, what was measured, and what a person should know.

    clipped : share of the picture; level : linear level of the brightest place in its brightest channel;
    dust : spots smoothed away; lab : the sheet's colour by the file's own profile, uncorrected.
    """

    fall_off: FallOff
    clipped: float
    level: float
    dust: int
    lab: tuple[float, float, float]
    notices: tuple[Notice, ...]


def judge_white(picture: LinearPicture) -> WhiteFrame:
    """Return the field of light that a white-sheet shot shows, once the shot has stood every test.

    Parameters
    ----------
    picture : LinearPicture
        The sheet fills it; 1000 to 2000 pixels a side are plenty.

    Raises
    ------
    InputError
        Too bright (with the stops to take away, worked out from the light around what clipped), too dark, light that
        falls off too far, or not blank: each with the mend.
    """
    light = np.maximum(resize_light(picture.light, JUDGED_AT), 1e-6)
    share = resize_light(picture.clipped, JUDGED_AT)
    clipped = float(picture.clipped.mean())
    is_whole = share < 0.02
    if clipped > MOST_CLIPPED:
        raise _too_bright(light, is_whole, clipped, picture.name)
    smooth = np.stack([_smooth(np.log(light[..., n]), is_whole) for n in range(3)], axis=2)
    level = float(np.percentile(np.exp(smooth), 99.5, axis=(0, 1)).max())
    if level < DARKEST:
        raise InputError(
            "too dark: raise exposure about {stops}",
            stops=_stops_words(np.log2(AIM / max(level, 1e-3))),
            where=picture.name,
            mend="Expose the white sheet until it is just short of white.",
        )
    dust_mask, dust = _blank_but_for_dust((np.log(light) - smooth).mean(2), is_whole, picture.name)
    fall_off = _learnt(light, smooth, is_whole & ~dust_mask, picture)
    if fall_off.fall > MOST_FALL:
        raise InputError(
            "the light is too uneven: the darkest place has {least} % of the brightest",
            least=round(100 * (1 - fall_off.fall)),
            where=picture.name,
            mend="Move the lamps further away, to equal distances at 45 degrees, and shoot the sheet again.",
        )
    lab = xyz_to_lab(np.clip(np.median(np.exp(smooth) @ picture.to_xyz, axis=(0, 1)), 0, 2))
    notices = _told(fall_off, dust, lab, picture.name)
    return WhiteFrame(fall_off, clipped, level, dust, (float(lab[0]), float(lab[1]), float(lab[2])), notices)


# --- the parts of the judgement -----------------------------------------------------------------------------


def _too_bright(light: Light, is_whole: NDArray[np.bool_], clipped: float, name: str) -> InputError:
    """Return the refusal of a shot that clipped, with how much less light it needs."""
    brightest = light[..., int(np.argmax(light.mean((0, 1))))]
    peak = float(brightest.max())
    if is_whole.mean() > 0.3:
        # The light around what clipped says how bright it would have become.
        y, x = places(brightest.shape)
        terms = robust_fit(polynomial_terms(x[is_whole], y[is_whole], 2), np.log(brightest[is_whole]))
        beyond = np.exp(polynomial_terms(x[~is_whole], y[~is_whole], 2) @ terms)
        peak = max(peak, float(np.percentile(beyond, 99)))
    return InputError(
        "too bright: lower exposure about {stops} ({clipped} % of the sheet is clipped)",
        stops=_stops_words(np.log2(peak / AIM)) if is_whole.mean() > 0.3 else "1 stop or more",
        clipped=round(100 * clipped, 1),
        where=name,
        mend="Shoot the white sheet again; what is clipped cannot be corrected.",
    )


def _stops_words(stops: float) -> str:
    """Return stops in thirds, as cameras count them: "1/3 stop", "1 stop", "1 2/3 stops"."""
    thirds = max(int(np.ceil(3 * float(stops) - 0.2)), 1)
    whole, rest = divmod(thirds, 3)
    words = " ".join(part for part in (str(whole) if whole else "", f"{rest}/3" if rest else "") if part)
    return f"{words} {'stop' if thirds <= 3 else 'stops'}"


def _blank_but_for_dust(ratio: Floats, is_whole: NDArray[np.bool_], name: str) -> tuple[NDArray[np.bool_], int]:
    """Return where dust lies and how many spots of it; refuse a sheet with anything larger on it."""
    import cv2

    # Fine noise is averaged away; what print, an edge or a hand leaves is larger.
    even = cv2.GaussianBlur(ratio.astype(np.float32), (0, 0), 1.2)
    odd = (np.abs(even) > STRUCTURE) & is_whole
    count, labels, stats, _ = cv2.connectedComponentsWithStats(odd.astype(np.uint8), connectivity=8)
    area = stats[:, cv2.CC_STAT_AREA]
    dark = np.bincount(labels.ravel(), weights=even.ravel(), minlength=count) < 0
    is_dust = (area <= DUST_SHARE * odd.size) & dark
    is_dust[0] = False
    rest = float(area[1:][~is_dust[1:]].sum()) / odd.size
    total = float(area[1:].sum()) / odd.size
    if rest > MOST_STRUCTURE or total > 3 * MOST_STRUCTURE:
        raise InputError(
            "the sheet is not blank: there is something on it, or it does not fill the picture",
            where=name,
            mend="Fill the whole picture with a blank white sheet, without its edges, and shoot it again.",
        )
    mask = cv2.dilate(is_dust[labels].astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    return mask, int((is_dust & (area >= 3)).sum())


def _learnt(light: Light, smooth: Floats, kept: NDArray[np.bool_], picture: LinearPicture) -> FallOff:
    """Return the field: the smooth one, bent by what the sheet shows in broad strokes."""
    import cv2

    reach = JUDGED_AT / 16  # pixels: wide enough to pass over cockles and specks, not over lamps
    weight = kept.astype(np.float32)
    rest = np.where(kept[..., None], np.log(light) - smooth, 0).astype(np.float32)
    under = cv2.GaussianBlur(weight, (0, 0), reach, borderType=cv2.BORDER_REFLECT)
    broad = cv2.GaussianBlur(rest, (0, 0), reach, borderType=cv2.BORDER_REFLECT) / np.maximum(under, 1e-3)[..., None]
    whole = np.exp(smooth + broad)
    rows, columns = (
        np.round(np.linspace(0, n - 1, knots)).astype(int) for n, knots in zip(whole.shape, KNOTS, strict=False)
    )
    return field_of(whole[np.ix_(rows, columns)], picture.width / picture.height, "white shot")


def _told(fall_off: FallOff, dust: int, lab: Floats, name: str) -> tuple[Notice, ...]:
    notices = []
    if dust:
        notices.append(Notice("white_dust", "{count} specks of dust were smoothed away", {"count": dust}, name))
    if fall_off.fall > TOLD_FALL:
        template = "the light falls off by {fall} %: it is corrected, even lamps would be better"
        notices.append(Notice("white_uneven", template, {"fall": round(100 * fall_off.fall)}, name))
    chroma = float(np.hypot(lab[1], lab[2]))
    if chroma > CAST:
        template = "the white sheet reads {hue} (C* {chroma}): set the camera's white balance on it"
        values = {"hue": _cast_word(lab), "chroma": round(chroma)}
        notices.append(Notice("white_cast", template, values, name))
    return tuple(notices)


def _cast_word(lab: Floats) -> str:
    words = ("red", "yellow", "green", "blue")
    return words[round(float(np.degrees(np.arctan2(lab[2], lab[1]))) / 90) % 4]


def _smooth(logs: Floats, kept: NDArray[np.bool_]) -> Floats:
    """Return the polynomial of degree four through the logarithm of a sheet's light, over the whole picture."""
    y, x = places(logs.shape)
    fine = np.zeros(logs.shape, bool)
    fine[::4, ::4] = True  # a smooth surface needs no more
    fine &= kept
    terms = robust_fit(polynomial_terms(x[fine], y[fine], 4), logs[fine])
    return np.asarray(polynomial_terms(x, y, 4) @ terms)
