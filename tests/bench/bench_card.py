"""How surely the colour card is found in rendered photographs, with how true corners, and in what time.

Run by hand: python -m tests.bench.bench_card [photographs] [seed]
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np
from numpy.typing import NDArray

from archive.imaging.colour_card import FoundCard, find_cards
from tests.studio import cards, lens

FOUND, CORNER = 0.97, 0.005  # the share to be found; corners, as a share of the card's width
_LEVELS = np.arange(256) / 255
LIGHT = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4).astype(np.float32)


def fate(photo: cards.Photo, found: list[FoundCard]) -> tuple[str, float]:
    """Return what became of the one card in a photograph, and its worst corner's error as a share of its width."""
    sure = [card for card in found if card.is_sure]
    if not sure:
        return ("undecided" if found else "not found"), float("nan")
    truth = photo.cards[0]
    width = float(np.linalg.norm(truth[1] - truth[0]))
    card = min(sure, key=lambda card: float(np.linalg.norm(card.corners.mean(0) - truth.mean(0))))
    errors = [float(np.linalg.norm(np.roll(card.corners, k, axis=0) - truth, axis=1).max()) for k in range(4)]
    if len(sure) > 1 or min(errors) > 0.3 * width:
        return "something else taken for a card", errors[0] / width
    if errors[0] > min(errors):
        return "WRONG TURN", errors[0] / width
    return "found", errors[0] / width


def _row(name: str, errors: NDArray[np.float64]) -> None:
    print(f"{name:28} {np.median(errors):7.2%} {np.percentile(errors, 95):7.2%} {errors.max():7.2%}")


def main(count: int = 200, seed: int = 4) -> None:
    """Print the figures."""
    fates: Counter[str] = Counter()
    errors, seconds, patches = [], [], []
    for number in range(count):
        photo = cards.random_photograph(number, seed=seed)
        light = LIGHT[lens.opened(photo.jpeg)]
        began = time.perf_counter()
        found = find_cards(light)
        seconds.append(time.perf_counter() - began)
        what, error = fate(photo, found)
        fates[what] += 1
        if what == "found":
            errors.append(error)
            patches.append(int(found[0].usable.sum()))
        if what != "found" or error > CORNER:
            print(f"  {number}: {what}, {photo.share:.0%} of the width, corners off {error:.2%}; {photo.about}")
    print(dict(fates))
    share = fates["found"] / count
    print(
        f"found and the right way up: {share:.1%} (target {FOUND:.0%}); wrong turns: {fates['WRONG TURN']} (target 0)"
    )
    print(f"{'':28} {'median':>7} {'95 %':>7} {'worst':>7}")
    _row("corners, share of the width", np.array(errors))
    print(f"corners within {CORNER:.1%}: {np.mean(np.array(errors) <= CORNER):.1%} of those found")
    print(f"usable patches: {np.mean(patches):.1f} of 24")
    print(f"{np.median(seconds):.2f} s a photograph, worst {max(seconds):.2f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
