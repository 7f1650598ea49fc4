"""A workbook of the laboratory, made in its spreadsheet program, read for looks alone.

Of its first sheet: the lines printed above and below, margins, page size, pictures; of the file: the font of the cell
style that spreadsheets call normal. Nothing of its cells. The parts are read one by one, each only up to a size, so
that an archive that unpacks to more than it seems does no harm.
"""

from __future__ import annotations

import io
import posixpath
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element, ParseError, fromstring

from openpyxl.utils.escape import unescape

from ubudget.errors import UnusableInput
from ubudget.files.archive_guard import FILL_IN, Refused, guard, require_plain
from ubudget.files.foreign_files import NotRead, bounded_bytes
from ubudget.files.letterhead import CODE, EMU_PER_POINT, Letterhead, Picture, Printed
from ubudget.files.print_layout import A4, Paper
from ubudget.files.workbook_styles import FONT
from ubudget.pages.layout import RECORD
from ubudget.records.finding import Finding

LARGEST_FILE: Final = 10_000_000
LARGEST_PART: Final = 10_000_000
"""Bytes, packed and unpacked."""
LARGEST_PICTURE: Final = 2_000_000
MOST_PICTURES: Final = 3
_LEAST_ROOM: Final = 3.5
"""Inches between margins, across and down."""
_LONGEST_FONT: Final = 31
_LETTER: Final = 1
_PAPERS: Final = {
    _LETTER: (8.5, 11.0),
    5: (8.5, 14.0),
    8: (297 / 25.4, 420 / 25.4),
    9: (A4.short_edge, A4.long_edge),
    11: (148 / 25.4, 210 / 25.4),
}
"""Edges in inches by the number of the size (ECMA-376 part 1, 18.3.1.63): letter, legal, A3, A4, A5."""
_KINDS: Final = {b"\x89PNG\r\n\x1a\n": "png", b"\xff\xd8\xff": "jpeg", b"GIF87a": "gif", b"GIF89a": "gif"}
"""First bytes of the kinds of pictures that spreadsheets share."""
_SHOWN: Final = frozenset("ADFNPTZ&")
"""Codes that print something: sheet, date, file, pages, time, path, the sign itself."""
_DAMAGED: Final = (
    zipfile.BadZipFile,
    zlib.error,
    ParseError,
    KeyError,
    ValueError,
    EOFError,
    OSError,
    RuntimeError,
)
"""What reading raises for a file that is no workbook, a damaged or an encrypted one."""
_ACCEPTED: Final = "a workbook (.xlsx, .xltx) made in a spreadsheet program"


def read_letterhead(path: Path) -> Letterhead:
    """The looks of a workbook; the same file gives the same. Raises `UnusableInput` with all that is wrong with it."""
    try:
        return _Reader(path).letterhead()
    except (Refused, NotRead) as refused:
        finding = Finding(
            "stop", path.name, "file", str(refused), _ACCEPTED, "keep the first sheet alone, without data"
        )
        raise UnusableInput([finding]) from refused
    except _DAMAGED as error:
        found = f"no readable workbook ({type(error).__name__})"
        finding = Finding("stop", path.name, "file", found, _ACCEPTED, "open it there and save it again")
        raise UnusableInput([finding]) from error


class _Reader:
    """One file; what is wrong with its looks is collected."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._faults: list[Finding] = []
        self._notes: list[Finding] = []

    def letterhead(self) -> Letterhead:
        path = self._path
        if not path.is_file():
            raise self._stopped("file", "no such file", _ACCEPTED, "name one that is there")
        if path.stat().st_size > LARGEST_FILE:
            found = f"a file of {path.stat().st_size / 1e6:.0f} MB"
            raise self._stopped("file", found, f"up to {LARGEST_FILE / 1e6:.0f} MB", "keep the first sheet alone")
        with zipfile.ZipFile(io.BytesIO(bounded_bytes(path, LARGEST_FILE))) as archive:
            guard(archive, FILL_IN, sheets=True)
            self._archive = archive
            letterhead = self._read()
        if self._faults:
            raise UnusableInput(self._faults)
        return letterhead

    def _read(self) -> Letterhead:
        names = self._archive.namelist()
        if any(name.lower().endswith("vbaproject.bin") or "/macrosheets/" in name.lower() for name in names):
            raise self._stopped("file", "macros", "a workbook without macros", "save it as .xlsx")
        place, sheet = self._first_sheet()
        margins, setup = sheet.find("{*}pageMargins"), sheet.find("{*}pageSetup")
        header, footer = (self._printed(sheet, end) for end in ("Header", "Footer"))
        return Letterhead(
            self._path.name,
            header,
            footer,
            self._font(),
            self._paper(margins, setup),
            tuple(self._pictures(place, sheet)),
            tuple(self._notes),
        )

    def _first_sheet(self) -> tuple[str, Element]:
        book = next((target for kind, target in self._related("") if kind == "officeDocument"), "")
        root = self._xml(book)
        sheets = root.findall("{*}sheets/{*}sheet")
        if any(sheet.get("name") == RECORD for sheet in sheets) and len(sheets) > 1:
            found = f"a sheet called {RECORD}, as in a workbook that ubudget wrote"
            raise self._stopped("file", found, _ACCEPTED, "give the laboratory's own")
        known = {number: (kind, target) for number, kind, target in self._relations(book)}
        kind, target = known.get(_reference(sheets[0], "id"), ("", "")) if sheets else ("", "")
        if kind != "worksheet":
            found = "no sheet" if not sheets else f"a first sheet of the kind {kind or 'unknown'}"
            raise self._stopped("file", found, "a sheet of cells as the first one", "put it before the others")
        return target, self._xml(target)

    def _printed(self, sheet: Element, end: str) -> Printed:
        text = unescape(sheet.findtext(f"{{*}}headerFooter/{{*}}odd{end}") or "")
        printed, pictures = _parts(text.replace("\r\n", "\n").replace("\r", "\n"))
        if pictures:
            self._notes.append(
                Finding(
                    "note",
                    self._path.name,
                    f"printed {end.lower()}",
                    "a picture, which is left out",
                    "pictures on the first sheet itself, of the kinds PNG, JPEG and GIF",
                    "insert the logo into the sheet; it then stands on the first page",
                )
            )
        return printed

    def _paper(self, margins: Element | None, setup: Element | None) -> Paper:
        # A set-up that names no size means letter (the format's default); no set-up at all means nothing.
        code = A4.code if setup is None else int(setup.get("paperSize", _LETTER))
        if code not in _PAPERS:
            self._fault("page set-up", f"page size number {code}", "A3, A4, A5, letter or legal", "choose one of them")
            return A4
        given = {} if margins is None else {side: float(margins.get(side, getattr(A4, side))) for side in _SIDES}
        short, long = _PAPERS[code]
        paper = Paper(code, short, long, **given)
        across, down = paper.left + paper.right, max(paper.top, paper.header) + max(paper.bottom, paper.footer)
        # Sheets lie across or stand, so that each margin must leave room on the short edge.
        if min(given.values(), default=0.0) < 0 or not max(across, down) <= short - _LEAST_ROOM:
            found = f"margins of {across:.2f} in across and {down:.2f} in down"
            accepted = f"{_LEAST_ROOM:g} in left between them on the short edge of {short:.1f} in"
            self._fault("page set-up", found, accepted, "make them smaller")
        return paper

    def _font(self) -> str:
        """The font of the style that spreadsheets call normal (ECMA-376 part 1, 18.8.7, built-in style 0)."""
        target = next((target for name, target in self._related("xl/workbook.xml") if name == "styles"), None)
        if target is None:
            return FONT
        root = self._xml(target)
        styles, fonts = root.findall("{*}cellStyles/{*}cellStyle"), root.findall("{*}fonts/{*}font")
        forms = root.findall("{*}cellStyleXfs/{*}xf")
        normal = next((int(style.get("xfId", 0)) for style in styles if style.get("builtinId") == "0"), 0)
        number = int(forms[normal].get("fontId", 0)) if normal < len(forms) else 0
        # Some writers name a font for it that is not there; the first one is that of plain cells.
        name = fonts[number if number < len(fonts) else 0].find("{*}name") if fonts else None
        font = FONT if name is None else name.get("val", FONT).strip()
        if not font or len(font) > _LONGEST_FONT or not font.isprintable() or set(font) & set('",&'):
            accepted = f"the name of a font, up to {_LONGEST_FONT} letters"
            self._fault("cell style normal", f"the font {font[:40]!r}", accepted, "choose another font for the style")
        return font

    def _pictures(self, place: str, sheet: Element) -> Iterator[Picture]:
        drawing = sheet.find("{*}drawing")
        if drawing is None:
            return
        known = {number: target for number, _, target in self._relations(place)}
        home = known[_reference(drawing, "id")]
        parts = {number: target for number, _, target in self._relations(home)}
        anchors = [anchor for anchor in self._xml(home) if anchor.find("{*}pic") is not None]
        if len(anchors) > MOST_PICTURES:
            self._fault("pictures", f"{len(anchors)} of them", f"up to {MOST_PICTURES}", "keep the logo")
            return
        for number, anchor in enumerate(anchors, 1):
            blip = anchor.find("{*}pic/{*}blipFill/{*}blip")
            target = "" if blip is None else parts.get(_reference(blip, "embed"), "")
            picture = self._picture(f"picture {number}", target, anchor)
            if picture is not None:
                yield picture

    def _picture(self, place: str, target: str, anchor: Element) -> Picture | None:
        if not target:
            self._fault(place, "a link to another file", "a picture kept in the workbook", "insert it, not its link")
            return None
        content = self._part(target)
        kind = next((kind for start, kind in _KINDS.items() if content.startswith(start)), None)
        if kind is None:
            self._fault(place, f"a picture of another kind ({target})", "PNG, JPEG or GIF", "insert it as PNG")
            return None
        if len(content) > LARGEST_PICTURE:
            found, accepted = f"{len(content) / 1e6:.1f} MB", f"up to {LARGEST_PICTURE / 1e6:.0f} MB"
            self._fault(place, found, accepted, "make it smaller")
            return None
        sizes = (anchor.find("{*}ext"), anchor.find("{*}pic/{*}spPr/{*}xfrm/{*}ext"))
        size = next((size for size in sizes if size is not None), None)
        width, height = (0, 0) if size is None else (int(size.get("cx", 0)), int(size.get("cy", 0)))
        if width <= 0 or height <= 0:
            self._fault(place, "no size", "a picture with width and height", "set its size and save it again")
            return None
        return Picture(content, kind, width / EMU_PER_POINT, height / EMU_PER_POINT)

    def _related(self, part: str) -> Iterator[tuple[str, str]]:
        return ((kind, target) for _, kind, target in self._relations(part))

    def _relations(self, part: str) -> Iterator[tuple[str, str, str]]:
        """Id, kind and part of what a part refers to in the file; references out of the file have no part."""
        folder, name = posixpath.split(part)
        place = posixpath.join(folder, "_rels", f"{name}.rels")
        if place not in self._archive.namelist():
            return
        for relation in self._xml(place):
            inside = relation.get("TargetMode") != "External"
            target = posixpath.normpath(posixpath.join("/", folder, relation.get("Target", "")))
            kind = relation.get("Type", "").rpartition("/")[2]
            yield relation.get("Id", ""), kind, target.lstrip("/") if inside else ""

    def _xml(self, name: str) -> Element:
        content = self._part(name)
        require_plain(content)
        return fromstring(content)

    def _part(self, name: str) -> bytes:
        with self._archive.open(name) as stream:
            content = stream.read(LARGEST_PART + 1)
        if len(content) > LARGEST_PART:
            found = f"a part that unpacks to more than {LARGEST_PART / 1e6:.0f} MB ({name})"
            accepted = f"parts of up to {LARGEST_PART / 1e6:.0f} MB"
            raise self._stopped("file", found, accepted, "keep the first sheet alone, without data")
        return content

    def _stopped(self, place: str, found: str, accepted: str, remedy: str) -> UnusableInput:
        return UnusableInput([Finding("stop", self._path.name, place, found, accepted, remedy)])

    def _fault(self, place: str, found: str, accepted: str, remedy: str) -> None:
        self._faults.append(Finding("stop", self._path.name, place, found, accepted, remedy))


_SIDES: Final = ("left", "right", "top", "bottom", "header", "footer")


def _reference(element: Element, name: str) -> str:
    """An attribute of the space of relations, whichever of its two names the file uses."""
    return next((value for key, value in element.attrib.items() if key.endswith(f"}}{name}")), "")


def _parts(text: str) -> tuple[Printed, int]:
    """A printed line taken apart, and the number of pictures in it; what stands before any part is in the middle."""
    parts = {"L": "", "C": "", "R": ""}
    at, home, pictures = 0, "C", 0
    for code in CODE.finditer(text):
        parts[home] += text[at : code.start()]
        at = code.end()
        letter = code.group()[1:].upper()
        if letter in parts:
            home = letter
        elif letter == "G":
            pictures += 1
        else:
            parts[home] += code.group()
    parts[home] += text[at:].rstrip("&")
    shown = [_visible(part) for part in parts.values()]
    return Printed(*shown), pictures


def _visible(part: str) -> str:
    """A part without control characters; nothing where its codes print nothing."""
    clean = "".join(letter for letter in part if letter == "\n" or letter.isprintable()).strip()
    bare = CODE.sub(lambda code: code.group() if code.group()[1:].upper() in _SHOWN else "", clean)
    return clean if bare.strip() else ""
