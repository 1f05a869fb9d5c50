"""Small profiles and pictures for the imaging tests, built byte by byte from the published layouts."""

from __future__ import annotations

import io
import struct
import subprocess
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

D50 = (0.9642, 1.0, 0.8249)
ORIENTATION = 0x0112

# Colourants of a display with wide primaries, XYZ relative to D50, as such profiles carry them: common practice,
# (0.680, 0.320), (0.265, 0.690), (0.150, 0.060) with a D65 white, adapted by Bradford; rows R, G, B.
WIDE_COLOURANTS = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
# The sRGB curve as the parameters of a type 3 curve: g, a, b, c, d (IEC 61966-2-1).
SRGB_FORMULA = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def s15(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))


def para(kind: int, *values: float) -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + s15(*values)


def curv(*values: int) -> bytes:
    data = b"curv" + bytes(4) + struct.pack(">I", len(values)) + struct.pack(f">{len(values)}H", *values)
    return data + bytes(-len(data) % 4)


def xyz_tag(xyz: tuple[float, float, float]) -> bytes:
    return b"XYZ " + bytes(4) + s15(*xyz)


def _text(words: str) -> bytes:
    return (
        b"mluc"
        + bytes(4)
        + struct.pack(">IIHHII", 1, 12, 0x656E, 0x4742, 2 * len(words), 28)
        + words.encode("utf-16-be")
    )


def profile(
    tags: dict[str, bytes], *, space: bytes = b"RGB ", connection: bytes = b"XYZ ", kind: bytes = b"mntr"
) -> bytes:
    """A version 4 profile with the given tags and the few that every profile must carry."""
    tags = {"desc": _text("made for a test"), "cprt": _text("none"), "wtpt": xyz_tag(D50), **tags}
    table, body = b"", b""
    start = 132 + 12 * len(tags)
    for name, data in tags.items():
        data += bytes(-len(data) % 4)
        table += struct.pack(">4sII", name.encode(), start + len(body), len(data))
        body += data
    size = start + len(body)
    head = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x04300000, kind, space, connection)
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + s15(*D50) + bytes(48)
    return head + struct.pack(">I", len(tags)) + table + body


def wide_profile(curve: bytes | None = None) -> bytes:
    """A matrix profile of a display with wide primaries."""
    curve = curve or para(3, *SRGB_FORMULA)
    tags = {f"{c}XYZ": xyz_tag(x) for c, x in zip("rgb", WIDE_COLOURANTS, strict=True)}
    return profile(tags | {f"{c}TRC": curve for c in "rgb"})


def grey_profile(curve: bytes, *, connection: bytes = b"XYZ ") -> bytes:
    return profile({"kTRC": curve}, space=b"GRAY", connection=connection)


def table_profile(corners: NDArray[np.float64], *, space: bytes) -> bytes:
    """An 8-bit table profile with two grid points a channel; corners (2**n, 3) Lab, last channel fastest."""
    channels = {b"RGB ": 3, b"CMYK": 4}[space]
    encoded = np.round(corners * (255 / 100, 1, 1) + (0, 128, 128)).astype(np.uint8)
    ramp = bytes(range(256))
    head = b"mft1" + bytes(4) + bytes((channels, 3, 2, 0)) + s15(1, 0, 0, 0, 1, 0, 0, 0, 1)
    table = head + ramp * channels + encoded.tobytes() + ramp * 3
    kind = b"prtr" if space == b"CMYK" else b"scnr"
    return profile({"A2B0": table}, space=space, connection=b"Lab ", kind=kind)


def transicc(profile_path: Path | str, colours: NDArray[np.float64], *, to: str) -> NDArray[np.float64]:
    """Colours through LittleCMS in float, relative colorimetric; its four printed decimals."""
    lines = "\n".join(" ".join(f"{value:.6f}" for value in row) for row in colours)
    command = ["transicc", "-n", "-i", str(profile_path), "-o", f"*{to}", "-t", "1"]
    done = subprocess.run(command, input=lines + "\n", capture_output=True, text=True, check=True)
    return np.array([[float(word) for word in line.split()] for line in done.stdout.splitlines() if line.strip()])


def quadrants(width: int = 48, height: int = 32) -> NDArray[np.uint8]:
    """Red and green above blue and white, so that every turn and mirror shows."""
    pixels = np.full((height, width, 3), 255, np.uint8)
    pixels[: height // 2, : width // 2] = (255, 0, 0)
    pixels[: height // 2, width // 2 :] = (0, 255, 0)
    pixels[height // 2 :, : width // 2] = (0, 0, 255)
    return pixels


def encoded(pixels: NDArray[np.uint8] | Image.Image, file_format: str, **options: object) -> bytes:
    """Pixels as a file's content, as little changed as the format allows."""
    picture = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    exact: dict[str, dict[str, object]] = {
        "JPEG": {"quality": 100, "subsampling": 0},
        "WEBP": {"lossless": True, "exact": True},
    }
    stream = io.BytesIO()
    picture.save(stream, file_format, **{**exact.get(file_format, {}), **options})  # type: ignore[arg-type]
    return stream.getvalue()


def exif(**tags: object) -> Image.Exif:
    """EXIF with an orientation and a date, as asked."""
    notes = Image.Exif()
    notes[ORIENTATION] = tags.get("orientation", 1)
    if tags.get("exposed"):
        notes.get_ifd(0x8769)[0x829A] = 0.01
    if "taken" in tags:
        notes.get_ifd(0x8769)[0x9003] = tags["taken"]
    return notes


def with_tiff_tag(data: bytes, tag: int, number: int) -> bytes:
    """A little-endian TIFF whose first directory holds one SHORT more, or anew."""
    start = struct.unpack("<I", data[4:8])[0]
    (count,) = struct.unpack("<H", data[start : start + 2])
    entries = [data[start + 2 + 12 * i : start + 14 + 12 * i] for i in range(count)]
    following = data[start + 2 + 12 * count : start + 6 + 12 * count]
    entries = [entry for entry in entries if struct.unpack("<H", entry[:2])[0] != tag]
    entries.append(struct.pack("<HHIHH", tag, 3, 1, number, 0))
    entries.sort(key=lambda entry: struct.unpack("<H", entry[:2])[0])
    data += bytes(len(data) % 2)
    directory = struct.pack("<H", len(entries)) + b"".join(entries) + following
    return data[:4] + struct.pack("<I", len(data)) + data[8:] + directory


def tiff_16(pixels: NDArray[np.uint16], icc: bytes = b"") -> bytes:
    """An uncompressed little-endian TIFF of 16 bits a channel, (h, w) or (h, w, 3), written by hand (TIFF 6.0)."""
    height, width = pixels.shape[:2]
    channels = 1 if pixels.ndim == 2 else 3
    body = pixels.astype("<u2").tobytes()
    bits_at = 8 + len(body)
    extra = struct.pack("<3H", 16, 16, 16) + icc
    entries = [
        (256, 4, 1, width), (257, 4, 1, height), (258, 3, channels, 16 if channels == 1 else bits_at),
        (259, 3, 1, 1), (262, 3, 1, 1 if channels == 1 else 2), (273, 4, 1, 8), (277, 3, 1, channels),
        (278, 4, 1, height), (279, 4, 1, len(body)),
    ]  # fmt: skip
    if icc:
        entries.append((34675, 7, len(icc), bits_at + 6))
    directory = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries) + bytes(4)
    padding = bytes(len(extra) % 2)
    return b"II*\0" + struct.pack("<I", bits_at + len(extra + padding)) + body + extra + padding + directory


def heic(tmp_path: Path, pixels: NDArray[np.uint8], *, icc: bytes = b"", quarter_turns: int | None = None) -> bytes:
    """A HEIC by Debian's encoder, with a rotation property put in by hand when asked.

    Source of the boxes: ISO/IEC 14496-12 and 23008-12; `irot` turns the picture anticlockwise by quarter turns.
    """
    source, made = tmp_path / "source.png", tmp_path / "made.heic"
    source.write_bytes(encoded(pixels, "PNG", icc_profile=icc or None))
    subprocess.run(["heif-enc", "-q", "100", str(source), "-o", str(made)], check=True, capture_output=True)
    data = made.read_bytes()
    return data if quarter_turns is None else _with_irot(data, quarter_turns)


def _with_irot(data: bytes, quarter_turns: int) -> bytes:
    changed = bytearray(data)
    ipco, ipma, iloc = (data.index(name) - 4 for name in (b"ipco", b"ipma", b"iloc"))
    ipco_end = ipco + int.from_bytes(data[ipco : ipco + 4], "big")
    count, at = 0, ipco + 8
    while at < ipco_end:
        count, at = count + 1, at + int.from_bytes(data[at : at + 4], "big")
    grown = {b"meta": 10, b"iprp": 10, b"ipco": 9, b"ipma": 1}
    for name, more in grown.items():
        at = data.index(name) - 4
        changed[at : at + 4] = (int.from_bytes(data[at : at + 4], "big") + more).to_bytes(4, "big")
    changed[ipma + 18] += 1  # one item, its properties one more
    base = iloc + 20  # version 0, one item: the offset into the file, now 10 further on
    changed[base : base + 4] = (int.from_bytes(data[base : base + 4], "big") + 10).to_bytes(4, "big")
    ipma_end = ipma + int.from_bytes(data[ipma : ipma + 4], "big")
    property_box = struct.pack(">I4sB", 9, b"irot", quarter_turns)
    essential = bytes([0x80 | (count + 1)])
    return bytes(changed[:ipco_end] + property_box + changed[ipco_end:ipma_end] + essential + changed[ipma_end:])
