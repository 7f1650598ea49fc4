"""The bytes of an export as rows of cells: encoding and separator, found where the bytes tell, else declared."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

from ubudget.records.finding import Finding
from ubudget.records.import_mapping import Mapping

SEPARATORS = {";": ";", ",": ",", "tab": "\t", "|": "|"}
"""Name in the mapping → sign."""
MOST_ROWS, MOST_CELLS = 100_000, 2_000_000
"""Of an export, which may have a row for each replicate."""
BYTE_ORDER_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_CODECS = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "windows-1252": "cp1252"}


@dataclass(frozen=True)
class Row:
    """A line of the export that holds something; `number` counts lines of the file from 1 on."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class ExportText:
    """An export as read."""

    file: str
    sha256: str
    encoding: str
    byte_order_mark: bool
    separator: str
    rows: tuple[Row, ...]
    lines: int


@dataclass(frozen=True)
class Decoded:
    text: str
    encoding: str
    byte_order_mark: bool


def decoded(content: bytes, file: str, declared: str | None) -> tuple[Decoded | None, list[Finding]]:
    """The text. A byte order mark tells the encoding, and so do bytes that are valid UTF-8; any other is declared."""

    def refused(found: str, accepted: str, remedy: str, place: str = "encoding") -> tuple[None, list[Finding]]:
        return None, [Finding("stop", file, place, found, accepted, remedy)]

    marked = next((name for mark, name in BYTE_ORDER_MARKS if content.startswith(mark)), None)
    if content[:2] == b"PK":
        return refused("a workbook or archive", "plain text", "export as text", "whole file")
    if marked is not None and declared not in (None, marked):
        found = f"the byte order mark of {marked}, where the mapping says {declared}"
        return refused(found, f'encoding = "{marked}", or none', "correct the mapping")
    if marked is None and declared is None and b"\x00" in content:
        found = "zero bytes without a byte order mark"
        return refused(found, "text", 'add encoding = "utf-16" to the mapping if it is that, or export as UTF-8')
    if declared == "windows-1252" and not content.isascii() and _is_utf8(content):
        found = "bytes that are UTF-8, where the mapping says windows-1252"
        return refused(found, 'encoding = "utf-8", or none', "correct the mapping")
    encoding = marked or declared or "utf-8"
    codec = "utf-16-le" if encoding == "utf-16" and marked is None else _CODECS[encoding]
    try:
        text = content.decode(codec)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        if declared is None and marked is None:
            remedy = 'add encoding = "windows-1252" to the mapping if it is that, or export as UTF-8'
            return refused("bytes that are not UTF-8", "a declared encoding", remedy, f"line {line}")
        return refused(f"bytes that are not {encoding}", f"text in {encoding}", "correct the mapping", f"line {line}")
    if "\x00" in text or "�" in text:
        return refused("signs that are no text", "text", "correct encoding in the mapping, or export anew")
    return Decoded(text, encoding, marked is not None), []


def read_export(content: bytes, file: str, mapping: Mapping) -> tuple[ExportText | None, list[Finding]]:
    """Rows of the export, cells trimmed; `None` with findings where encoding or separator are not clear."""
    text, findings = decoded(content, file, mapping.encoding)
    if text is None:
        return None, findings
    separator = str(mapping.separator or "")
    if not separator:
        found = separators_in(text.text)
        if len(found) != 1:
            words = " and ".join(found) or "none"
            accepted = "one sign between the cells: " + ", ".join(SEPARATORS)
            remedy = "add separator = … to the mapping"
            return None, [Finding("stop", file, "separator", f"several or none: {words}", accepted, remedy)]
        (separator,) = found
    rows, lines, findings = _rows(text.text, separator, file)
    if not rows and not findings:
        findings = [Finding("stop", file, "whole file", "no text", "rows of readings", "export anew")]
    if findings:
        return None, findings
    digest = hashlib.sha256(content).hexdigest()
    return ExportText(file, digest, text.encoding, text.byte_order_mark, separator, rows, lines), []


def separators_in(text: str) -> list[str]:
    """Names of the signs that can separate cells: those that most lines hold equally often.

    A sign between digits alone, as a decimal comma, separates nothing that a heading would need."""
    lines = [line for line in text.splitlines() if line.strip()]
    found = []
    for name, sign in SEPARATORS.items():
        counts = Counter(_count(line, sign) for line in lines)
        counts.pop(0, None)
        (common, times), *_ = counts.most_common(1) or [(0, 0)]
        if common and 2 * times > len(lines) and any(_as_heading(line, sign) for line in lines):
            found.append(name)
    return found


def _count(line: str, sign: str) -> int:
    """How often a sign stands outside quotes."""
    return sum(part.count(sign) for part in line.split('"')[::2])


def _as_heading(line: str, sign: str) -> bool:
    """Whether the sign stands somewhere beside something that is no digit."""
    cells = line.split(sign)
    return any(not (left[-1:].isdigit() and right[:1].isdigit()) for left, right in pairwise(cells))


def _rows(text: str, separator: str, file: str) -> tuple[tuple[Row, ...], int, list[Finding]]:
    rows: list[Row] = []
    cells_in_all = 0
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=SEPARATORS[separator], strict=True)
    try:
        for cells in reader:
            trimmed = tuple(_on_one_line(cell) for cell in cells)
            if any(trimmed):
                rows.append(Row(reader.line_num, trimmed))
                cells_in_all += len(trimmed)
            if cells_in_all > MOST_CELLS or len(rows) > MOST_ROWS:
                found = f"more than {MOST_ROWS:,} rows, or {MOST_CELLS:,} cells"
                return (), 0, [Finding("stop", file, "whole file", found, "the readings of one run", "export less")]
    except csv.Error:
        accepted = f'cells separated by {separator}; quotes in pairs, "" for a quote within them'
        found = "quotes that do not close, or a cell that is far too long"
        return (), 0, [Finding("stop", file, f"line {reader.line_num}", found, accepted, "export anew")]
    return tuple(rows), reader.line_num, []


def _on_one_line(cell: str) -> str:
    """A cell without line breaks and signs that do not print; special blanks become plain ones."""
    return "".join(sign if sign.isprintable() else " " for sign in cell).strip()


def _is_utf8(content: bytes) -> bool:
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
