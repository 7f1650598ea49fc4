"""Whoever edits a workbook is told by its sheets and cells what the edits brought about, whichever check finds it.

Which cells must be named is what was typed; the data and the faults are invented.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from tests.typed_cells import type_into
from tests.workbooks.books import EXAMPLES, HARBOUR, Written, written
from ubudget import evaluate, read_run
from ubudget.errors import UnusableInput
from ubudget.files.edited_places import told_by_cell
from ubudget.pages.record_sheet import OpenCell, open_cells
from ubudget.records.finding import Finding
from ubudget.records.records import Edit

Field = tuple[str | int, ...]
RIVER, WELL = EXAMPLES / "river_manganese", EXAMPLES / "well_arsenic"
SINGLE = EXAMPLES / "patterns" / "single-budget"
VALUE = ("certificate", 0, "property", 0)


@dataclass(frozen=True)
class Case:
    run: Path
    typed: dict[Field, float | str]
    """By the record field that a cell shows."""
    severity: str
    found: str
    sound: Field
    """Another field, to which a sound figure is typed."""


SOUND_PROBABILITY = ("coverage", "probability")
CASES = {
    # while reading
    "gross below tare": Case(HARBOUR, {(17, "gross"): 12.0}, "stop", "no mass above zero", SOUND_PROBABILITY),
    "moisture below zero": Case(HARBOUR, {(4, "moisture"): -1.0}, "stop", "a moisture of -1 %", SOUND_PROBABILITY),
    "negative figure of a certificate": Case(
        RIVER, {("equipment", 0, *VALUE, "U"): -0.01}, "stop", "zero or negative", SOUND_PROBABILITY
    ),
    "gross of a single budget": Case(
        SINGLE, {("symbols", "m", "gross"): 0.0}, "stop", "no mass above", ("symbols", "P", "half_width")
    ),
    "mark that is none": Case(HARBOUR, {("include", "S1", "Cu", "324.754", 2): 3.0}, "stop", "3", (17, "gross")),
    "reading left out without reason": Case(
        HARBOUR, {("include", "S1", "Cu", "324.754", 2): 0.0}, "attend", "left out without a reason", (17, "gross")
    ),
    # while evaluating
    "load outside the range of a certificate": Case(
        HARBOUR, {(17, "gross"): 130.0}, "attend", "outside the range of the certificate", SOUND_PROBABILITY
    ),
    "slope that is none": Case(
        HARBOUR, {("standard", 5, "concentration", "Zn"): 0.0}, "attend", "its standard uncertainty", (17, "gross")
    ),
    "lack of fit": Case(
        HARBOUR, {("standard", 5, "concentration", "Zn"): 2.1}, "attend", "significant lack of fit", (17, "gross")
    ),
    "unequal variances": Case(HARBOUR, {(0, "r2"): 72000.0}, "note", "variances at the two ends", (17, "gross")),
    "standards at one level": Case(
        RIVER, {("equipment", 1, *VALUE, "value"): 0.0}, "stop", "all standards at one level", SOUND_PROBABILITY
    ),
    "curve that turns": Case(
        RIVER, {("equipment", 2, *VALUE, "value"): 6000.0}, "stop", "turns within its range", SOUND_PROBABILITY
    ),
    "few degrees of freedom": Case(
        WELL, {("symbols", "d_r", "dof"): 0.07}, "attend", "effective degrees of freedom", SOUND_PROBABILITY
    ),
    "two marks together": Case(
        WELL,
        {("include", "S1", "As", "193.7", n): 0.0 for n in (1, 2, 3)},
        "attend",
        "left out without a reason",
        SOUND_PROBABILITY,
    ),
}  # fmt: skip


@cache
def fields(run: Path) -> dict[Field, OpenCell]:
    return {cell.origin.path: cell for cell in open_cells(written(run).book.sheets)}


def findings_of(book: Path) -> tuple[Finding, ...]:
    try:
        return evaluate(read_run(book)).findings
    except UnusableInput as refusal:
        return refusal.findings


def edited_book(example: Written, cells: dict[Field, OpenCell], typed: dict[Field, float | str], file: Path) -> Path:
    return type_into(example.save(file), [(cells[path].sheet, cells[path].address, v) for path, v in typed.items()])


@pytest.mark.parametrize("name", CASES)
def test_findings_of_an_edited_workbook_name_its_cells(name: str, tmp_path: Path) -> None:
    case = CASES[name]
    example, cells = written(case.run), fields(case.run)
    sound = cells[case.sound]
    assert isinstance(sound.value, float)
    typed = {**case.typed, case.sound: sound.value * 0.999}
    findings = findings_of(edited_book(example, cells, typed, tmp_path / "my run.xlsx"))
    brought = [finding for finding in findings if finding not in example.evaluation.findings]
    lines = "\n".join(finding.line() for finding in brought)
    about = [finding for finding in brought if case.found in finding.found]
    assert about and {finding.severity for finding in about} == {case.severity}, lines
    wrong = {f"sheet {cells[path].sheet}, cell {cells[path].address}" for path in case.typed}
    for finding in brought:
        assert finding.file == "my run.xlsx", lines
        named = re.findall(r"sheet [a-z ]+, cell [A-Z]+[0-9]+", finding.place)
        assert named and set(named) <= wrong, lines
        assert "toml" not in finding.place and ".csv" not in finding.place and not re.search(r"\brow \d", finding.place)


# -- the search for the edits behind a finding ------------------------------------------------------------------------


def edit(number: int) -> Edit:
    return Edit("samples", (number, "gross"), 1.0, cell=f"cell {number}")


def finding(found: str = "too much") -> Finding:
    return Finding("attend", "run.toml", "row 3 (A), gross", found, "less", "weigh less")


@pytest.mark.parametrize(
    ("causes", "named"),
    [
        ([{11}], "cell 11"),
        ([{2, 17}], "cell 2; cell 17"),
        ([{5}, {6}, {19}], "cell 5; cell 6; cell 19"),
        ([{n} for n in range(6)], "cell 0; cell 1; cell 2; cell 3"),
        ([set(range(6))], "cell 0; cell 1; cell 2; cell 3; 2 more"),
    ],
)
def test_edits_behind_a_finding(causes: list[set[int]], named: str) -> None:
    """Each cause is a set of edits which brings the finding about together; one of twenty edits alone or several."""
    edits = [edit(number) for number in range(20)]

    def found(some: object) -> list[Finding]:
        made = {one.path[0] for one in some}  # type: ignore[attr-defined]
        return [finding()] if any(cause <= made for cause in causes) else []

    (told,) = told_by_cell([finding()], [], edits, "run.xlsx", found)
    assert (told.file, told.place) == ("run.xlsx", f"{named} (A, gross)")


def test_a_search_that_takes_too_long_names_edited_cells() -> None:
    """A finding for which half of four hundred edits are needed, one by one."""
    edits = [edit(number) for number in range(400)]

    def found(some: object) -> list[Finding]:
        made = {one.path[0] for one in some}  # type: ignore[attr-defined]
        return [finding()] if made >= set(range(0, 400, 2)) else []

    (told,) = told_by_cell([finding()], [], edits, "run.xlsx", found)
    assert told.place.startswith("edited cells, cell 0; cell 1;")


def test_a_finding_that_only_says_other_figures_is_told_by_its_cell() -> None:
    edits = [edit(number) for number in range(4)]

    def found(some: object) -> list[Finding]:
        made = {one.path[0] for one in some}  # type: ignore[attr-defined]
        return [finding("12 g" if 3 in made else "11 g")]

    (told,) = told_by_cell([finding("12 g")], [finding("11 g")], edits, "run.xlsx", found)
    assert told.place == "cell 3 (A, gross)"
    assert told_by_cell([finding("11 g")], [finding("11 g")], edits, "run.xlsx", found) == [finding("11 g")]
