"""Internal standard, drift and the meanings of a blank, by formulas worked out here.

The forms I·(IS_ref/IS) and I/D(t), D linear between checks: common practice, no source. u by GUM 5.1.2 eq. 10.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.modules.corrected_run import CONCENTRATION, DRIFT, INTERNAL, METHOD, ORDER, Read, corrected_run, readings
from tests.modules.corrected_run import readings_text as text_of
from ubudget.evaluation.covariance import covariance_matrix
from ubudget.evaluation.evaluate import BudgetRow, Evaluation, Result, evaluate
from ubudget.files.reading import read_records

WHOLE_ORDER = tuple(ORDER)
WITHOUT_CHECK = tuple(label for label in ORDER if label != "CHK")
# Through zero without a blank, so that the curve is b = sum(x y)/sum(x²) alone.
THROUGH_ZERO = METHOD.replace("w = c - cb", "w = c")
THROUGH_ZERO = THROUGH_ZERO[: THROUGH_ZERO.index("[symbols.cb]")] + THROUGH_ZERO[THROUGH_ZERO.index("[effects]") :]
OPTIONS = {"more": 'curve = "line through zero"', "scatter": "own", "method": THROUGH_ZERO}


def evaluated(folder: Path, **options: object) -> Evaluation:
    records, findings = read_records(corrected_run(folder, **(OPTIONS | options)))  # type: ignore[arg-type]
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    return evaluation


def result_of(evaluation: Evaluation, sample: str, analyte: str) -> Result:
    (result,) = [r for r in evaluation.results if (r.sample, r.analyte) == (sample, analyte)]
    return result


def rows_of(result: Result, word: str) -> list[BudgetRow]:
    return [row for row in result.budget if word in row.symbol]


def ratios(rows: list[Read], struck: tuple[str, int] = ("", 0)) -> dict[tuple[int, str], np.ndarray]:
    """I·IS_ref/IS of every solution's position and analyte; `struck` is a replicate of a solution left out."""
    internal = {row.position: np.array(row.values) for row in rows if row.analyte == "Y"}
    kept = {
        row.position: [k for k in range(3) if (row.solution, k + 1) != struck] for row in rows if row.analyte == "Y"
    }
    standards = [row.position for row in rows if row.analyte == "Y" and row.solution in CONCENTRATION]
    reference = np.mean(np.concatenate([internal[p][kept[p]] for p in standards]))
    return {
        (row.position, row.analyte): (np.array(row.values) * reference / internal[row.position])[kept[row.position]]
        for row in rows
        if row.analyte != "Y"
    }


def slope_of(y: dict[tuple[int, str], np.ndarray], at: dict[str, int], analyte: str) -> float:
    x = [(CONCENTRATION[s], y[at[s], analyte]) for s in CONCENTRATION]
    return float(sum(c * v.sum() for c, v in x) / sum(c * c * v.size for c, v in x))


@pytest.mark.parametrize("struck", [0, 2])
def test_internal_standard_in_closed_form(tmp_path: Path, struck: int) -> None:
    """c = mean(ratio)/b. u² = s²/(p b²) + c² a² (1 + sum over standards of (x S/sum(x S))²) + scatter of the curve,
    a the relative uncertainty of the amount added, S the sum of a standard's ratios."""
    run = ""
    if struck:
        run = (
            f'\n[[exclude_reading]]\nsolution = "SED-02"\nanalyte = "Y"\nline = "371.029"\nreplicate = {struck}\n'
            'reason = "invented"\n'
        )
    evaluation = evaluated(tmp_path, corrections=INTERNAL, run=run)
    rows = readings(WITHOUT_CHECK)
    at = {row.solution: row.position for row in rows}
    y = ratios(rows, ("SED-02", struck))
    for analyte in ("Zn", "Cu"):
        result = result_of(evaluation, "SED-02", analyte)
        b = slope_of(y, at, analyte)
        own = y[at["SED-02"], analyte]
        c = own.mean() / b
        assert result.value == pytest.approx(c, rel=1e-12)
        weights = np.array([CONCENTRATION[s] * y[at[s], analyte].sum() for s in CONCENTRATION])
        added = rows_of(result, "internal standard")
        expected = math.sqrt((c * 0.005) ** 2 * (1 + np.sum((weights / weights.sum()) ** 2)))
        assert math.hypot(*(row.contribution for row in added)) == pytest.approx(expected, rel=1e-12)
        (reading,) = rows_of(result, "c.reading")
        assert reading.standard_uncertainty == pytest.approx(own.std(ddof=1) / math.sqrt(own.size), rel=1e-12)
        (slope,) = rows_of(result, "c.slope")
        residual = np.concatenate([y[at[s], analyte] - b * CONCENTRATION[s] for s in CONCENTRATION])
        squares = sum(CONCENTRATION[s] ** 2 * 3 for s in CONCENTRATION)
        u_b = math.sqrt(np.sum(residual**2) / (residual.size - 1) / squares)
        assert slope.standard_uncertainty == pytest.approx(u_b, rel=1e-12)


def test_the_amount_added_is_the_same_for_all_lines(tmp_path: Path) -> None:
    """u(Zn, Cu) of one solution = a² c_Zn c_Cu (1 + sum of products of the standards' shares)."""
    evaluation = evaluated(tmp_path, corrections=INTERNAL)
    rows = readings(WITHOUT_CHECK)
    at = {row.solution: row.position for row in rows}
    y = ratios(rows)
    shares = []
    for analyte in ("Zn", "Cu"):
        weights = np.array([CONCENTRATION[s] * y[at[s], analyte].sum() for s in CONCENTRATION])
        shares.append(weights / weights.sum())
    matrix = covariance_matrix(evaluation.propagated, evaluation.numbers)
    keys = [(key.sample, key.analyte) for key in evaluation.keys]
    i, j = keys.index(("SED-01", "Zn")), keys.index(("SED-01", "Cu"))
    c = [result_of(evaluation, "SED-01", analyte).value or 0.0 for analyte in ("Zn", "Cu")]
    assert matrix[i, j] == pytest.approx(0.005**2 * c[0] * c[1] * (1 + shares[0] @ shares[1]), rel=1e-12)
    other = keys.index(("SED-02", "Cu"))
    c[1] = result_of(evaluation, "SED-02", "Cu").value or 0.0
    assert matrix[i, other] == pytest.approx(0.005**2 * c[0] * c[1] * (shares[0] @ shares[1]), rel=1e-12)


def test_mixed_in_online_the_amount_cancels_and_says_why(tmp_path: Path) -> None:
    corrections = INTERNAL.replace('added = "0.5 %"', "online = true")
    result = result_of(evaluated(tmp_path, corrections=corrections), "SED-01", "Zn")
    (row,) = rows_of(result, "internal standard")
    assert (row.standard_uncertainty, row.contribution) == (0.0, 0.0)
    assert "cancels" in row.source


def test_recovery_is_flagged_outside_its_limits(tmp_path: Path) -> None:
    rows = readings(WITHOUT_CHECK)
    internal = {row.solution: row for row in rows if row.analyte == "Y"}
    reference = np.mean([internal[s].values for s in CONCENTRATION])
    recovery = {s: 100 * np.mean(internal[s].values) / reference for s in internal}
    low = math.floor(recovery["SED-02"]) + 1
    assert recovery["SED-02"] < low < min(recovery["SED-01"], recovery["SED-03"])
    evaluation = evaluated(tmp_path, corrections=INTERNAL.replace("[90, 110]", f"[{low}, 110]"))
    place = list(evaluation.graph.tables["measured lines"].texts("solution")).index("SED-02")
    assert evaluation.column("recovery", "measured lines")[place] == pytest.approx(recovery["SED-02"], rel=1e-12)
    for result in evaluation.results:
        flagged = "internal standard below its limits" in result.flags
        assert flagged == (result.sample == "SED-02")


def test_drift_in_closed_form(tmp_path: Path) -> None:
    """c = (I/D)/b with D = ((1 - f) m_k + f m_(k+1))/m_0. Relative sensitivity to a check m_j:
    -(dD/dm_j)/D of the sample + sum over standards of their shares x S/sum(x S) times (dD/dm_j)/D of the standard."""
    evaluation = evaluated(tmp_path, corrections=DRIFT)
    rows = readings(WHOLE_ORDER, internal=False)
    at = {row.solution: row.position for row in rows if row.solution != "CHK"}
    positions = [position for position, label in enumerate(WHOLE_ORDER, start=1) if label == "CHK"]
    for analyte in ("Zn", "Cu"):
        checks = [np.array(r.values) for r in rows if (r.solution, r.analyte) == ("CHK", analyte)]
        m = np.array([values.mean() for values in checks])
        s = math.sqrt(sum(np.sum((values - values.mean()) ** 2) for values in checks) / (2 * len(checks)))

        def drift(solution: str, m: np.ndarray = m) -> tuple[float, np.ndarray, int]:
            """D, its relative derivatives by the checks, and the bracket."""
            after = next(k for k, position in enumerate(positions) if position > at[solution])
            f = (at[solution] - positions[after - 1]) / (positions[after] - positions[after - 1])
            mixed = (1 - f) * m[after - 1] + f * m[after]
            by = np.zeros(m.size)
            by[after - 1] += (1 - f) / mixed
            by[after] += f / mixed
            by[0] -= 1 / m[0]
            return mixed / m[0], by, after

        y = {
            (r.position, r.analyte): np.array(r.values) / drift(r.solution)[0]
            for r in rows
            if r.analyte == analyte and r.solution != "CHK"
        }
        b = slope_of(y, at, analyte)
        weights = {x: CONCENTRATION[x] * y[at[x], analyte].sum() for x in CONCENTRATION}
        whole = sum(weights.values())
        for sample in ("SED-01", "SED-03"):
            result = result_of(evaluation, sample, analyte)
            c = y[at[sample], analyte].mean() / b
            assert result.value == pytest.approx(c, rel=1e-12)
            by = -drift(sample)[1] + sum(weights[x] / whole * drift(x)[1] for x in CONCENTRATION)
            found = rows_of(result, "drift check")
            expected = np.abs(c * by * s / math.sqrt(3))
            assert math.hypot(*(row.contribution for row in found)) == pytest.approx(math.hypot(*expected), rel=1e-12)
            assert {row.degrees_of_freedom for row in found} == {2.0 * len(checks)}
            # All standards lie in the first bracket, no sample does: two independent deviations of 0.3 %.
            residual = math.hypot(*(row.contribution for row in rows_of(result, "residual drift")))
            assert residual == pytest.approx(c * 0.003 * math.sqrt(2), rel=1e-12)


def test_internal_standard_comes_first_then_drift(tmp_path: Path) -> None:
    """I·IS_ref/IS for samples, standards and checks alike; D from the corrected checks."""
    evaluation = evaluated(tmp_path)
    rows = readings(WHOLE_ORDER)
    y = ratios(rows)
    at = {row.solution: row.position for row in rows if row.solution != "CHK"}
    positions = [position for position, label in enumerate(WHOLE_ORDER, start=1) if label == "CHK"]
    m = [y[position, "Zn"].mean() for position in positions]
    D = np.interp([at[s] for s in (*CONCENTRATION, "SED-01")], positions, np.array(m) / m[0])
    corrected = {(at[s], "Zn"): y[at[s], "Zn"] / d for s, d in zip((*CONCENTRATION, "SED-01"), D, strict=True)}
    expected = corrected[at["SED-01"], "Zn"].mean() / slope_of(corrected, at, "Zn")
    assert result_of(evaluation, "SED-01", "Zn").value == pytest.approx(expected, rel=1e-12)


def test_before_the_first_check_drift_is_that_of_the_first(tmp_path: Path) -> None:
    order = ("S0", "CHK", "S1", "S2", "S3", "BL-1", "BL-2", "SED-01", "SED-02", "SED-03", "CHK")
    evaluation = evaluated(tmp_path, corrections=DRIFT, text=text_of(readings(order, internal=False)))
    solutions = evaluation.graph.tables["signal corrections"].texts("solution")
    assert evaluation.column("D", "signal corrections")[solutions.index("S0")] == 1.0


def test_without_positions_the_file_says_the_order(tmp_path: Path) -> None:
    """Sorted by line, or by solution: the same order of reading, the same results."""
    with_positions = [result.value for result in evaluated(_in(tmp_path, "a")).results]
    rows = readings(WHOLE_ORDER)
    for name, ordered in (("b", rows), ("c", sorted(rows, key=lambda row: row.line))):
        evaluation = evaluated(_in(tmp_path, name), text=text_of(ordered, position=False))
        assert [result.value for result in evaluation.results] == with_positions


def _in(folder: Path, name: str) -> Path:
    (folder / name).mkdir()
    return folder / name


@pytest.mark.parametrize(
    ("kind", "applied", "stops"),
    [("procedural", True, False), ("reagent", True, True), ("device", True, True), ("reagent", False, False)],
)
def test_a_blank_is_not_applied_twice(tmp_path: Path, kind: str, applied: bool, stops: bool) -> None:
    method = METHOD.replace('quantity = "mean blank"', f'quantity = "mean blank"\nkind = "{kind}"')
    run = f'device_blank = "{"applied" if applied else "not applied"}"\n'
    records, findings = read_records(corrected_run(tmp_path, method=method, run=run, corrections=""))
    assert (records is None) == stops
    assert [finding.place for finding in findings if "applied twice" in finding.found] == (
        ["run, device_blank"] if stops else []
    )
