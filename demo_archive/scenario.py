"""Build the whole invented workshop from its tables: the same seed gives the same values."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from demo_archive import house
from demo_archive.designs import flat_colours
from demo_archive.inks import INK_BODIES
from demo_archive.press import luck
from demo_archive.swatches import strips_and_swatches
from demo_archive.values import (
    Appearance,
    Claim,
    Copy,
    Layer,
    Picture,
    Printed,
    Region,
    Run,
    Scenario,
    Told,
    Variant,
    Work,
)
from demo_archive.works_table import WORKS

SEED = 20250314
SIZES = {"poster": (420, 297), "zine": (210, 148), "book": (240, 170), "test": (420, 297)}  # mm
MAKE_READY: tuple[tuple[str, Region], ...] = (
    ("Dance for Wet Shoes", (0.0, 0.0, 1.0, 0.5)),
    ("Bus Stop Choir", (0.0, 0.5, 0.5, 0.5)),
    ("Concert in a Stairwell", (0.5, 0.5, 0.5, 0.5)),
)


@dataclass(frozen=True, slots=True)
class Draft:
    """One colourway as the table gives it."""

    name: str
    printed_on: str
    layers: tuple[Layer, ...]
    tints: tuple[tuple[float, float, float], ...]
    paper: str
    machine: str
    screen: str
    length: int


@dataclass(frozen=True, slots=True)
class Entry:
    """One work as the table gives it."""

    title: str
    kind: str
    written: str
    design: str
    makers: tuple[tuple[str, str], ...]
    story: str
    drafts: tuple[Draft, ...]


def _draft(name: str, printed_on: str, inks: str, paper: str, how: str) -> Draft:
    layers, tints = [], []
    for number, print_pass in enumerate(inks.split(";"), start=1):
        for position, part in enumerate(print_pass.split("+"), start=1):
            ink, _, steps = part.strip().rpartition(" ")
            full, middle, pale = (float(step) for step in steps.split("/"))
            layers.append(Layer(ink, None, number, position))
            tints.append((full, middle, pale))
    machine, screen, length = how.split()
    return Draft(name, printed_on, tuple(layers), tuple(tints), paper, machine, screen, int(length))


def entries() -> tuple[Entry, ...]:
    """Return the works of the table, in its order."""
    found: list[Entry] = []
    lines = iter(WORKS.strip().splitlines())
    for line in lines:
        cells = [cell.strip() for cell in line.lstrip("= ").split("|")]
        if line.startswith("="):
            name, printed_on, inks, paper, how = cells
            last = found[-1]
            found[-1] = replace(last, drafts=(*last.drafts, _draft(name, printed_on, inks, paper, how)))
            continue
        title, kind, written, printed_on, design, inks, paper, how, makers = cells
        people = [part.split(": ") for part in makers.split(", ")]
        done = tuple((name, what) for name, what in people)
        draft = _draft("", printed_on, inks, paper, how)
        found.append(Entry(title, kind, written, design, done, next(lines), (draft,)))
    return tuple(found)


def _settings(draft: Draft, ref: str) -> tuple[int, int]:
    rng = luck("settings", ref, draft.printed_on)
    return int(rng.choice([2, 3, 3, 3, 4])), int(rng.choice([2, 3, 3, 4]))


def _run(draft: Draft, entry: Entry, run_id: str, printed_on: str) -> Run:
    density, speed = _settings(draft, run_id)
    printers = [name for name, what in entry.makers if "printing" in what] or ["Wren Tallow"]
    spoiled = int(luck("spoiled", run_id).integers(3, 12)) + draft.length // 25
    return Run(
        id=run_id,
        date=printed_on,
        machine=draft.machine,
        density=density,
        speed=speed,
        screen=draft.screen,
        length=draft.length,
        spoiled=spoiled,
        fillings=tuple(house.filling_of(layer.ink, draft.machine, printed_on) for layer in draft.layers),
        by=printers[0],
        lpi=71 if draft.screen == "AM" else None,
        angle=45 if draft.screen == "AM" else None,
    )


def printed(entry: Entry, draft: Draft, run: Run, *, seed: int, page: int = 0) -> Printed:
    """Return a page of a work as the press has it."""
    height, width = SIZES[entry.kind]
    size = (height, width * 2) if page and entry.kind in ("zine", "book") else (height, width)
    return Printed(
        design=entry.design,
        title=entry.title,
        page=page,
        seed=seed,
        layers=draft.layers,
        tints=draft.tints,
        paper=draft.paper,
        machine=draft.machine,
        screen=draft.screen,
        density=run.density,
        speed=run.speed,
        run=run.id,
        printed_on=run.date,
        size_mm=size,
        key=_key(entry.drafts[0].layers),
    )


def _key(layers: tuple[Layer, ...]) -> int:
    """Return which layer carries lines and type: the darkest ink of the first colourway, in all of them."""
    weights = [float(INK_BODIES[layer.ink].absorption.mean()) for layer in layers]
    return weights.index(max(weights))


def _recipes(sheet: Printed, *, most: int = 9) -> tuple[tuple[Layer, ...], ...]:
    """Return the flat recipes of a sheet as layers, bare ones left out."""
    found = []
    for tints, _ in flat_colours(sheet)[:most]:
        pairs = zip(sheet.layers, tints, strict=True)
        found.append(tuple(replace(layer, tint=tint) for layer, tint in pairs if tint > 0))
    return tuple(found)


def _reprint(entry: Entry, draft: Draft, index: int) -> list[Run]:
    """Return the later run of the few works that were printed again, a month or more after the first."""
    if entry.title not in ("Bus Stop Choir", "Open Attic", "Market of Small Lamps", "Tide Table for Beginners"):
        return []
    again = (date.fromisoformat(draft.printed_on) + timedelta(days=47)).isoformat()
    return [_run(draft, entry, f"R-{index:03d}r", again)]


def _variants(entry: Entry, ref: str, index: int, seed: int) -> tuple[Variant, ...]:
    variants = []
    for letter, draft in zip("abc", entry.drafts, strict=False):
        run = _run(draft, entry, f"R-{index:03d}{letter}", draft.printed_on)
        runs = (run, *_reprint(entry, draft, index)) if letter == "a" else (run,)
        colours = _recipes(printed(entry, draft, run, seed=seed)) if entry.design != "makeready" else ()
        name = draft.name or " over ".join(layer.ink for layer in reversed(draft.layers))
        variants.append(Variant(f"{ref}{letter}", name, draft.layers, draft.paper, runs, colours))
    return tuple(variants)


def _home(entry: Entry, index: int) -> str:
    """Return where the copies of a work lie."""
    if entry.design == "makeready":
        return "Box 14"
    boxes = ("Box 3", "Box 7", "Box 9", "Box 11", "Box 16")
    if entry.kind in ("zine", "book"):
        return boxes[index % len(boxes)]
    if entry.kind == "test":
        return "Plan chest 3 / drawer 6"
    return f"Plan chest {1 + index % 3} / drawer {1 + index // 3 % 6}"


def _appearances(entry: Entry, ref: str, variant: str, refs: dict[str, str]) -> tuple[Appearance, ...]:
    if entry.design == "makeready":
        return tuple(Appearance(refs[title], f"{refs[title]}a", "test", "", region) for title, region in MAKE_READY)
    if entry.kind in ("zine", "book"):
        spreads = tuple(Appearance(ref, variant, "spread", f"{2 * n}-{2 * n + 1}") for n in _spread_pages(entry))
        return (Appearance(ref, variant, "front", "cover"), *spreads)
    return (Appearance(ref, variant, "test" if entry.kind == "test" else "front"),)


def _spread_pages(entry: Entry) -> tuple[int, ...]:
    return {"zine": (1, 2), "book": (1, 2, 3, 4)}.get(entry.kind, ())


def _copies(
    entry: Entry, ref: str, variants: tuple[Variant, ...], index: int, refs: dict[str, str]
) -> tuple[Copy, ...]:
    home = _home(entry, index)
    found: list[Copy] = []
    for variant in variants:
        length = variant.runs[0].length
        roles = ("trial",) if entry.kind == "test" else ("good to print", "reference", "leftover")[: 2 + index % 2]
        for role in roles:
            number = len(found) + 1
            edition = {"good to print": "good to print", "reference": f"{number}/{length}"}.get(role, "")
            place = "Proof wall" if role == "good to print" and index % 5 == 0 else home
            where = "lent" if entry.title == "Low Water Swim" and role == "reference" else "here"
            run = variant.runs[0].id
            seen = _appearances(entry, ref, variant.ref, refs)
            found.append(Copy(f"{ref}/{number}", role, place, variant.ref, edition, run, where, seen))
    return tuple(found)


CLAIMS = {
    "Nine Tides": (
        Claim("order", "the red went first", "stated", "Hob Quillfeather", "2024-11-02"),
        Claim("date", "the week of the floods", "stated", "Sefa Lindqvane", "2024-11-09"),
    ),
    "Concert in a Stairwell": (
        Claim("order", "it was Dockrope first", "stated", "Odile Marrowby", "2024-10-05"),
        Claim("order", "Ferrywake lies below Dockrope under the loupe", "observed", "Cosmo Pell-Arden", "2024-10-12"),
    ),
    "Fog Rehearsal": (Claim("date", "winter of 2010", "inferred", "Cosmo Pell-Arden", "2025-01-18"),),
    "Salt Wednesday": (Claim("paper", "house stock of those years", "inferred", "Hob Quillfeather", "2024-11-02"),),
}


def _works(seed: int) -> tuple[Work, ...]:
    table = entries()
    refs = {entry.title: f"QA-{number:04d}" for number, entry in enumerate(table, start=1)}
    works = []
    for index, entry in enumerate(table, start=1):
        ref = refs[entry.title]
        variants = _variants(entry, ref, index, seed + index)
        descriptive = entry.kind == "test" or entry.title.startswith("Untitled")
        works.append(
            Work(
                ref=ref,
                title=entry.title,
                kind=entry.kind,
                date="" if entry.written == "undated" else entry.written,
                makers=entry.makers,
                variants=variants,
                copies=_copies(entry, ref, variants, index, refs),
                story=entry.story,
                size_mm=SIZES[entry.kind],
                title_kind="descriptive" if descriptive else "given",
                claims=CLAIMS.get(entry.title, ()),
            )
        )
    return tuple(works)


def _jobs(entry: Entry, draft: Draft, work: Work, page: int, seed: int) -> tuple[tuple[Region, Printed], ...]:
    """Return what a picture of a sheet shows: one job, or the three of the make-ready sheet."""
    if entry.design != "makeready":
        variant = work.variants[entry.drafts.index(draft)]
        return (((0.0, 0.0, 1.0, 1.0), printed(entry, draft, variant.runs[0], seed=seed, page=page)),)
    jobs = []
    table = entries()
    for title, region in MAKE_READY:
        number = next(i for i, other in enumerate(table, start=1) if other.title == title)
        other = table[number - 1]
        run = _run(other.drafts[0], other, f"R-{number:03d}a", other.drafts[0].printed_on)
        jobs.append((region, printed(other, other.drafts[0], run, seed=seed - work_number(work.ref) + number)))
    return tuple(jobs)


def work_number(ref: str) -> int:
    """Return the running number in a work's reference."""
    return int(ref.rpartition("-")[2])


def _slug(title: str) -> str:
    kept = "".join(c if c.isalnum() else "_" for c in title.lower())
    return "_".join(part for part in kept.split("_") if part)[:18].strip("_")


def _pictures(works: tuple[Work, ...], seed: int) -> tuple[Picture, ...]:
    found = []
    for entry, work in zip(entries(), works, strict=True):
        for variant, draft in zip(work.variants, entry.drafts, strict=True):
            copies = [copy for copy in work.copies if copy.variant == variant.ref]
            for page, copy, camera in _views(entry, copies):
                found.append(_picture(entry, draft, work, (page, copy, camera), seed))
    return tuple(found)


def _views(entry: Entry, copies: list[Copy]) -> list[tuple[int, Copy, str]]:
    """Return the pictures of one variant: page, copy, camera."""
    first = copies[0]
    if entry.kind == "test":
        return [(0, first, "copy stand")]
    if entry.kind == "poster":
        return [(0, first, "copy stand"), (0, copies[1], "phone")]
    return [(0, first, "copy stand"), *((page, first, "copy stand") for page in _spread_pages(entry))]


def _picture(
    entry: Entry, draft: Draft, work: Work, view: tuple[int, Copy, str], seed: int, *, prefix: str = "qa"
) -> Picture:
    page, copy, camera = view
    number = work_number(work.ref)
    seen = "p" if camera == "phone" else ("s" if page else "f")
    name = f"{prefix}_{number:04d}_{copy.ref.rpartition('/')[2]}_{_slug(entry.title)}_{seen}{page}.jpg"
    rng = luck("picture", seed, name)
    taken = date(2024, 10, 1) + timedelta(days=number * 2 + page)
    is_table = camera == "phone" or rng.random() < 0.15
    role = "test" if entry.kind == "test" else ("spread" if page else "front")
    return Picture(
        file=name,
        work=work.ref,
        copy=copy.ref,
        variant=copy.variant,
        role=role,
        label=f"{2 * page}-{2 * page + 1}" if page else ("cover" if entry.kind in ("zine", "book") else ""),
        camera=camera,
        framing="table" if is_table else "close",
        long_side=int(rng.choice([960, 1040, 1120, 1200])),
        taken_on=taken.isoformat(),
        jobs=_jobs(entry, draft, work, page, seed + number),
    )


def scenario(seed: int = SEED) -> Scenario:
    """Return the workshop after a good year of measuring: works, pictures, strips and some 2,000 swatches."""
    works = _works(seed)
    strips, swatches = strips_and_swatches(works, seed)
    return Scenario(
        workshop=house.WORKSHOP,
        seed=seed,
        inks=house.inks(),
        machines=house.MACHINES,
        drums=house.DRUMS,
        fillings=house.fillings(),
        papers=house.PAPERS,
        places=house.PLACES,
        people=house.PEOPLE,
        works=works,
        pictures=_pictures(works, seed),
        strips=strips,
        swatches=swatches,
    )


PLAIN_WORDS = {
    "Kilnsong": "red", "Ferrywake": "blue", "Dockrope": "yellow", "Nettlecoat": "green", "Sootwell": "black",
    "Damsonlatch": "purple", "Peltrose": "pink", "Tidewick": "teal", "Marlbrick": "brown", "Gullbone": "the pale one",
    "Oddlight": "the glowing one", "Tinhymn": "silver",
}  # fmt: skip


def _told(draft: Draft, ref: str) -> Told:
    """Return the two inks of a work as somebody says them: the upper one first, now and then unsure."""
    rng = luck("told", ref)
    lower, upper = (draft.layers[0], draft.layers[1])
    doubt = "?" if rng.random() < 0.4 else ""
    words = f"{PLAIN_WORDS[upper.ink]}{doubt} over {PLAIN_WORDS[lower.ink]}"
    tint: float | None = None
    if rng.random() < 0.4:
        words, tint = f"{words}, about half", 50.0
    by = str(rng.choice(["Cosmo Pell-Arden", "Wren Tallow", "Odile Marrowby"]))
    return Told(words, (lower.ink, upper.ink), (None, tint), not doubt, by)


def _as_told(work: Work, told: Told) -> Work:
    """Return a work as it stands on the first evening: one copy, two inks by word of mouth, nothing else."""
    layers = tuple(
        Layer(ink, tint, 1, position)
        for position, (ink, tint) in enumerate(zip(told.inks, told.tints, strict=True), start=1)
    )
    variant = replace(work.variants[0], layers=layers, runs=(), colours=())
    copy = replace(work.copies[0], run=None, edition="")
    return replace(work, variants=(variant,), copies=(copy,), claims=(), told=told)


def first_evening(seed: int = SEED) -> Scenario:
    """Return the same sixty works with one phone picture and two inks said aloud each; nothing is measured."""
    full = _works(seed)
    works, pictures = [], []
    for entry, work in zip(entries(), full, strict=True):
        draft = entry.drafts[0]
        works.append(_as_told(work, _told(draft, work.ref)))
        view = (0, work.copies[0], "phone")
        pictures.append(_picture(entry, draft, work, view, seed, prefix="evening"))
    return Scenario(
        workshop=house.WORKSHOP,
        seed=seed,
        inks=house.inks(),
        machines=house.MACHINES,
        drums=house.DRUMS,
        fillings=(),
        papers=house.PAPERS,
        places=house.PLACES,
        people=house.PEOPLE,
        works=tuple(works),
        pictures=tuple(pictures),
        is_first_evening=True,
    )
