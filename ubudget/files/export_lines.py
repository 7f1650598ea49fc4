"""Element, line and unit in the texts of an export, against the lines that the method knows."""

from __future__ import annotations

import re
from collections.abc import Mapping as Table
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from ubudget.files.export_table import plain
from ubudget.quantity.units import UnitError, dimension, factor
from ubudget.records.import_mapping import LineText, Mapping

_TEXT = re.compile(
    r"(?P<analyte>[A-Z][a-z]?)[\s_:-]*(?P<line>[0-9]+(?:[.,][0-9]+)?)?\s*(?:nm)?"
    r"\s*(?P<view>\{[^{}]*\}|axial|radial)?\s*(?:[(\[](?P<unit>[^()\[\]]+)[)\]])?"
)
_LONGEST = 80
"""Signs of the name of a line; the pattern takes the third power of their number."""
_SHARES = re.compile(r"pp[mbtq]|(?:[wmv](?:t)?[-. ]?)?%|‰", re.IGNORECASE)
"""Units that do not say share of what."""


@dataclass(frozen=True)
class Read:
    """A text that was understood, or why not."""

    line: LineText | None
    fault: str = ""
    accepted: str = ""
    view: str = ""
    """How the device looked at the plasma, `axial` or `radial`, where the text says it."""


def line_of(text: str, mapping: Mapping, analytes: Table[str, tuple[str, ...]]) -> Read:
    """The analyte and line of a text: as declared, else as it is written, `Cu 324.754 (mg/L)`."""
    name = plain(text)
    for declared in mapping.lines:
        if plain(declared.text) == name:
            return _known(declared, analytes)
    match = _TEXT.fullmatch(name) if len(name) <= _LONGEST else None
    if match is None:
        return Read(None, f'"{text[:60]}", which is no element and line', "a table [[line]] for this text")
    analyte, line, unit = match["analyte"], match["line"] or "", match["unit"] or ""
    known = _known(LineText(text=text, analyte=analyte, line=line.replace(",", "."), unit=unit), analytes)
    return replace(known, view=(match["view"] or "").strip("{} "))


def apart(analyte: str, line: str, mapping: Mapping, analytes: Table[str, tuple[str, ...]]) -> Read:
    """The same where analyte and line may stand in columns of their own."""
    return line_of(f"{analyte} {line}".strip(), mapping, analytes)


def _known(read: LineText, analytes: Table[str, tuple[str, ...]]) -> Read:
    if read.part == "set aside":
        return Read(read)
    accepted = f"the analytes of the method: {', '.join(analytes) or 'none yet'}"
    if read.analyte not in analytes:
        return Read(None, f'"{read.text[:60]}", whose analyte the method does not know', accepted)
    lines = analytes[read.analyte] or ("",)
    for line in lines:
        if line == read.line or _same(line, read.line):
            return Read(replace(read, line=line))
    accepted = f"the lines of {read.analyte}: {', '.join(lines) if any(lines) else 'none, the element alone'}"
    return Read(None, f'"{read.text[:60]}", a line that the method does not know', accepted)


def _same(a: str, b: str) -> bool:
    """Whether two lines are the same number, `259.94` and `259.940`."""
    try:
        return Decimal(a) == Decimal(b)
    except ArithmeticError:
        return False


def unit_factor(unit: str, mapping: Mapping, wanted: str) -> tuple[Fraction | None, str, str, str]:
    """Factor to the wanted unit and the unit meant; else found, accepted and remedy beside `None`."""
    written = plain(unit)
    declared = {plain(name): meant for name, meant in mapping.units.items()}
    meant = declared.get(written, unit)
    if not written:
        found, accepted = "no unit", "a unit in the export, or unit = … in the mapping"
        return None, found, accepted, "state the unit in the mapping"
    if _SHARES.fullmatch(plain(meant)):
        found = f"the unit {unit[:30]}, which may be a mass fraction or a mass concentration"
        accepted = f'a table [units] that says which: {unit[:30]} = "mg/kg", or {unit[:30]} = "mg/L"'
        return None, found, accepted, "say in the mapping what the device means"
    if _SHARES.fullmatch(written) and not is_mass_share(meant):
        accepted = "a mass fraction such as mg/kg, or a mass concentration such as mg/L"
        return None, f"the unit {unit[:30]} mapped to {meant[:30]}", accepted, "correct [units] in the mapping"
    try:
        return factor(meant, wanted), meant, "", ""
    except UnitError as error:
        remedy = "add it to [units] of the mapping, or correct the mapping"
        return None, f"the unit {unit[:30]} ({error.found})", f"a unit that converts to {wanted or '1'}", remedy


def is_unit(text: str, mapping: Mapping) -> bool:
    """Whether a text is a unit, of ours or of the export."""
    if not text:
        return False
    if plain(text) in {plain(name) for name in mapping.units} or _SHARES.fullmatch(plain(text)):
        return True
    try:
        dimension(text)
    except UnitError:
        return False
    return True


def is_mass_share(unit: str) -> bool:
    """Whether a unit is mass per mass or mass per volume."""
    above, slash, below = unit.partition("/")
    try:
        parts = dimension(above).powers, dimension(below).powers
    except UnitError:
        return False
    mass, volume = (("[mass]", Fraction(1)),), (("[length]", Fraction(3)),)
    return bool(slash) and parts[0] == mass and parts[1] in (mass, volume)
