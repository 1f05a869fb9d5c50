"""How was this colour made, and can we make it again?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.blocks import beside, block, hex_of, shows_colour, strip
from archive.cli.command import Group, from_one, limit_option
from archive.cli.face import Face, progress_line
from archive.cli.words import counted, lab_words

if TYPE_CHECKING:
    from archive.services.answers import Answer, Match
    from archive.services.matching import MatchOptions
    from archive.services.picture_match import InkSetCover, PictureAnswer

_STRIP = 60  # characters of a whole picture's palette

match = Group(
    "match",
    help="Find the past prints that hold a colour, or a whole picture's colours.\n\n"
    "Example: inkchest match colour 'dusty green' --paper 'Oatleaf 120' --passes 1\n\n"
    "Example: inkchest match picture painting.jpg",
)


def _options(function: Any) -> Any:
    for option in reversed(
        (
            click.option("--paper", metavar="PAPER", help="The paper it is to be printed on."),
            click.option("--passes", type=int, callback=from_one, metavar="N", help="At most so many passes."),
            click.option("--in-house", is_flag=True, help="Only what the inks and machines in the house can print."),
            click.option("--loaded", is_flag=True, help="Only what can be printed as the drums sit now."),
            click.option("--with", "with_inks", metavar="INK,INK", help="Only with these inks."),
            click.option("--evidence", metavar="KIND,KIND", help="Only proven, worked_out, seen, told or guess."),
            click.option("--absolute", is_flag=True, help="Do not read a screen's white as bare paper."),
            click.option("--order", type=click.Choice(["delta"]), metavar="delta", help="The nearest first, no more."),
            limit_option(5, "answers"),
        )
    ):
        function = option(function)
    return function


def _match_options(given: dict[str, Any]) -> MatchOptions:
    from archive.services.matching import MatchOptions  # here, so that help loads no numbers' library

    return MatchOptions(
        paper=given["paper"],
        passes=given["passes"],
        in_house=given["in_house"],
        loaded=given["loaded"],
        with_inks=_listed(given["with_inks"]),
        evidence=_listed(given["evidence"]),
        by_delta=given["order"] == "delta",
        limit=given["limit"],
    )


def _listed(text: str | None) -> tuple[str, ...]:
    return tuple(part.strip() for part in (text or "").split(",") if part.strip())


def _wanted(_context: click.Context, _parameter: click.Parameter, value: str | None) -> str:
    if value is None:
        raise click.UsageError(
            "No colour was given. Put it in quotes, for a shell drops what follows #: inkchest match colour '#c8553d'"
        )
    return value


@match.command("colour")
@click.argument("wanted", metavar="WANTED", required=False, callback=_wanted)
@_options
@click.pass_obj
def match_colour_command(face: Face, /, wanted: str, absolute: bool, **given: Any) -> None:
    """Find the past prints that hold a colour.

    WANTED is '#rrggbb', lab:L,a,b, lch:L,C,h, swatch:UID, an ink, a colour word or a name you gave; each may be
    followed by +warmer +cooler +lighter +darker +duller +cleaner.

    Example: inkchest match colour '#c8553d' --in-house

    Example: inkchest match colour 'dusty green+lighter' --paper 'Oatleaf 120' --passes 1
    """
    from archive.services.answers import match_colour

    catalogue = face.open()
    with catalogue.read() as session:
        answer = match_colour(
            session,
            wanted,
            _match_options(given),
            absolute=absolute,
            files=catalogue.files,
            progress=progress_line("Making the search index"),
        )
    face.show(answer, lambda: "\n".join(answer_lines(answer)))


@match.command("picture")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@_options
@click.pass_obj
def match_picture_command(face: Face, /, file: Path, absolute: bool, **given: Any) -> None:
    """Find past prints like a picture, and the ink sets that carry its colours. The picture is not kept.

    Example: inkchest match picture painting.jpg --paper 'Oatleaf 120' --passes 1
    """
    from archive.services.picture_match import match_picture

    catalogue, progress = face.open(), progress_line("Making the search index")
    with catalogue.read() as session:
        options = _match_options(given)
        answer = match_picture(session, file, options, absolute=absolute, files=catalogue.files, progress=progress)
    face.show(answer, lambda: "\n".join(_picture_lines(answer)))


# --- a colour


def answer_lines(answer: Answer) -> list[str]:
    """Return an answer as a person reads it: the wanted colour, then each match touching it."""
    wanted = answer.wanted
    lines = beside(
        [wanted["lab"]],
        [f"wanted: {wanted['given']}", f"{_hex(wanted['lab'])}Lab {lab_words(wanted['lab'])}", *answer.notes],
    )
    if answer.out_of_reach is not None:
        lines += ["", *_reach_lines(answer.out_of_reach)]
    for each in answer.matches:
        lines += ["", *beside([wanted["lab"], each.lab], _match_lines(each), lead=f"{each.rank:>2}. ")]
    if answer.left_out:
        lines += ["", *_left_out_lines(answer.left_out)]
    return lines


def _hex(lab: Any) -> str:
    return "" if shows_colour() else f"{hex_of(lab)}, "


def _left_out_lines(left_out: tuple[dict[str, str], ...]) -> list[str]:
    by_reason: dict[str, list[str]] = {}
    for item in left_out:
        by_reason.setdefault(item["why"], []).append(item["what"])
    return [f"Left out: {', '.join(what)} ({why})" for why, what in by_reason.items()]


def _reach_lines(out: dict[str, Any]) -> list[str]:
    if out["nearest_lab"] is None:
        return ["Nothing to show.", _sentence(out["what_next"])]
    misses = f", {' and '.join(out['misses'])}" if out["misses"] else ""
    return [f"Out of reach: the nearest is ΔE00 {out['delta_e_2000']:.1f} away{misses}.", _sentence(out["what_next"])]


def _sentence(text: str) -> str:
    return text if text[-1:] in ".!?" else f"{text}."


def _match_lines(each: Match) -> list[str]:
    """Return what to print first, then how near it comes, how sure that is, what it takes, where it lies."""
    aged = ", aged" if each.aged else ""
    lines = [
        f"{layers_in_words(each.layers)}, on {each.paper or 'a paper not told'}",
        f"{each.verdict}, ΔE00 {each.delta_e_2000:.1f}: {_hex(each.lab)}{each.in_words}",
        f"{each.evidence.replace('_', ' ')}{aged}, known to ± {each.uncertainty:.1f}; "
        f"a new run may differ by ± {each.reprint:.1f}",
        _machine_line(each),
    ]
    if made := _made_line(each.settings or {}):
        lines.append(made)
    if where := _where_line(each):
        lines.append(where)
    lines.append(f"why here: {each.why_here}")
    return lines + [f"note: {note}" for note in each.notes]


def layers_in_words(layers: tuple[dict[str, Any], ...]) -> str:
    """Return layers in printing order: "Dockrope 100 %, then Kilnsong 60 %"."""
    return ", then ".join(_layer(layer) for layer in layers) or "bare paper"


def _layer(layer: dict[str, Any]) -> str:
    doubt = "?" if layer.get("sure") is False else ""
    if layer["tint"] is not None:
        return f"{layer['ink']}{doubt} {layer['tint']:g} %"
    if "tint_range" in layer:
        low, high = layer["tint_range"]
        return f"{layer['ink']}{doubt} {low:g} to {high:g} %"
    return f"{layer['ink']}{doubt} (tint unknown)"


def _machine_line(each: Match) -> str:
    if each.loaded:
        state = "loaded now"
    elif each.printable_now:
        state = "one drum to change" if each.drum_changes == 1 else f"{each.drum_changes} drums to change"
    else:
        state = f"not printable now: {each.why_not_now}"
    return f"{_passes(each.passes)}, {state}"


def _passes(number: int) -> str:
    return "one pass" if number == 1 else f"{number} passes"


def _made_line(settings: dict[str, Any]) -> str:
    known = [
        f"made on {settings['machine']}" if settings.get("machine") else "",
        f"density {settings['density']:g}" if settings.get("density") is not None else "",
        f"speed {settings['speed']:g}" if settings.get("speed") is not None else "",
        f"{settings['screen']} screen" if settings.get("screen") else "",
        f"fillings {' and '.join(settings['fillings'])}" if settings.get("fillings") else "",
    ]
    return ", ".join(part for part in known if part)


def _where_line(each: Match) -> str:
    parts = [f"{each.work['ref']} {each.work['title'] or ''}".strip()] if each.work is not None else []
    if each.copy is not None:
        parts.append(f"copy {each.copy}")
    if each.place is not None:
        parts.append(f"lies in {each.place}")
    if each.where_now not in (None, "here"):
        parts.append(f"now {each.where_now}")
    if each.measured_on:
        parts.append(f"measured {each.measured_on}")
    if each.also:
        parts.append(f"{counted(each.also, 'more patch')} of it")
    return ", ".join(parts)


# --- a picture


def _picture_lines(answer: PictureAnswer) -> list[str]:
    lines = [*_palette_lines(answer), "", "Ink sets that carry it, best first:"]
    lines += [f"  {number}. {_cover_line(cover)}" for number, cover in enumerate(answer.ink_sets, start=1)]
    if not answer.ink_sets:
        lines.append("  none that fits: ask with fewer conditions, or tell the inks of more prints")
    lines += ["", "Past prints with such colours, and how far their colours are off:"]
    lines += [f"  {each.distance:4.1f}  {_print_name(each)}" for each in answer.prints] or ["  none yet"]
    if answer.same_design:
        lines += ["", "Perhaps the same design, by shape alone (look before you believe it):"]
        lines += [f"  {_print_name(each)}" for each in answer.same_design]
    return lines


def _palette_lines(answer: PictureAnswer) -> list[str]:
    parts = [(part["lab"], part["share"], f"Lab {lab_words(part['lab'])}") for part in answer.palette]
    if answer.paper is not None:
        parts.append((answer.paper, answer.paper_share, "bare paper"))
    lines = ["The picture's colours" + (f", read on {answer.read_on}:" if answer.read_on else ":")]
    if shows_colour():
        lines += ["  " + "".join(strip([lab], max(2, round(share * _STRIP))) for lab, share, _ in parts)] * 3
    return lines + [f"  {block(lab)}  {share * 100:4.1f} %  {words}" for lab, share, words in parts]


def _print_name(each: Any) -> str:
    return f"{each.work} {each.title or ''}".strip() if each.work else f"a picture without a work ({each.picture})"


def _cover_line(cover: InkSetCover) -> str:
    state = "loaded now" if cover.loaded else "in the house" if cover.printable_now else f"not now: {cover.why_not_now}"
    machine = f" on {cover.machine}" if cover.machine else ""
    paper = f" on {cover.paper}" if cover.paper else ""
    return (
        f"{' then '.join(cover.inks)}{paper}: {cover.mean:.1f} off on average, {cover.worst:.1f} at worst "
        f"({cover.evidence.replace('_', ' ')}); {_passes(cover.passes)}{machine}, {state}"
    )
