"""Checks carried in the run (ISO/IEC 17025:2017, 7.7.1): figures by plain arithmetic, flags, live cells, bad input.

Recovery = found/known, relative difference = |a - b|/mean: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.agreement.test_uncertainties import evaluated
from tests.engines import ironcalc_variants, require_engine
from tests.run_checks.checked_run import checked_run, with_change
from tests.workbooks.books import Written, edited, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import as_edit, numeric_cells
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.reading import read_records
from ubudget.pages.results_sheet import FLAGS

KINDS = ("check solution", "blank", "duplicate", "spike", "reference material")


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(checked_run(tmp_path_factory.mktemp("checks")))


def figures(evaluation: Evaluation) -> dict[str, float]:
    table = evaluation.graph.tables["quality checks"]
    return dict(zip(table.texts("check"), evaluation.column("figure", "quality checks").tolist(), strict=True))


def test_every_kind_is_judged(example: Written) -> None:
    table = example.evaluation.graph.tables["quality checks"]
    assert set(table.texts("kind")) == set(KINDS)
    assert not example.evaluation.column("outside", "quality checks").any()
    assert not any("checks" in flag for result in example.evaluation.results for flag in result.flags)


def test_figures_are_plain_arithmetic(example: Written) -> None:
    """By hand from the results and from the curve: slope and centroid of the four standards by numpy."""
    import numpy as np

    shown = figures(example.evaluation)
    value = {result.sample: result.value or 0.0 for result in example.evaluation.results}
    x = np.repeat([0.0, 0.5, 1.0, 2.0], 3) * 1.001
    y = [0.001, 0.002, 0.001, 0.101, 0.102, 0.100, 0.201, 0.202, 0.199, 0.401, 0.403, 0.399]
    slope, intercept = np.polyfit(x, y, 1)
    assert shown["CHK"] == pytest.approx(100 * (0.241 - intercept) / slope / 1.2, rel=1e-10)
    assert shown["BL-2"] == pytest.approx(abs((0.003 - intercept) / slope), rel=1e-8)
    assert shown["SED-02 S less SED-02"] == pytest.approx(100 * (value["SED-02 S"] - value["SED-02"]) / 50, rel=1e-12)
    pair = value["SED-02"], value["SED-02 D"]
    assert shown["SED-02 and SED-02 D"] == pytest.approx(200 * abs(pair[0] - pair[1]) / sum(pair), rel=1e-10)
    assert shown["RM"] == pytest.approx(100 * value["RM"] / 96, rel=1e-12)


def test_a_check_solution_has_no_part_in_the_results(example: Written, tmp_path: Path) -> None:
    other = evaluated(checked_run(tmp_path, **with_change("readings", "0.246,0.245,0.247", "0.346,0.345,0.347")))
    assert [r.value for r in other.results] == [r.value for r in example.evaluation.results]
    assert [r.standard_uncertainty for r in other.results] == [
        r.standard_uncertainty for r in example.evaluation.results
    ]


OUTSIDE = [
    ("readings", "0.246,0.245,0.247", "0.346,0.345,0.347", "check solution CHK #2, Zn 213.9"),
    ("readings", "BL-2,Zn,213.9,0.002,0.004", "BL-2,Zn,213.9,0.022,0.024", "blank BL-2, Zn 213.9"),
    ("readings", "0.209,0.210,0.208", "0.259,0.260,0.258", "duplicate SED-02 and SED-02 D, Zn 213.9"),
    ("run", '"50 mg/kg"', '"80 mg/kg"', "spike SED-02 S less SED-02, Zn 213.9"),
    ("register", '"96 mg/kg"', '"130 mg/kg"', "reference material RM, Zn 213.9"),
]


@pytest.mark.parametrize(("role", "old", "new", "place"), OUTSIDE, ids=[case[3] for case in OUTSIDE])
def test_what_is_outside_is_told_and_flags_the_results(
    tmp_path: Path, role: str, old: str, new: str, place: str
) -> None:
    evaluation = evaluated(checked_run(tmp_path, **with_change(role, old, new)))
    told = [finding for finding in evaluation.findings if finding.place == place]
    assert [finding.severity for finding in told] == ["attend"], [f.line() for f in evaluation.findings]
    assert all("1 of the line's checks outside the limits of the method" in r.flags for r in evaluation.results)


def test_engines_agree_and_open_numbers_move(example: Written, tmp_path: Path) -> None:
    """Figures of the checks move the checks alone."""
    assert_engines_agree(example, tmp_path)

    def of_checks(cell: object) -> bool:
        origin = getattr(cell, "origin", None)
        path = () if origin is None else origin.path
        if path and path[0] in ("check_solution", "spike", "quality_limit"):
            return True
        return bool("CHK" in getattr(cell, "row_name", "")) or path[:3] == ("reference_material", 1, "certificate")

    assert_open_numbers_move(example, tmp_path / "book.xlsx", unmoved=of_checks)


def test_limits_and_known_figures_are_open_and_move_the_flags(example: Written, tmp_path: Path) -> None:
    require_engine("ironcalc")
    file = example.save(tmp_path / "book.xlsx")
    results = next(sheet for sheet in example.book.sheets if sheet.name == "results")
    (band,) = results.bands
    at = next(number for number, column in enumerate(band.columns) if column.heading == FLAGS)
    address = f"{'ABCDEFGHIJKLMNOP'[at]}{band.first_row}"
    cell = next(cell for cell in numeric_cells(example) if (cell.sheet, cell.heading) == ("method", "upper limit"))
    assert "check solution" in cell.row_name
    low = [(cell.sheet, cell.address, 95.0)]
    (found,) = ironcalc_variants(file, [low], {"results": [address]}, timeout=120)
    assert "checks outside the limits" in str(found["results"][address])
    library = edited(example.records, [as_edit(cell, 95.0)])
    assert any("checks outside" in flag for flag in library.results[0].flags)


def test_a_check_of_the_calibrating_lot_is_no_independent_check(tmp_path: Path) -> None:
    run = with_change(
        "run", 'concentration = { Zn = "1.2 mg/L" }', 'concentration = { Zn = "1.2 mg/L" }\nitem = "ST-ZN"'
    )
    evaluation = evaluated(checked_run(tmp_path, **run))
    assert any("no independent check" in f.found and "check_solution 1" in f.place for f in evaluation.findings)


BAD = [
    ("unknown sample", "run", 'of = "SED-02"', 'of = "SED-99"', "stop", "the unknown sample SED-99"),
    ("sample beside itself", "run", '["SED-02", "SED-02 D"]', '["SED-02", "SED-02"]', "stop", "beside itself"),
    ("check solution not read", "run", 'label = "CHK"', 'label = "CHK9"', "attend", "no reading of CHK9"),
    ("its reading unknown then", "run", 'label = "CHK"', 'label = "CHK9"', "stop", "the unknown solution CHK"),
    ("unit of the check solution", "run", '"1.2 mg/L"', '"1.2 mg/kg"', "stop", "a concentration in mg/L"),
    ("unit of the spike", "run", '"50 mg/kg"', '"50 mg/L"', "stop", "in the unit of results"),
    ("analyte of the check", "run", 'Zn = "1.2', 'Xx = "1.2', "stop", "the unknown analyte Xx"),
    ("register item", "run", 'Zn = "1.2 mg/L" }', 'Zn = "1.2 mg/L" }\nitem = "NO"', "stop", "not in the register"),
    ("label of a standard", "run", 'label = "CHK"', 'label = "S1"', "stop", "the solution S1 a second time"),
    ("limits turned round", "method", '["90 %", "110 %"]', '["110 %", "90 %"]', "stop", "the lower first"),
    ("limits without unit", "method", '["90 %", "110 %"]', '["0.9", "1.1"]', "stop", "two recoveries in %"),
    ("wrong kind of limit", "method", 'at_most = "0.05 mg/L"', 'recovery = ["1 %", "2 %"]', "stop", "at_most alone"),
    ("unit of a blank's limit", "method", '"0.05 mg/L"', '"0.05 g"', "stop", "a limit in mg/L"),
    ("unknown analyte", "method", 'analytes = ["Zn"]', 'analytes = ["Q"]', "stop", "the unknown analyte Q"),
    (
        "second limit",
        "method",
        'kind = "spike"',
        'kind = "check solution"',
        "stop",
        "a second limit of check solutions",
    ),
    ("no limit", "method", 'kind = "spike"', 'kind = "reference material"', "attend", "a spike that nothing judges"),
]


@pytest.mark.parametrize(("role", "old", "new", "severity", "words"), [c[1:] for c in BAD], ids=[c[0] for c in BAD])
def test_bad_checks_are_told(tmp_path: Path, role: str, old: str, new: str, severity: str, words: str) -> None:
    _, findings = read_records(checked_run(tmp_path, **with_change(role, old, new)))
    told = [finding.line() for finding in findings if finding.severity == severity]
    assert any(words in line for line in told), [finding.line() for finding in findings]
