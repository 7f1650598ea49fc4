"""Two published series against the digits that their sources print, and against figures worked out from their data.

The files in `data` name their sources: a course sheet with the form 1 + 1/n under the root, recomputed in the usual
form too, and Harvey, Analytical Chemistry 2.1, Solutions Manual, chapter 5, problem 9, with the volume correction.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from tests.calibration_additions.addition_runs import aluminium, volume_change
from tests.commands.running import run
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records
from ubudget.pages.derivation import derivation

DATA = Path(__file__).parent / "data"
TWO = tomllib.loads((DATA / "two_conventions.toml").read_text(encoding="utf-8"))
CHANGE = tomllib.loads((DATA / "volume_change.toml").read_text(encoding="utf-8"))
USUAL, ANEW = "line", "line and one reading"
PER_ML = 25 / 300
"""The course sheet's abscissa is the volume of the standard: 300 mg/L in 25 mL."""
V0 = 5.0
"""Harvey's ordinate is the reading times volume, his abscissa the amount added."""


def evaluated(folder: Path) -> Evaluation:
    records, findings = read_records(folder)
    assert records is not None and findings == [], findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None and findings == [], findings
    return evaluation


def of_line(column: str, times: float = 1.0) -> Callable[[Evaluation], float]:
    return lambda evaluation: float(evaluation.column(column, "addition lines")[0]) * times


def of_result(attribute: str, times: float = 1.0) -> Callable[[Evaluation], float]:
    return lambda evaluation: float(getattr(evaluation.results[0], attribute)) * times


# Quantity of the source → (variance convention in which it holds, how the evaluation gives it).
ALUMINIUM = {
    "intercept": (USUAL, of_line("intercept")),
    "slope": (USUAL, of_line("slope", 1 / PER_ML)),
    "s_res": (USUAL, of_line("s")),
    "V_prime": (USUAL, of_line("c", PER_ML)),
    "C_a": (USUAL, of_line("c")),
    "mass_analyte": (USUAL, of_line("c", 100)),
    "content": (USUAL, of_result("value")),
    "s_V_prime (with extra 1 under the root)": (ANEW, of_line("s(c)", PER_ML)),
    "s_V_prime (usual form)": (USUAL, of_line("s(c)", PER_ML)),
    "se_C_a (extra 1)": (ANEW, of_line("s(c)")),
    "se_content (extra 1)": (ANEW, of_result("standard_uncertainty")),
    "t(0.975, 2)": (ANEW, of_result("coverage_factor")),
    "ci95_half_content (extra 1)": (ANEW, of_result("expanded_uncertainty")),
    "ci95_half_content (usual form)": (USUAL, of_result("expanded_uncertainty")),
}
HARVEY = {
    "intercept": of_line("intercept", V0),
    "slope": of_line("slope"),
    "s_r": of_line("s", V0),
    "x_intercept_abs": of_line("c", V0),
    "C_A": of_result("value"),
    "s_C_A": of_result("standard_uncertainty"),
    "ci95_half_C_A": of_result("expanded_uncertainty"),
}


def check(figure: float, source: dict[str, Any]) -> None:
    """Half a unit of the last printed digit, and the recomputation to the twelve digits it is written with."""
    if "printed" in source:
        shown = Decimal(source["printed"])
        exponent = shown.as_tuple().exponent
        assert isinstance(exponent, int)
        # An end such as 0.0097125 has no exact binary form.
        assert abs(Decimal(figure) - shown) <= Decimal(5).scaleb(exponent - 1) + abs(shown) * Decimal("1e-12")
    assert figure == pytest.approx(source["recomputed"], rel=1e-10)


@pytest.mark.parametrize("by_volume", [True, False], ids=["by volume", "by concentration"])
@pytest.mark.parametrize("source", TWO["result"], ids=lambda source: source["quantity"])
def test_constant_volume(source: dict[str, Any], by_volume: bool, tmp_path: Path) -> None:
    variance, figure = ALUMINIUM[source["quantity"]]
    check(figure(evaluated(aluminium(tmp_path, TWO["data"], variance, by_volume=by_volume))), source)


@pytest.mark.parametrize("source", CHANGE["result"], ids=lambda source: source["quantity"])
def test_volume_change(source: dict[str, Any], tmp_path: Path) -> None:
    check(HARVEY[source["quantity"]](evaluated(volume_change(tmp_path, CHANGE["data"]))), source)


def exchanged(folder: Path) -> dict[str, Any]:
    """The one result that `evaluate --json -` gives."""
    done = run("evaluate", folder, "--json", "-", folder=folder)
    assert (done.status, done.err) == (0, "")
    (result,) = json.loads(done.out)["results"]
    return dict(result)


def test_the_same_figures_by_the_command(tmp_path: Path) -> None:
    """Value, u, k and U of both sources as another program reads them."""
    figures = {source["quantity"]: source for source in TWO["result"]}
    anew = exchanged(aluminium(tmp_path, TWO["data"], ANEW))
    check(anew["value"], figures["content"])
    check(anew["standard_uncertainty"], figures["se_content (extra 1)"])
    check(anew["coverage_factor"], figures["t(0.975, 2)"])
    check(anew["expanded_uncertainty"], figures["ci95_half_content (extra 1)"])
    assert anew["effective_degrees_of_freedom"] == pytest.approx(2, rel=1e-12)
    usual = exchanged(aluminium(tmp_path, TWO["data"], USUAL))
    check(usual["expanded_uncertainty"], figures["ci95_half_content (usual form)"])
    figures = {source["quantity"]: source for source in CHANGE["result"]}
    change = exchanged(volume_change(tmp_path, CHANGE["data"]))
    check(change["value"], figures["C_A"])
    check(change["standard_uncertainty"], figures["s_C_A"])
    check(change["expanded_uncertainty"], figures["ci95_half_C_A"])


@pytest.mark.parametrize("variance, words", [(USUAL, "(1/n +"), (ANEW, "(1 + 1/n +")])
def test_the_derivation_says_which_form(variance: str, words: str, tmp_path: Path) -> None:
    evaluation = evaluated(aluminium(tmp_path, TWO["data"], variance))
    told = " ".join(" ".join(derivation(evaluation, 0)).replace("·", "·").split()).replace(" · ", "·")
    assert words in told
    assert ("new single reading" in told) == (variance == ANEW)


def test_the_shares_of_the_two_conventions(tmp_path: Path) -> None:
    """The extra 1 is one budget row; its contribution is s/b, from the source's s and slope."""
    evaluation = evaluated(aluminium(tmp_path, TWO["data"], ANEW))
    rows = {row.symbol: row for row in evaluation.results[0].budget}
    figures = {source["quantity"]: source["recomputed"] for source in TWO["result"]}
    per_ppm = 100 / 3.12
    assert rows["c.reading"].contribution == pytest.approx(
        figures["s_res"] / (figures["slope"] * PER_ML) * per_ppm, rel=1e-9
    )
    assert rows.keys() == {"c.centroid", "c.reading", "c.slope"}
    usual = evaluated(aluminium(tmp_path, TWO["data"], USUAL))
    assert {row.symbol for row in usual.results[0].budget} == {"c.centroid", "c.slope"}
