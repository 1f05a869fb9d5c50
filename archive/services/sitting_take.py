"""Taking frames into a sitting: read two at a time, grouped by card and pause, written one by one.

Each frame is one short write, so that a stopped command loses nothing and goes on where it was when it is given the
same files again. Nothing merges by itself: what a frame is like is proposed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act
from archive.catalogue.models import Appearance, Copy, Picture, Place, Sitting, SittingShot, Variant
from archive.catalogue.models import Frame as FrameRow
from archive.errors import InputError, NotFoundError
from archive.imaging.frame_check import FrameWarning
from archive.output.codes import parse_code_text
from archive.planning.frame_groups import Frame, group_frames
from archive.services import kinds
from archive.services.copies import work_of_copy
from archive.services.frame_card import Setup
from archive.services.frame_likeness import LikeFrames, sheet_name
from archive.services.frame_reading import FrameRead, read_frame
from archive.services.frame_slips import run_of_slip, slip_on
from archive.services.joins import JoinedCard, join_pictures
from archive.services.lookup import find_record
from archive.services.pictures import keep_files, picture_files, store_picture
from archive.services.place_states import quarantine_of
from archive.services.profile import read_profile
from archive.services.records import add_record
from archive.services.sittings import setup_of, the_open_one
from archive.services.works import copy_for_pictures

JUDGED_HARD = 5  # frames that begin a sitting
AT_ONCE = 2  # frames read at a time
_AHEAD = 3  # frames read before their turn to be written, so that memory stays bounded
PART = "part"
ROLES = (*kinds.ROLES, PART)
Progress = Callable[[int, int], None]
_OF_A_SHEET = ("print", "job slip")
_ABOUT_SHEETS = ("sheet_unsure", "too_few_pixels", "moire_risk", "blurred", "tilted")  # that other frames need not show


@dataclass(frozen=True, slots=True)
class TakeOptions:
    """Where the frames belong, when not each is a work of its own.

    `work` is the work, variant or copy that all of them show, `role` what of it; `anyway` goes on although the first
    frames give no colour.
    """

    work: str | None = None
    role: str | None = None
    anyway: bool = False


@dataclass(frozen=True, slots=True)
class FrameOutcome:
    """What became of one frame, as `sitting take` tells it."""

    file: str
    status: str
    why: str
    picture: str | None
    place: str | None
    corners_px: tuple[tuple[float, float], ...] | None
    sure: bool
    mm_per_px: float | None
    card: dict[str, Any] | None
    warnings: tuple[dict[str, str], ...]
    like: tuple[dict[str, str], ...]
    kind: str = "print"
    work: str | None = None
    run: str | None = None
    group: int | None = None


@dataclass(frozen=True, slots=True)
class TakeReport:
    """What a sitting took of the files given, in their order."""

    sitting: str
    frames: tuple[FrameOutcome, ...]
    joined: JoinedCard | None = None  # how the parts of one sheet fit together, when they were taken as such


@dataclass(frozen=True, slots=True)
class _Known:
    """A file that needs no reading: it was taken before."""

    outcome: FrameOutcome
    code: str | None  # the place whose card it shows: what follows lies there


def take_frames(
    catalogue: Catalogue,
    paths: Sequence[Path],
    act: Act,
    options: TakeOptions | None = None,
    *,
    progress: Progress | None = None,
) -> TakeReport:
    """Take frames into the open sitting, in the order given, as one change.

    Raises
    ------
    NotFoundError
        No sitting is open, or the work named is not there.
    InputError
        No file is a picture by its name, or the first frames give no colour: with the reasons.
    """
    files = picture_files(paths)
    with catalogue.read() as session:
        taking = _Taking.begin(session, catalogue, act, options or TakeOptions())
    outcomes: list[FrameOutcome] = []
    with closing(_read_ahead(taking, files)) as reading:
        first: list[tuple[Path, str, _Known | FrameRead | FrameOutcome]] = []
        for done, (path, sha256, found) in enumerate(reading, start=1):
            first.append((path, sha256, found))
            if len(first) < taking.held_back and done < len(files):
                continue
            taking.refuse_colourless([each for _, _, each in first])
            outcomes += [taking.keep(*each) for each in first]
            first = []
            if progress:
                progress(done, len(files))
    return TakeReport(taking.sitting_uid, tuple(outcomes), _joined(catalogue, taking, outcomes))


def _joined(catalogue: Catalogue, taking: _Taking, outcomes: Sequence[FrameOutcome]) -> JoinedCard | None:
    """Join what was taken as parts of one sheet; those that were taken before count too."""
    if taking.options.role != PART:
        return None
    shown = [each for each in outcomes if each.picture is not None and each.kind == "print"]
    work = next((each.work for each in shown if each.status == "taken"), shown[0].work if shown else None)
    parts = [each.picture for each in shown if each.picture is not None and each.work == work]
    return join_pictures(catalogue, parts, taking.act) if len(set(parts)) > 1 else None


def _read_ahead(
    taking: _Taking, files: Sequence[Path]
) -> Generator[tuple[Path, str, _Known | FrameRead | FrameOutcome]]:
    """Yield each file with what is known or was read of it, in order; a few are read before their turn."""
    waiting: deque[tuple[Path, str, Future[Any]]] = deque()
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for path in files:
            sha256 = _digest(path)
            waiting.append((path, sha256, pool.submit(taking.look, path, sha256)))
            if len(waiting) > _AHEAD:
                done, digest, future = waiting.popleft()
                yield done, digest, future.result()
        while waiting:
            done, digest, future = waiting.popleft()
            yield done, digest, future.result()


def _digest(path: Path) -> str:
    try:
        return Files.digest(path)
    except OSError:
        return ""


class _Taking:
    """One `take`: what the sitting knows, and what came so far."""

    def __init__(self, catalogue: Catalogue, act: Act, options: TakeOptions, setup: Setup) -> None:
        self.catalogue, self.act, self.options, self.setup = catalogue, act, options, setup
        self.sitting_id = 0
        self.sitting_uid = ""
        self.shots: dict[str, str] = {}  # sha256 of the sitting's own shots, and their kind
        self.place_uid: str | None = None
        self.pause_minutes = 20.0
        self.last: Frame | None = None  # the frame before, its code where it lies
        self.group = 0
        self.position = 0
        self.held_back = JUDGED_HARD
        self.likeness = LikeFrames(catalogue)

    @classmethod
    def begin(cls, session: Session, catalogue: Catalogue, act: Act, options: TakeOptions) -> _Taking:
        sitting = the_open_one(session)
        taking = cls(catalogue, act, options, setup_of(session, sitting))
        if options.work:
            _refuse_unknown_work(session, options.work)
        elif options.role == PART:
            raise InputError("parts are of one sheet", where="--as part", mend="Say of which work: --work REF")
        taking.sitting_id, taking.sitting_uid = sitting.id, sitting.uid
        shots = select(SittingShot.sha256, SittingShot.kind).where(SittingShot.sitting_id == sitting.id)
        taking.shots = dict(session.execute(shots).all())
        place = session.get(Place, sitting.place_id) if sitting.place_id else None
        taking.place_uid = place.uid if place is not None else None
        taking.pause_minutes = float(read_profile(session)["pause_minutes"])
        rows = session.scalars(
            select(FrameRow)
            .where(FrameRow.sitting_id == sitting.id, FrameRow.binned_at.is_(None))
            .order_by(FrameRow.position)
        ).all()
        if rows:
            here = session.get(Place, rows[-1].place_id) if rows[-1].place_id else None
            moment = _moment(rows[-1].taken_at)
            taking.last = Frame(rows[-1].name, moment, here.uid if here is not None else None)
            taking.group = rows[-1].group_number or 0
        taking.position = max((row.position for row in rows), default=0)
        taking.held_back = 1 if options.anyway or any(row.kind == "print" for row in rows) else JUDGED_HARD
        taking.likeness = LikeFrames.load(session, catalogue)
        return taking

    # --- looking, several at once, nothing written

    def look(self, path: Path, sha256: str) -> _Known | FrameRead | FrameOutcome:
        """Return what is known of a file, or what was read of it, or why it is refused."""
        with self.catalogue.read() as session:
            known = self._known(session, path, sha256)
        if known is not None:
            return known
        try:
            return read_frame(path, self.setup)
        except (InputError, NotFoundError) as error:
            return _refused(path, str(error))
        except OSError as error:  # the card was pulled, or the drive is gone
            return _refused(path, f"the file cannot be read: {error.strerror}; put the card in again")

    def _known(self, session: Session, path: Path, sha256: str) -> _Known | None:
        row = session.scalars(
            select(FrameRow).where(
                FrameRow.sitting_id == self.sitting_id, FrameRow.sha256 == sha256, FrameRow.binned_at.is_(None)
            )
        ).first()
        if row is not None:
            why = "taken in this sitting already" if row.name == path.name else f"taken already, as {row.name}"
            outcome = replace(outcome_of(session, row), file=str(path), status="skipped", why=why)
            return _Known(outcome, _code_of(session, row))
        picture = session.scalars(select(Picture).where(Picture.sha256 == sha256, Picture.binned_at.is_(None))).first()
        if picture is None or sha256 in self.shots:
            return None
        copy = session.get(Copy, picture.copy_id) if picture.copy_id else None
        of = f" of {copy.ref}" if copy is not None else ""
        why = f"the same file is in the archive as {picture.name}{of}"
        work = work_of_copy(session, picture.copy_id)
        outcome = FrameOutcome(str(path), "skipped", why, picture.uid, None, None, False, None, None, (), (), work=work)
        return _Known(outcome, None)

    def refuse_colourless(self, first: Sequence[_Known | FrameRead | FrameOutcome]) -> None:
        """Stop before anything is written when the first frames give no colour.

        Raises
        ------
        InputError
            Not one of them does; with what is wrong.
        """
        if self.held_back == 1:
            return
        self.held_back = 1
        read = [each for each in first if isinstance(each, FrameRead) and not _says(each, "place")]
        if not read or any(each.gives_colour for each in read):
            return
        spoilt = {"clipped", "blurred", "too_dark", "no_correction", "no_camera_values", "local_tone_map"}
        found = {w.code: w for each in read for w in each.warnings if w.code in spoilt}
        raise InputError(
            "no colour can be read from the first {count} frames: {what}",
            count=len(read),
            what="; ".join(warning.what for warning in found.values()) or "no correction",
            where=f"sitting, {read[0].read.path.name}",
            mend=" ".join(dict.fromkeys(w.mend for w in found.values())) + " Or go on with --anyway",
        )

    # --- keeping, one short write each

    def keep(self, path: Path, sha256: str, found: _Known | FrameRead | FrameOutcome) -> FrameOutcome:
        """Write one frame and return what became of it."""
        if isinstance(found, FrameOutcome):
            return found
        if isinstance(found, _Known):
            self.place_uid = found.code or self.place_uid
            return found.outcome
        with self.catalogue.read() as session:  # its double may have been written since it was read
            doubled = self._known(session, path, sha256)
        if doubled is not None:
            return doubled.outcome
        try:
            keep_files(self.catalogue.files, found.read)
        except InputError as error:  # it changed meanwhile
            return _refused(path, str(error))
        except OSError as error:
            return _refused(path, f"the file cannot be read: {error.strerror}; put the card in again")
        if found.sheet_jpeg:
            self.catalogue.files.put_derived(sheet_name(found.read.sha256), found.sheet_jpeg)
        with self.catalogue.write(self.act) as session:
            row = self._store(session, found, _says(found, "place"))
            outcome = outcome_of(session, row, file=str(path))
            self.act = replace(self.act, change_id=session.info["change_id"])
        self.likeness.add(row.picture_id, found)
        return outcome

    def _store(self, session: Session, found: FrameRead, code: str | None) -> FrameRow:
        kind = self._kind(found, code)
        warnings = [each for each in found.warnings if kind in _OF_A_SHEET or each.code not in _ABOUT_SHEETS]
        place = self._place(session, code, warnings)
        slip = slip_on(session, found, self.catalogue.files) if kind == "print" else None
        copy_id, appearance_id = self._copy(session, place) if kind == "print" else (None, None)
        picture = self._picture(session, found, copy_id, appearance_id)
        self.position += 1
        self._begin_or_go_on(Frame(found.read.path.name, _moment(found.read.taken_at), code or self.place_uid))
        row = FrameRow(
            sitting_id=self.sitting_id,
            position=self.position,
            kind=kind,
            status="taken",
            sha256=found.read.sha256,
            name=found.read.path.name,
            taken_at=found.read.taken_at,
            group_number=self.group,
            picture_id=picture.id if picture is not None else None,
            place_id=place.id if place is not None else None,
            corners=[[round(x, 2), round(y, 2)] for x, y in found.sheet.corners_px],
            corners_sure=found.sheet.sure,
            mm_per_px=found.mm_per_px,
            width_mm=found.size_mm[0] if found.size_mm else None,
            height_mm=found.size_mm[1] if found.size_mm else None,
            card=found.card.as_json() if found.card is not None else None,
            correction=self._own_correction(found),
            claim=found.claim,
            alike=self.likeness.like(session, found) if kind == "print" and self.options.role != PART else [],
            look=f"{int(found.look.hashes[0]):016x}" if found.look is not None and not found.look.is_blank else None,
        )
        if slip is not None and copy_id is not None:
            warnings += run_of_slip(session, slip, copy_id, picture.id if picture is not None else None)
        row.warnings = [{"code": w.code, "what": w.what, "mend": w.mend} for w in warnings]
        session.add(row)
        session.flush()
        return row

    def _own_correction(self, found: FrameRead) -> dict[str, Any] | None:
        """Return what corrects a frame where the sitting's correction and fall-off do not: its card's, its paper's."""
        if found.correction is None and found.is_sitting_lit:
            return None
        correction = found.correction or self.setup.correction
        if correction is None:
            return None
        fall_off = found.fall_off.to_plain() if found.fall_off is not None else None
        return {**correction.to_plain(), **({} if found.is_sitting_lit else {"fall_off": fall_off})}

    def _begin_or_go_on(self, frame: Frame) -> None:
        """Count the group that a frame belongs to: a new one after a pause, or where it lies in another place."""
        two = [self.last, frame] if self.last is not None else [frame]
        if self.last is None or len(group_frames(two, pause_minutes=self.pause_minutes)) > 1:
            self.group += 1
        self.last = frame

    def _kind(self, found: FrameRead, code: str | None) -> str:
        if found.read.sha256 in self.shots:
            return self.shots[found.read.sha256]
        if code is not None:
            return "place card"
        if found.sheet.is_whole and found.card is not None and found.card.found:
            return "colour card"
        return "print"

    def _place(self, session: Session, code: str | None, warnings: list[FrameWarning]) -> Place | None:
        """Return where the frame lies: what follows a place card lies there."""
        if code is not None:
            place = session.scalars(select(Place).where(Place.uid == code, Place.binned_at.is_(None))).first()
            if place is None:
                mend = "Print its card anew with `inkchest place cards`."
                what = "the card is of no place of this archive: where lies what follows is not known"
                warnings.append(FrameWarning("unknown_place", what, mend))
            self.place_uid = place.uid if place is not None else None
        query = select(Place).where(Place.uid == (self.place_uid or ""), Place.binned_at.is_(None))
        here = session.scalars(query).first()
        session.get_one(Sitting, self.sitting_id).place_id = here.id if here is not None else None
        kept_apart = quarantine_of(session, here.id) if here is not None else None
        if kept_apart is not None:
            what = f"{kept_apart[0]} is in quarantine: {kept_apart[1]}"
            warnings.insert(0, FrameWarning("quarantine", what, "Close it, and follow `inkchest place quarantine`."))
        return here

    def _copy(self, session: Session, place: Place | None) -> tuple[int, int | None]:
        """Return the ids of the copy and the appearance that a print shows: a work of its own when none is named."""
        if self.options.work is not None:
            role = self.options.role if self.options.role != PART else "front"
            return _copy_of_work(session, self.options.work, role)
        work = add_record(session, "work", None, {})
        variant = session.get_one(Variant, add_record(session, "variant", None, {"work": work.label}).id)
        facts: dict[str, Any] = {"of": variant.ref, "as": self.options.role or "front"}
        if place is not None:
            facts["place"] = place.uid
        copy = session.get_one(Copy, add_record(session, "copy", None, facts).id)
        return copy.id, _appearance_of(session, copy.id)

    def _picture(
        self, session: Session, found: FrameRead, copy_id: int | None, appearance_id: int | None
    ) -> Picture | None:
        outcome = store_picture(session, found.read, copy_id, appearance_id)
        picture = session.scalars(select(Picture).where(Picture.uid == outcome.picture)).one()
        picture.claim = found.claim
        session.flush()
        return picture


def outcome_of(session: Session, row: FrameRow, *, file: str | None = None) -> FrameOutcome:
    """Return a frame's row as it is told."""
    picture = session.get(Picture, row.picture_id) if row.picture_id else None
    place = session.get(Place, row.place_id) if row.place_id else None
    return FrameOutcome(
        file or row.name,
        row.status,
        row.why,
        picture.uid if picture is not None else None,
        place.path if place is not None else None,
        tuple((x, y) for x, y in row.corners) if row.corners else None,
        row.corners_sure,
        row.mm_per_px,
        row.card,
        tuple(row.warnings or ()),
        tuple(
            {"picture": each["picture"], "as": each["as"], **_named(session, each["picture"])}
            for each in row.alike or ()
        ),
        row.kind,
        work_of_copy(session, picture.copy_id) if picture is not None else None,
        None,
        row.group_number,
    )


def _named(session: Session, uid: str) -> dict[str, str]:
    """Return the file name and the work of a picture, as a person knows it."""
    picture = session.scalars(select(Picture).where(Picture.uid == uid)).first()
    if picture is None:
        return {"name": "", "work": ""}
    return {"name": picture.name, "work": work_of_copy(session, picture.copy_id) or ""}


def _refused(path: Path, why: str) -> FrameOutcome:
    return FrameOutcome(str(path), "refused", why, None, None, None, False, None, None, (), ())


def _says(found: FrameRead, what: str) -> str | None:
    """Return the uid that a code in the frame names, of a place or a slip."""
    for text in found.codes:
        code = parse_code_text(text)
        if code is not None and code.what == what:
            return code.uid
    return None


def _code_of(session: Session, row: FrameRow) -> str | None:
    place = session.get(Place, row.place_id) if row.kind == "place card" and row.place_id else None
    return place.uid if place is not None else None


def _moment(taken_at: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(taken_at) if taken_at else None
    except ValueError:
        return None


def _appearance_of(session: Session, copy_id: int) -> int | None:
    query = select(func.min(Appearance.id)).where(Appearance.copy_id == copy_id, Appearance.binned_at.is_(None))
    return session.scalar(query)


def _copy_of_work(session: Session, ref: str, role: str | None) -> tuple[int, int | None]:
    """Return the copy of a named work and its appearance in a role, made when it has none."""
    copy_id, appearance_id = copy_for_pictures(session, ref)
    if role is None:
        return copy_id, appearance_id
    query = select(Appearance).where(Appearance.copy_id == copy_id, Appearance.binned_at.is_(None))
    there = session.scalars(query.order_by(Appearance.id)).all()
    same = next((each for each in there if each.role == role), None)
    if same is None:
        same = Appearance(copy_id=copy_id, variant_id=there[0].variant_id, role=role)
        session.add(same)
        session.flush()
    return copy_id, same.id


def _refuse_unknown_work(session: Session, ref: str) -> None:
    try:
        find_record(session, "copy", ref)
    except NotFoundError:
        find_record(session, "variant", ref)
