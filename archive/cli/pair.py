"""What a pair of inks can do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.cli.blocks import block, hex_of, shows_colour
from archive.cli.command import Group
from archive.cli.face import Face
from archive.cli.words import counted, lab_words
from archive.errors import InputError

if TYPE_CHECKING:
    from archive.services.pairs import PairCard, Prediction

pair = Group(
    "pair",
    help="See what inks give together at tints that nobody printed.\n\n"
    "Example: inkchest pair show --inks Dockrope,Ferrywake --paper 'Oatleaf 120'",
)
_inks_option = click.option(
    "--inks", required=True, metavar="A,B[,C[,D]]", help="The inks in printing order, first printed first."
)
_paper_option = click.option("--paper", required=True, metavar="PAPER", help="The paper.")
_screen_option = click.option("--screen", metavar="FM|AM", help="The screen (else the one most patches have).")


@pair.command("predict")
@_inks_option
@_paper_option
@_screen_option
@click.option("--tints", metavar="T,T", help="Percent of each ink: 40,60.")
@click.option(
    "--tints-file",
    metavar="FILE.csv",
    type=click.Path(path_type=Path),
    help="A line a recipe, one tint for each ink, no header.",
)
@click.pass_obj
def pair_predict(
    face: Face, inks: str, paper: str, screen: str | None, tints: str | None, tints_file: Path | None
) -> None:
    """Show what recipes of inks that were measured together give, and how well that is known.

    Example: inkchest pair predict --inks Dockrope,Ferrywake --paper 'Oatleaf 120' --tints 40,60
    """
    from archive.services import pairs  # here, so that lists load no numbers' library

    if (tints is None) == (tints_file is None):
        raise InputError("which tints?", mend="Give --tints 40,60 or --tints-file FILE.csv")
    rows = pairs.read_tints(tints_file) if tints_file is not None else [_tints(str(tints))]
    with face.read() as session:
        found = pairs.predict(session, _names(inks), paper, rows, screen=screen)
    face.show(found, lambda: "\n".join(_line(each) for each in found))


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",") if name.strip()]


def _tints(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError as exc:
        raise InputError("{text} are no tints", text=text, where="--tints", mend="Write them as 40,60") from exc


def _line(each: Prediction) -> str:
    patch = block(each.lab) if shows_colour() else f"{hex_of(each.lab)} "
    tints = " + ".join(f"{tint:g} %" for tint in each.tints)
    words = each.evidence.replace("_", " ")
    return (
        f"{patch} {tints}: Lab {lab_words(each.lab)}, {words}, ± {each.uncertainty:.1f}, a new run ± {each.reprint:.1f}"
    )


@pair.command("show")
@_inks_option
@_paper_option
@_screen_option
@click.pass_obj
def pair_show(face: Face, inks: str, paper: str, screen: str | None) -> None:
    """Show what a pair gives over its tints, what was printed with it, and which patches are missing.

    Example: inkchest pair show --inks Dockrope,Ferrywake --paper 'Oatleaf 120'
    """
    from archive.services import pairs  # as above

    with face.read() as session:
        found = pairs.show_pair(session, _names(inks), paper, screen=screen)
    face.show(found, lambda: _card_lines(found))


def _card_lines(found: PairCard) -> str:
    heading = f"{', then '.join(found.inks)}, on {found.paper}"
    lines = [
        f"{heading}: {counted(found.patches, 'patch')} measured, {counted(found.works, 'work')} printed so",
        *(
            ["tints of the first ink from left to right, of the second from top to bottom"]
            if len(found.inks) == 2
            else []
        ),
    ]
    columns = [each.tints[0] for each in found.grid if each.tints[1:] in ((), (0.0,))]
    lines.append("        " + "".join(f"{column:>9g}" for column in columns))
    seconds = sorted({each.tints[1] if len(each.tints) > 1 else 0.0 for each in found.grid})
    for second in seconds:
        row = [each for each in found.grid if (each.tints[1] if len(each.tints) > 1 else 0.0) == second]
        cells = [f"{_mark(each)}{block(each.lab) if shows_colour() else hex_of(each.lab)}" for each in row]
        lines.append(f"{second:>6g}  " + " ".join(cells))
    lines.append("* printed and measured, ? a guess: that overprint was never printed; the rest is worked out")
    if found.missing:
        listed = "; ".join(" + ".join(f"{tint:g}" for tint in row) for row in found.missing[:12])
        lines.append(f"not measured near: {listed}")
    return "\n".join(lines)


def _mark(each: Prediction) -> str:
    return {"proven": "*", "guess": "?"}.get(each.evidence, " ")
