"""The job slip: a page of tick boxes that is photographed beside a sheet and read by a machine.

`slip_layout` settles where everything lies, in millimetres from the upper left corner of the page. The same plain
values are printed by `job_slips` and kept by whoever reads the photo later, so that both always agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from archive.errors import InputError, Notice
from archive.output.codes import code_text, qr_svg
from archive.output.typeset import Pages, typeset

_VERSION = 1
_SIZES_MM = ((148, 210), (210, 297))  # A5 where all fits on it, else A4
_MARK_MM, _EDGE_MM = 12.0, 8.0  # the corner marks, and how far from the edge they lie
_MARKS = "4x4_50"  # the published set of square marks that OpenCV finds; numbers 0 to 3 clockwise from the upper left
_CODE_MM = 29.0  # with its quiet zone: 0.7 mm a module
_BOX_MM, _ROW_MM = 4.6, 6.0
_DIGITS_BOX_MM, _DIGITS_STEP_MM, _DIGITS_LABEL_MM = 4.2, 5.4, 8.5
_TOP_MM = 46.0  # where the boxes begin
_HEAD_MM = 5.5
_RIGHT_SHARE = 0.56  # where the right column begins
_GOOD_PLACES, _SPOILED_PLACES = (1000, 100, 10, 1), (100, 10, 1)
_STEPS = ("1", "2", "3", "4", "5")  # of density and speed; common practice of these machines


@dataclass(frozen=True, slots=True)
class SlipChoices:
    """What a slip offers to tick.

    Parameters
    ----------
    inks, papers, machines, people : sequence of str
        Names, in the order they stand.
    drums, passes : int
        Drums that go down in one pass, and how many passes there is room for.
    """

    inks: Sequence[str]
    papers: Sequence[str] = ()
    machines: Sequence[str] = ()
    people: Sequence[str] = ()
    drums: int = 2
    passes: int = 2


@dataclass
class _Layout:
    """A layout while it is drawn up."""

    size: tuple[int, int]
    boxes: list[dict[str, Any]] = field(default_factory=list)
    words: list[dict[str, Any]] = field(default_factory=list)
    rules: list[dict[str, float]] = field(default_factory=list)

    def box(self, group: str, value: str, x: float, y: float, size: float = _BOX_MM) -> None:
        self.boxes.append({"group": group, "value": value, "x": _mm(x), "y": _mm(y), "size": size})

    def say(self, text: str, x: float, y: float, width: float, style: str = "plain") -> None:
        self.words.append({"text": text, "x": _mm(x), "y": _mm(y), "width": _mm(width), "style": style})

    def rule(self, x: float, y: float, width: float) -> None:
        self.rules.append({"x": _mm(x), "y": _mm(y), "width": _mm(width)})


def _mm(length: float) -> float:
    return round(length, 3)


def slip_layout(uid: str, choices: SlipChoices) -> dict[str, Any]:
    """Return where everything on a slip lies, as plain values.

    Parameters
    ----------
    uid : str
        Of the slip; its code says it.

    Returns
    -------
    dict
        `version`; `code`, the text of the QR code, and `qr`, where it lies; `width`, `height` of the page;
        `dictionary` and `marks` (`id`, `x`, `y`, `size`), the corner marks; `boxes` (`group`, `value`, `x`, `y`,
        `size`), what can be ticked, at most one of a group; `words` and `rules`, what else is printed. All in
        millimetres from the upper left corner.

        Groups: `ink PASS.POSITION`, `machine`, `paper`, `person`, `density`, `speed`, and the digits of two counts,
        `good 1000` to `good 1` and `spoiled 100` to `spoiled 1`.

    Raises
    ------
    InputError
        There is no ink, or more of something than a page has room for.
    """
    if not choices.inks:
        raise InputError("no ink to tick", mend="Add one: inkchest ink add Ferrywake")
    for size in _SIZES_MM:
        layout = _Layout(size)
        ends_at = _draw(layout, choices)
        if ends_at <= size[1] - _EDGE_MM - _MARK_MM - 3:
            return _plain(uid, layout)
    raise InputError(
        "{inks} inks, {papers} papers, {machines} machines and {people} people do not fit on one slip",
        inks=len(choices.inks),
        papers=len(choices.papers),
        machines=len(choices.machines),
        people=len(choices.people),
        mend="Name fewer of them",
    )


def _draw(layout: _Layout, choices: SlipChoices) -> float:
    """Put everything on the page and return where it ends."""
    width = layout.size[0]
    left, right = _EDGE_MM + 2, width - _EDGE_MM - 2
    middle = left + (right - left) * _RIGHT_SHARE
    _draw_head(layout, right)
    below_inks = _draw_inks(layout, choices, left, middle - 5)
    y = _TOP_MM
    for group, heading, names in (
        ("machine", "Machine", choices.machines),
        ("paper", "Paper", choices.papers),
        ("person", "Printed by", choices.people),
    ):
        y = _draw_list(layout, group, heading, names, middle, y, right)
    y = max(below_inks, y) + 1
    _draw_steps(layout, "density", "Density", left, y)
    y = _draw_steps(layout, "speed", "Speed", middle, y) + 2
    return _draw_counts(layout, left, y, right)


def _draw_head(layout: _Layout, right: float) -> None:
    beside_mark = _EDGE_MM + _MARK_MM + 5
    end = right - _MARK_MM - _CODE_MM - 6
    layout.say("Job slip", beside_mark, 8, end - beside_mark, "title")
    for number, label in enumerate(("Work", "Day")):
        y = 23.0 + 10 * number
        layout.say(label, _EDGE_MM + 2, y, 14, "label")
        layout.rule(_EDGE_MM + 16, y + 4.5, end - _EDGE_MM - 16)


def _draw_inks(layout: _Layout, choices: SlipChoices, left: float, right: float) -> float:
    """Put a row for each ink and a column for each drum of each pass."""
    columns = [(turn, drum) for turn in range(1, choices.passes + 1) for drum in range(1, choices.drums + 1)]
    first = right - len(columns) * _ROW_MM
    y = _TOP_MM
    layout.say("Ink", left, y, first - left - 2, "head")
    for number, (turn, drum) in enumerate(columns):
        x = first + number * _ROW_MM
        if drum == 1:
            layout.say(f"pass {turn}", x, y - 4, choices.drums * _ROW_MM, "small")
        layout.say(f"{drum}.", x, y, _ROW_MM, "label")
    y += _HEAD_MM
    for ink in choices.inks:
        layout.say(ink, left, y, first - left - 2, "right")
        for number, (turn, drum) in enumerate(columns):
            layout.box(f"ink {turn}.{drum}", ink, first + number * _ROW_MM, y)
        y += _ROW_MM
    layout.rule(left, y + 4.5, first - left - 2)  # an ink that is not listed
    return y + _ROW_MM


def _draw_list(
    layout: _Layout, group: str, heading: str, names: Sequence[str], left: float, y: float, right: float
) -> float:
    layout.say(heading, left, y, right - left, "head")
    y += _HEAD_MM
    for name in names:
        layout.box(group, name, left, y)
        layout.say(name, left + _ROW_MM + 1, y, right - left - _ROW_MM - 1)
        y += _ROW_MM
    layout.rule(left, y + 4.5, right - left)  # one that is not listed
    return y + _ROW_MM + 1.0


def _draw_steps(layout: _Layout, group: str, heading: str, left: float, y: float) -> float:
    layout.say(heading, left, y + 3.5, 18, "head")
    for number, step in enumerate(_STEPS):
        x = left + 18 + number * _ROW_MM
        layout.say(step, x, y - 0.4, _BOX_MM, "digit")
        layout.box(group, step, x, y + 3.5)
    return y + 3.5 + _ROW_MM


def _draw_counts(layout: _Layout, left: float, y: float, right: float) -> float:
    """Put a row of the ten digits for each place of the two counts."""
    half = left + (right - left) / 2 + 2
    layout.say("Good sheets: one digit a row", left, y, half - left, "head")
    layout.say("Spoiled sheets", half, y, right - half, "head")
    y += _HEAD_MM
    for x, group, places in ((left, "good", _GOOD_PLACES), (half, "spoiled", _SPOILED_PLACES)):
        for number, place in enumerate(places):
            row = y + 3.4 + number * _DIGITS_STEP_MM
            layout.say(f"{place}s", x, row - 0.2, _DIGITS_LABEL_MM, "small")
            for digit in range(10):
                column = x + _DIGITS_LABEL_MM + digit * _DIGITS_STEP_MM
                if number == 0:
                    layout.say(str(digit), column, row - 3.9, _DIGITS_BOX_MM, "digit")
                layout.box(f"{group} {place}", str(digit), column, row, _DIGITS_BOX_MM)
    return y + 3.4 + len(_GOOD_PLACES) * _DIGITS_STEP_MM


def _plain(uid: str, layout: _Layout) -> dict[str, Any]:
    width, height = layout.size
    end_x, end_y = width - _EDGE_MM - _MARK_MM, height - _EDGE_MM - _MARK_MM
    corners = ((_EDGE_MM, _EDGE_MM), (end_x, _EDGE_MM), (end_x, end_y), (_EDGE_MM, end_y))
    return {
        "version": _VERSION,
        "code": code_text("slip", uid),
        "width": width,
        "height": height,
        "dictionary": _MARKS,
        "marks": [{"id": number, "x": x, "y": y, "size": _MARK_MM} for number, (x, y) in enumerate(corners)],
        "qr": {"x": _mm(end_x - _CODE_MM - 3), "y": _EDGE_MM - 2, "size": _CODE_MM},
        "boxes": layout.boxes,
        "words": layout.words,
        "rules": layout.rules,
    }


def job_slips(
    layouts: Sequence[dict[str, Any]], *, day: date, workshop: str = "", notices: Sequence[Notice] = ()
) -> Pages:
    """Return printed slips, a page each; their layouts differ in nothing but the code. `notices` go with them."""
    layout = layouts[0]
    codes = [str(each["code"]) for each in layouts]
    values = {
        **{name: layout[name] for name in ("width", "height", "marks", "qr", "boxes", "words", "rules")},
        "title": "Job slip",
        "workshop": workshop,
        "hint": "One slip a run: tick with a dark pen, photograph it whole beside the sheet.",
        "slips": [{"code": f"code-{number}.svg", "short": code[-12:]} for number, code in enumerate(codes)],
    }
    drawn = {f"code-{number}.svg": qr_svg(code) for number, code in enumerate(codes)}
    drawn.update(_mark_drawings(layout))
    pages = typeset("job_slip", values, day=day, pages=len(codes), pictures=drawn)
    return Pages(pages.pdf, pages.count, (*notices, *pages.notices))


def _mark_drawings(layout: dict[str, Any]) -> Iterator[tuple[str, bytes]]:
    """Yield the corner marks as drawings of black and white squares."""
    import cv2  # here: only slips need it

    kind = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{layout['dictionary'].upper()}"))
    across = kind.markerSize + 2  # with the black border
    for mark in layout["marks"]:
        cells = cv2.aruco.generateImageMarker(kind, mark["id"], across)
        white = "".join(
            f'<rect x="{column}" y="{row}" width="1.02" height="1.02"/>'  # a hair wider: no seams between cells
            for row in range(across)
            for column in range(across)
            if cells[row, column]
        )
        yield (
            f"mark-{mark['id']}.svg",
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across} {across}" width="{across}" '
            f'height="{across}"><rect width="{across}" height="{across}"/><g fill="#fff">{white}</g></svg>'.encode(),
        )
