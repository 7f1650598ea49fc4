"""Results of a run beside limits: figures by scipy.stats and by hand, live cells in two engines, words, bad input.

Rules: JCGM 106:2012, 7 and 8; ILAC-G8:09/2019, 4. Level functions: QUAM:2012.P1, E.5."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from scipy import stats
from scipy.optimize import nnls

from tests.agreement.test_uncertainties import evaluated
from tests.commands.running import run, widest
from tests.decisions.decided_run import ALL_PASS, WITH_LIMITS, decided_run, fitted_run, with_change
from tests.engines import ironcalc_variants, libreoffice_values, require_engine
from tests.findings.small_run import METHOD
from tests.findings.small_run import SAMPLES as WITH_SAMPLES
from tests.lines.two_lines import two_line_run
from tests.workbooks.books import EXAMPLES, Written, edited, written
from tests.workbooks.live_checks import assert_engines_agree
from tests.workbooks.test_alive import another, as_edit, numeric_cells
from ubudget.evaluation.decision_tables import CODE, DECISIONS, PROBABILITY, REASON, RISK
from ubudget.evaluation.decisions import Decided, decisions_of
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.plan import placements_of, plan_book
from ubudget.records.spare_rows import SpareRows
from ubudget.records.spare_run import specimen_findings

ROOT_OF_A_NEGATIVE = """
[method]
id = "M"
title = "invented"
version = "1"
status = "approved"
effective = 2026-01-01
review = 2027-01-01
measurand = "number"
unit = "1"
equation = "y = sqrt(a)"

[symbols.a]
operation = "input"
quantity = "a number"
estimate = -1
u = 0.1
"""
S0, S1, DOF = 0.8, 0.015, 40


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(decided_run(tmp_path_factory.mktemp("limits") / "run"))


def told(evaluation: Evaluation, sample: str) -> dict[str, Decided]:
    """The decisions on a sample, by the name of the limit."""
    for result, decided in zip(evaluation.results, decisions_of(evaluation), strict=True):
        if result.sample == sample:
            return {one.limit.name: one for one in decided}
    raise KeyError(sample)


def test_every_rule_by_plain_arithmetic(example: Written) -> None:
    """By hand from value, u, U and ν of SED-02; quantiles and probabilities by scipy.stats."""
    result = next(r for r in example.evaluation.results if r.sample == "SED-02")
    assert result.value and result.standard_uncertainty and result.expanded_uncertainty
    y, u, expanded = result.value, result.standard_uncertainty, result.expanded_uncertainty
    nu = math.floor((result.effective_degrees_of_freedom or 0) + 1e-6)
    found = told(example.evaluation, "SED-02")

    def upper(name: str) -> float:
        side = found[name].upper
        assert side is not None
        return side.acceptance_limit

    assert upper("simple") == 130
    assert upper("guarded") == pytest.approx(115 - expanded, rel=1e-12)
    assert found["guarded"].value == result.reported_value
    assert upper("enforcement") == pytest.approx(110 + stats.t.ppf(0.99, nu) * u, rel=1e-9)
    at = [math.hypot(S0, S1 * limit) for limit in (50, 200)]
    by_risk, factor = found["by risk"], stats.t.ppf(0.95, DOF)
    assert by_risk.lower is not None
    assert by_risk.lower.acceptance_limit == pytest.approx(50 + factor * at[0], rel=1e-9)
    assert upper("by risk") == pytest.approx(200 - factor * at[1], rel=1e-9)
    inside = stats.t.cdf((200 - y) / at[1], DOF) - stats.t.cdf((50 - y) / at[0], DOF)
    assert by_risk.probability == pytest.approx(inside, rel=1e-12)
    assert by_risk.U_at_limit == pytest.approx(100 * stats.t.ppf((1 + 0.9545) / 2, DOF) * at[1] / 200, rel=1e-9)
    assert by_risk.required_U == "not met" and found["simple"].required_U == "met"
    enforced = found["enforcement"]
    assert enforced.risk == pytest.approx(stats.t.sf((110 - y) / u, nu), rel=1e-9)
    # Four words: the prior, mean 120 and sd 30, moves the probability and not the limits.
    variance = 1 / (1 / 30**2 + 1 / u**2)
    mean = variance * (120 / 30**2 + y / u**2)
    words = found["four words"]
    assert words.lower is not None
    assert words.lower.rejection_limit == pytest.approx(100 - expanded, rel=1e-12)
    assert words.risk == pytest.approx(stats.norm.cdf((100 - mean) / math.sqrt(variance)), rel=1e-9)
    assert {name: one.words for name, one in found.items()} == {
        "simple": "pass", "guarded": "pass", "by risk": "pass", "enforcement": "pass", "four words": "pass",
    }  # fmt: skip
    high = told(example.evaluation, "SED-01")
    assert [one.words for one in high.values()] == ["fail", "fail", "fail", "fail", "pass"]


def test_engines_agree_and_records_come_back(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path)
    records, _ = read_workbook(tmp_path / "book.xlsx")
    assert records == example.records
    assert plan_book(evaluate(records)[0] or example.evaluation) == example.book


def decision_cells(example: Written) -> tuple[list[str], list[str]]:
    """Columns of the decisions that follow an edit, and their cells on the sheet of computation."""
    home = placements_of(example.evaluation)[DECISIONS]
    columns = [CODE, REASON, PROBABILITY, RISK, "upper acceptance", "lower acceptance", "U at the limit", "U met"]
    rows = range(home.table.size)
    return columns, [home.cell(column, row, "computation") for column in columns for row in rows]


def numbers_of(evaluation: Evaluation, columns: list[str]) -> list[float]:
    return [number for column in columns for number in evaluation.column(column, DECISIONS).tolist()]


def in_cells(found: dict[str, object], addresses: list[str]) -> list[float]:
    """Empty cells, of rows without such a figure, count as zero."""
    return [float(str(found[address] or 0)) for address in addresses]


def test_open_cells_of_limits_move_decisions_in_two_engines(example: Written, tmp_path: Path) -> None:
    """Each figure of a limit or level function changed in turn moves what is decided, as the library says."""
    require_engine("ironcalc")
    tables = ("tolerance_limit", "level_function")
    cells = [cell for cell in numeric_cells(example) if cell.origin.path[0] in tables]
    assert {cell.origin.path[-1] for cell in cells} == {
        "lower", "upper", "guard_multiple", "guard_risk", "required_U", "prior_mean", "prior_sd",
        "constant", "relative", "from", "to", "dof",
    }  # fmt: skip
    columns, addresses = decision_cells(example)
    wanted = {"computation": addresses}
    # A range moves nothing before it leaves a limit out; a requirement before it is not met.
    new = {"from": 60.0, "to": 150.0, "required_U": 1.0}
    edits = [(cell, new.get(str(cell.origin.path[-1]), another(cell))) for cell in cells]
    edits = [(cell, 9.0 if cell.value == 3 else value) for cell, value in edits]
    file = example.save(tmp_path / "book.xlsx")
    answers = ironcalc_variants(file, [[(cell.sheet, cell.address, value)] for cell, value in edits], wanted)
    before = numbers_of(example.evaluation, columns)
    for (cell, value), found in zip(edits, answers, strict=True):
        after = in_cells(found["computation"], addresses)
        library = numbers_of(edited(example.records, [as_edit(cell, value)]), columns)
        assert after == pytest.approx(library, rel=1e-9, abs=1e-15), cell
        assert after != pytest.approx(before, rel=1e-9, abs=0), cell


def test_charts_draw_u_and_relative_u_along_the_range(example: Written) -> None:
    x, drawn = (example.evaluation.column(name, "uncertainty by level") for name in ("x", "U"))
    k = stats.t.ppf((1 + 0.9545) / 2, DOF)
    assert drawn == pytest.approx(k * np.hypot(S0, S1 * x), rel=1e-9)
    assert (x.min(), x.max()) == (pytest.approx(5 + 995 / 400), 1000)
    relative = example.evaluation.column("relative U", "uncertainty by level")
    assert relative == pytest.approx(100 * drawn / x, rel=1e-12)
    sheet = next(sheet for sheet in example.book.sheets if sheet.name == "charts by level")
    home = placements_of(example.evaluation)["uncertainty by level"]
    ranges = [(series.y, series.x) for chart in sheet.charts for series in chart.series]
    assert ranges[0] == (home.range("U", sheet.name), home.range("x", sheet.name))
    assert len(ranges) == 2 and home.letters["relative U"] in ranges[1][0]


def test_a_lower_limit_makes_a_pass_a_fail_in_words_in_both_engines(example: Written, tmp_path: Path) -> None:
    require_engine("libreoffice")
    file = example.save(tmp_path / "book.xlsx")
    cell = next(cell for cell in numeric_cells(example) if cell.origin.path == ("tolerance_limit", 0, "upper"))
    sheet = next(sheet for sheet in example.book.sheets if sheet.name == "decisions")
    band = sheet.bands[0]
    at = next(number for number, column in enumerate(band.columns) if column.heading == "decision")
    row = list(zip(band.columns[0].values, band.columns[2].values, strict=True)).index(("SED-02", "simple"))
    address = f"{'ABCDEFGHIJKLMNOP'[at]}{band.first_row + row}"
    assert band.columns[at].values[row] == "pass"
    (found,) = ironcalc_variants(file, [[(cell.sheet, cell.address, 104.0)]], {"decisions": [address]})
    book = openpyxl.load_workbook(file)
    book[cell.sheet][cell.address] = 104.0
    book.save(tmp_path / "edited.xlsx")
    again = libreoffice_values([tmp_path / "edited.xlsx"])[0]
    assert found["decisions"][address] == again["decisions"][address] == "fail"
    assert told(edited(example.records, [as_edit(cell, 104.0)]), "SED-02")["simple"].words == "fail"


def test_a_fitted_function_is_least_squares_and_lives(tmp_path: Path) -> None:
    fitted = written(fitted_run(tmp_path / "run"))
    evaluation = fitted.evaluation
    x, u = (evaluation.column(name, "level function points") for name in ("x", "u"))
    design = np.column_stack([np.ones_like(x), x**2])
    scale = np.linalg.norm(design, axis=0)
    expected = nnls(design / scale, u**2)[0] / scale
    found = [float(evaluation.column(name, "level functions")[0]) for name in ("s0²", "s1²", "lowest", "highest")]
    assert found == pytest.approx([*expected, x.min(), x.max()], rel=1e-9)
    decided = told(evaluation, "SED-02")["plan"]
    assert decided.upper is not None
    assert decided.upper.standard_uncertainty == pytest.approx(math.sqrt(expected[0] + expected[1] * 90**2), rel=1e-9)
    # k and t go by the fewest degrees of freedom among the results.
    nus = [result.effective_degrees_of_freedom or math.inf for result in evaluation.results]
    assert decided.degrees_of_freedom == math.floor(min(nus) + 1e-6)
    assert_engines_agree(fitted, tmp_path)
    # Two results without a reading left leave too few for the fit: nothing is stated, and no cell shows an error.
    marks = [
        cell for cell in numeric_cells(fitted) if cell.origin.path[:2] in (("include", "SED-04"), ("include", "SED-05"))
    ]
    variant = [(cell.sheet, cell.address, 0.0) for cell in marks]
    (cells,) = ironcalc_variants(tmp_path / "book.xlsx", [variant])
    assert not [value for sheet in cells.values() for value in sheet.values() if str(value).startswith("#")]
    text = " ".join(str(value) for value in cells["decisions"].values())
    assert "no level function holds at the limit" in text and "the result is not available" in text
    library = edited(fitted.records, [as_edit(cell, 0.0) for cell in marks])
    assert told(library, "SED-02")["plan"].reason == "no level function holds at the limit"
    assert any("found 3 results" in finding.line() for finding in library.findings)


NO_STATEMENT = [
    ("unit", 'upper = "130 mg/kg"', 'upper = "130 mg/L"', "simple", "the unit of the limit does not convert"),
    ("basis", 'upper = "130 mg/kg"', 'upper = "130 mg/kg"\nbasis = "dry mass"', "simple", "another basis"),
    ("range", 'to = "1000 mg/kg"', 'to = "199 mg/kg"', "by risk", "no level function holds"),
    ("no function", 'analytes = ["Zn"]\nconstant', 'analytes = ["Cd"]\nconstant', "by risk", "no level function holds"),
    ("empty zone", 'upper = "500 mg/kg"', 'upper = "102 mg/kg"', "four words", "the acceptance zone is empty"),
]


@pytest.mark.parametrize(
    ("old", "new", "limit", "words"), [c[1:] for c in NO_STATEMENT], ids=[c[0] for c in NO_STATEMENT]
)
def test_no_statement_with_its_reason(tmp_path: Path, old: str, new: str, limit: str, words: str) -> None:
    changed = with_change(old, new)
    changed["method"] = changed["method"].replace('Zn = ["213.9"]', 'Zn = ["213.9"]\nCd = ["228.8"]')
    if "Cd" not in new:
        changed = with_change(old, new)
    evaluation = evaluated(decided_run(tmp_path / "run", **changed))
    one = told(evaluation, "SED-02")[limit]
    assert (one.code, one.probability, one.upper) == (0, None, None)
    assert words in one.reason
    plan_book(evaluation)


def test_a_quantification_limit_above_the_limit(tmp_path: Path) -> None:
    """Validated at 120 mg/kg for any portion, in the way of the limits at 100 and 102 mg/kg and of no others."""
    validated = '[[detection_limit]]\nanalyte = "Zn"\nquantification = "120 mg/kg"\nsource = "invented study"\n'
    run = decided_run(tmp_path / "run", method=f"{WITH_LIMITS['method']}\n{validated}")
    decided = evaluated(run)
    reasons = {(one.limit.name, one.reason) for result in decisions_of(decided) for one in result}
    above = "the quantification limit is above the limit"
    assert {name for name, reason in reasons if reason == above} == {"guarded", "enforcement"}
    assert {name for name, reason in reasons if not reason} >= {"simple", "by risk", "four words"}


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("u = 0.1", "u = 0.1", "the result is not available"),
        ("-1\nu = 0.1", "4\nexact = true", "there is no standard uncertainty"),
    ],
    ids=["no finite value", "no u"],
)
def test_a_result_without_value_or_u_never_passes(tmp_path: Path, old: str, new: str, reason: str) -> None:
    method = ROOT_OF_A_NEGATIVE.replace(old, new) + ALL_PASS.replace("mg/kg", "1")
    (tmp_path / "method.toml").write_text(method, encoding="utf-8")
    ((decided,),) = decisions_of(evaluated(tmp_path / "method.toml"))
    assert (decided.words, decided.reason) == ("no statement possible", reason)


def test_a_value_from_several_lines_is_compared_and_its_lines_are_not(tmp_path: Path) -> None:
    run_folder = two_line_run(tmp_path, 'rule = "mean of agreeing lines"\nshared = ["d_L"]')
    basis = tomllib.loads((run_folder / "method.toml").read_text(encoding="utf-8"))["method"]["basis"]
    with (run_folder / "method.toml").open("a", encoding="utf-8") as file:
        file.write(ALL_PASS.replace("mg/kg", "mg/L").replace("source", f'basis = "{basis}"\nanalyte = "Zn"\nsource', 1))
    evaluation = evaluated(run_folder)
    compared = [r for r, one in zip(evaluation.results, decisions_of(evaluation), strict=True) if one]
    assert compared and {(result.analyte, result.line) for result in compared} == {("Zn", None)}


def test_the_worked_example_has_each_word_by_matrix(tmp_path: Path) -> None:
    evaluation = evaluated(EXAMPLES / "river_manganese")
    assert evaluation.findings == ()
    words = {
        (result.sample, result.analyte, one.limit.name): one.words
        for result, decided in zip(evaluation.results, decisions_of(evaluation), strict=True)
        for one in decided
    }
    aim, load = "aim of the treatment", "load of the treatment"
    # By eye from value ± U: 9.63 ± 0.19 lies on the aim of 9.75, the others well below or above; 200 mg/L for the adit.
    assert words == {
        ("RIV-01", "Mn", aim): "pass", ("RIV-02", "Mn", aim): "fail", ("RIV-03", "Mn", aim): "fail",
        ("RIV-04", "Mn", aim): "fail", ("RIV-05", "Mn", aim): "conditional pass", ("RIV-06", "Mn", aim): "pass",
        ("ADIT", "Mn", load): "pass", ("ADIT", "Fe", load): "pass",
    }  # fmt: skip


def test_samples_name_their_limits(tmp_path: Path) -> None:
    rows = WITH_SAMPLES.splitlines()
    named = [rows[0] + ",limits", rows[1] + ",simple; four words", *(row + "," for row in rows[2:])]
    evaluation = evaluated(decided_run(tmp_path / "run", samples="\n".join(named) + "\n"))
    assert list(told(evaluation, "SED-01")) == ["simple", "four words"]
    assert told(evaluation, "SED-02") == {}


def test_command_json_csv_and_statement(tmp_path: Path) -> None:
    decided_run(tmp_path / "run")
    done = run("decide", "run", folder=tmp_path)
    assert done.status == 1 and widest(done.out) <= 80
    assert "rule: non-binary, guard band 1 U" in done.out and "agreed: invented client on 2026-01-05" in done.out
    assert "local regulations" in done.out
    objects = json.loads(run("decide", "run", "--json", "-", folder=tmp_path).out)
    (simple, *_) = objects["results"][1]["decisions"]
    assert (simple["decision"], simple["limit"], simple["source"]) == (
        "pass",
        "simple",
        "invented specification, edition 1",
    )
    assert simple["upper"]["acceptance_limit"] == 130
    whole = json.loads(run("evaluate", "run", "--json", "-", folder=tmp_path).out)
    assert whole["results"][1]["decisions"] == objects["results"][1]["decisions"]
    table = run("evaluate", "run", "--csv", "-", folder=tmp_path).out
    assert table.splitlines()[0].endswith(",decisions") and "simple: pass; guarded: pass" in table
    words = " ".join(run("statement", "run", folder=tmp_path).out.split())
    assert "Conformity with simple: at most 130 mg/kg (invented specification, edition 1): pass." in words
    fits = decided_run(tmp_path / "fits", method=METHOD.replace('scatter = "own"', 'scatter = "residual"') + ALL_PASS)
    assert run("decide", fits, folder=tmp_path).status == 0
    none = decided_run(tmp_path / "none", method=METHOD)
    assert "add [[tolerance_limit]]" in run("decide", none, folder=tmp_path).out


BAD = [
    ("lower above upper", 'lower = "50 mg/kg"', 'lower = "0.3 g/kg"', "stop", "not below the upper 200 mg/kg"),
    ("limits in two units", 'lower = "50 mg/kg"', 'lower = "50 mg/L"', "stop", "a lower limit in a unit that converts"),
    ("no limit at all", 'upper = "130 mg/kg"\n', "", "stop", "neither lower nor upper"),
    ("another unit", 'upper = "130 mg/kg"', 'upper = "130 mg/L"', "attend", "no statement on conformity is possible"),
    ("another basis", 'upper = "130 mg/kg"', 'upper = "130 mg/kg"\nbasis = "dry"', "attend", "found the basis 'dry'"),
    ("risk of a half", "guard_risk = 0.05", "guard_risk = 0.5", "stop", "guard_risk"),
    ("risk of zero", "guard_risk = 0.05", "guard_risk = 0", "stop", "guard_risk"),
    ("negative multiple", "guard_multiple = 1\ncompares", "guard_multiple = -1\ncompares", "stop", "guard_multiple"),
    ("two guard bands", "guard_risk = 0.05", "guard_risk = 0.05\nguard_multiple = 1", "stop", "one of them"),
    (
        "simple with a guard",
        'rule = "simple acceptance"',
        'rule = "simple acceptance"\nguard_multiple = 1',
        "stop",
        "no guard band",
    ),
    ("unknown rule", 'rule = "non-binary"', 'rule = "by feeling"', "stop", "rule"),
    ("incomplete prior", 'prior_sd = "30 mg/kg"\n', "", "stop", "an incomplete prior"),
    ("prior under t", 'prior = "inv', 'distribution = "t"\nprior = "inv', "stop", "under the normal distribution"),
    ("unit of the prior", 'prior_sd = "30 mg/kg"', 'prior_sd = "30 mg/L"', "stop", "prior_sd"),
    ("requirement without %", 'required_U = "5 %"', 'required_U = "5 mg/kg"', "stop", "a percentage of the limit"),
    ("unknown analyte", 'analyte = "Zn"\nupper', 'analyte = "Q"\nupper', "stop", "the unknown analyte Q"),
    ("unknown line", 'analyte = "Zn"\nupper', 'line = "999"\nupper', "stop", "the unknown line 999"),
    ("same limit twice", 'name = "guarded"', 'name = "simple"', "stop", "a second limit for the same results"),
    ("nobody agreed", 'agreed_by = "invented client"', "", "note", "a rule that nobody is named for"),
    (
        "limit out of range",
        'to = "1000 mg/kg"',
        'to = "199 mg/kg"',
        "attend",
        "where the level function of Zn does not hold",
    ),
    ("function of nobody", 'analytes = ["Zn"]\nc', 'analytes = ["Q"]\nc', "stop", "the unknown analyte Q"),
    ("function without range", 'from = "5 mg/kg"\n', "", "stop", "must have constant or relative, and from and to"),
    ("range turned round", 'from = "5 mg/kg"', 'from = "5 g/kg"', "stop", "a range without width"),
    ("unit of a part", 'constant = "0.8 mg/kg"', 'constant = "0.8 mg/L"', "stop", "that of the results"),
    ("relative part not in %", 'relative = "1.5 %"', 'relative = "0.015"', "stop", "a percentage"),
    (
        "fitted with parts",
        'constant = "0.8',
        'origin = "fitted"\nconstant = "0.8',
        "stop",
        "a fitted level function with",
    ),
]


@pytest.mark.parametrize(("old", "new", "severity", "words"), [c[1:] for c in BAD], ids=[c[0] for c in BAD])
def test_bad_limits_are_told_in_one_line(tmp_path: Path, old: str, new: str, severity: str, words: str) -> None:
    _, findings = read_records(decided_run(tmp_path / "run", **with_change(old, new)))
    lines = [finding.line() for finding in findings if finding.severity == severity]
    assert [line for line in lines if words in line and "\n" not in line], [finding.line() for finding in findings]


@pytest.mark.parametrize(
    ("cells", "words"), [(("simpel",), "the unknown limit simpel"), (("", "", "simple"), "limits for a blank")]
)
def test_bad_names_of_limits_are_told(tmp_path: Path, cells: tuple[str, ...], words: str) -> None:
    rows = [
        f"{row},{cell}" for row, cell in zip(WITH_SAMPLES.splitlines(), ("limits", *cells, *[""] * 4), strict=False)
    ]
    _, findings = read_records(decided_run(tmp_path / "run", samples="\n".join(rows) + "\n"))
    assert any(words in finding.line() for finding in findings if finding.severity == "stop")


def test_workbooks_with_spare_rows_refuse_in_one_line(example: Written) -> None:
    found = specimen_findings(example.records, SpareRows(5, 4, 3, 2))
    (line,) = [finding.line() for finding in found if "tolerance limits or level functions" in finding.found]
    assert "keep this run as files" in line
