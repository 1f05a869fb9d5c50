"""Masters of a strip: one grey picture a drum, exact to the pixel, as TIFF or PDF.

Nothing is smoothed: a tint is one grey value of eight bits, an edge falls on a whole pixel, letters are solid.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from archive.errors import InputError
from archive.output.signs import FONTS_FOLDER

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Grey = NDArray[np.uint8]

DPI = 600  # of a machine that tells nothing else [common practice]
FORMATS = ("pdf", "tiff")
_QUIET_MODULES = 4  # free modules round a QR code [ISO/IEC 18004]
_LINE_MM = 0.25
_REGULAR, _BOLD = "atkinson-hyperlegible-next-400.ttf", "atkinson-hyperlegible-next-600.ttf"
_STYLES = {  # font, height of the em in mm
    "title": (_BOLD, 5.2),
    "plain": (_REGULAR, 3.4),
    "label": (_REGULAR, 2.7),
    "name": (_BOLD, 2.9),
    "number": (_REGULAR, 2.7),
}
_LEAST_MM = 1.9  # of the em: smaller letters do not hold on a stencil [common practice]


@dataclass(frozen=True, slots=True)
class Master:
    """What one drum prints of a strip: 0 is solid, 255 is bare; `dpi` pixels an inch."""

    ink: str
    print_pass: int
    grey: Grey
    dpi: int


def tint_grey(tint: float) -> int:
    """Return the grey value of a tint in percent: 255 for none, 0 for solid."""
    return round(255 * (1 - tint / 100))


def strip_masters(layout: dict[str, Any], *, dpi: int = DPI) -> tuple[Master, ...]:
    """Return the masters of a strip, a drum each in printing order.

    Parameters
    ----------
    layout : dict
        As `planning.strip_layout` gives it.
    dpi : int
        Pixels an inch, the machine's own.

    Raises
    ------
    InputError
        So coarse that a code could not be read.
    """
    if dpi < 100:
        raise InputError("{dpi} pixels an inch are too few for a strip", dpi=dpi, mend="Print it at 100 or more")
    return tuple(
        Master(str(drum["ink"]), int(drum["pass"]), _drawn(layout, number, dpi), dpi)
        for number, drum in enumerate(layout["drums"])
    )


def _drawn(layout: dict[str, Any], drum: int, dpi: int) -> Grey:
    """Return what a drum prints."""
    import numpy as np

    sheet = _Sheet(np.full((_px(layout["height"], dpi), _px(layout["width"], dpi)), 255, np.uint8), dpi)
    for patch in layout["patches"]:
        sheet.fill(patch["x"], patch["y"], patch["size"], patch["size"], tint_grey(patch["tints"][drum]))
    for mark in layout["drums"][drum]["marks"]:
        sheet.cells(mark, _mark_cells(str(layout["dictionary"]), int(mark["id"])))
    for word in layout["words"]:
        if word["drum"] == drum:
            sheet.write(word)
    if drum == layout["code_drum"]:
        sheet.cells(layout["qr"], _code_cells(str(layout["code"])))
        for box in layout["boxes"]:
            sheet.frame(box)
    return sheet.grey


def _px(mm: float, dpi: int) -> int:
    return round(mm / 25.4 * dpi)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A drum's picture while it is drawn; all measures in millimetres."""

    grey: Grey
    dpi: int

    def fill(self, x: float, y: float, width: float, height: float, grey: int) -> None:
        left, top, right, bottom = (_px(each, self.dpi) for each in (x, y, x + width, y + height))
        self.grey[top:bottom, left:right] = grey

    def cells(self, box: dict[str, Any], is_dark: Sequence[Sequence[bool]]) -> None:
        """Draw a square of dark and bare cells, each to whole pixels."""
        side = box["size"] / len(is_dark)
        for row, line in enumerate(is_dark):
            for column, dark in enumerate(line):
                if dark:
                    self.fill(box["x"] + column * side, box["y"] + row * side, side, side, 0)

    def frame(self, box: dict[str, Any]) -> None:
        x, y, width, height = (box[name] for name in ("x", "y", "width", "height"))
        for left, top, across, down in (
            (x, y, width, _LINE_MM),
            (x, y + height - _LINE_MM, width, _LINE_MM),
            (x, y, _LINE_MM, height),
            (x + width - _LINE_MM, y, _LINE_MM, height),
        ):
            self.fill(left, top, across, down, 0)

    def write(self, word: dict[str, Any]) -> None:
        """Write a line of text, smaller where it would be too long; its letters are solid."""
        import numpy as np
        from PIL import Image, ImageDraw, ImageFont

        name, em = _STYLES[word["style"]]
        room = _px(word["width"], self.dpi)
        font = ImageFont.truetype(str(FONTS_FOLDER / name), max(_px(em, self.dpi), 6))
        if (length := font.getlength(word["text"])) > room:
            least = max(_px(_LEAST_MM, self.dpi), 6)
            font = ImageFont.truetype(str(FONTS_FOLDER / name), max(int(font.size * room / length), least))
        ascent, descent = font.getmetrics()
        picture = Image.new("1", (room, ascent + descent), 1)
        ImageDraw.Draw(picture).text((0, 0), word["text"], fill=0, font=font)
        is_ink = ~np.asarray(picture, dtype=bool)
        top, left = _px(word["y"], self.dpi), _px(word["x"], self.dpi)
        part = self.grey[top : top + is_ink.shape[0], left : left + is_ink.shape[1]]
        part[is_ink[: part.shape[0], : part.shape[1]]] = 0


def _mark_cells(dictionary: str, number: int) -> list[list[bool]]:
    import cv2

    kind = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{dictionary.upper()}"))
    drawn = cv2.aruco.generateImageMarker(kind, number, kind.markerSize + 2)  # with the black border
    return [[value == 0 for value in row] for row in drawn.tolist()]


def _code_cells(text: str) -> list[list[bool]]:
    import segno

    matrix = segno.make(text, error="m", micro=False, boost_error=False).matrix
    bare = [[False] * (len(matrix) + 2 * _QUIET_MODULES)] * _QUIET_MODULES
    sides = [False] * _QUIET_MODULES
    return [*bare, *([*sides, *(bool(module) for module in row), *sides] for row in matrix), *bare]


# --- as files


def master_file(master: Master, form: str) -> bytes:
    """Return a master as a file.

    Parameters
    ----------
    form : str
        "tiff", eight bits of grey, deflated; or "pdf", a page of the sheet's size with the same pixels.

    Raises
    ------
    InputError
        No such form.
    """
    if form not in FORMATS:
        raise InputError("no form {form}", form=form, where="--as", mend=f"Use {' or '.join(FORMATS)}")
    return _tiff(master) if form == "tiff" else _pdf(master)


def _tiff(master: Master) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    picture = Image.fromarray(master.grey)
    picture.save(out, "TIFF", compression="tiff_adobe_deflate", dpi=(master.dpi, master.dpi))
    return out.getvalue()


def _pdf(master: Master) -> bytes:
    """Return a PDF of one page with the master's own pixels: a library's would compress them with losses."""
    height, width = master.grey.shape
    across, down = (f"{72 * side / master.dpi:.4f}" for side in (width, height))
    pixels = zlib.compress(master.grey.tobytes(), 6)
    drawing = f"q {across} 0 0 {down} 0 0 cm /M Do Q".encode()
    image = (
        f"<< /Type /XObject /Subtype /Image /Width {width} /Height {height} /ColorSpace /DeviceGray "
        f"/BitsPerComponent 8 /Interpolate false /Filter /FlateDecode /Length {len(pixels)} >>"
    )
    page = (
        f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {across} {down}] "
        "/Resources << /XObject << /M 4 0 R >> >> /Contents 5 0 R >>"
    )
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        page.encode(),
        image.encode() + b"\nstream\n" + pixels + b"\nendstream",
        f"<< /Length {len(drawing)} >>".encode() + b"\nstream\n" + drawing + b"\nendstream",
    ]
    return _assembled(objects)


def _assembled(objects: Sequence[bytes]) -> bytes:
    """Return PDF objects, numbered from 1, as a file with its table of places [ISO 32000-1, 7.5]."""
    out = bytearray(b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n")
    places = []
    for number, each in enumerate(objects, start=1):
        places.append(len(out))
        out += f"{number} 0 obj\n".encode() + each + b"\nendobj\n"
    table = len(out)
    out += f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n".encode()
    out += b"".join(f"{place:010} 00000 n \n".encode() for place in places)
    out += f"trailer << /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{table}\n%%EOF\n".encode()
    return bytes(out)
