"""Writing a finished picture where a person wants it: sRGB with its profile, and nothing of the camera's notes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from archive.errors import CatalogueError, InputError

_FORMATS = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG", ".tif": "TIFF", ".tiff": "TIFF"}
_QUALITY = 95  # of a JPEG: no step to be seen on flat colours [common practice]


def refuse_unknown_format(path: Path) -> str:
    """Return the format that a file's name asks for.

    Raises
    ------
    InputError
        None of those that are written.
    """
    wanted = _FORMATS.get(path.suffix.lower())
    if wanted is None:
        raise InputError(
            "{end} is no kind of picture that is written here",
            end=path.suffix or "a name without an ending",
            where=f"--to {path}",
            mend="End it in .tif, .png or .jpg",
        )
    return wanted


def write_picture(path: Path, pixels: NDArray[np.uint8], *, ppi: float | None = None) -> None:
    """Write (h, w, 3) sRGB pixels of 8 bits; the file is whole or not there.

    Raises
    ------
    InputError
        The name ends in no known format.
    CatalogueError
        The file cannot be written.
    """
    wanted = refuse_unknown_format(path)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    more: dict[str, object] = {"icc_profile": profile}
    if ppi is not None:
        more["dpi"] = (ppi, ppi)
    if wanted == "JPEG":
        more |= {"quality": _QUALITY, "subsampling": 0}
    if wanted == "TIFF":
        more["compression"] = "tiff_deflate"
    half = path.with_name(f".{path.name}.half")
    try:
        Image.fromarray(pixels).save(half, wanted, **more)
        half.replace(path)
    except OSError as exc:
        half.unlink(missing_ok=True)
        raise CatalogueError(
            "cannot write the file: {why}", why=exc.strerror, where=str(path), mend="Choose another place"
        ) from exc
