"""What a person types into cells of a workbook: the one element of each cell is written anew, its looks kept.

Loading and saving the workbook with openpyxl says the same and takes fifty times as long. Stored values of formulas
stay as they were, as in a file that no program recalculated.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from openpyxl.utils.cell import column_index_from_string

from tests.stored_cells import sheet_members

Typed = tuple[str, str, object]
"""Sheet, address of a cell, the number or text to put there; None empties the cell."""


def type_into(path: Path, edits: Sequence[Typed], target: Path | None = None) -> Path:
    """The workbook with cells typed in, at `target` or in its own place."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    members = sheet_members(parts)
    for sheet in {sheet for sheet, _, _ in edits}:
        # Of two that are typed into one cell the later one stands.
        cells = {address: value for name, address, value in edits if name == sheet}
        parts[members[sheet]] = _typed(parts[members[sheet]].decode("utf-8"), cells).encode("utf-8")
    written = BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    path = target or path
    path.write_bytes(written.getvalue())
    return path


def _typed(xml: str, cells: dict[str, object]) -> str:
    left = dict(cells)

    def anew(match: re.Match[str]) -> str:
        if match["address"] not in left:
            return match[0]
        looks = re.search(r' s="[0-9]+"', match["start"])
        return _cell(match["address"], left.pop(match["address"]), looks[0] if looks else "")

    xml = _CELL.sub(anew, xml)
    for address, value in left.items():
        xml = _with_new_cell(xml, address, value)
    ElementTree.fromstring(xml)
    return xml


_CELL = re.compile(r'<c (?P<start>r="(?P<address>[A-Z]+[0-9]+)"[^>]*?)(?:/>|>.*?</c>)', re.DOTALL)


def _cell(address: str, value: object, looks: str = "") -> str:
    if value is None:
        return f'<c r="{address}"{looks}/>'
    if isinstance(value, str):
        text = f'<is><t xml:space="preserve">{escape(value)}</t></is>'
        return f'<c r="{address}"{looks} t="inlineStr">{text}</c>'
    if not isinstance(value, int | float):
        raise TypeError(f"{address}: {value!r} is no number and no text")
    return f'<c r="{address}"{looks}><v>{float(value)!r}</v></c>'


def _with_new_cell(xml: str, address: str, value: object) -> str:
    """A cell that the file does not hold yet: in its place in a row that it holds, or in a new row."""
    column, number = re.fullmatch(r"([A-Z]+)([0-9]+)", address).groups()  # type: ignore[union-attr]
    row = re.search(rf'<row r="{number}"[^>]*?(?:/>|>(?P<cells>.*?)</row>)', xml, re.DOTALL)
    if row is None or row["cells"] is None:
        raise KeyError(f"{address}: the sheet has no row of cells {number}")
    at = row.end("cells")
    for cell in _CELL.finditer(xml, row.start("cells"), row.end("cells")):
        if column_index_from_string(cell["address"].rstrip("0123456789")) > column_index_from_string(column):
            at = cell.start()
            break
    return xml[:at] + _cell(address, value) + xml[at:]
