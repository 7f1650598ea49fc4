"""The steps of a row of the table of further dilutions: pipettes and flasks, what was weighed, and what was set."""

from __future__ import annotations

from ubudget.files.cell_numbers import cell_number
from ubudget.files.csv_text import CsvTable
from ubudget.files.fault_words import shown
from ubudget.records.amount import Amount
from ubudget.records.finding import Finding
from ubudget.records.preparation import DilutionStep

_MASSES = ("aliquot_mass", "total_mass")
_SET_TO = "set_to"
SOLUTION_AMOUNTS = (*_MASSES, _SET_TO)
"""Columns with a unit."""
_WEIGHED = "mass"
"""Stands in a dilution for an aliquot or a solution that was weighed."""


def steps_of_row(table: CsvTable, row: int, file: str, place: str) -> tuple[tuple[DilutionStep, ...], list[Finding]]:
    """The steps of a row: `pipette > flask; …`, or one with `mass` for what was weighed."""
    text = table.cell(row, "dilution")
    parts = [[name.strip() for name in part.split(">")] for part in text.split(";")]
    accepted = "pipette > flask, steps separated by semicolons: P5-1 > F50-2; P5-1 > F50-3"
    if any(len(names) != 2 or not all(names) for names in parts):
        remedy = "name the register items of each step"
        return (), [Finding("stop", file, f"{place}, dilution", shown(text), accepted, remedy)]
    weighed = {key: any(names[number] == _WEIGHED for names in parts) for number, key in enumerate(_MASSES)}
    if len(parts) > 1 and any(weighed.values()):
        accepted = f"one step in a row where something was weighed: {_WEIGHED} > {_WEIGHED}"
        remedy = "write the other steps as rows of their own"
        return (), [Finding("stop", file, f"{place}, dilution", shown(text), accepted, remedy)]
    findings: list[Finding] = []
    set_to = _set_volume(table, row, len(parts) == 1 and not weighed["aliquot_mass"], file, place, findings)
    masses = {key: _mass(table, row, key, weighed[key], file, place, findings) for key in _MASSES}
    balance = table.cell(row, "balance")
    if bool(balance) != any(weighed.values()):
        found = f"the balance {balance}, though nothing was weighed" if balance else "no balance, though it was weighed"
        accepted, remedy = "a balance of the register beside what was weighed", "correct balance or dilution"
        findings.append(Finding("stop", file, f"{place}, balance", found, accepted, remedy))
    if findings:
        return (), findings
    if not any(weighed.values()):
        return tuple(DilutionStep(aliquot, to, set_to=set_to) for aliquot, to in parts), []
    aliquot, to = ("" if name == _WEIGHED else name for name in parts[0])
    return (DilutionStep(aliquot, to, masses["aliquot_mass"], masses["total_mass"], balance, set_to=set_to),), []


def _mass(
    table: CsvTable, row: int, key: str, weighed: bool, file: str, place: str, findings: list[Finding]
) -> Amount | None:
    """The mass in a cell, wanted where the dilution says that it was weighed."""
    at = next((number for number, heading in enumerate(table.headings) if heading.key == key), None)
    cell = "" if at is None else table.rows[row][at].strip()
    if bool(cell) != weighed:
        found = f"{shown(cell)}, though the dilution names no {_WEIGHED} there" if cell else "no mass"
        accepted, remedy = f"a mass where the dilution says {_WEIGHED}, in a column {key} [g]", "correct one of them"
        findings.append(Finding("stop", file, f"{place}, {key}", found, accepted, remedy))
        return None
    return None if at is None or not cell else _positive(table, row, at, file, place, findings)


def _set_volume(
    table: CsvTable, row: int, one_pipette: bool, file: str, place: str, findings: list[Finding]
) -> Amount | None:
    """The volume that the pipette of a row with one step was set to; None where the cell is empty."""
    at = next((number for number, heading in enumerate(table.headings) if heading.key == _SET_TO), None)
    cell = "" if at is None else table.rows[row][at].strip()
    if at is None or not cell:
        return None
    if not one_pipette:
        found = f"{shown(cell)} beside a dilution without a pipette, or of several steps"
        accepted, remedy = "one step by pipette in a row with a set volume", "write other steps as rows of their own"
        findings.append(Finding("stop", file, f"{place}, {_SET_TO}", found, accepted, remedy))
        return None
    return _positive(table, row, at, file, place, findings)


def _positive(table: CsvTable, row: int, at: int, file: str, place: str, findings: list[Finding]) -> Amount | None:
    """The amount in a cell that is not empty."""
    cell, heading = table.rows[row][at].strip(), table.headings[at]
    value = cell_number(cell, heading, file, place, findings)
    if value is not None and value <= 0:
        accepted = "a number above zero"
        findings.append(Finding("stop", file, f"{place}, {heading.text}", shown(cell), accepted, "correct the number"))
        return None
    return None if value is None else Amount(value, heading.unit or "", f"{cell} {heading.unit or ''}".strip())
