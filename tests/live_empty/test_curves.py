"""Every kind of calibration with spare levels: it follows the run, or is refused in words.

The runs and their figures are those of the calibration tests (invented); the reference is their evaluation, held there
against independent calculations. Samples are left without the one diluted by ware of the standards.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.calibration.runs import Declared, of_kind, records_of
from tests.engines import ironcalc_variants, require_engine
from tests.live_empty.filling import (
    budget_disagreements,
    budget_edits,
    disagreements,
    errors_in,
    result_rows,
    shown_where_empty,
    typed,
)
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.workbook_writer import write_book
from ubudget.pages.spare_plan import plan_spare
from ubudget.records.records import Records
from ubudget.records.spare_rows import SpareRows

FOLLOWED = [
    of_kind("line", "1/x", standards="stated"),
    of_kind("line", "1/s^2", standards="stated", known=True),
    of_kind("line", standards="prepared", fit_on="means", scatter="own"),
    of_kind("line", standards="prepared", between_levels="0.5 %"),
    of_kind("line", standards="stated", scatter="pooled", fit_on="means"),
    of_kind("line through zero", "noise model", standards="stated"),
    of_kind("quadratic", standards="stated", scatter="own"),
    of_kind("quadratic", "1/x^2", standards="prepared"),
]
REFUSED = {
    "curve two points": of_kind("two points"),
    "curve rational": of_kind("rational"),
    "weights 1/y": of_kind("line", "1/y"),
    "weights pooled s per level": of_kind("line", "pooled s per level"),
    "errors in variables": of_kind("errors in variables"),
}


def without(records: Records, label: str) -> Records:
    """The run without a sample, or without a standard."""
    run = records.run
    assert run is not None
    portions = tuple(portion for portion in run.portions if portion.sample != label)
    sources = {portion.solution for portion in portions}
    solutions = tuple(solution for solution in run.solutions if solution.source in sources)
    standards = tuple(standard for standard in run.file.standards if standard.label != label)
    names = sources | {s.label for s in solutions} | {s.label for s in standards}
    readings = tuple(reading for reading in run.readings if reading.solution in names)
    file = replace(run.file, standards=standards)
    return replace(records, run=replace(run, file=file, portions=portions, solutions=solutions, readings=readings))


@pytest.mark.parametrize("declared", FOLLOWED, ids=str)
def test_curves_follow_the_levels_in_use(declared: Declared, tmp_path: Path) -> None:
    """Two levels to spare and one emptied where standards are stated; prepared ones are all needed."""
    require_engine("ironcalc")
    records = without(records_of(declared), "C")
    run = records.run
    assert run is not None
    stated = declared.standards == "stated"
    rows = SpareRows(6, len(run.file.standards) + 2 * stated, declared.replicates + 1, 1)
    plan, findings = plan_spare(records, rows)
    assert plan is not None, findings
    used = without(records, "S2") if stated else records
    evaluation, findings = evaluate(used)
    assert evaluation is not None, findings
    edits = typed(plan, used)
    write_book(plan.book, tmp_path / "empty.xlsx")
    (values,) = ironcalc_variants(tmp_path / "empty.xlsx", [[*edits, *budget_edits(evaluation, 0)]])
    assert not errors_in(values)
    assert not disagreements(values, plan, evaluation)
    assert not budget_disagreements(values, plan, evaluation, 0)
    assert not shown_where_empty(values, plan, edits)


@pytest.mark.parametrize("words", REFUSED)
def test_curves_that_it_cannot_follow_are_told(words: str) -> None:
    records = records_of(REFUSED[words])
    run = records.run
    assert run is not None
    plan, findings = plan_spare(records, SpareRows(9, len(run.file.standards), 3, 1))
    assert plan is None
    assert any(words in finding.found for finding in findings)


def test_a_prepared_standard_that_is_not_read_is_told(tmp_path: Path) -> None:
    """What standards share depends on which of them are read, so the workbook wants all of them."""
    require_engine("ironcalc")
    records = without(records_of(of_kind("line", standards="prepared")), "C")
    run = records.run
    assert run is not None
    plan, findings = plan_spare(records, SpareRows(6, len(run.file.standards), 3, 1))
    assert plan is not None, findings
    used = replace(
        records, run=replace(run, readings=tuple(reading for reading in run.readings if reading.solution != "S1"))
    )
    write_book(plan.book, tmp_path / "empty.xlsx")
    (values,) = ironcalc_variants(tmp_path / "empty.xlsx", [typed(plan, used)])
    assert not errors_in(values)
    assert "see the standards. " in values["results"].values()
    assert "not available" in values["results"].values()


def test_ware_of_the_standards_in_a_dilution_is_told(tmp_path: Path) -> None:
    """Sample C is diluted by a numbered pipette and flask of the standards: one deviation each in both (GUM 5.2), which
    the plan cannot know. It has no result; the others have theirs."""
    require_engine("ironcalc")
    records = records_of(of_kind("line", standards="prepared"))
    run = records.run
    assert run is not None
    plan, findings = plan_spare(records, SpareRows(7, len(run.file.standards), 3, 1))
    assert plan is not None, findings
    write_book(plan.book, tmp_path / "empty.xlsx")
    (values,) = ironcalc_variants(tmp_path / "empty.xlsx", [typed(plan, records)])
    assert not errors_in(values)
    told = {
        sample: str(cells["findings that need a decision"]) for (sample, _), cells in result_rows(values, plan).items()
    }
    assert "P10 serves twice for this result" in told["C"]
    assert "F100-1 serves twice for this result" in told["C"]
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    assert all("('C'," in line for line in disagreements(values, plan, evaluation))
