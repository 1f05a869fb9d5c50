"""A small invented house and readings for it, and what can be asked of both."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.catalogue.database import Catalogue
from archive.services.answers import Answer, match_colour
from archive.services.matching import MatchOptions
from archive.services.readings import ImportOptions, ImportReport, import_readings
from archive.services.records import add_record
from tests.acts import act

OATLEAF, CHALKROAD = "Oatleaf 120", "Chalkroad 90"
INKS: dict[str, dict[str, Any]] = {
    "Kilnsong": {},
    "Ferrywake": {},
    "Dockrope": {},
    "Nettlecoat": {},
    "Sootwell": {},
    "Gullbone": {"kind": "opaque"},
    "Oddlight": {"kind": "fluorescent"},
    "Tinhymn": {"kind": "metallic"},
}
Layers = Sequence[tuple[Any, ...]]  # (ink, tint) or (ink, tint, pass), first printed first


@dataclass(frozen=True)
class Patch:
    """One row of a readings file."""

    sample: str
    lab: tuple[float, float, float]
    layers: Layers = ()
    paper: str = OATLEAF
    more: dict[str, Any] = field(default_factory=dict)


def enter_house(catalogue: Catalogue, **changes: dict[str, Any]) -> None:
    """Enter the inks and two papers; `changes` gives facts of inks by name."""
    with catalogue.write(act("enter the house")) as session:
        for name, facts in INKS.items():
            add_record(session, "ink", name, {**facts, **changes.get(name, {})})
        for paper in (OATLEAF, CHALKROAD):
            add_record(session, "paper", paper, {})


def add(catalogue: Catalogue, noun: str, label: str | None, **facts: Any) -> str:
    """Add one record and return its label; `in_house` stands for the field "in-house"."""
    with catalogue.write(act(f"add {noun}")) as session:
        return add_record(session, noun, label, {name.replace("_", "-"): fact for name, fact in facts.items()}).label


def readings(*patches: Patch) -> str:
    """Return patches as the readings CSV: sample, paper, layers from left to right, Lab, details."""
    most = max([1, *(len(patch.layers) for patch in patches)])
    details = list(dict.fromkeys(name for patch in patches for name in patch.more))
    columns = [f"{part}_{number}" for number in range(1, most + 1) for part in ("ink", "tint", "pass")]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["sample", "paper", *columns, "lab_l", "lab_a", "lab_b", *details])
    for patch in patches:
        layers = [cell for layer in patch.layers for cell in (*layer, "")[:3]]
        cells = layers + [""] * (3 * most - len(layers))
        writer.writerow(
            [patch.sample, patch.paper, *cells, *patch.lab, *(patch.more.get(name, "") for name in details)]
        )
    return out.getvalue()


def bring_in(catalogue: Catalogue, folder: Path, *patches: Patch, name: str = "strip.csv") -> ImportReport:
    """Write patches as a file of readings and import it."""
    return bring_in_text(catalogue, folder, readings(*patches), name)


def bring_in_text(
    catalogue: Catalogue, folder: Path, text: str, name: str, options: ImportOptions | None = None, *, dry: bool = False
) -> ImportReport:
    """Write a file of readings and import it."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return import_readings(catalogue, path, options or ImportOptions(), act("import", kind="import"), dry_run=dry)


def ask(catalogue: Catalogue, wanted: str, *, absolute: bool = False, **options: Any) -> Answer:
    """Return the archive's answer for a wanted colour."""
    with catalogue.read() as session:
        return match_colour(session, wanted, MatchOptions(**options), absolute=absolute)


def lab_text(lab: Sequence[float]) -> str:
    """Return a Lab as a wanted colour."""
    return "lab:" + ",".join(f"{part:.6f}" for part in lab)


def delta_e(lab_1: Any, lab_2: Any) -> NDArray[np.float64]:
    """Return CIEDE2000 by colour-science, an implementation that is not ours."""
    import colour

    return np.asarray(colour.delta_E(np.asarray(lab_1, float), np.asarray(lab_2, float), method="CIE 2000"))
