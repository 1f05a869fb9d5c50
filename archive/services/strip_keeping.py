"""Keeping what was read of a strip: swatches with exact recipes, measurements, and what the reading teaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.identity import first_day, today
from archive.catalogue.models import Ink, Machine, Measurement, Run, Strip, StripPatch, StripReading, Swatch
from archive.colour.difference import delta_e_2000
from archive.errors import ConflictError, InputError
from archive.exchange.readings import ReadingRow
from archive.exchange.text import read_date
from archive.services.measuring import set_standing
from archive.services.profile import read_profile
from archive.services.recipes import ExactLayer, RecipeBook
from archive.services.records import add_record
from archive.services.strip_list import ink_names_of, patch_swatches

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """How a strip is to be read.

    strip : ref or uid, where no code names it.
    hours_after : since it was printed; 0 is wet. None is worked out from the dates, where they tell.
    order : of a file of readings, of `ORDERS`.
    run : facts of its printing, by the names of a run's fields ("printed-on", "machine", "density", "speed").
    """

    strip: str | None = None
    hours_after: float | None = None
    order: str = "rows"
    run: dict[str, str] | None = None
    dry_run: bool = False


@dataclass(frozen=True, slots=True)
class PatchTold:
    """What was read of one patch; `why` it was rejected, `state` "lost" or "closed"."""

    number: int
    tints: tuple[float, ...]
    lab: Lab
    spread: float | None
    usable: bool
    why: str
    state: str
    swatch: str | None = None


@dataclass(frozen=True, slots=True)
class StripReport:
    """What reading a strip gave."""

    file: str
    strip: str
    ref: str
    kind: str
    inks: tuple[str, ...]
    hours_after: float
    claim: float | None
    drums: tuple[dict[str, Any], ...]
    patches: tuple[PatchTold, ...]
    added: int
    rejected: tuple[str, ...]
    lost: tuple[str, ...]
    closed: tuple[str, ...]
    shift: dict[str, Any] | None
    notes: tuple[str, ...]
    dry_run: bool


@dataclass(frozen=True, slots=True)
class StripRead:
    """What a file gave, before anything is written."""

    kind: str
    media_type: str
    patches: tuple[PatchTold, ...]
    drums: tuple[dict[str, Any], ...] = ()
    claim: float | None = None
    path: str = ""
    rows: tuple[ReadingRow, ...] = ()
    notes: tuple[str, ...] = ()


def _hours(session: Session, strip: Strip, read: StripRead, options: ReadOptions) -> float:
    """Return the hours since printing: as told, as the file says, or as the dates say; wet or settled must be known."""
    told = {row.hours_after for row in read.rows if row.hours_after is not None}
    if options.hours_after is not None or len(told) == 1:
        return options.hours_after if options.hours_after is not None else told.pop()
    run = session.get(Run, strip.run_id) if strip.run_id else None
    printed_on = (options.run or {}).get("printed-on") or (run.printed_on if run else None)
    days = (today() - first_day(printed_on)).days if printed_on else 0
    if days < 2:  # yesterday evening may be twelve hours ago
        raise InputError(
            "was the sheet read wet or settled?", where="strip read", mend="Say --wet, --settled or --hours N"
        )
    return 24.0 * days


def dry_report(session: Session, strip: Strip, path: Path, read: StripRead, options: ReadOptions) -> StripReport:
    """Return what keeping a reading would give, and write nothing.

    Raises
    ------
    InputError
        Whether it was read wet or settled is not known.
    """
    hours = _hours(session, strip, read, options)
    return _report(session, strip, path, read, hours, read.patches, added=0, notes=read.notes, dry_run=True)


def _report(
    session: Session,
    strip: Strip,
    path: Path,
    read: StripRead,
    hours: float,
    patches: Sequence[PatchTold],
    *,
    added: int,
    notes: Sequence[str],
    dry_run: bool = False,
) -> StripReport:
    inks = ink_names_of(session, strip)
    return StripReport(
        str(path), strip.uid, strip.ref, read.kind, inks, hours, read.claim, read.drums, tuple(patches), added,
        tuple(f"patch {each.number} ({_words(each.tints, inks)}): {each.why}" for each in patches if not each.usable),
        tuple(_words(each.tints, inks) for each in patches if each.state == "lost"),
        tuple(_words(each.tints, inks) for each in patches if each.state == "closed"),
        strip.shift, tuple(notes), dry_run,
    )  # fmt: skip


def _words(tints: Sequence[float], inks: Sequence[str]) -> str:
    parts = [f"{ink} {tint:g} %" for ink, tint in zip(inks, tints, strict=True) if tint > 0]
    return ", then ".join(parts) or "bare paper"


def _living_inks(session: Session, strip: Strip) -> list[Ink]:
    found = [session.get(Ink, ink_id) for ink_id in strip.inks]
    inks = [ink for ink in found if ink is not None and ink.binned_at is None]
    if len(inks) < len(found):
        raise ConflictError(
            "an ink of this strip was removed or merged since it was made",
            where=f"strip {strip.ref}, {', '.join(ink_names_of(session, strip))}",
            mend="Bring it back, or print a new strip",
        )
    return inks


class StripKeeping:
    """One reading on its way into the archive, in one session."""

    def __init__(
        self, session: Session, files: Files, strip: Strip, path: Path, read: StripRead, options: ReadOptions
    ) -> None:
        self.session, self.files, self.strip, self.path = session, files, strip, path
        self.read, self.options = read, options
        self.inks = _living_inks(session, strip)
        self.profile = read_profile(session)
        self.notes = list(read.notes)

    def keep(self) -> StripReport:
        """Keep all of it and return the report.

        Raises
        ------
        InputError, NotFoundError
            Wet or settled is not known; the machine or another fact of the run cannot be read.
        ConflictError
            The file was read before, or the sheet was printed on another day than the strip.
        """
        sha256 = self.files.digest(self.path)
        self._refuse_known(sha256)
        hours = _hours(self.session, self.strip, self.read, self.options)
        run = self._run()
        swatches = self._swatches(run)
        kept = [patch for patch in self.read.patches if patch.usable]
        rows = dict(zip((patch.number for patch in self.read.patches), self.read.rows, strict=False))
        for patch in kept:
            row = rows.get(patch.number)
            self.session.add(self._measurement(patch, swatches[patch.number].id, hours, row))
        self.session.flush()
        set_standing(self.session, [swatches[patch.number].id for patch in kept])
        self._teach_shift(swatches)
        self._teach_tints()
        patches = [
            replace(patch, swatch=swatches[patch.number].uid) if patch.usable else patch for patch in self.read.patches
        ]
        report = _report(
            self.session, self.strip, self.path, self.read, hours, patches, added=len(kept), notes=self.notes
        )
        with self.path.open("rb") as stream:  # last: what is refused leaves no file behind
            self.files.put(stream)
        seen = {"drums": list(report.drums), "rejected": list(report.rejected)}
        self.session.add(
            StripReading(
                strip_id=self.strip.id, kind=self.read.kind, sha256=sha256, name=self.path.name,
                media_type=self.read.media_type, size=self.path.stat().st_size, read_on=today().isoformat(),
                hours_after=hours, claim=self.read.claim,
                seen={**seen, "lost": list(report.lost), "closed": list(report.closed)},
            )
        )  # fmt: skip
        self.session.flush()
        return report

    def _refuse_known(self, sha256: str) -> None:
        query = select(StripReading).where(
            StripReading.strip_id == self.strip.id,
            StripReading.sha256 == sha256,
            StripReading.binned_at.is_(None),
        )
        if self.session.scalars(query).first() is not None:
            raise ConflictError(
                "strip {ref} was read from this file already",
                ref=self.strip.ref,
                where=self.path.name,
                mend="Photograph or measure the sheet again",
            )

    def _run(self) -> Run | None:
        """Return the strip's run; facts of its printing make one, or fill in what it did not say."""
        facts = dict(self.options.run or {})
        run = self.session.get(Run, self.strip.run_id) if self.strip.run_id else None
        if run is not None:
            self._refuse_other_printing(run, facts)
            return run
        if self.strip.machine_id and "machine" not in facts:
            facts["machine"] = self.session.get_one(Machine, self.strip.machine_id).name
        if not facts:
            self.notes.append("no day, machine or settings are told: say --printed-on, --machine, --density, --speed")
            return None
        if self.strip.screen:
            facts["screen"] = self.strip.screen
        record = add_record(self.session, "run", None, {**facts, "note": f"strip {self.strip.ref}"})
        self.strip.run_id = record.id
        self.session.flush()
        return self.session.get_one(Run, record.id)

    def _refuse_other_printing(self, run: Run, facts: dict[str, str]) -> None:
        day = read_date(facts["printed-on"]) if "printed-on" in facts else run.printed_on
        if run.printed_on is not None and day != run.printed_on:
            raise ConflictError(
                "strip {ref} was printed on {known}, not on {told}",
                ref=self.strip.ref,
                known=run.printed_on,
                told=day,
                where="--printed-on",
                mend="A sheet printed on another day is a strip of its own: `inkchest strip make`",
            )
        if facts:
            self.notes.append(f"its printing is run {run.ref}: change that with `inkchest run edit`")

    def _swatches(self, run: Run | None) -> dict[int, Swatch]:
        """Return the swatch of every usable patch, new ones added with their exact recipes."""
        found = patch_swatches(self.session, self.strip)
        for swatch in found.values():
            if run is not None and swatch.run_id is None:  # what nobody told at the first reading
                swatch.run_id, swatch.printed_on = run.id, run.printed_on
        book = RecipeBook(self.session)
        passes = [int(drum["pass"]) for drum in self.strip.layout["drums"]]
        fresh: dict[int, Swatch] = {}
        for patch in self.read.patches:
            if patch.number in found or not patch.usable:
                continue
            layers = [
                ExactLayer(ink_id, tint, turn)
                for ink_id, tint, turn in zip(self.strip.inks, patch.tints, passes, strict=True)
            ]
            recipe = book.exact(self.strip.paper_id, layers, self.strip.screen)
            self.session.flush()
            fresh[patch.number] = Swatch(
                recipe_id=recipe.id,
                sample=str(patch.number),
                run_id=run.id if run else None,
                printed_on=run.printed_on if run else None,
                note=f"strip {self.strip.ref}, patch {patch.number}",
            )
        self.session.add_all(fresh.values())
        self.session.flush()
        self.session.add_all(
            StripPatch(strip_id=self.strip.id, number=number, swatch_id=swatch.id) for number, swatch in fresh.items()
        )
        self.session.flush()
        return {**found, **fresh}

    def _measurement(self, patch: PatchTold, swatch_id: int, hours: float, row: ReadingRow | None) -> Measurement:
        methods = {"photo": "camera", "scan": "picture", "readings": "instrument"}
        lab_l, lab_a, lab_b = patch.lab
        spectrum = row.spectrum if row else None
        return Measurement(
            swatch_id=swatch_id, lab_l=lab_l, lab_a=lab_a, lab_b=lab_b,
            lab_from="lab" if row else "picture",
            spectrum=spectrum and {"start_nm": spectrum.start_nm, "step_nm": spectrum.step_nm,
                                   "values": list(spectrum.values)},
            method=methods[self.read.kind],
            condition=row.condition if row else "camera",
            backing=row.backing if row else None,
            instrument=row.instrument if row else None,
            measured_on=row.measured_on if row and row.measured_on else today().isoformat(),
            hours_after=hours, n=row.n if row else None, spread=patch.spread, colour_path=self.read.path,
            claim=self.read.claim,
        )  # fmt: skip

    # what the reading teaches

    def _teach_shift(self, swatches: dict[int, Swatch]) -> None:
        """Keep the mean difference between readings of the settled and of the wet sheet, by the same method."""
        settled_from = float(self.profile["settled_hours"])
        ids = [swatch.id for swatch in swatches.values()]
        query = select(Measurement).where(Measurement.swatch_id.in_(ids), Measurement.binned_at.is_(None))
        by_swatch: dict[tuple[int, str], tuple[list[Any], list[Any]]] = {}
        for each in self.session.scalars(query.order_by(Measurement.id)):
            if each.hours_after is None:
                continue
            pair = by_swatch.setdefault((each.swatch_id, each.method), ([], []))
            pair[each.hours_after >= settled_from].append((each.lab_l, each.lab_a, each.lab_b))
        both = [(np.mean(wet, axis=0), np.mean(dry, axis=0)) for wet, dry in by_swatch.values() if wet and dry]
        if not both:
            return
        wet, dry = (np.array(part) for part in zip(*both, strict=True))
        shift = [float(part) for part in (dry - wet).mean(axis=0)]
        away = float(delta_e_2000(wet, dry).mean())
        self.strip.shift = {"lab": shift, "delta_e_2000": away, "patches": len(both)}
        self.notes.append(
            f"settling moved the colours by {away:.1f} ΔE00 on average over {len(both)} patches "
            f"(L* {shift[0]:+.1f}, a* {shift[1]:+.1f}, b* {shift[2]:+.1f})"
        )

    def _teach_tints(self) -> None:
        """Raise the lightest tint that holds above a lost one; lower the closing tint to one that closed."""
        for place, ink in enumerate(self.inks):
            alone = [
                (patch.tints[place], patch.state)
                for patch in self.read.patches
                if patch.usable and patch.tints[place] > 0 and sum(patch.tints) == patch.tints[place]
            ]
            self._raise_lightest(ink, alone)
            self._lower_closing(ink, alone)

    def _raise_lightest(self, ink: Ink, alone: Sequence[tuple[float, str]]) -> None:
        lost = max((tint for tint, state in alone if state == "lost"), default=None)
        held = [tint for tint, state in alone if lost is not None and state != "lost" and tint > lost]
        if lost is None or not held:
            return
        if ink.lightest_tint is None or ink.lightest_tint < min(held):
            ink.lightest_tint = min(held)
            self.notes.append(f"{ink.name} {lost:g} % was lost: its lightest tint that holds is now {min(held):g} %")

    def _lower_closing(self, ink: Ink, alone: Sequence[tuple[float, str]]) -> None:
        opened = max((tint for tint, state in alone if tint < 100 and state != "closed"), default=0.0)
        closed = [tint for tint, state in alone if state == "closed" and tint > opened]
        if closed and (ink.closing_tint is None or ink.closing_tint > min(closed)):
            ink.closing_tint = min(closed)
            self.notes.append(f"{ink.name} closes to solid from {min(closed):g} % on")
