"""How true a sitting's colours are: cameras × lamps × inks unlike the card's, and what the claim is worth.

Run by hand: python -m tests.bench.bench_camera [shots a lamp]
"""

from __future__ import annotations

import io
import sys
import time
from dataclasses import replace
from itertools import combinations

import numpy as np
from PIL import Image, ImageFilter

from archive.colour.camera import Correction
from archive.colour.camera_fit import fit_correction
from archive.colour.camera_pair import learn_pair
from archive.colour.camera_table import picture_table
from archive.errors import ColourError
from demo_archive.inks import INK_BODIES
from demo_archive.press import print_patch
from demo_archive.spectra import WAVELENGTHS
from demo_archive.values import Layer
from tests.studio import camera as studio

XYZ = studio.true_xyz(studio.card_reflectance())
NINE = [row * 6 + column for row in (0, 2, 5) for column in (0, 2, 5)]
REST = [place for place in range(36) if place not in NINE]


def press_prints() -> np.ndarray:
    """Return (n, bands) reflectances of the demo's press: pairs of its plain inks, solid and half."""
    names = [name for name, body in INK_BODIES.items() if not body.glow and body.kind != "metallic"]
    tints = ((100, 0), (0, 100), (50, 0), (100, 100), (50, 100), (100, 50), (40, 40))
    found = []
    for pair in combinations(names, 2):
        for laid in tints:
            layers = [Layer(ink, float(t), at + 1) for at, (ink, t) in enumerate(zip(pair, laid, strict=True)) if t]
            found.append(np.interp(studio.NM, WAVELENGTHS, print_patch(layers, "Oatleaf 120")))
    return np.array(found)


def miss(found: Correction, shot: studio.Shot, prints: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Return the dE00 of prints that the file did not cut."""
    rgb = studio.device_rgb(prints, shot, pixels=100)
    whole = (rgb > 1e-3).all(axis=1)
    return studio.difference(found.apply(rgb[whole]), true[whole])


def pair_miss(found: Correction, shot: studio.Shot, seed: int) -> tuple[float, float]:
    """Return the mean dE00 and the claim over pairs of which nine patches were measured, noise 0.5 an axis."""
    rng = np.random.default_rng(seed)
    means, claims = [], []
    for pair in studio.ink_pairs()[seed % 7 :: 7]:
        prints = studio.pair_reflectance(*pair)
        rgb = studio.device_rgb(prints, shot, pixels=100)
        whole = (rgb > 1e-3).all(axis=1)
        if not whole[NINE].all():
            continue  # such patches are flagged and no measurement
        true, camera = studio.true_lab(prints), found.apply(rgb)
        learnt = learn_pair(camera[NINE], true[NINE] + rng.normal(0, 0.5, (9, 3)))
        rest = [place for place in REST if whole[place]]
        means.append(studio.difference(learnt.apply(camera[rest]), true[rest]).mean())
        claims.append(learnt.claim)
    return float(np.mean(means)), float(np.mean(claims))


def table(camera: str, rounds: int, *, is_rendered: bool, contrast: float | None = None) -> None:
    """Print a line a lamp: mean and 95 % on both kinds of prints, the pair's, and what the claim covers."""
    prints, press = studio.prints(), press_prints()
    print(f"\n{camera}, {'rendered to sRGB by the maker' if is_rendered else 'plain'}, tone curve {contrast or '0-2'}")
    print("lamp              prints       press        pair   claim / prints   claim / press    order  curve  refused")
    everything: list[tuple[float, ...]] = []
    for lamp in studio.LAMPS:
        rows, refused = [], 0
        for seed in range(rounds):
            shot = replace(studio.shots((lamp,), seed=seed, camera=camera)[0], is_rendered=is_rendered)
            if contrast is not None:
                shot = replace(shot, contrast=contrast)
            try:
                found = fit_correction(studio.card_rgb(shot), XYZ)
            except ColourError:
                refused += 1
                continue
            a, b = (miss(found, shot, some, studio.true_lab(some)) for some in (prints, press))
            pair, pair_claim = pair_miss(found, shot, seed)
            spread = np.quantile(a, 0.95), np.quantile(b, 0.95)
            rows.append(
                (a.mean(), spread[0], b.mean(), spread[1], pair, found.claim / a.mean(), found.claim / b.mean())
            )
            rows[-1] += (pair_claim / pair, found.order, found.tone is not None)
        if not rows:
            print(f"{lamp:16}  refused {refused}")
            continue
        m = np.array(rows, dtype=float)
        everything += rows
        low, high = m.min(axis=0), m.max(axis=0)
        a = m.mean(axis=0)
        print(
            f"{lamp:16} {a[0]:5.2f} {a[1]:5.2f}  {a[2]:5.2f} {a[3]:5.2f}  {a[4]:6.2f}    {low[5]:4.2f}-{high[5]:4.2f}"
            f"        {low[6]:4.2f}-{high[6]:4.2f}     {a[8]:4.1f}   {a[9]:4.2f}  {refused:4}"
        )
    m = np.array(everything, dtype=float)
    for name, column in (("prints", 5), ("press", 6), ("pair", 7)):
        ratio = m[:, column]
        print(f"  claim covers {name}: {(ratio >= 1).mean():.1%} of {len(m)}; greatest {ratio.max():.2f} ×")


def local_table(rounds: int) -> None:
    """Print how often local tone mapping is found, by its strength."""
    print("\nlocal tone mapping: strength, found (doubtful or strong), strong, mean dE00, mean claim")
    prints = studio.prints()[::4]
    true = studio.true_lab(prints)
    for local in (0.0, 0.05, 0.1, 0.15, 0.2, 0.3):
        found = []
        for seed in range(rounds):
            for shot in (replace(s, local=local) for s in studio.shots(seed=seed)):
                c = fit_correction(studio.card_rgb(shot), XYZ)
                rgb = studio.device_rgb(prints, shot, np.full(len(prints), 0.45), pixels=100)
                whole = ((rgb > 1e-3) & (rgb < 0.95)).all(axis=1)
                found.append((c.local.found, studio.difference(c.apply(rgb[whole]), true[whole]).mean(), c.claim))
        share = [np.mean([f[0] in words for f in found]) for words in (("doubtful", "strong"), ("strong",))]
        mean, claim = (float(np.mean([f[at] for f in found])) for at in (1, 2))
        print(f"  {local:4.2f}   {share[0]:5.0%}  {share[1]:5.0%}  {mean:5.2f}  {claim:5.2f}")


def best_of(times: int, work) -> float:  # type: ignore[no-untyped-def]
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


def speed() -> None:
    """Print what a correction of 24 megapixels takes beside the decoding of such a JPEG."""
    shot = studio.Shot(contrast=1.0)
    found = fit_correction(studio.card_rgb(shot), XYZ)
    small = np.random.default_rng(0).integers(0, 256, (500, 750, 3), dtype=np.uint8)
    big = Image.fromarray(small).resize((6000, 4000), Image.Resampling.BICUBIC)
    file = io.BytesIO()
    big.save(file, "JPEG", quality=90)
    decode = best_of(3, lambda: Image.open(io.BytesIO(file.getvalue())).convert("RGB").load())
    linear = (np.asarray(big, dtype=np.float32) / 255) ** 2.2
    whole = best_of(3, lambda: found.apply(linear))
    reduced = np.ascontiguousarray(linear[::4, ::4])
    quarter = best_of(3, lambda: found.apply(reduced))
    cube = picture_table(found, lambda e: e**2.2)
    lookup = ImageFilter.Color3DLUT(33, cube.reshape(-1).tolist())
    table_time = best_of(3, lambda: big.filter(lookup))
    fit = best_of(3, lambda: fit_correction(studio.card_rgb(shot), XYZ))
    print(f"\n24 megapixels: decode {decode:.2f} s; apply {whole / decode:.1f} ×, of every fourth pixel each way")
    print(f"{quarter / decode:.2f} ×, Pillow's table of 33 steps {table_time / decode:.1f} ×; fit {fit:.2f} s")


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    table("filter array", rounds, is_rendered=False)
    table("filter array", rounds, is_rendered=True)
    table("filter array", rounds, is_rendered=False, contrast=0.0)
    table("stacked", rounds, is_rendered=False)
    local_table(rounds)
    speed()


if __name__ == "__main__":
    main()
