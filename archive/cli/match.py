"""How was this colour made, and can we make it again?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.blocks import block
from archive.cli.face import Face, Group
from archive.services.answers import Answer, Match, match_colour
from archive.services.matching import MatchOptions

match = Group(
    "match",
    help="Find the past prints that hold a colour, or a whole picture's colours.\n\n"
    "Example: inkchest match colour 'dusty green' --paper 'Oatleaf 120' --passes 1",
)


def _options(function: Any) -> Any:
    for option in reversed(
        (
            click.option("--paper", metavar="PAPER", help="The paper it is to be printed on."),
            click.option("--passes", type=click.IntRange(1), metavar="N", help="At most so many passes."),
            click.option("--in-house", is_flag=True, help="Only what the inks and machines in the house can print."),
            click.option("--loaded", is_flag=True, help="Only what can be printed as the drums sit now."),
            click.option("--with", "with_inks", metavar="INK,INK", help="Only with these inks."),
            click.option("--evidence", metavar="KIND,KIND", help="Only proven, worked_out, seen, told or guess."),
            click.option("--absolute", is_flag=True, help="Do not read a screen's white as bare paper."),
            click.option("--order", type=click.Choice(["delta"]), help="delta: by distance alone."),
            click.option("--limit", type=click.IntRange(1), default=5, show_default=True, metavar="N"),
        )
    ):
        function = option(function)
    return function


def _match_options(given: dict[str, Any]) -> MatchOptions:
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


@match.command("colour")
@click.argument("wanted", metavar="WANTED")
@_options
@click.pass_obj
def match_colour_command(face: Face, /, wanted: str, absolute: bool, **given: Any) -> None:
    """Find the past prints that hold a colour: '#c8553d', lab:46,42,37, lch:…, swatch:UID, or a word.

    Each may be followed by +warmer +cooler +lighter +darker +duller +cleaner.

    Example: inkchest match colour '#c8553d+duller' --in-house
    """
    with face.read() as session:
        answer = match_colour(session, wanted, _match_options(given), absolute=absolute)
    face.show(answer, lambda: "\n".join(answer_lines(answer)))


@match.command("picture")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@_options
@click.pass_obj
def match_picture_command(face: Face, /, file: Path, absolute: bool, **given: Any) -> None:
    """Find past prints like a picture, and the ink sets that carry its colours.

    Example: inkchest match picture painting.jpg --paper 'Oatleaf 120' --passes 1
    """
    from archive.services.picture_match import match_picture

    with face.read() as session:
        answer = match_picture(session, file, _match_options(given), absolute=absolute)
    face.show(answer, lambda: "\n".join(_picture_lines(answer)))


def answer_lines(answer: Answer) -> list[str]:
    """Return an answer as a person reads it: the wanted colour, then each match beside it."""
    wanted = answer.wanted
    lines = [f"{block(wanted['lab'], 8)}  wanted {wanted['given']}: Lab {_lab(wanted['lab'])} ({answer.notes[0]})"]
    if answer.out_of_reach is not None:
        lines += _reach_lines(answer.out_of_reach)
    for each in answer.matches:
        lines += ["", *_match_lines(each, wanted["lab"])]
    if answer.left_out:
        lines += ["", *_left_out_lines(answer.left_out)]
    return lines


def _left_out_lines(left_out: tuple[dict[str, str], ...]) -> list[str]:
    by_reason: dict[str, list[str]] = {}
    for item in left_out:
        by_reason.setdefault(item["why"], []).append(item["what"])
    return [f"Left out: {', '.join(what)} ({why})" for why, what in by_reason.items()]


def _reach_lines(out: dict[str, Any]) -> list[str]:
    if out["nearest_lab"] is None:
        return ["Nothing to show. " + out["what_next"] + "."]
    return [
        f"Out of reach: the nearest is {out['delta_e_2000']:.1f} away, {', '.join(out['misses'])}.",
        f"{out['what_next']}.",
    ]


def _match_lines(each: Match, wanted: Any) -> list[str]:
    aged = ", aged" if each.aged else ""
    lines = [
        f"{each.rank}. {block(wanted, 4)}{block(each.lab, 8)}  {each.verdict}: ΔE00 {each.delta_e_2000:.1f}, "
        f"known to ± {each.uncertainty:.1f}, a new run ± {each.reprint:.1f} ({each.evidence.replace('_', ' ')}{aged})",
        f"   {each.in_words}",
        f"   {layers_in_words(each.layers)} on {each.paper or 'a paper not told'}",
        f"   {_machine_line(each)}",
    ]
    if where := _where_line(each):
        lines.append(f"   {where}")
    lines.append(f"   Why here: {each.why_here}.")
    lines += [f"   Note: {note}" for note in each.notes]
    return lines


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
    passes = "one pass" if each.passes == 1 else f"{each.passes} passes"
    if each.loaded:
        state = "loaded now"
    elif each.printable_now:
        state = "one drum to change" if each.drum_changes == 1 else f"{each.drum_changes} drums to change"
    else:
        state = f"not printable now: {each.why_not_now}"
    settings = each.settings or {}
    known = [
        text
        for text in (
            settings.get("machine") and f"made on {settings['machine']}",
            settings.get("density") is not None and f"density {settings['density']:g}",
            settings.get("speed") is not None and f"speed {settings['speed']:g}",
            settings.get("screen") and f"{settings['screen']} screen",
        )
        if text
    ]
    fillings = f"; fillings: {', '.join(settings['fillings'])}" if settings.get("fillings") else ""
    made = ", ".join(known)
    return f"{passes}, {state}" + (f". {made[:1].upper()}{made[1:]}{fillings}" if known else "")


def _where_line(each: Match) -> str:
    parts = []
    if each.work is not None:
        title = f" {each.work['title']}" if each.work["title"] else ""
        parts.append(f"{each.work['ref']}{title}")
    if each.place is not None:
        parts.append(f"in {each.place}")
    if each.where_now not in (None, "here"):
        parts.append(f"now {each.where_now}")
    if each.measured_on:
        parts.append(f"measured {each.measured_on}")
    if each.also:
        parts.append(f"{each.also} more patch{'' if each.also == 1 else 'es'} of it")
    return ", ".join(parts)


def _picture_lines(answer: Any) -> list[str]:
    lines = ["The picture's colours" + (f", read on {answer.read_on}:" if answer.read_on else ":")]
    lines += [
        f"  {block(part['lab'], 8)}  {part['share'] * 100:4.1f} %  Lab {_lab(part['lab'])}" for part in answer.palette
    ]
    if answer.paper is not None:
        lines.append(f"  {block(answer.paper, 8)}  {answer.paper_share * 100:4.1f} %  bare paper")
    lines.append("Ink sets that carry it, best first:")
    for number, cover in enumerate(answer.ink_sets, start=1):
        lines.append(f"  {number}. {_cover_line(cover)}")
    if not answer.ink_sets:
        lines.append("  none that fits: ask with fewer conditions, or tell the inks of more prints")
    lines.append("Past prints with such colours:")
    lines += [f"  {each.distance:4.1f}  {_print_name(each)}" for each in answer.prints] or ["  none yet"]
    if answer.same_design:
        lines.append("Perhaps the same design (by shape alone; look before you believe it):")
        lines += [f"  {_print_name(each)}" for each in answer.same_design]
    return lines


def _print_name(each: Any) -> str:
    return f"{each.work} {each.title}".strip() if each.work else f"a picture without a work ({each.picture})"


def _cover_line(cover: Any) -> str:
    passes = "one pass" if cover.passes == 1 else f"{cover.passes} passes"
    state = "loaded now" if cover.loaded else "in the house" if cover.printable_now else f"not now: {cover.why_not_now}"
    machine = f" on {cover.machine}" if cover.machine else ""
    return (
        f"{' then '.join(cover.inks)}: {cover.mean:.1f} off on average, {cover.worst:.1f} at worst "
        f"({cover.evidence.replace('_', ' ')}); {passes}{machine}, {state}"
    )


def _lab(lab: Any) -> str:
    return " ".join(f"{part:.1f}" for part in lab)
