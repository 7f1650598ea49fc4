"""Workbooks with spare rows, filled: results, U and budgets are those of `evaluate`, empty rows show nothing.

The reference is the evaluation of the same figures from a run's files, which other tests hold against published
examples and against the package uncertainties.
"""

from __future__ import annotations

from pathlib import Path
from typing import cast

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.engines import (
    Values,
    assert_safe_formulas,
    formula_cells,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_saved,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.live_empty.filling import (
    EXAMPLES,
    Rows,
    budget_disagreements,
    budget_edits,
    disagreements,
    errors_in,
    example,
    part_of,
    planned,
    shown_where_empty,
    typed,
    write_filled,
)
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import records_from_texts
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import book_bytes, write_book
from ubudget.pages.record_sheet import open_cells
from ubudget.pages.spare_plan import SparePlan, plan_spare
from ubudget.records.records import Records, Role, SourceText
from ubudget.records.spare_rows import spare_rows_from

# Name, and room for levels beyond those of the run (none can be added to prepared standards).
CASES = {
    "harbour_sediment": 2,
    "well_arsenic": 1,
    "patterns/water-direct": 2,
    "patterns/solid-digested": 2,
    "patterns/oil-in-solvent": 2,
    "patterns/vapour-generation": 2,
}


def room_for(name: str, records: Records, more_levels: int) -> SparePlan:
    """Spare rows of every kind beyond what the run uses."""
    run = records.run
    assert run is not None
    samples = sum(portion.kind == "sample" for portion in run.portions)
    blanks = sum(portion.kind == "blank" for portion in run.portions)
    replicates = max(len(reading.values) for reading in run.readings)
    levels = len(run.file.standards) + more_levels
    return planned(read_run(EXAMPLES / name), samples + 2, levels, replicates + 1, blanks + 1)


def evaluated(records: Records) -> Evaluation:
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    return evaluation


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> tuple[str, Records, SparePlan]:
    records = example(request.param)
    return request.param, records, room_for(request.param, records, CASES[request.param])


def test_results_and_budgets_are_those_of_the_evaluation(case: tuple[str, Records, SparePlan], tmp_path: Path) -> None:
    require_engine("ironcalc")
    _, records, plan = case
    evaluation, edits = evaluated(records), typed(plan, records)
    write_book(plan.book, tmp_path / "empty.xlsx")
    shown = [0, len(evaluation.results) // 2, len(evaluation.results) - 1]
    variants = [[*edits, *budget_edits(evaluation, row)] for row in shown]
    for row, values in zip(shown, ironcalc_variants(tmp_path / "empty.xlsx", variants), strict=True):
        assert not errors_in(values)
        assert not disagreements(values, plan, evaluation)
        assert not budget_disagreements(values, plan, evaluation, row)
        assert not shown_where_empty(values, plan, edits)
        assert values["results"]["A4"] == ""


def test_reading_it_back_gives_the_run(case: tuple[str, Records, SparePlan], tmp_path: Path) -> None:
    """Results of the filled workbook as RUN are those of the run's files, to the last digit."""
    _, records, plan = case
    back = evaluated(read_run(write_filled(plan, typed(plan, records), tmp_path / "filled.xlsx")))
    found = {(r.sample, r.analyte, r.line): r for r in back.results}
    expected = {(r.sample, r.analyte, r.line): r for r in evaluated(records).results}
    assert found.keys() == expected.keys()
    for key, result in expected.items():
        assert (found[key].value, found[key].expanded_uncertainty) == (result.value, result.expanded_uncertainty)
        assert [line.contribution for line in found[key].budget] == [line.contribution for line in result.budget]


def test_libreoffice_agrees_and_what_it_saves_reads_back(tmp_path: Path) -> None:
    require_engine("libreoffice")
    cases, files = [], []
    for number, name in enumerate(("harbour_sediment", "patterns/oil-in-solvent")):
        records = example(name)
        plan, evaluation = room_for(name, records, 2), evaluated(records)
        edits = [*typed(plan, records), *budget_edits(evaluation, 1)]
        cases.append((plan, evaluation, edits))
        files.append(write_filled(plan, edits, tmp_path / f"filled{number}.xlsx"))
    for (plan, evaluation, edits), file, saved in zip(
        cases, files, libreoffice_saved(files, tmp_path / "saved"), strict=True
    ):
        values = stored_values(saved, formula_cells(file))
        assert not errors_in(values)
        assert not disagreements(values, plan, evaluation)
        assert not budget_disagreements(values, plan, evaluation, 1)
        assert not shown_where_empty(values, plan, edits)
        back = evaluated(read_run(saved))
        expected = {(r.sample, r.analyte, r.line): r.expanded_uncertainty for r in evaluation.results}
        assert {(r.sample, r.analyte, r.line): r.expanded_uncertainty for r in back.results} == expected


def test_edits_of_certificates_and_method_go_both_ways(tmp_path: Path) -> None:
    """Open cells that belong to no day: cells and reading back follow them alike."""
    require_engine("ironcalc")
    records = example("harbour_sediment")
    plan = room_for("harbour_sediment", records, 2)
    fixed = [cell for cell in open_cells(plan.book.sheets) if isinstance(cell.value, float)]
    sheets = {"equipment", "standards", "input quantities", "method"}
    assert {cell.sheet for cell in fixed} == sheets
    # One number of each sheet, and every figure of the equipment.
    last = {cell.sheet: cell for cell in fixed}
    changed = {(c.sheet, c.address): c for c in (*last.values(), *(c for c in fixed if c.sheet == "equipment"))}
    edits = typed(plan, records)
    edits += [(c.sheet, c.address, _moved(float(str(c.value)))) for c in changed.values()]
    write_book(plan.book, tmp_path / "empty.xlsx")
    (values,) = ironcalc_variants(tmp_path / "empty.xlsx", [edits])
    back = evaluated(read_run(write_filled(plan, edits, tmp_path / "filled.xlsx")))
    assert not errors_in(values)
    assert not disagreements(values, plan, back)
    assert back.results[0].expanded_uncertainty != evaluated(records).results[0].expanded_uncertainty


def _moved(value: float) -> float:
    return value - 0.01 if value in (0.9545, 1.0) else float(f"{value * 1.01 + (value == 0):.6g}")


def test_decimal_comma(tmp_path: Path) -> None:
    """Under a locale with a decimal comma the figures are the same; text of the results is that locale's."""
    require_engine("libreoffice")
    records = example("patterns/water-direct")
    plan, evaluation = room_for("patterns/water-direct", records, 2), evaluated(records)
    path = write_filled(plan, typed(plan, records), tmp_path / "filled.xlsx")
    (values,) = libreoffice_values([path], locale="de-DE")
    assert not errors_in(values)
    wrong = disagreements(values, plan, evaluation)
    assert [line for line in wrong if ", reported:" not in line] == []


def _empty(plan: SparePlan, path: Path) -> Values:
    write_book(plan.book, path)
    assert_safe_formulas(path)
    emptied = [(cell.sheet, cell.address, None) for cell in plan.fills if cell.fill.part == "level"]
    (values,) = ironcalc_variants(path, [emptied])
    assert not errors_in(ironcalc_values([path])[0])
    assert not shown_where_empty(values, plan, emptied)
    return values


def test_nothing_filled_shows_nothing(case: tuple[str, Records, SparePlan], tmp_path: Path) -> None:
    require_engine("ironcalc")
    values = _empty(case[2], tmp_path / "empty.xlsx")
    assert not errors_in(values)
    assert all(value in (None, "") for value in values["results"].values())


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_rows_used(tmp_path: Path, data: st.DataObject) -> None:
    """Samples, levels, blanks and replicates drawn, in rows drawn: gaps between used rows count for nothing."""
    require_engine("ironcalc")
    whole = example("harbour_sediment")
    plan = planned(read_run(EXAMPLES / "harbour_sediment"), 14, 9, 3, 4)
    samples = sorted(data.draw(st.sets(st.integers(0, 11), min_size=1, max_size=5), "samples"))
    levels = sorted(data.draw(st.sets(st.integers(0, 5), min_size=4, max_size=6), "levels"))
    blanks = data.draw(st.integers(2, 3), "blanks")
    replicates = data.draw(st.integers(1, 3), "replicates")
    rows = Rows(
        data.draw(st.permutations(range(14)), "rows of samples"),
        sorted(data.draw(st.permutations(range(9)), "rows of levels")[: len(levels)]),
        [0, *data.draw(st.permutations([1, 2, 3]), "rows of blanks")],
    )
    records = part_of(whole, samples, levels, blanks, replicates)
    edits = typed(plan, records, rows)
    path = tmp_path / "empty.xlsx"
    write_book(plan.book, path, force=True)
    (values,) = ironcalc_variants(path, [edits])
    assert not errors_in(values)
    assert not disagreements(values, plan, evaluated(records))
    assert not shown_where_empty(values, plan, edits)


def test_the_plan_is_made_again_from_the_record_sheet(tmp_path: Path) -> None:
    """Files and numbers of rows on the sheet `record` give the workbook again, byte by byte."""
    plan = planned(read_run(EXAMPLES / "harbour_sediment"), 5, 7, 3, 3)
    write_book(plan.book, tmp_path / "empty.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "empty.xlsx")["record"]
    lines: dict[tuple[str, str], list[str]] = {}
    for role, name, _, text in sheet.iter_rows(min_row=13, max_col=4, values_only=True):
        lines.setdefault((str(role), str(name)), []).append(str(text or ""))
    texts = [SourceText(cast(Role, role), name, "\n".join(found)) for (role, name), found in lines.items()]
    records, findings = records_from_texts(texts)
    assert records is not None, findings
    again, findings = plan_spare(records, spare_rows_from(str(sheet["B8"].value)))
    assert again is not None, findings
    assert book_bytes(again.book) == (tmp_path / "empty.xlsx").read_bytes()
