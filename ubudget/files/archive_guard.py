"""What a workbook of somebody else may ask of this computer, settled before any of it is unpacked or understood.

What an archive says of its own parts bounds what is unpacked: no more than that is ever taken out of it. Each part is
looked at by a parser that keeps nothing: document types and entities are refused, elements and cells are counted,
and places are held to the size of a sheet.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Container, Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import PurePosixPath
from typing import IO, Final
from xml.etree.ElementTree import ParseError, fromstring
from xml.parsers.expat import ExpatError, ParserCreate, XMLParserType

from ubudget.quantity.spelling import column_letters

MOST_PARTS: Final = 5_000
MOST_TIMES: Final = 250
"""Times that a workbook unpacks, beyond `ALWAYS`. Workbooks of ours reach 40, and XML of spaces reaches 1,000."""
ALWAYS: Final = 20_000_000
"""Bytes that any archive may unpack to."""
MOST_ROWS: Final = 1_048_576
MOST_COLUMNS: Final = 16_384
MOST_PLACES: Final = 20_000_000
"""Rows times columns up to the last cell of each row; readers walk over places between cells."""
MOST_SPREAD: Final = 200_000
"""Places of all merged cells and links together, each of which a reader may turn into a cell."""
MOST_OTHERS: Final = 200_000
"""Elements of a part that are no cells: rules, columns, styles, points of charts."""
PROLOG: Final = 65_536
"""Bytes within which a part must begin its first element."""
_CHUNK: Final = 1 << 18
_MOST_CHUNKS: Final = 8
"""Pieces of a part in which no element begins: 2 MB of one text, where a cell holds 32,767 letters."""
_TEXTS: Final = frozenset({"v", "f", "is", "t"})
_SPREAD: Final = frozenset({"mergeCell", "hyperlink"})
_PLACE: Final = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_TYPES: Final = "[Content_Types].xml"


class Refused(Exception):
    """What a workbook holds that is not read; the text says it."""


@dataclass(frozen=True)
class Bounds:
    """Of a workbook: bytes packed, unpacked, and unpacked of the parts that are read; cells of those parts."""

    packed: int
    unpacked: int
    read: int
    cells: int


BUDGET: Final = Bounds(100_000_000, 1_500_000_000, 400_000_000, 3_000_000)
"""A workbook of ours at its largest (`pages.size.MOST_CELLS`) has 70 MB; sheets without open cells are not read."""
FILL_IN: Final = Bounds(20_000_000, 100_000_000, 100_000_000, 300_000)
"""Every cell becomes an object with its looks, 1 kB each."""


class Left:
    """Cells and bytes of a workbook that may still be read."""

    def __init__(self, bounds: Bounds) -> None:
        self._bounds, self.cells, self.read = bounds, bounds.cells, bounds.read

    def take(self, cells: int, read: int) -> None:
        self.cells -= cells
        self.read -= read
        if self.cells < 0:
            raise Refused(f"more than {self._bounds.cells:,} cells")
        if self.read < 0:
            raise Refused(f"more than {self._bounds.read / 1e6:,.0f} MB of cells and texts")


def guard(archive: zipfile.ZipFile, bounds: Bounds, *, sheets: bool) -> Left:
    """Refuses what could do harm; sheets of cells are looked through only where `sheets` says so, for `guard_sheet`
    looks through those that are read.

    Raises `Refused`, and what `zipfile` raises for damage."""
    parts = archive.infolist()
    _check_names([part.filename for part in parts])
    if any(part.flag_bits & 1 for part in parts):
        raise Refused("an encrypted workbook")
    unpacked, packed = sum(part.file_size for part in parts), sum(part.compress_size for part in parts)
    if unpacked > bounds.unpacked:
        raise Refused(f"a file that unpacks to more than {bounds.unpacked / 1e6:,.0f} MB")
    if unpacked > ALWAYS and unpacked > MOST_TIMES * packed:
        raise Refused(f"a file that unpacks to more than {MOST_TIMES} times its size")
    left = Left(bounds)
    later = () if sheets else _sheets_of_cells(archive)
    for part in parts:
        with archive.open(part) as stream:
            if part.filename in later:
                _Look(left).begin(stream.read(PROLOG))
            else:
                guard_sheet(stream, left)
    return left


def guard_sheet(stream: IO[bytes], left: Left) -> None:
    """Looks through one part, as a sheet of cells is. Raises `Refused`."""
    _Look(left).all_of(iter(lambda: stream.read(_CHUNK), b""))


def require_plain(content: bytes) -> None:
    """Raises `Refused` where a part declares a document type or entities, in whatever encoding."""
    _Look(Left(FILL_IN)).begin(content)


def _check_names(names: list[str]) -> None:
    if len(names) > MOST_PARTS:
        raise Refused(f"an archive of {len(names):,} parts")
    if len({name.casefold() for name in names}) < len(names):
        raise Refused("an archive with two parts of one name")
    for name in names:
        if "\\" in name or ".." in PurePosixPath(name).parts or name.startswith("/") or not name.isprintable():
            raise Refused("an archive whose parts have names that lead out of it")


def _sheets_of_cells(archive: zipfile.ZipFile) -> Container[str]:
    """Parts that the archive declares to be sheets of cells, and nothing else."""
    if _TYPES not in archive.namelist():
        return ()
    with archive.open(_TYPES) as stream:
        content = stream.read(ALWAYS)
    _Look(Left(FILL_IN)).all_of([content])
    try:
        root = fromstring(content)
    except ParseError as error:
        raise Refused("no readable workbook (ParseError)") from error
    declared: dict[str, set[str]] = {}
    for entry in root.findall("{*}Override"):
        declared.setdefault(entry.get("PartName", "").lstrip("/"), set()).add(entry.get("ContentType", ""))
    return {name for name, kinds in declared.items() if all(kind.endswith(".worksheet+xml") for kind in kinds)}


@cache
def _columns() -> dict[str, int]:
    return {column_letters(number): number for number in range(1, MOST_COLUMNS + 1)}


def _no_doctype(*declaration: object) -> None:
    raise Refused("a part that declares a document type or entities, which no workbook does")


class _Begun(Exception):
    """The first element has begun: no document type can follow (XML 1.0, production 22)."""


class _Look:
    """One part run through a parser that keeps nothing of it."""

    def __init__(self, left: Left) -> None:
        self._left = left
        self._cells = self._others = self._texts = 0
        self._row = self._column = 0
        self._places = self._spread = 0

    def begin(self, content: bytes) -> None:
        """Up to the first element. What is no XML is left to whoever reads it as such."""

        def begun(name: str, attributes: dict[str, str]) -> None:
            raise _Begun

        parser = _parser()
        parser.StartElementHandler = begun
        try:
            parser.Parse(content, False)
        except (_Begun, ExpatError):
            return
        if len(content) >= PROLOG:
            raise Refused("a part that begins with nothing but comments")

    def all_of(self, chunks: Iterable[bytes]) -> None:
        """The whole part; it ends quietly where it is no XML: readers stop at the same place."""
        parser = _parser()
        parser.StartElementHandler = self._start
        still = 0
        try:
            for chunk in chunks:
                cells, others = self._cells, self._others + self._texts
                parser.Parse(chunk, False)
                self._left.take(self._cells - cells, len(chunk))
                still = still + 1 if (cells, others) == (self._cells, self._others + self._texts) else 0
                if still > _MOST_CHUNKS:
                    raise Refused("a text of more than 2 MB in a cell")
            parser.Parse(b"", True)
        except ExpatError:
            return

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        if ":" in name:
            name = name.rpartition(":")[2]
        if name == "c":
            self._cell(attributes)
        elif name in _TEXTS:
            self._texts += 1
            if self._texts > 4 * self._cells + 4 * MOST_OTHERS:
                raise Refused("more texts than cells")
        elif name == "row":
            self._begin_row(attributes)
        elif name == "si":
            self._cells += 1
        else:
            self._others += 1
            if self._others > MOST_OTHERS:
                raise Refused(f"a part with more than {MOST_OTHERS:,} rules, styles or other entries beside its cells")
            if name in _SPREAD:
                self._spread_over(attributes.get("ref", ""))

    def _begin_row(self, attributes: dict[str, str]) -> None:
        self._cells += 1
        self._places += self._column
        self._row, self._column = _whole(attributes.get("r"), self._row + 1), 0
        if not 1 <= self._row <= MOST_ROWS:
            raise Refused(f"a row beyond number {MOST_ROWS:,}")
        if self._places > MOST_PLACES:
            raise Refused(f"cells scattered over more than {MOST_PLACES:,} places of a sheet")

    def _cell(self, attributes: dict[str, str]) -> None:
        self._cells += 1
        place = attributes.get("r")
        if place is None:
            self._column += 1
        else:
            found = _PLACE.fullmatch(place)
            column = 0 if found is None else _columns().get(found[1], 0)
            if found is None or not column or not 1 <= int(found[2]) <= MOST_ROWS:
                raise Refused("a cell at a place that no sheet has")
            self._column = max(self._column, column)
        if self._column > MOST_COLUMNS:
            raise Refused(f"a row of more than {MOST_COLUMNS:,} cells")

    def _spread_over(self, area: str) -> None:
        first, _, last = area.partition(":")
        ends = [_PLACE.fullmatch(end) for end in (first, last or first)]
        if any(end is None for end in ends):
            raise Refused("merged cells or a link at a place that no sheet has")
        (left, top), (right, bottom) = [(_columns().get(end[1], 0), int(end[2])) for end in ends if end is not None]
        self._spread += (abs(right - left) + 1) * (abs(bottom - top) + 1)
        if self._spread > MOST_SPREAD:
            raise Refused(f"merged cells or links over more than {MOST_SPREAD:,} places")


def _parser() -> XMLParserType:
    parser = ParserCreate()
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = _no_doctype
    return parser


def _whole(text: str | None, otherwise: int) -> int:
    if text is None:
        return otherwise
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 9 else 0
