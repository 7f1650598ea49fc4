"""Derived results in the workbook: both engines, open cells, reading back, the budget of a chosen one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.derived.derived_runs import changed_run
from tests.derived.rinse_water import EXAMPLE
from tests.engines import ironcalc_variants, require_engine
from tests.workbooks.books import Written, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.layout import BUDGET

# Sensitivities that cancel leave 1e-14 of terms of order 1.
FLOOR = 1e-12


@pytest.fixture(scope="module")
def example() -> Written:
    return written(EXAMPLE)


def test_both_engines_agree_with_the_library(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path, floor=FLOOR)


def test_flows_and_certificates_move_derived_results(example: Written, tmp_path: Path) -> None:
    cells = numeric_cells(example)
    flows = [cell for cell in cells if cell.origin.document == "samples"]
    assert len(flows) == 3  # OUT-2, OUT-3 and OUT-1-F have a flow that nothing takes
    others = [cell for cell in cells if cell.origin.document in ("register", "method")]
    readings = [cell for cell in cells if cell.origin.document == "readings"][::20]
    assert_open_numbers_move(example, example.save(tmp_path / "book.xlsx"), [*flows, *others, *readings])


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings


def test_the_budget_of_a_chosen_derived_result(example: Written, tmp_path: Path) -> None:
    """Choosing sample and name shows u of that result, whose squares the sheet adds up on its own."""
    require_engine("ironcalc")
    file = example.save(tmp_path / "book.xlsx")
    chosen = [("RINSE-1", "total hardness", "mmol/L"), ("treatment", "removal efficiency Cu", "%")]
    variants = [[(BUDGET, "B4", sample), (BUDGET, "B5", name)] for sample, name, _ in chosen]
    found = ironcalc_variants(file, variants, {BUDGET: ["B7", "B9", "B15", "B16"]}, timeout=120)
    for (sample, name, unit), sheets in zip(chosen, found, strict=True):
        (result,) = [r for r in example.evaluation.results if (r.sample, r.analyte) == (sample, name)]
        cells = sheets[BUDGET]
        assert str(cells["B7"]).endswith(f" {unit}")
        assert float(str(cells["B9"])) == pytest.approx(result.standard_uncertainty, rel=1e-9)
        assert float(str(cells["B15"])) == pytest.approx(result.standard_uncertainty, rel=1e-9)
        assert float(str(cells["B16"])) == pytest.approx(1, rel=1e-9)


def test_a_component_without_value_gives_null_and_a_flag(tmp_path: Path) -> None:
    struck = "".join(
        f'\n[[exclude_reading]]\nsolution = "OUT-1"\nanalyte = "Zn"\nline = "213.857"\nreplicate = {turn}\n'
        'reason = "spray chamber flooded"\n'
        for turn in (1, 2, 3)
    )
    last = 'label = "S4"\n'
    place = changed_run(tmp_path, ("run.toml", f"[[standard]]\n{last}", f"{struck}\n[[standard]]\n{last}"))
    example = written(place)
    results = {(result.sample, result.analyte): result for result in example.evaluation.results}
    gone = [
        ("OUT-1", "Zn"),
        ("OUT-1", "sum of metals"),
        ("outflow", "particulate Zn"),
        ("outflow", "mean outflow Zn"),
        ("treatment", "retained Zn"),
        ("treatment", "removal efficiency Zn"),
    ]
    assert [key for key, result in results.items() if result.value is None] == gone
    for key in gone[1:]:
        assert results[key].flags == (
            "a result that it is calculated from is not available; this result is not available",
        )
        assert results[key].budget == ()
    assert results["treatment", "load in Zn"].value is not None
    assert_engines_agree(example, tmp_path, floor=FLOOR)


def test_a_flag_of_a_component_is_a_flag_of_what_is_derived(tmp_path: Path) -> None:
    """Zinc of OUT-1-F, about 0.74 mg/L, lies below the lowest standard once the three low ones hold 1.3 mg/L."""
    place = changed_run(tmp_path, *(("run.toml", f'Zn = "{low} mg/L"', 'Zn = "1.3 mg/L"') for low in ("0", "0.5", "1")))
    low = ("S0,Zn", "S1,Zn", "S2,Zn")
    rows = (place / "readings.csv").read_text(encoding="utf-8").splitlines()
    rows = [
        f"{row[:5]},213.857,25{number % 90:02},2505,2512" if row[:5] in low else row for number, row in enumerate(rows)
    ]
    (place / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
    results = {(r.sample, r.analyte): r for r in written(place).evaluation.results}
    assert results["OUT-1-F", "Zn"].flags == ("below the lowest standard",)
    assert results["outflow", "particulate Zn"].flags == ("below the lowest standard",)
    assert results["outflow", "particulate Cu"].flags == ()
