"""Finding one record by what a person calls it, with the nearest names when there is none."""

from __future__ import annotations

import difflib
import re
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Appearance, Copy, Variant, Work
from archive.errors import ConflictError, NotFoundError
from archive.services.kinds import Kind, kind_of

PATH_BREAK = " / "
_UID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")


def looks_like_uid(text: str) -> bool:
    """Return whether the text is a whole uid."""
    return _UID.fullmatch(text) is not None


def find_record(session: Session, noun: str, text: str, *, where: str = "") -> Any:
    """Return the living row that the text names: by uid, ref, name, or what only it can mean.

    A place is also found by the end of its path when only one ends so; a variant by its work's ref when the work
    has one variant; a copy likewise.

    Raises
    ------
    NotFoundError
        None is called that; the nearest names are told.
    ConflictError
        Several could be meant.
    """
    kind = kind_of(noun)
    model: Any = kind.model
    living = select(model).where(model.binned_at.is_(None)).order_by(model.id)
    text = text.strip()
    if looks_like_uid(text):
        found = session.scalars(living.where(model.uid == text)).all()
    else:
        found = _by_name(session, kind, text, living)
    if len(found) == 1:
        return found[0]
    if found:
        raise ConflictError(
            "{text} could be {count} {noun}s: {names}",
            text=text,
            count=len(found),
            noun=noun,
            names=", ".join(str(getattr(row, kind.label)) for row in found[:5]),
            where=where,
            mend="Say more of its name, or give its uid",
        )
    raise not_found(session, kind, text, where=where)


def _by_name(session: Session, kind: Kind, text: str, living: Any) -> list[Any]:
    model: Any = kind.model
    folded = fold(_spaced(text) if kind.noun == "place" else text)
    if kind.key is not None:
        exact = session.scalars(living.where(getattr(model, kind.key) == folded)).all()
        if exact:
            return list(exact)
    if kind.noun == "place":
        return list(session.scalars(living.where(model.path_key.endswith(f"{PATH_BREAK}{folded}", autoescape=True))))
    if kind.noun == "picture":
        return list(session.scalars(living.where(model.name == text)))
    if kind.noun in ("variant", "copy"):
        return _of_work(session, kind.noun, folded)
    return []


def _spaced(path: str) -> str:
    return PATH_BREAK.join(part.strip() for part in path.split("/"))


def _of_work(session: Session, noun: str, folded: str) -> list[Any]:
    work = session.scalars(select(Work).where(Work.binned_at.is_(None), Work.ref_key == folded)).first()
    if work is None:
        return []
    variants = select(Variant).where(Variant.work_id == work.id, Variant.binned_at.is_(None)).order_by(Variant.id)
    if noun == "variant":
        return list(session.scalars(variants))
    copies = (
        select(Copy)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .where(Variant.work_id == work.id, Copy.binned_at.is_(None), Appearance.binned_at.is_(None))
        .distinct()
        .order_by(Copy.id)
    )
    return list(session.scalars(copies))


def not_found(session: Session, kind: Kind, text: str, *, where: str = "") -> NotFoundError:
    """Return the error for a name that nothing has, with the nearest names there are."""
    model: Any = kind.model
    column = getattr(model, kind.label)
    living = select(column).where(model.binned_at.is_(None)).order_by(model.id)
    names = [str(name) for name in session.scalars(living)]
    folded = {fold(name): name for name in names}
    near = [folded[name] for name in difflib.get_close_matches(fold(text), list(folded), n=3, cutoff=0.5)]
    mend = f"Did you mean {', '.join(near)}?" if near else f"See `inkchest {kind.noun} list`"
    return NotFoundError("no {noun} called {text}", noun=kind.noun, text=text, where=where, mend=mend)
