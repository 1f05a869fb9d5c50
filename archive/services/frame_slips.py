"""A job slip photographed beside its sheet: the record of a run until somebody has clean hands."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.models import Appearance, Run, Slip, Variant
from archive.errors import ArchiveError
from archive.imaging.decode import open_picture
from archive.imaging.frame_check import FrameWarning
from archive.output.codes import parse_code_text
from archive.services.frame_reading import FrameRead
from archive.services.lookup import find_record
from archive.services.records import add_record
from archive.services.slips import SlipFacts, read_slip_photo
from archive.services.told import read_told
from archive.services.works import ink_names, tell_variant


@dataclass(frozen=True, slots=True)
class SlipSeen:
    """A slip in a frame: its uid and what its ticks say; or only why it could not be read."""

    uid: str | None
    facts: SlipFacts | None
    why: str = ""


def slip_on(session: Session, found: FrameRead, files: Files) -> SlipSeen | None:
    """Return the job slip that a frame shows, if its codes tell of one."""
    codes = [parse_code_text(text) for text in found.codes]
    if not any(code is not None and code.what == "slip" for code in codes):
        return None
    with files.open(found.read.sha256) as stream:
        pixels = open_picture(stream.read(), name=found.read.path.name).pixels
    try:
        uid, _, facts = read_slip_photo(session, pixels)
    except ArchiveError as error:
        return SlipSeen(None, None, str(error))
    return SlipSeen(uid, facts)


def run_of_slip(session: Session, seen: SlipSeen, copy_id: int, picture_id: int | None) -> list[FrameWarning]:
    """Write the run that a slip records, of the variant on the copy; return what a person must still look at."""
    if seen.uid is None or seen.facts is None:
        return [
            FrameWarning("slip_unread", f"the job slip could not be read: {seen.why}", "Write the run down by hand.")
        ]
    slip = session.scalars(select(Slip).where(Slip.uid == seen.uid, Slip.binned_at.is_(None))).one()
    if slip.run_id is not None:
        run = session.get_one(Run, slip.run_id)
        return [
            FrameWarning("slip_known", f"the slip was taken already, as run {run.ref}", "Print a slip for each run.")
        ]
    variant = session.scalars(
        select(Variant)
        .join(Appearance, Appearance.variant_id == Variant.id)
        .where(Appearance.copy_id == copy_id, Appearance.binned_at.is_(None))
        .order_by(Appearance.id)
    ).first()
    if variant is None:
        return []
    facts = seen.facts
    if facts.layers:
        told = read_told(", then ".join(ink for ink, _ in facts.layers), known_inks=ink_names(session))
        paper_id = find_record(session, "paper", facts.paper).id if facts.paper else None
        tell_variant(session, variant, told, paper_id, said_by=facts.facts.get("person"))
    record = add_record(session, "run", None, {**facts.facts, "variant": variant.ref, "printed-on": slip.printed_on})
    run = session.get_one(Run, record.id)
    run.recipe_id = variant.recipe_id
    slip.run_id, slip.picture_id = run.id, picture_id
    slip.ticks = {"facts": facts.facts, "layers": [list(layer) for layer in facts.layers], "paper": facts.paper}
    session.flush()
    return [
        FrameWarning("slip_in_doubt", f"{group}: {' or '.join(values) or 'not clear'}", f"Mend run {run.ref} by hand.")
        for group, values in facts.in_doubt.items()
    ]
