"""Plain values that pages are made from in tests, and how a PDF is read back by a program that is not ours."""

from __future__ import annotations

import io
from datetime import date

from pypdf import PdfReader

DAY = date(2024, 6, 1)
MM = 72 / 25.4  # PDF units a millimetre


def uid(number: int) -> str:
    """Return an invented uid."""
    return f"0192c3a4-1b2c-7d3e-8f40-{number:012x}"


def texts(pdf: bytes) -> list[str]:
    """Return the text of each page, words apart by single spaces."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def sizes_mm(pdf: bytes) -> list[tuple[int, int]]:
    """Return width and height of each page in millimetres."""
    boxes = [page.mediabox for page in PdfReader(io.BytesIO(pdf)).pages]
    return [(round(float(box.width) / MM), round(float(box.height) / MM)) for box in boxes]
