"""What a workbook takes over from the laboratory: lines printed above and below, logo, font, paper.

Looks only: no cell depends on it, so that a workbook with a letterhead reads back like one without.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from openpyxl.drawing.image import Image
from openpyxl.drawing.spreadsheet_drawing import AbsoluteAnchor
from openpyxl.drawing.xdr import XDRPoint2D, XDRPositiveSize2D

from ubudget.errors import UnusableInput
from ubudget.files.print_layout import A4, Paper
from ubudget.files.workbook_styles import FONT
from ubudget.records.finding import Finding

EMU_PER_POINT: Final = 12_700
"""Drawings are measured in English metric units, 914400 to the inch (ECMA-376 part 1, 20.1.10.16)."""
TALLEST_PICTURE: Final = 70.0
"""Points that a picture may stand high; a taller one is made smaller, in proportion."""
_GAP: Final = 6.0
LONGEST_PRINTED: Final = 255
"""Characters of a header or footer, codes included (common limit of spreadsheets)."""
_LONGEST_LINE: Final = 180
"""Of our line in it."""
_SMALL: Final = 8
_USUAL_SIZE: Final = 11
"""Letter size in points of printed lines that name none."""
_LINE: Final = 1.3
"""Distance of printed lines in units of the letter size."""

CODE: Final = re.compile(r'&(?:"[^"]*"|K(?:[0-9A-Fa-f]{6}|\d\d[+-]\d{3})|\d{1,3}|[^\d])', re.DOTALL)
"""A code of a printed line (ECMA-376 part 1, 18.3.1.46, oddHeader)."""
_TOGGLES: Final = ("&B", "&E", "&I", "&S", "&U", "&X", "&Y")


@dataclass(frozen=True)
class Printed:
    """A printed header or footer: text with codes, on the left, in the middle, on the right."""

    left: str = ""
    centre: str = ""
    right: str = ""

    def has(self, code: str) -> bool:
        """Whether a code (`&P`) stands in it."""
        return code in self.codes()

    def codes(self) -> list[str]:
        return [found.group().upper() for text in (self.left, self.centre, self.right) for found in CODE.finditer(text)]

    def text(self) -> str:
        """As the file holds it."""
        parts = (("&L", self.left), ("&C", self.centre), ("&R", self.right))
        return "".join(f"{code}{text}" for code, text in parts if text)

    def height(self) -> float:
        """Inches that the tallest part takes."""
        return max(_height(text) for text in (self.left, self.centre, self.right))


@dataclass(frozen=True)
class Picture:
    """A picture as its file holds it, with the size in points at which it is shown."""

    content: bytes = field(repr=False)
    kind: str
    """`png`, `jpeg` or `gif`."""
    width: float
    height: float


@dataclass(frozen=True)
class Letterhead:
    """What the laboratory's own workbook says about looks; without one, `PLAIN`."""

    file: str = ""
    header: Printed = Printed()
    footer: Printed = Printed()
    font: str = FONT
    paper: Paper = A4
    pictures: tuple[Picture, ...] = ()
    findings: tuple[Finding, ...] = ()
    """What was left out, for information."""


PLAIN: Final = Letterhead()


def printed_header(letterhead: Letterhead, document: str) -> Printed:
    """The laboratory's lines, and below them on the left number, version and status of the document, which stand on
    every page (ISO/IEC 17025:2017, 8.3.2), on the right the name of the sheet.

    Raises `UnusableInput` where the laboratory's lines leave no room for them."""
    own = letterhead.header
    named = own.has("&A")
    around = _with_lines(own, "", "" if named else "&A", letterhead.font)
    line = _within(document, LONGEST_PRINTED - len(around.text()), letterhead.file, document.partition(";")[0])
    return _with_lines(own, line, "" if named else "&A", letterhead.font)


def printed_footer(letterhead: Letterhead, program: str) -> Printed:
    """The laboratory's lines, and below them the program and, unless the laboratory counts pages, the page."""
    counted = letterhead.header.has("&P") or letterhead.footer.has("&P")
    page = "" if counted else "&P / &N"
    around = _with_lines(letterhead.footer, "", page, letterhead.font)
    line = _within(program, LONGEST_PRINTED - len(around.text()), letterhead.file, program)
    return _with_lines(letterhead.footer, line, page, letterhead.font)


def paper_for(letterhead: Letterhead, header: Printed, footer: Printed) -> Paper:
    """The paper, with margins that the printed lines fit into."""
    paper = letterhead.paper
    return paper.with_room(paper.header + header.height(), paper.footer + footer.height())


def scaled_pictures(pictures: Iterable[Picture], width: float) -> list[Picture]:
    """The pictures side by side within `width` points, none above `TALLEST_PICTURE`; none is made larger."""
    low = [_scaled(picture, min(1.0, TALLEST_PICTURE / picture.height)) for picture in pictures]
    taken = sum(picture.width + _GAP for picture in low)
    return [_scaled(picture, min(1.0, width / taken)) for picture in low]


def height_of_pictures(pictures: Iterable[Picture]) -> float:
    """Points that a row needs above its text."""
    return max((picture.height + _GAP for picture in pictures), default=0.0)


def place_pictures(page: Any, pictures: Iterable[Picture]) -> None:
    """Puts the pictures side by side into the upper left corner of a sheet."""
    left = 0.0
    for picture in pictures:
        image = _PictureAsIs(picture)
        image.anchor = AbsoluteAnchor(
            pos=XDRPoint2D(_emu(left), 0), ext=XDRPositiveSize2D(_emu(picture.width), _emu(picture.height))
        )
        page.add_image(image)
        left += picture.width + _GAP


class _PictureAsIs(Image):
    """A picture for the library with its bytes untouched; the library's own would need another package to read it."""

    def __init__(self, picture: Picture) -> None:
        self.format = picture.kind
        self._content = picture.content

    def _data(self) -> bytes:
        return self._content


def _emu(points: float) -> int:
    return round(points * EMU_PER_POINT)


def _scaled(picture: Picture, factor: float) -> Picture:
    return Picture(picture.content, picture.kind, picture.width * factor, picture.height * factor)


def _height(text: str) -> float:
    sizes = [int(found.group()[1:]) for found in CODE.finditer(text) if found.group()[1:].isdigit()]
    return (text.count("\n") + 1) * max(sizes, default=_USUAL_SIZE) * _LINE / 72 if text else 0.0


def _within(text: str, room: int, file: str, needed: str) -> str:
    """Text for a header or footer, where `&` starts a code, cut at the end to the room."""
    room -= 2
    line, least = (" ".join(words.split()).replace("&", "&&") for words in (text, needed))
    if file and len(least) > room:
        found = f"printed lines that leave {max(room, 0)} of {LONGEST_PRINTED} characters, codes included"
        accepted = f"room for {needed!r}"
        raise UnusableInput([Finding("stop", file, "printed header and footer", found, accepted, "shorten them")])
    room = min(room, _LONGEST_LINE)
    if len(line) <= room:
        return line
    kept = line[: room - 1]
    # Not through the middle of a doubled sign.
    return (kept[:-1] if (len(kept) - len(kept.rstrip("&"))) % 2 else kept) + "…"


def _with_lines(own: Printed, left: str, right: str, font: str) -> Printed:
    return Printed(_with_line(own.left, left, font), own.centre, _with_line(own.right, right, font))


def _with_line(own: str, line: str, font: str) -> str:
    """A part of the laboratory with a line of ours below, which starts without its bold, colours and the like."""
    set_in = f'&"{font},Regular"&{_SMALL} {line}'
    if not own:
        return set_in
    if not line:
        return own
    codes = [found.group().upper() for found in CODE.finditer(own)]
    closed = "".join(code for code in _TOGGLES if codes.count(code) % 2)
    black = "&K000000" if any(code.startswith("&K") for code in codes) else ""
    return f"{own}{closed}\n{black}{set_in}"
