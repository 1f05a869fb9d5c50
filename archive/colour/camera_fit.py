"""Finding a sitting's correction from the colour card.

A handful of corrections is tried, from a plain 3×3 matrix to a tone curve with a root polynomial. Each predicts every
patch from the others; the one that does so best is taken. On inks whose spectra are unlike the card's that mean is
too good by a quarter to two fifths, hence the claim of one and a half times it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.camera import GREY_ROW, PATCHES, ROOTS, Correction, Residual, ToneCurve, lab_columns, terms
from archive.colour.camera_local import find_local_tone, widened
from archive.colour.difference import delta_e_2000
from archive.colour.spaces import D50_WHITE, LAB_EPSILON, LAB_KAPPA, LIGHTEST, WIDEST, Floats, check_xyz, xyz_to_lab
from archive.errors import ColourError

FEWEST_PATCHES = 10  # a 3×3 matrix takes three numbers a patch; half a card is twelve [own choice]
FEWEST_GREYS = 4  # for a tone curve [own choice]
CLAIM_OVER_LEFT_OUT = 1.5  # prints of unlike spectra against patches left out [tried on 91 pairs of inks]
_FEWEST_FOR = {1: FEWEST_PATCHES, 2: 14, 3: 20}  # patches an order needs, so that leaving one out means something
_RIDGE = 1e-2  # how far the roots are held back, on the scale of one dE00 a patch [tried from 1e-3 to 1e-1]
_ROUNDS = 3  # of Gauss-Newton; the fourth moves nothing
_LEAST_GAIN = 0.98  # of the leave-one-out mean: a more complex correction must be better by so much [own choice]
_CRUSHED = 1e-3  # of the lightest patch: below it 8 bits have only the last three codes left
_LEAST_STEP = 1.02  # between neighbours of the grey row, whose light differs by half and more
_SAME_COLOUR = 0.005  # second singular value of the chromaticities; the flattest published camera has 0.010 [tried]

Kept = NDArray[np.intp]
Curves = tuple[ToneCurve, ToneCurve, ToneCurve]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Card:
    """The card as read and as it should be, with the local yardstick of CIEDE2000 at each patch."""

    rgb: Floats  # (24, 3)
    xyz: Floats
    lab: Floats
    metric: Floats  # (24, 3, 3): the length of metric @ step is the dE00 of a small Lab step
    kept: Kept


@dataclass(frozen=True, slots=True)
class _Fitted:
    order: int
    tone: Curves | None
    matrix: Floats

    def lab_of(self, rgb: Floats) -> Floats:
        lab = lab_columns(self.matrix.T @ terms(_undone(rgb.T, self.tone), self.order)).T
        return np.clip(lab, (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))


def fit_correction(
    rgb: ArrayLike,
    reference_xyz: ArrayLike,
    *,
    left_out: Sequence[int] = (),
    profile_xyz: ArrayLike | None = None,
) -> Correction:
    """Return the correction that predicts the card's patches best from one another.

    Parameters
    ----------
    rgb : (24, 3) array_like
        Mean linear device values of the patches, in the card's order, after the profile's curve was inverted and
        the white-sheet field divided out. Patches left out may hold anything.
    reference_xyz : (24, 3) array_like
        What the card's edition says, under D50, Y = 1 for white.
    left_out : sequence of int
        Places, from 0, of covered, wrong or clipped patches. Patches with a crushed channel are left out unasked.
    profile_xyz : (24, 3) array_like, optional
        XYZ under D50 that the picture's profile alone gives, to be compared with.

    Returns
    -------
    Correction
        Its `is_better` says whether it may be used instead of the profile alone.

    Raises
    ------
    ColourError
        Too few patches, all of one colour, a grey row that does not fall from white to black (clipped, or the
        card is turned), or numbers that are missing or on the wrong scale.
    """
    card = _checked_card(rgb, reference_xyz, left_out)
    best, predicted = _best(card)
    loo = Residual.of(delta_e_2000(predicted, card.lab[card.kept]), card.kept)
    local = find_local_tone(predicted, card.lab, card.kept)
    has_tone, order = best
    fitted = _fit(card, card.kept, _grey_curves(card, card.kept) if has_tone else None, order)
    return Correction(
        order=fitted.order,
        matrix=tuple((float(x), float(y), float(z)) for x, y, z in fitted.matrix),
        tone=fitted.tone,
        residual=Residual.of(delta_e_2000(fitted.lab_of(card.rgb[card.kept]), card.lab[card.kept]), card.kept),
        leave_one_out=loo,
        profile_alone=None if profile_xyz is None else _profile_alone(profile_xyz, card),
        local=local,
        claim=widened(CLAIM_OVER_LEFT_OUT * _mean_on_prints(loo, card.kept, has_tone), local),
        left_out=tuple(place for place in range(PATCHES) if place not in card.kept),
    )


def _mean_on_prints(loo: Residual, kept: Kept, has_tone: bool) -> float:
    """Return the leave-one-out mean as prints will see it.

    A tone curve from which the white or the black was left out must guess beyond its end. No print goes there.
    """
    greys = [place for place in GREY_ROW if place in kept]
    ends = (greys[0], greys[-1]) if has_tone else ()
    values = [value for place, value in enumerate(loo.by_patch) if value is not None and place not in ends]
    return float(np.mean(values))


def _profile_alone(profile_xyz: ArrayLike, card: _Card) -> Residual:
    lab = lab_columns(_table(profile_xyz, "the profile's colours").T).T
    lab = np.clip(lab, (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))
    return Residual.of(delta_e_2000(lab[card.kept], card.lab[card.kept]), card.kept)


# --- What was given


def _table(values: ArrayLike, what: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (PATCHES, 3):
        raise ColourError(
            "{what} of a card must be {count} times three numbers, not shape {shape}",
            what=what,
            count=PATCHES,
            shape=array.shape,
            mend="Give all patches in the card's order, those left out too.",
        )
    return array


def _checked_card(rgb: ArrayLike, reference_xyz: ArrayLike, left_out: Sequence[int]) -> _Card:
    values, xyz = _table(rgb, "camera values"), check_xyz(_table(reference_xyz, "reference colours"))
    wrong = [place for place in left_out if not 0 <= place < PATCHES]
    if wrong:
        raise ColourError("the card has no patch {place}", place=wrong[0], mend="Places go from 0 to 23.")
    kept = np.setdiff1d(np.arange(PATCHES), np.array(left_out, dtype=np.intp))
    if len(kept) and not np.isfinite(values[kept]).all():
        raise ColourError("a patch of the card holds no number", mend="Leave that patch out.")
    if len(kept):
        is_crushed = values.min(axis=1) < _CRUSHED * values[kept].max()
        kept = kept[~is_crushed[kept]]
    _check_patches(values, kept)
    lab = xyz_to_lab(xyz)
    return _Card(values, xyz, lab, _metric(lab), kept)


def _check_patches(rgb: Floats, kept: Kept) -> None:
    """Raise unless the patches can carry a correction."""
    if len(kept) < FEWEST_PATCHES:
        raise ColourError(
            "only {count} patches of the card can be read, and {fewest} are needed",
            count=len(kept),
            fewest=FEWEST_PATCHES,
            mend="Uncover the card, or shoot it again without glare and clipping.",
        )
    shares = rgb[kept] / rgb[kept].sum(axis=1, keepdims=True)
    spread = np.linalg.svd(shares - shares.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(kept))
    if spread < _SAME_COLOUR:
        raise ColourError(
            "the patches of the card are nearly all of one colour",
            mend="Check that the corners lie on the card and that the picture is in colour.",
        )
    greys = [place for place in GREY_ROW if place in kept]
    for channel, name in enumerate(("red", "green", "blue")):
        for light, dark in pairwise(greys):
            if rgb[light, channel] < _LEAST_STEP * rgb[dark, channel]:
                raise ColourError(
                    "the grey row does not fall from white to black: grey {light} is no lighter than grey {dark} "
                    "in {channel}",
                    light=light - GREY_ROW[0] + 1,
                    dark=dark - GREY_ROW[0] + 1,
                    channel=name,
                    mend="Shoot the card darker if its white is clipped; turn it, or leave a covered patch out.",
                )


def _metric(lab: Floats) -> Floats:
    """Return (n, 3, 3) roots of the quadratic form that CIEDE2000 squared is for small steps around each colour."""
    step = 0.3
    away = np.eye(3) * step
    single = [delta_e_2000(lab, lab + away[i]) ** 2 for i in range(3)]
    form = np.empty((len(lab), 3, 3))
    for i in range(3):
        form[:, i, i] = single[i] / step**2
        for j in range(i):
            both = delta_e_2000(lab, lab + away[i] + away[j]) ** 2
            form[:, i, j] = form[:, j, i] = (both - single[i] - single[j]) / (2 * step**2)
    size, axes = np.linalg.eigh(form)
    return np.asarray(np.sqrt(np.maximum(size, 0.02))[:, :, None] * np.swapaxes(axes, 1, 2))


# --- One correction


Candidate = tuple[bool, int]  # with a tone curve; order


def _candidates(kept: Kept) -> list[Candidate]:
    """Return what may be tried, simplest first."""
    greys = sum(place in kept for place in GREY_ROW)
    return [
        (has_tone, order)
        for has_tone in ((False, True) if greys >= FEWEST_GREYS else (False,))
        for order in ROOTS
        if len(kept) >= _FEWEST_FOR[order]
    ]


def _best(card: _Card) -> tuple[Candidate, Floats]:
    """Return the candidate that predicts left-out patches best, and its predictions, (kept, 3) Lab."""
    predicted = _left_out_one_by_one(card, _candidates(card.kept))
    means = {candidate: float(delta_e_2000(lab, card.lab[card.kept]).mean()) for candidate, lab in predicted.items()}
    best = next(iter(means))
    for candidate, mean in means.items():
        if mean < _LEAST_GAIN * means[best]:
            best = candidate
    return best, predicted[best]


def _left_out_one_by_one(card: _Card, candidates: list[Candidate]) -> dict[Candidate, Floats]:
    """Return, for each candidate, the Lab of each kept patch predicted from the others."""
    predicted = {candidate: np.empty((len(card.kept), 3)) for candidate in candidates}
    for at, place in enumerate(card.kept):
        kept = np.delete(card.kept, at)
        tones = {has_tone: _grey_curves(card, kept) if has_tone else None for has_tone, _ in candidates}
        for has_tone, order in candidates:
            fitted = _fit(card, kept, tones[has_tone], order)
            predicted[has_tone, order][at] = fitted.lab_of(card.rgb[[place]])[0]
    return predicted


def _fit(card: _Card, kept: Kept, tone: Curves | None, order: int) -> _Fitted:
    T = np.asarray(terms(_undone(card.rgb[kept].T, tone), order).T, dtype=np.float64)
    return _Fitted(order, tone, _nearer(_start_matrix(T, card.xyz[kept]), T, card, kept))


def _undone(columns: Floats, tone: Curves | None) -> Floats:
    """Return (3, n) device values with the tone curves undone."""
    if tone is None:
        return columns
    return np.stack([curve.linear_of(c) for curve, c in zip(tone, columns, strict=True)])


def _grey_curves(card: _Card, kept: Kept) -> Curves:
    """Return each channel's curve through the grey row.

    A true grey's light goes as Y in every channel. Real ones are a little coloured: a first matrix tells how much
    each channel sees of that, and the curves are drawn again.
    """
    first = _curves_to(card, kept, np.repeat(card.xyz[:, 1:2], 3, axis=1))
    matrix = _start_matrix(_undone(card.rgb[kept].T, first).T, card.xyz[kept])
    seen = card.xyz @ np.linalg.inv(matrix)
    greys = [place for place in GREY_ROW if place in kept]
    falls = (seen[greys] > 0).all() and (np.diff(seen[greys], axis=0) < 0).all()
    return _curves_to(card, kept, seen) if falls else first


def _curves_to(card: _Card, kept: Kept, linear: Floats) -> Curves:
    """Return curves from the grey row's device values to (24, 3) linear ones."""
    greys = [place for place in reversed(GREY_ROW) if place in kept]
    x, y = np.log(card.rgb[greys]), np.log(linear[greys])
    red, green, blue = (
        ToneCurve(*(tuple(part[:, channel].tolist()) for part in (x, y, monotone_slopes(x, y)))) for channel in range(3)
    )
    return red, green, blue


def monotone_slopes(x: Floats, y: Floats) -> Floats:
    """Return slopes for a cubic through rising points that rises everywhere.

    Parameters
    ----------
    x, y : (n, channels) ndarray
        Both rising along the first axis, three points or more.

    Source: Fritsch & Butland 1984, SIAM J. Sci. Stat. Comput. 5(2), 300-304; ends by the three-point formula.
    """
    h = np.diff(x, axis=0)
    rise = np.diff(y, axis=0) / h
    w_1, w_2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    slopes = np.empty_like(x)
    slopes[1:-1] = (w_1 + w_2) / (w_1 / rise[:-1] + w_2 / rise[1:])
    for end, next_to_it in ((0, 1), (-1, -2)):
        straight = (2 * h[end] + h[next_to_it]) * rise[end] - h[end] * rise[next_to_it]
        slopes[end] = np.maximum(straight / (h[end] + h[next_to_it]), 0)
    return slopes


def _start_matrix(T: Floats, xyz: Floats) -> Floats:
    """Return the (terms, 3) matrix of plain least squares, each patch weighed by its Y as the eye judges ratios."""
    weight = 1 / np.maximum(xyz[:, 1:2], 0.02)
    return np.asarray(np.linalg.lstsq(T * weight, xyz * weight, rcond=None)[0])


def _nearer(M: Floats, T: Floats, card: _Card, kept: Kept) -> Floats:
    """Return the matrix that comes nearest in CIEDE2000, by Gauss-Newton; the roots are held back a little."""
    lab, metric = card.lab[kept], card.metric[kept]
    count, size = T.shape
    pull = np.zeros((size, 3))
    pull[3:] = 100 * np.sqrt(_RIDGE / count) * np.linalg.norm(T, axis=0)[3:, None]
    for _ in range(_ROUNDS):
        predicted = T @ M
        A = metric @ _lab_slopes(predicted)  # (n, 3, 3): dE00 of a small step in XYZ
        D = (A[:, :, None, :] * T[:, None, :, None]).reshape(count * 3, size * 3)
        miss = (metric @ (lab - lab_columns(predicted.T).T)[:, :, None]).ravel()
        normal = D.T @ D + np.diag(pull.ravel() ** 2)
        M = M + np.linalg.solve(normal, D.T @ miss - (pull**2 * M).ravel()).reshape(size, 3)
    return np.asarray(M)


def _lab_slopes(xyz: Floats) -> Floats:
    """Return (n, 3, 3) derivatives of L*, a*, b* by X, Y, Z."""
    share = xyz / D50_WHITE
    slope = np.where(share > LAB_EPSILON, 1 / (3 * np.cbrt(np.maximum(share, LAB_EPSILON)) ** 2), LAB_KAPPA / 116)
    slope = slope / D50_WHITE
    J = np.zeros((len(xyz), 3, 3))
    J[:, 0, 1] = 116 * slope[:, 1]
    J[:, 1, 0], J[:, 1, 1] = 500 * slope[:, 0], -500 * slope[:, 1]
    J[:, 2, 1], J[:, 2, 2] = 200 * slope[:, 1], -200 * slope[:, 2]
    return J
