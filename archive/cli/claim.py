"""Who says so."""

from __future__ import annotations

import click

from archive.cli.command import Group
from archive.cli.face import Face
from archive.services import claims
from archive.services.kinds import KINDS

NOUN = click.Choice(list(KINDS))

claim = Group(
    "claim",
    help="Write down who says so, and list all that was said.\n\nExample: inkchest claim list work QA-0042",
)


@claim.command("add")
@click.argument("noun", metavar="NOUN", type=NOUN)
@click.argument("ref", metavar="REF")
@click.option("--field", required=True, metavar="FACT", help="The fact: order, inks, paper, date, maker.")
@click.option("--value", default="", metavar="TEXT", help="What is said of it.")
@click.option("--basis", default="stated", show_default=True, metavar="|".join(claims.BASES), help="How it is known.")
@click.option("--said-by", metavar="NAME", help="Who says so.")
@click.option("--said-on", metavar="DAY", help="When (today when left out).")
@click.option("--words", default="", metavar="TEXT", help="The words themselves.")
@click.option("--stands", is_flag=True, help="This one stands; the others are kept beside it.")
@click.pass_obj
def claim_add(face: Face, /, noun: str, ref: str, stands: bool, said_by: str | None, **said: str) -> None:
    """Write down what somebody says of a fact; what was said before is kept beside it.

    NOUN is work, variant, copy, ink or any other kind of record.

    Example: inkchest claim add work QA-0042 --field order --value 'Dockrope first' --said-by 'Wren Tallow'
    """
    saying = claims.Saying(by=said_by, **said)
    with face.write(f"claim on {noun} {ref}: {saying.field}") as session:
        found = claims.add_claim(session, noun, ref, saying, stands=stands)
    face.show(found, lambda: _line(found))


@claim.command("list")
@click.argument("noun", metavar="NOUN", type=NOUN)
@click.argument("ref", metavar="REF")
@click.pass_obj
def claim_list(face: Face, noun: str, ref: str) -> None:
    """List all that was said of a record; what stands is marked *, what contradicts it is beside it.

    Example: inkchest claim list work QA-0042
    """
    with face.read() as session:
        found = claims.list_claims(session, noun, ref)
    face.show(found, lambda: "\n".join(_line(item) for item in found) or "Nothing was said of it yet.")


def _line(item: claims.ClaimSummary) -> str:
    mark = "*" if item.is_standing else " "
    by = f" by {item.by}" if item.by else ""
    on = f" on {item.said_on}" if item.said_on else ""
    words = f', in the words "{item.words}"' if item.words else ""
    contrast = " (others say otherwise)" if item.contradicted else ""
    return f"{mark} {item.field}: {item.value or 'unknown'}, {item.basis}{by}{on}{words}{contrast}"
