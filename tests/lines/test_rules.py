"""One value from two lines: every rule against the package uncertainties, on raw figures."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from uncertainties import nominal_value, std_dev

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees
from tests.lines.two_lines import FIRST, SAMPLES, SECOND, Zinc, two_line_run, unshared_variance
from tests.workbooks.books import Written, written
from ubudget.evaluation.evaluate import Result

SHARED, OWN = 'shared = ["d_L"]', 'own = ["d_L"]'
MEAN, WEIGHTED = 'rule = "mean of agreeing lines"', 'rule = "weighted mean of agreeing lines"'
# Fifteen per cent above what the first line gives: far beyond u(d).
APART = {("OUT-1", SECOND): "1830,1838,1826"}
# Beyond the reading of the highest standard, 5 mg/L.
ABOVE = "12015,12020,12004"


def zinc(example: Written, sample: str, line: str | None = None) -> Result:
    (found,) = [r for r in example.evaluation.results if (r.sample, r.analyte, r.line) == (sample, "Zn", line)]
    return found


@pytest.mark.parametrize("said", [SHARED, OWN])
def test_line_results_stay_and_agree_with_the_raw_figures(said: str, tmp_path: Path) -> None:
    place = two_line_run(tmp_path, f"{MEAN}\n{said}")
    example, model = written(place), Zinc(place, said == SHARED)
    for sample in SAMPLES:
        for line in (FIRST, SECOND):
            ours, theirs = zinc(example, sample, line), model.result(sample, line)
            assert ours.value == pytest.approx(nominal_value(theirs), rel=1e-10)
            assert ours.standard_uncertainty == pytest.approx(std_dev(theirs), rel=1e-8)


@pytest.mark.parametrize("said", [SHARED, OWN])
def test_mean_keeps_what_lines_share(said: str, tmp_path: Path) -> None:
    place = two_line_run(tmp_path, f"{MEAN}\n{said}")
    example, model = written(place), Zinc(place, said == SHARED)
    assert example.evaluation.findings == ()
    for sample in SAMPLES:
        a, b = model.both(sample)
        ours = zinc(example, sample)
        assert ours.value == pytest.approx(nominal_value((a + b) / 2), rel=1e-10)
        assert ours.standard_uncertainty == pytest.approx(std_dev((a + b) / 2), rel=1e-8)
        kept = math.sqrt(std_dev(a) ** 2 - unshared_variance(a))
        assert ours.standard_uncertainty is not None
        assert ours.standard_uncertainty > 0.999 * kept
        assert ours.flags == ()


@pytest.mark.parametrize("said", [SHARED, OWN])
def test_weights_are_those_of_the_unshared_variances(said: str, tmp_path: Path) -> None:
    place = two_line_run(tmp_path, f"{WEIGHTED}\n{said}")
    example, model = written(place), Zinc(place, said == SHARED)
    for sample in SAMPLES:
        a, b = model.both(sample)
        wa, wb = 1 / unshared_variance(a), 1 / unshared_variance(b)
        mean = (wa * a + wb * b) / (wa + wb)
        ours = zinc(example, sample)
        assert ours.value == pytest.approx(nominal_value(mean), rel=1e-9)
        assert ours.standard_uncertainty == pytest.approx(std_dev(mean), rel=1e-7)


def test_the_test_of_agreement_uses_the_correlated_uncertainties(tmp_path: Path) -> None:
    place = two_line_run(tmp_path, f"{MEAN}\n{SHARED}")
    example, model = written(place), Zinc(place, True)
    u, ratio = (
        example.evaluation.column(name, "line pairs") for name in ("u of the difference", "ratio of the difference")
    )
    names = example.evaluation.graph.tables["line pairs"].texts("sample name")
    assert names == SAMPLES
    for row, sample in enumerate(SAMPLES):
        a, b = model.both(sample)
        assert u[row] == pytest.approx(std_dev(a - b), rel=1e-8)
        assert ratio[row] == pytest.approx(abs(nominal_value(a - b)) / std_dev(a - b), rel=1e-6)
        assert u[row] < math.hypot(std_dev(a), std_dev(b))


def test_first_line_and_the_confirming_one(tmp_path: Path) -> None:
    example = written(two_line_run(tmp_path, 'rule = "first line"'))
    for sample in SAMPLES:
        whole, first = zinc(example, sample), zinc(example, sample, FIRST)
        assert whole.value == pytest.approx(first.value, rel=1e-12)
        assert whole.standard_uncertainty == pytest.approx(first.standard_uncertainty, rel=1e-12)


@pytest.mark.parametrize("rule", ['rule = "first line"', f"{MEAN}\n{SHARED}", f"{WEIGHTED}\n{SHARED}"])
def test_lines_that_disagree_are_told(rule: str, tmp_path: Path) -> None:
    example = written(two_line_run(tmp_path, rule, readings=APART))
    whole = zinc(example, "OUT-1")
    assert whole.flags == ("lines disagree, see their differences",)
    assert whole.value == pytest.approx(zinc(example, "OUT-1", FIRST).value, rel=1e-12)
    assert zinc(example, "OUT-2").flags == ()
    (finding,) = example.evaluation.findings
    assert finding.severity == "attend"
    assert f"OUT-1 Zn {FIRST} - {SECOND}" in finding.found
    derived = {(r.sample, r.analyte): r.flags for r in example.evaluation.results if r.lines}
    assert derived["outflow", "mean outflow Zn"] == whole.flags
    assert derived["outflow", "mean outflow Cu"] == ()


def test_lines_that_disagree_widen_the_uncertainty(tmp_path: Path) -> None:
    """|d|/(2 √3): the standard deviation of a rectangle as wide as the difference (GUM 4.3.7)."""
    place = two_line_run(tmp_path, f'{MEAN}\n{SHARED}\ndisagreement = "widened"', readings=APART)
    example, model = written(place), Zinc(place, True)
    a, b = model.both("OUT-1")
    whole = zinc(example, "OUT-1")
    d = abs(nominal_value(a - b))
    assert whole.standard_uncertainty == pytest.approx(math.hypot(std_dev(a), d / math.sqrt(12)), rel=1e-8)
    assert whole.flags == ()
    (told,) = [finding for finding in example.evaluation.findings if finding.place == "agreement of lines"]
    assert told.severity == "note"
    (row,) = [row for row in whole.budget if row.symbol == "d_lines"]
    assert row.standard_uncertainty == pytest.approx(d / math.sqrt(12), rel=1e-8)
    a, b = model.both("OUT-2")
    assert zinc(example, "OUT-2").standard_uncertainty == pytest.approx(std_dev((a + b) / 2), rel=1e-8)


def test_a_line_beyond_its_range_gives_way_to_the_next(tmp_path: Path) -> None:
    example = written(two_line_run(tmp_path, f"{MEAN}\n{SHARED}", readings={("OUT-3", FIRST): ABOVE}))
    assert zinc(example, "OUT-3", FIRST).flags == ("above the highest standard",)
    whole, second = zinc(example, "OUT-3"), zinc(example, "OUT-3", SECOND)
    assert (whole.value, whole.flags) == (pytest.approx(second.value, rel=1e-12), ())


def test_no_usable_line_gives_null_and_a_flag(tmp_path: Path) -> None:
    beyond = {("OUT-3", FIRST): ABOVE, ("OUT-3", SECOND): "7215,7230,7222"}
    example = written(two_line_run(tmp_path, f"{MEAN}\n{SHARED}", readings=beyond))
    whole = zinc(example, "OUT-3")
    assert whole.value is None
    assert whole.flags == ("no line within range and free of flags; this result is not available",)
    derived = {(r.sample, r.analyte): r.value for r in example.evaluation.results if r.lines}
    assert derived["outflow", "mean outflow Zn"] is None


def test_derived_results_take_the_reported_value(tmp_path: Path) -> None:
    place = two_line_run(tmp_path, f"{MEAN}\n{SHARED}")
    example, model = written(place), Zinc(place, True)
    means = [sum(model.both(sample)) / 2 for sample in ("OUT-1", "OUT-2", "OUT-3")]
    ratio = sum(model.both("RINSE-1")) / sum(model.both("RINSE-2"))
    results = {(r.sample, r.analyte): r for r in example.evaluation.results if r.lines}
    for key, theirs in (("outflow", "mean outflow Zn"), sum(means) / 3), (("inflow", "ratio of rinses Zn"), ratio):
        assert results[key].value == pytest.approx(nominal_value(theirs), rel=1e-9)
        assert results[key].standard_uncertainty == pytest.approx(std_dev(theirs), rel=1e-7)
    assert ("Zn", SECOND) in results["outflow", "mean outflow Zn"].lines


def test_three_lines_are_tested_against_the_first_usable_one(tmp_path: Path) -> None:
    """OUT-1: both others differ from the first; OUT-2: all agree; OUT-3: the first is beyond its range."""
    readings = {**APART, ("OUT-3", FIRST): ABOVE}
    place = two_line_run(tmp_path, f"{MEAN}\n{SHARED}", readings=readings)
    method = (place / "method.toml").read_text(encoding="utf-8").replace(f'"{SECOND}"]', f'"{SECOND}", "202.548"]')
    (place / "method.toml").write_text(method, encoding="utf-8", newline="\n")
    rows = (place / "readings.csv").read_text(encoding="utf-8").splitlines()
    for number, parts in enumerate([row.split(",") for row in rows if f"Zn,{SECOND}" in row]):
        moved = [1.3 * float(value) + (number * 7 + place * 5) % 11 - 5 for place, value in enumerate(parts[3:])]
        rows.append(",".join([parts[0], "Zn", "202.548", *(f"{value:.0f}" for value in moved)]))
    (place / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
    example = written(place)

    def values(sample: str) -> list[float]:
        return [zinc(example, sample, line).value or math.nan for line in (FIRST, SECOND, "202.548")]

    assert zinc(example, "OUT-1").value == pytest.approx(values("OUT-1")[0], rel=1e-12)
    assert zinc(example, "OUT-2").value == pytest.approx(sum(values("OUT-2")) / 3, rel=1e-12)
    assert zinc(example, "OUT-3").value == pytest.approx(sum(values("OUT-3")[1:]) / 2, rel=1e-12)
    assert [zinc(example, sample).flags != () for sample in ("OUT-1", "OUT-2", "OUT-3")] == [True, False, False]
    assert_walk_agrees(example.evaluation, Walk(example.evaluation))
