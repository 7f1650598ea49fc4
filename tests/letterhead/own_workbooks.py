"""Workbooks as a laboratory (invented) would make them for its looks, written by openpyxl alone."""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path

from openpyxl import Workbook
from openpyxl.drawing.image import Image
from openpyxl.styles import Font

NAME = "Example Laboratory (invented)"
HEADER = f'&"DejaVu Sans,Bold"&12{NAME}'
RIGHT = "Form 17-4, edition 3"
FOOTER = "Printed copies are not controlled"
FONT = "DejaVu Serif"
CELL = "a cell of the laboratory's own"


def png(width: int = 60, height: int = 30) -> bytes:
    """A green picture (Portable Network Graphics, W3C recommendation, second edition, 5 and 11.2)."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    rows = (b"\0" + b"\x1f\x60\x50" * width) * height
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = (chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(rows)), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


class _Logo(Image):
    """openpyxl reads pictures by another package; here are the bytes and their size."""

    def __init__(self, content: bytes, width: int, height: int) -> None:
        self.format, self.width, self.height = "png", width, height
        self._content = content

    def _data(self) -> bytes:
        return self._content


def own_workbook(
    path: Path,
    *,
    header: str = HEADER,
    right: str = RIGHT,
    logos: Sequence[bytes] = (png(),),
    paper: int = 9,
    side: float = 0.8,
    font: str = FONT,
) -> Path:
    """A workbook with header, footer, logo, font and margins, and a cell that nobody wants."""
    book = Workbook()
    book._named_styles["Normal"].font = Font(name=font, size=11)  # the library offers no public way
    sheet = book.active
    assert sheet is not None
    sheet["A1"] = CELL
    sheet.HeaderFooter.oddHeader.left.text, sheet.HeaderFooter.oddHeader.right.text = header or None, right or None
    sheet.HeaderFooter.oddFooter.center.text = FOOTER
    sheet.page_setup.paperSize = paper
    sheet.page_margins.left = sheet.page_margins.right = side
    for number, logo in enumerate(logos):
        sheet.add_image(_Logo(logo, 60, 30), f"{'BDFH'[number]}2")
    book.save(path)
    return path


def rewritten(path: Path, replaced: dict[str, bytes], added: dict[str, bytes] | None = None) -> Path:
    """The same file with some of its parts changed."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**parts, **replaced, **(added or {})}.items():
            archive.writestr(name, content)
    return path
