"""A stranger's workbook read for comparison: bounded, by its parts, without opening it in any program.

Refused in one line each: archives that unpack to more than they should, more cells than a workbook of ours can have,
document types and entities in any part, damaged and encrypted files.
"""

from __future__ import annotations

import io
import posixpath
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import Element, ParseError, TreeBuilder, XMLParser
from xml.parsers.expat import ExpatError, ParserCreate

from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format

from ubudget.files.sheet_reading import Left, SheetReader, Styles, Unreadable, decoded, local, no_doctype
from ubudget.pages.cells_as_read import BookAsRead, SheetAsRead
from ubudget.pages.size import MOST_CELLS
from ubudget.records.finding import Finding

LARGEST_FILE: Final = 250_000_000
LARGEST_UNPACKED: Final = 1_500_000_000
MOST_PARTS: Final = 5_000
MOST_SHEETS: Final = 200
LARGEST_PART: Final = 50_000_000
"""Of parts that are read whole: all but sheets and shared texts."""
READ_CELLS: Final = MOST_CELLS + MOST_CELLS // 3
"""Headings, and cells that somebody added, come on top of those of a run."""
_DAMAGED: Final = (
    zipfile.BadZipFile,
    zlib.error,
    ParseError,
    ExpatError,
    KeyError,
    IndexError,
    ValueError,
    OverflowError,
    EOFError,
    NotImplementedError,
    RuntimeError,
)
"""What reading raises for a file that is no workbook, a damaged or an encrypted one."""
_FOREIGN: Final = (
    ("vbaproject", "macros"),
    ("/macrosheets/", "macros"),
    ("/externallinks/externallink", "links to other files"),
    ("/embeddings/", "embedded files"),
    ("/activex/", "active controls"),
    ("/ctrlprops/", "controls"),
    ("xl/connections", "connections to data outside"),
    ("/querytables/", "queries of data outside"),
    ("/pivottables/", "pivot tables"),
    ("customui", "buttons of its own"),
)
"""Parts of a name that no workbook of ours has, and what they are."""
ACCEPTED: Final = "a workbook that ubudget wrote"


def read_cells(path: Path) -> tuple[BookAsRead | None, list[Finding]]:
    """The workbook as it stands in the file; None, with a finding, where it cannot be read."""
    try:
        if not path.is_file():
            raise Unreadable("no such file")
        if path.stat().st_size > LARGEST_FILE:
            raise Unreadable(f"a file of more than {LARGEST_FILE / 1e6:.0f} MB")
        with path.open("rb") as stream:
            return _read(stream), []
    except Unreadable as reason:
        found = str(reason)
    except _DAMAGED as error:
        found = f"no readable workbook ({type(error).__name__})"
    return None, [Finding("stop", path.name, "file", found, ACCEPTED, "use an unaltered copy of the workbook")]


def cells_of(content: bytes) -> BookAsRead:
    """The workbook of bytes that we made ourselves."""
    return _read(io.BytesIO(content))


def _read(stream: Any) -> BookAsRead:
    with zipfile.ZipFile(stream) as archive:
        return _Reader(archive).book()


class _NoDoctype(TreeBuilder):
    """The tree of a part that declares no document type."""

    def doctype(self, name: str, pubid: str | None, system: str | None) -> None:
        no_doctype()


class _Reader:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        parts = archive.infolist()
        if len(parts) > MOST_PARTS:
            raise Unreadable(f"an archive of {len(parts):,} parts")
        if sum(part.file_size for part in parts) > LARGEST_UNPACKED:
            raise Unreadable(f"a file that unpacks to more than {LARGEST_UNPACKED / 1e6:,.0f} MB")
        self._names = {part.filename for part in parts}
        self._left = Left(READ_CELLS, LARGEST_UNPACKED)

    def book(self) -> BookAsRead:
        home = next((target for _, kind, target in self._relations("") if kind == "officeDocument"), "")
        if home not in self._names:
            raise Unreadable("no readable workbook (no sheets of cells)")
        root = self._xml(home)
        if local_tag(root) != "workbook":
            raise Unreadable("another kind of file")
        known = {number: (kind, target) for number, kind, target in self._relations(home)}
        styles = self._styles(next((target for kind, target in known.values() if kind == "styles"), ""))
        texts = self._texts(next((target for kind, target in known.values() if kind == "sharedStrings"), ""))
        entries = root.findall("{*}sheets/{*}sheet")
        if len(entries) > MOST_SHEETS:
            raise Unreadable(f"{len(entries)} sheets")
        sheets = tuple(self._sheet(entry, known, styles, texts) for entry in entries)
        return BookAsRead(sheets, self._defined(root, [sheet.name for sheet in sheets]), tuple(self._foreign()))

    def _sheet(
        self, entry: Element, known: dict[str, tuple[str, str]], styles: Styles, texts: list[str]
    ) -> SheetAsRead:
        name, visible = entry.get("name", ""), entry.get("state", "visible") == "visible"
        kind, target = known.get(next((v for k, v in entry.attrib.items() if k.endswith("}id")), ""), ("", ""))
        if kind != "worksheet" or target not in self._names:
            return SheetAsRead(name, {}, visible, protected=False)
        with self._archive.open(target) as stream:
            return SheetReader(name, visible, styles, texts, self._left).read(stream)

    def _defined(self, root: Element, sheets: list[str]) -> dict[str, str]:
        names = {}
        for entry in root.findall("{*}definedNames/{*}definedName"):
            name, scope = entry.get("name", ""), entry.get("localSheetId")
            if scope is not None and int(scope) < len(sheets):
                name = f"{sheets[int(scope)]}!{name}"
            names[name] = (entry.text or "").strip()
        return names

    def _foreign(self) -> Iterator[str]:
        for words in dict.fromkeys(words for _, words in _FOREIGN):
            starts = [start for start, told in _FOREIGN if told == words]
            if any(start in f"/{name.lower()}" for name in self._names for start in starts):
                yield words

    def _styles(self, part: str) -> Styles:
        if part not in self._names:
            return Styles((), ())
        root = self._xml(part)
        formats = {int(f.get("numFmtId", 0)): f.get("formatCode", "") for f in root.findall("{*}numFmts/{*}numFmt")}
        locked, dates = [], []
        for form in root.findall("{*}cellXfs/{*}xf"):
            protection = form.find("{*}protection")
            locked.append(protection is None or protection.get("locked", "1") in ("1", "true"))
            number = int(form.get("numFmtId", 0))
            code = formats.get(number, BUILTIN_FORMATS.get(number, "General"))
            dates.append(bool(is_date_format(code)))
        return Styles(locked, dates)

    def _texts(self, part: str) -> list[str]:
        if part not in self._names:
            return []
        texts: list[str] = []
        collected: list[str] = []
        inside = {"t": 0, "rPh": 0}

        def start(name: str, attributes: dict[str, str]) -> None:
            name = local(name)
            if name == "si":
                self._left.cell()
                collected.clear()
            elif name in inside:
                inside[name] += 1

        def end(name: str) -> None:
            name = local(name)
            if name == "si":
                texts.append(decoded("".join(collected)))
            elif name in inside:
                inside[name] -= 1

        def text(piece: str) -> None:
            if inside["t"] and not inside["rPh"]:
                collected.append(piece)

        parser = ParserCreate()
        parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = no_doctype
        parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
        with self._archive.open(part) as stream:
            while chunk := self._left.read(stream):
                parser.Parse(chunk, False)
        parser.Parse(b"", True)
        return texts

    def _relations(self, part: str) -> Iterator[tuple[str, str, str]]:
        """Id, kind and part of what a part refers to in the file."""
        folder, name = posixpath.split(part)
        place = posixpath.join(folder, "_rels", f"{name}.rels")
        if place not in self._names:
            return
        for relation in self._xml(place):
            if relation.get("TargetMode") == "External":
                continue
            target = posixpath.normpath(posixpath.join("/", folder, relation.get("Target", "")))
            yield relation.get("Id", ""), relation.get("Type", "").rpartition("/")[2], target.lstrip("/")

    def _xml(self, name: str) -> Element:
        with self._archive.open(name) as stream:
            content = self._left.read(stream, LARGEST_PART + 1)
        if len(content) > LARGEST_PART:
            raise Unreadable(f"a part that unpacks to more than {LARGEST_PART / 1e6:.0f} MB ({name})")
        parser = XMLParser(target=_NoDoctype())
        parser.feed(content)
        root: Element = parser.close()
        return root


def local_tag(element: Element) -> str:
    return element.tag.rpartition("}")[2]
