"""Formulas and stored values of a workbook, straight from its XML: openpyxl takes ten times as long, and most of the
tests of workbooks want nothing else. `tests/workbooks/test_engines.py` holds both to the same answers.

The last few files are kept by their content, because a test asks of one file for formulas, values and faults in turn.
"""

from __future__ import annotations

import hashlib
import zipfile
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path, PurePosixPath
from xml.etree import ElementTree

from openpyxl.utils.cell import rows_from_range

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_KEPT = 20
_kept: OrderedDict[bytes, dict[str, Sheet]] = OrderedDict()


@dataclass
class Sheet:
    """What is stored in one sheet."""

    values: dict[str, object] = field(default_factory=dict)
    """Address -> number, text, truth value or error, of formulas as of inputs; dates are serial numbers."""
    formulas: dict[str, str] = field(default_factory=dict)
    """Address -> formula as written; the text of an array or a shared formula stands at its first cell, the other
    cells have an empty one."""
    rules: list[tuple[str, str]] = field(default_factory=list)
    """Formulas of conditional formats and of validations, with their place."""


def stored_sheets(path: Path) -> dict[str, Sheet]:
    """The sheets of the file, by name, in their order."""
    data = path.read_bytes()
    key = hashlib.sha256(data).digest()
    if key not in _kept:
        _kept[key] = _read(data)
        if len(_kept) > _KEPT:
            _kept.popitem(last=False)
    _kept.move_to_end(key)
    return _kept[key]


def defined_names(path: Path) -> list[tuple[str, str]]:
    """Defined names with what they stand for; print areas and headings, which the program keeps, are left out."""
    with zipfile.ZipFile(path) as archive:
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
    names = [(name.get("name", ""), name.text or "") for name in book.iter(f"{_MAIN}definedName")]
    return [(name, value) for name, value in names if not name.startswith("_xlnm.")]


def sheet_members(parts: Mapping[str, bytes]) -> dict[str, str]:
    """Sheet -> name of its part in the archive, whose parts are given by name."""
    book = ElementTree.fromstring(parts["xl/workbook.xml"])
    relations = ElementTree.fromstring(parts["xl/_rels/workbook.xml.rels"])
    targets = {relation.get("Id"): _member(relation.get("Target", "")) for relation in relations}
    return {sheet.get("name", ""): targets[sheet.get(_RELATION)] for sheet in book.iter(f"{_MAIN}sheet")}


def _read(data: bytes) -> dict[str, Sheet]:
    with zipfile.ZipFile(BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist() if name.startswith("xl/")}
    shared = _shared_texts(parts)
    return {name: _sheet(parts[member], shared) for name, member in sheet_members(parts).items()}


def _member(target: str) -> str:
    return target[1:] if target.startswith("/") else str(PurePosixPath("xl", target))


def _shared_texts(parts: Mapping[str, bytes]) -> list[str]:
    if "xl/sharedStrings.xml" not in parts:
        return []
    return [_text(item) for item in ElementTree.fromstring(parts["xl/sharedStrings.xml"])]


def _text(holder: ElementTree.Element) -> str:
    """A text, in one piece or in runs of several looks; not its reading aid."""
    runs = [holder, *holder.findall(f"{_MAIN}r")]
    return "".join(piece.text or "" for run in runs for piece in run.findall(f"{_MAIN}t"))


def _sheet(xml: bytes, shared: list[str]) -> Sheet:
    root = ElementTree.fromstring(xml)
    sheet = Sheet()
    for cell in root.iter(f"{_MAIN}c"):
        value = formula = None
        for part in cell:
            if part.tag == f"{_MAIN}v":
                value = part.text
            elif part.tag == f"{_MAIN}f":
                formula = part
            elif part.tag == f"{_MAIN}is":
                value = _text(part)
        address = cell.attrib["r"]
        if formula is not None:
            _enter(sheet.formulas, address, formula)
        if value is not None:
            sheet.values[address] = _value(cell.get("t", "n"), value, shared)
    sheet.rules = [*_rules(root, "conditionalFormatting", "conditional format"), *_rules(root, "dataValidation")]
    return sheet


def _enter(formulas: dict[str, str], address: str, formula: ElementTree.Element) -> None:
    formulas[address] = formula.text or ""
    if formula.get("t") == "array":
        for line in rows_from_range(formula.attrib["ref"]):
            for filled in line:
                formulas.setdefault(filled, "")


def _value(kind: str, text: str, shared: list[str]) -> object:
    if kind == "s":
        return shared[int(text)]
    if kind == "b":
        return text == "1"
    if kind != "n":
        return text
    return float(text) if "." in text or "e" in text.lower() else int(text)


def _rules(root: ElementTree.Element, tag: str, name: str = "validation") -> list[tuple[str, str]]:
    return [
        (f"{holder.get('sqref')} ({name})", formula.text)
        for holder in root.iter(f"{_MAIN}{tag}")
        for formula in holder.iter()
        if formula.tag.removeprefix(_MAIN) in ("formula", "formula1", "formula2") and formula.text
    ]
