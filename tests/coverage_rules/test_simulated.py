"""Simulated results in the workbook beside live ones, and intervals that the method reports (JCGM 101:2008).

Intervals of the square are those of the non-central chi-squared distribution with one degree of freedom, which is that
of the square of a normal variable (scipy.stats.ncx2)."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from scipy.stats import ncx2

from tests.commands.running import run
from tests.coverage_rules.single_method import evaluation_of, method_text, normal
from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.findings.small_run import FILES, write_run
from tests.workbooks.books import EXAMPLES, edited, written
from ubudget.errors import UnusableInput
from ubudget.evaluation.coverage import EXPANDED, FACTOR
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.simulation_names import CHANGED, SIMULATION
from ubudget.files.d_si import xml_text
from ubudget.files.splitting import parts_by_analyte
from ubudget.files.workbook_reading import read_workbook
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.plan import placements_of, plan_book
from ubudget.pages.record_sheet import open_cells
from ubudget.pages.results_table import results_lines
from ubudget.pages.simulation_sheet import NONE_CHANGED, OUT_OF_DATE, simulated_beside
from ubudget.pages.statement import statement
from ubudget.records.method import Coverage
from ubudget.records.records import Edit
from ubudget.records.spare_rows import SpareRows
from ubudget.records.spare_run import specimen_findings

TRIALS = "\n[simulation]\ntrials = 1000\nseed = 4\n"
RULE = 'rule = "simulation"\nprobability = 0.95'


def small_run(folder: Path, coverage: str = "") -> Path:
    """The small run of zinc with a simulation, by its own rule for k or by the interval."""
    folder.mkdir(exist_ok=True)
    rule = f"\n[coverage]\n{coverage}\n" if coverage else ""
    return write_run(folder, method=FILES["method.toml"] + rule + TRIALS)


def square(x: float, folder: Path, kind: str = "symmetric", trials: int = 200_000, seed: int = 11) -> Evaluation:
    text = method_text({"x": normal(1, estimate=x)}, "x^2", RULE).replace('unit = "mg"', 'unit = "mg^2"', 1)
    return evaluation_of(f'{text}\n[simulation]\ninterval = "{kind}"\ntrials = {trials}\nseed = {seed}\n', folder)


# --- The interval that is reported ---


@pytest.mark.parametrize(
    ("x", "kind", "low", "high"),
    [
        # Shortest intervals of 95 %, found by minimising the length with scipy; symmetric ones are quantiles.
        (0.5, "shortest", 0.0, 4.75884),
        (0.5, "symmetric", ncx2.ppf(0.025, 1, 0.25), ncx2.ppf(0.975, 1, 0.25)),
        (10.0, "symmetric", ncx2.ppf(0.025, 1, 100), ncx2.ppf(0.975, 1, 100)),
        (0.0, "symmetric", ncx2.ppf(0.025, 1, 0), ncx2.ppf(0.975, 1, 0)),
    ],
)
def test_k_is_half_of_the_interval_over_u(x: float, kind: str, low: float, high: float, tmp_path: Path) -> None:
    (found,) = square(x, tmp_path, kind).results
    assert found.coverage_interval is not None and found.expanded_uncertainty is not None
    assert found.coverage_interval.low == pytest.approx(low, abs=0.01 * (high - low))
    assert found.coverage_interval.high == pytest.approx(high, abs=0.01 * (high - low))
    half = (found.coverage_interval.high - found.coverage_interval.low) / 2
    assert found.expanded_uncertainty == pytest.approx(half, rel=1e-12) and found.expanded_uncertainty > 0
    # GUM 5.1.2: u of first order is 2|x|u, which is zero at x = 0; no factor gives U then.
    if x == 0:
        assert found.standard_uncertainty == 0 and found.coverage_factor is None
    else:
        assert found.coverage_factor == pytest.approx(half / (2 * x), rel=1e-9)


def test_an_uneven_interval_is_reported_in_place_of_value_and_u(tmp_path: Path) -> None:
    """At x = 0.5 the interval begins at 0, and value - U would be far below; at x = 10 its middle is 100.96."""
    uneven, even = (square(x, tmp_path) for x in (0.5, 10.0))
    for evaluation, words in ((uneven, "mass: 0.0 to 6."), (even, "(100 ± 39) mg^2")):
        (found,) = evaluation.results
        said = statement(found, evaluation.records.method)
        assert words in said and "95 % coverage interval" in said
        assert "Monte Carlo, JCGM 101:2008, 200,000 trials, seed 11" in said
    assert "does not lie evenly" in statement(uneven.results[0], uneven.records.method)
    assert "with k = 1.96" in statement(even.results[0], even.records.method)
    assert "simulated" in "\n".join(results_lines(uneven))


def test_d_si_has_the_interval_behind_a_simulated_u(tmp_path: Path) -> None:
    """`coverageIntervalMU` of D-SI 2.2, its ends rounded as the value is; an uneven one is told as a text."""
    si = "{https://ptb.de/si}"
    uneven, even = (ElementTree.fromstring(xml_text(square(x, tmp_path))) for x in (0.5, 10.0))
    told = even.find(f".//{si}coverageIntervalMU")
    assert told is not None and even.find(f".//{si}expandedMU") is None
    ends = [float(told.findtext(f"{si}{name}", "")) for name in ("intervalMin", "intervalMax")]
    assert ends == pytest.approx([ncx2.ppf(p, 1, 100) for p in (0.025, 0.975)], abs=1.5)
    assert uneven.find(f".//{si}real") is None


def test_same_seed_same_result_and_another_seed_another(tmp_path: Path) -> None:
    factors = [float(square(2.0, tmp_path, trials=1000, seed=seed).column(FACTOR)[0]) for seed in (3, 3, 4)]
    assert factors[0] == factors[1] != factors[2]


def test_exchange_tells_interval_and_seed(tmp_path: Path) -> None:
    square(0.0, tmp_path, trials=1000)
    done = run("evaluate", tmp_path / "method.toml", "--json", "-", folder=tmp_path)
    (found,) = json.loads(done.out)["results"]
    assert found["coverage_factor"] is None and found["coverage_distribution"] == "simulated"
    assert (found["coverage_interval"]["trials"], found["coverage_interval"]["seed"]) == (1000, 11)
    low, high = found["coverage_interval"]["interval"]
    assert found["expanded_uncertainty"] == pytest.approx((high - low) / 2, rel=1e-12)


def test_without_an_interval_k_is_t_and_flagged(tmp_path: Path) -> None:
    """ln(x) with x = 1 and u = 1: a sixth of the trials have no value."""
    text = method_text({"x": "estimate = 1\nu = 1"}, "ln(x)", RULE).replace('unit = "mg"', 'unit = ""')
    evaluation = evaluation_of(f"{text}{TRIALS}", tmp_path)
    (found,) = evaluation.results
    assert found.coverage_interval is None and found.coverage_factor == pytest.approx(1.96, abs=0.001)
    assert found.flags == ("no simulated interval, k from the t distribution",)


def test_too_few_trials_are_a_finding(tmp_path: Path) -> None:
    """JCGM 101 7.2.2: many more trials than 1/(1 - p)."""
    (tmp_path / "method.toml").write_text(
        method_text({"x": normal(1)}, coverage=RULE) + TRIALS.replace("1000", "5"), encoding="utf-8"
    )
    done = run("evaluate", tmp_path / "method.toml", folder=tmp_path)
    assert done.status == 2
    assert done.err.startswith("stop: method.toml: simulation: found 5 trials; accepted: 200 or more")
    assert done.err.count("\n") == 1


def test_what_cannot_follow_the_rule_is_refused() -> None:
    known = written(EXAMPLES / "patterns" / "water-direct")
    method = replace(known.records.method, coverage=Coverage(rule="simulation"))
    records = replace(known.records, method=method)
    (found,) = specimen_findings(records, SpareRows(samples=12, levels=6, replicates=3, blanks=3))
    assert 'rule = "simulation"' in found.found
    whole = replace(known.evaluation, records=records)
    with pytest.raises(UnusableInput) as refused:
        list(parts_by_analyte(whole, Path("out.xlsx")))
    assert 'rule = "simulation"' in refused.value.findings[0].found


# --- The sheet ---


def test_both_engines_agree_with_the_library(tmp_path: Path) -> None:
    """A run beside the t factor, and the same by the interval; and an interval in place of value and U."""
    places = [small_run(tmp_path / "t"), small_run(tmp_path / "interval", RULE)]
    square(0.5, tmp_path, trials=1000)
    files = [
        written(place).save(tmp_path / f"{number}.xlsx")
        for number, place in enumerate([*places, tmp_path / "method.toml"])
    ]
    require_engine("ironcalc")
    for file, found in zip(files, ironcalc_values(files), strict=True):
        assert_safe_formulas(file)
        assert compare(stored_values(file), found, floor=1e-12) == []
    require_engine("libreoffice")
    for file, found in zip(files[1:], libreoffice_values(files[1:]), strict=True):
        assert compare(stored_values(file), found, floor=1e-12) == []


def test_same_bytes_and_read_back(tmp_path: Path) -> None:
    example = written(small_run(tmp_path / "run", RULE))
    file = example.save(tmp_path / "book.xlsx")
    records, findings = read_workbook(file)
    assert records is not None and records == example.records, findings
    again = written.__wrapped__(tmp_path / "run")
    assert book_bytes(plan_book(again.evaluation)) == file.read_bytes()


def test_an_edit_marks_what_it_concerns_and_reading_simulates_anew(tmp_path: Path) -> None:
    """A mass concerns its own sample, a certificate both; each is out of date until it is simulated again."""
    require_engine("ironcalc")
    example = written(small_run(tmp_path / "run", RULE))
    file = example.save(tmp_path / "book.xlsx")
    evaluation = example.evaluation
    home = placements_of(evaluation)[SIMULATION]
    marks = [home.cell(CHANGED, row, SIMULATION) for row in range(len(evaluation.keys))]
    status = next(sheet for sheet in example.book.sheets if sheet.name == "status")
    row = next(cell.row for cell in status.cells if cell.value == OUT_OF_DATE)
    cells = open_cells(example.book.sheets)
    mass = next(cell for cell in cells if cell.origin.path == (0, "gross"))
    certificate = next(cell for cell in cells if cell.origin.document == "register" and cell.origin.path[-1] == "U")
    p = next(cell for cell in cells if cell.origin.path == ("coverage", "probability"))
    variants = [(None, 0.0), (mass, 1.001), (certificate, 1.1), (p, 0.99)]
    edits = [[(cell.sheet, cell.address, float(cell.value) * by)] if cell else [] for cell, by in variants]  # type: ignore[arg-type]
    wanted = {SIMULATION: [*marks, "A6"], "status": [f"B{row}"]}
    expected = [[0, 0], [1, 0], [1, 1], [1, 1]]
    for marked, found in zip(expected, ironcalc_variants(file, edits, wanted), strict=True):
        assert [found[SIMULATION][mark] for mark in marks] == marked
        assert found["status"][f"B{row}"] == sum(marked)
        assert (found[SIMULATION]["A6"] == NONE_CHANGED) == (sum(marked) == 0)
    anew = edited(example.records, [Edit("samples", mass.origin.path, edits[1][0][2], mass.origin.unit)])
    assert not anew.column(CHANGED, SIMULATION).any()
    assert anew.column(EXPANDED)[0] != evaluation.column(EXPANDED)[0]


def test_inputs_without_a_part_in_first_order_are_watched_as_well(tmp_path: Path) -> None:
    """GUM H.1: the sensitivity coefficient of the expansion coefficient is zero, but its u has a part in the draws."""
    require_engine("ironcalc")
    text = (EXAMPLES / "published" / "gum_h1.toml").read_text(encoding="utf-8")
    (tmp_path / "method.toml").write_text(text + TRIALS.replace("1000", "2000"), encoding="utf-8")
    example = written(tmp_path / "method.toml")
    file = example.save(tmp_path / "book.xlsx")
    home = placements_of(simulated_beside(example.evaluation))[SIMULATION]
    mark = home.cell(CHANGED, 0, SIMULATION)
    (cell,) = [c for c in open_cells(example.book.sheets) if c.origin.path == ("symbols", "alpha_S", "half_width")]
    edits = [[], [(cell.sheet, cell.address, 3e-6)]]
    assert [f[SIMULATION][mark] for f in ironcalc_variants(file, edits, {SIMULATION: [mark]})] == [0, 1]


def test_a_method_without_simulation_has_no_such_sheet() -> None:
    example = written(EXAMPLES / "published" / "gum_h1.toml")
    assert SIMULATION not in [sheet.name for sheet in example.book.sheets]
    assert SIMULATION not in simulated_beside(example.evaluation).graph.tables
