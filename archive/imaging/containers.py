"""Picture files opened by what they hold, never by their name: JPEG, PNG, TIFF, WebP and HEIC.

Only headers and the camera's notes are read here; `pixels` decodes.
"""

from __future__ import annotations

import io
import struct
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Literal

from PIL import Image, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from archive.errors import InputError, Notice

Kind = Literal["grey", "rgb", "cmyk"]

_PLUGINS: dict[str, Callable[[IO[bytes]], Image.Image]] = {
    "image/jpeg": JpegImagePlugin.JpegImageFile,
    "image/png": PngImagePlugin.PngImageFile,
    "image/tiff": TiffImagePlugin.TiffImageFile,
    "image/webp": WebPImagePlugin.WebPImageFile,
}
SAVE_AS = "Save it as JPEG, PNG, TIFF, WebP or HEIC."
# What the decoders raise on a file that is broken; anything else is a bug of ours and keeps its traceback.
_BROKEN_FILE = (
    OSError, SyntaxError, ValueError, TypeError, LookupError, EOFError, ArithmeticError, RuntimeError,
    struct.error,
)  # fmt: skip

_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"}
_OTHERS = {
    b"%PDF": "a PDF document",
    b"GIF8": "a GIF picture",
    b"BM": "a BMP picture",
    b"PK\x03\x04": "a ZIP archive or an office document",
    b"8BPS": "a layered editor's file",
    b"<svg": "an SVG drawing",
    b"<?xml": "an XML or SVG file",
}
_ORIENTATION, _EXIF_IFD, _INTEROP_IFD = 0x0112, 0x8769, 0xA005
_EXPOSURE = (0x829A, 0x829D, 0x920A)  # time, aperture, focal length
_TAKEN_AT, _TAKEN_AT_OFFSET = 0x9003, 0x9011
_PHOTOMETRIC, _BITS, _SUBFILE, _RAW_VERSION = 262, 258, 254, 50706
_FIRST_YEAR = 1990  # no camera wrote such notes before; 1904, 1970 and 1980 are clocks never set [common practice]
_KINDS: dict[str, Kind] = {
    "1": "grey", "L": "grey", "LA": "grey", "I;16": "grey", "I;16B": "grey", "I;16L": "grey",
    "P": "rgb", "PA": "rgb", "RGB": "rgb", "RGBA": "rgb", "RGBX": "rgb", "RGBa": "rgb", "YCbCr": "rgb",
    "CMYK": "cmyk",
}  # fmt: skip


def media_type_of(head: bytes, *, name: str) -> str:
    """Return the media type told by a file's first bytes.

    Parameters
    ----------
    head : bytes
        At least the first 64 bytes, or the whole file when shorter.
    name : str
        The file, for messages.

    Raises
    ------
    InputError
        Empty, or nothing the archive reads; the message says what it looks like.
    """
    if not head:
        raise InputError("the file is empty", where=name, mend="Copy it again from the camera or card.")
    if head.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "image/tiff"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    if head[4:8] == b"ftyp" and _HEIC_BRANDS & {head[at : at + 4] for at in (8, *range(16, 64, 4))}:
        return "image/heic"
    raise InputError(
        "this is no picture the archive reads: it holds {found}",
        found=_looks_like(head),
        where=name,
        mend=SAVE_AS,
    )


def _looks_like(head: bytes) -> str:
    for mark, words in _OTHERS.items():
        if head.lstrip().startswith(mark):
            return words
    if head[4:8] == b"ftyp":
        return "a film or a picture of another kind"
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as exc:
        # A character cut by the end of the sample is still text.
        is_text = exc.start >= len(head) - 3 and b"\0" not in head
    else:
        is_text = b"\0" not in head
    return "text" if is_text else "something unknown"


@contextmanager
def broken_file_as_input_error(name: str) -> Iterator[None]:
    """Turn what a decoder raises on a broken file into an InputError naming it; hush its warnings."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except MemoryError as exc:
        raise InputError(
            "the picture does not fit into this computer's memory", where=name, mend="Save a smaller copy."
        ) from exc
    except _BROKEN_FILE as exc:
        raise InputError(
            "the picture is damaged or cut short ({reason})",
            reason=str(exc) or type(exc).__name__,
            where=name,
            mend="Copy it again from the camera or card.",
        ) from exc


@contextmanager
def open_header(source: Path | bytes, media_type: str, *, name: str) -> Iterator[Image.Image]:
    """Yield the picture with its header read and no pixel decoded; the file is closed afterwards.

    Each type is opened by its own class: `Image.open` would apply Pillow's limit of about 179 megapixels,
    which is less than a large scan has, and lifting that limit would lift it for the whole process.

    Raises
    ------
    InputError
        The header is damaged, the pixels are of an unusual kind, or the file is a camera's raw file, whose
        first picture is only a preview.
    """
    with io.BytesIO(source) if isinstance(source, bytes) else source.open("rb") as stream:
        with broken_file_as_input_error(name):
            picture = _plugin(media_type)(stream)
            if isinstance(picture, TiffImagePlugin.TiffImageFile):
                _refuse_raw(picture, name)
        if picture.mode not in _KINDS:
            raise InputError(
                "its pixels are of a kind ({mode}) the archive does not read",
                mode=picture.mode,
                where=name,
                mend="Save it with 8 or 16 bits a channel, in grey, RGB or CMYK.",
            )
        yield picture


def _plugin(media_type: str) -> Callable[[IO[bytes]], Image.Image]:
    if media_type == "image/heic":
        from pi_heif import HeifImageFile

        heic: Callable[[IO[bytes]], Image.Image] = HeifImageFile
        return heic
    return _PLUGINS[media_type]


def _refuse_raw(picture: TiffImagePlugin.TiffImageFile, name: str) -> None:
    if _RAW_VERSION in picture.tag_v2 or picture.tag_v2.get(_SUBFILE, 0) & 1:
        raise InputError(
            "this is a camera's raw file, or its first picture is only a preview",
            where=name,
            mend="Develop it to TIFF or JPEG first.",
        )


def kind_of(picture: Image.Image) -> Kind:
    """Return how the picture's channels are to be read: grey, rgb or cmyk."""
    return _KINDS[picture.mode]


def bits_of(picture: Image.Image) -> int:
    """Return 16 for a TIFF or PNG that keeps 16 bits a channel in grey or RGB, else 8.

    CMYK counts as 8: it is read through LittleCMS, which Pillow feeds with 8 bits.
    """
    if picture.mode.startswith("I;16"):
        return 16
    if isinstance(picture, TiffImagePlugin.TiffImageFile) and kind_of(picture) == "rgb":
        return 16 if max(picture.tag_v2.get(_BITS, (8,))) == 16 else 8
    if isinstance(picture, PngImagePlugin.PngImageFile):
        rawmode = str(picture.tile[0][3]) if picture.tile else ""
        return 16 if rawmode.endswith("16B") else 8
    return 8


def is_white_zero(picture: Image.Image) -> bool:
    """Return whether a grey TIFF counts from white down to black, which nobody turns round at 16 bits."""
    return isinstance(picture, TiffImagePlugin.TiffImageFile) and picture.tag_v2.get(_PHOTOMETRIC) == 0


@dataclass(frozen=True, slots=True)
class CameraNotes:
    """What the file's EXIF says that matters here."""

    turn: int = 1  # EXIF orientation 1-8 still to be undone after decoding
    taken_at: str | None = None  # ISO 8601
    is_wide: bool = False  # the camera says its colours are of the optional wide space
    is_photo: bool = False  # it was exposed through a lens, not scanned or drawn


def camera_notes(picture: Image.Image, media_type: str, *, name: str) -> tuple[CameraNotes, tuple[Notice, ...]]:
    """Return the camera's notes in the file.

    HEIC and TIFF come upright from the decoder, so nothing is left to turn there.
    """
    if isinstance(picture, PngImagePlugin.PngImageFile) and not _may_hold_notes(picture):
        return CameraNotes(), ()
    try:
        with broken_file_as_input_error(name):
            exif = picture.getexif()
            turn = exif.get(_ORIENTATION, 1)
            details = exif.get_ifd(_EXIF_IFD)
            is_wide = str(exif.get_ifd(_INTEROP_IFD).get(1, "")).startswith("R03")
    except InputError:
        notice = Notice(
            "camera_notes_broken", "the camera's notes are damaged: check that it stands upright", where=name
        )
        return CameraNotes(), (notice,)
    is_turned_already = media_type in ("image/tiff", "image/heic")
    turn = turn if turn in range(2, 9) and not is_turned_already else 1
    is_photo = any(tag in details for tag in _EXPOSURE)
    return CameraNotes(turn, _taken_at(details), is_wide, is_photo), ()


def _may_hold_notes(picture: PngImagePlugin.PngImageFile) -> bool:
    """Return whether a PNG has a part that may hold EXIF, before or after its pixels.

    Pillow would decode the whole picture to find that there is none.
    """
    stream = picture.fp
    assert stream is not None
    before = stream.tell()
    stream.seek(8)
    parts: set[bytes] = set()
    while len(head := stream.read(8)) == 8:
        parts.add(head[4:])
        stream.seek(int.from_bytes(head[:4], "big") + 4, io.SEEK_CUR)
    stream.seek(before)
    return not parts.isdisjoint((b"eXIf", b"tEXt", b"zTXt", b"iTXt"))


def _taken_at(details: dict[int, Any]) -> str | None:
    text = str(details.get(_TAKEN_AT, "")).strip(" \0")
    offset = str(details.get(_TAKEN_AT_OFFSET, "")).strip(" \0")
    for words, form in ((text + offset, "%Y:%m:%d %H:%M:%S%z"), (text, "%Y:%m:%d %H:%M:%S")):
        try:
            moment = datetime.strptime(words, form)
        except ValueError:
            continue
        return moment.isoformat() if moment.year >= _FIRST_YEAR else None
    return None
