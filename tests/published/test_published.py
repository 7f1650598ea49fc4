"""Published examples against the digits their sources print.

Each file in `worked_examples/published/expected` names its source (title, edition, section), how the figures were
obtained, the worked example they belong to, the printed figures as text, and, where the source rounds on the way,
figures worked out outside the program. `ubudget validate` reads the same files.
"""

import math
import tomllib
from decimal import Decimal
from typing import Any

import pytest

from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.files.shipped import shipped_folder

DATA = shipped_folder("worked_examples") / "published" / "expected"
CASES = sorted(file.stem for file in DATA.glob("*.toml"))


def within_printed(value: float, printed: str) -> bool:
    """`value` lies within half a unit of the last printed digit, ends included."""
    shown = Decimal(printed)
    exponent = shown.as_tuple().exponent
    assert isinstance(exponent, int)
    half = Decimal(5).scaleb(exponent - 1)
    # An end such as 16.65 has no exact binary form: give way by what a float cannot show.
    slack = abs(shown) * Decimal("1e-12")
    return abs(Decimal(value) - shown) <= half + slack


@pytest.fixture(scope="module", params=CASES)
def case(request: pytest.FixtureRequest) -> tuple[dict[str, Any], Any]:
    """The source's figures and the one result of the worked example."""
    figures = tomllib.loads((DATA / f"{request.param}.toml").read_text(encoding="utf-8"))
    records, findings = read_records(shipped_folder("worked_examples") / "published" / figures["example"])
    assert records is not None and not findings, findings
    evaluation, _ = evaluate(records)
    assert evaluation is not None
    (result,) = evaluation.results
    return figures, result


def figure_of(result: Any, name: str) -> float:
    """A figure of the result by its name in the data; two are made from others."""
    if name == "relative_standard_uncertainty":
        return float(result.standard_uncertainty / abs(result.value))
    if name == "combined_variance":
        return float(result.standard_uncertainty**2)
    return float(getattr(result, name))


def rows_by_symbol(result: Any) -> dict[str, Any]:
    return {row.symbol: row for row in result.budget}


def test_every_example_has_its_printed_figures() -> None:
    folder = shipped_folder("worked_examples") / "published"
    methods = {file.stem for file in folder.glob("*.toml")}
    runs = {file.parent.name for file in folder.glob("*/run.toml")}
    assert methods | runs == set(CASES)


def test_result_shows_the_printed_digits(case: tuple[dict[str, Any], Any]) -> None:
    figures, result = case
    for name, printed in figures["printed"].items():
        figure = figure_of(result, name)
        assert within_printed(figure, printed), f"{name}: {figure} for {printed}"


def test_result_equals_the_unrounded_recomputation(case: tuple[dict[str, Any], Any]) -> None:
    """Sums of squares written out by hand from the printed inputs (GUM 5.1.2, G.4.1)."""
    figures, result = case
    for name, expected in figures.get("recomputed", {}).items():
        assert figure_of(result, name) == pytest.approx(expected, rel=1e-9), name


def test_contributions_show_the_printed_digits(case: tuple[dict[str, Any], Any]) -> None:
    figures, result = case
    rows = rows_by_symbol(result)
    for symbol, printed in figures.get("contributions", {}).items():
        assert within_printed(abs(rows[symbol].contribution), printed), rows[symbol]


def test_standard_uncertainties_of_inputs_show_the_printed_digits(case: tuple[dict[str, Any], Any]) -> None:
    figures, result = case
    rows = rows_by_symbol(result)
    for symbol, printed in figures.get("standard_uncertainties", {}).items():
        assert within_printed(rows[symbol].standard_uncertainty, printed), rows[symbol]


def test_degrees_of_freedom_of_inputs_are_the_printed_ones(case: tuple[dict[str, Any], Any]) -> None:
    figures, result = case
    rows = rows_by_symbol(result)
    for symbol, printed in figures.get("degrees_of_freedom", {}).items():
        assert rows[symbol].degrees_of_freedom == pytest.approx(printed, rel=1e-12), symbol


def test_the_line_of_gum_h3_shows_the_printed_digits() -> None:
    """Intercept and slope are kept about the centroid; at the source's origin they have the printed u and r."""
    figures = tomllib.loads((DATA / "gum_h3.toml").read_text(encoding="utf-8"))["columns"]["lines"]
    records, _ = read_records(shipped_folder("worked_examples") / "published" / "gum_h3.toml")
    assert records is not None
    evaluation, _ = evaluate(records)
    assert evaluation is not None
    for column, printed in figures.items():
        (number,) = evaluation.column(column, "lines")
        assert within_printed(number, printed), column


def test_the_check_itself_tells_digits_apart() -> None:
    assert within_printed(0.8637, "0.9")
    assert not within_printed(0.8352, "0.9")
    assert within_printed(16.65, "16.7") and within_printed(16.75, "16.7")
    assert not within_printed(math.nextafter(16.75, 17) + 1e-9, "16.7")
    assert within_printed(5.8e-7, "0.58e-6") and not within_printed(5.9e-7, "0.58e-6")
