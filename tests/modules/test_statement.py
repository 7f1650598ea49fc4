"""The client's wording."""

from __future__ import annotations

from dataclasses import replace

import pytest

import ubudget
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.files.exchange import statements_object
from ubudget.files.shipped import shipped_folder
from ubudget.pages.statement import amount, statement, statement_lines

EXAMPLES = shipped_folder("worked_examples")


@pytest.fixture(scope="module")
def gum() -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(EXAMPLES / "published" / "gum_h1.toml"))


@pytest.fixture(scope="module")
def weight() -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(EXAMPLES / "published" / "ea402_s2.toml"))


@pytest.fixture(scope="module")
def sediment() -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(EXAMPLES / "harbour_sediment"))


def test_the_end_gauge_names_all_that_gum_7_2_4_asks_for(gum: Evaluation) -> None:
    # JCGM 100:2008, 7.2.4: the number after ±, k, the distribution, the degrees of freedom, the level of confidence.
    # H.1.7: k = t99(16) = 2.92; l = 50.000838 mm.
    text = statement(gum.results[0], gum.records.method)
    for part in ("50000838 ± ", " nm", "expanded uncertainty U = k u", "k = 2.92", "16 effective", "99 %"):
        assert part in text, part


def test_the_weight_of_ea_4_02(weight: Evaluation) -> None:
    # EA-4/02 M, S2.11, from memory: 10.000 025 kg ± 59 mg, k = 2.
    text = statement(weight.results[0], weight.records.method)
    assert "(10000.025 ± 0.059) g" in text
    assert "k = 2;" in text


def test_what_is_left_out_is_said(sediment: Evaluation) -> None:
    text = statement(sediment.results[0], sediment.records.method)
    assert "does not include: sampling" in text
    assert "dry mass" in text
    assert text.index("precision") < text.index("weighing"), "the largest part comes first"


def test_a_result_that_is_not_available_says_why(sediment: Evaluation) -> None:
    missing = replace(sediment.results[0], value=None, reported_value=None, flags=("no reading left",))
    text = statement(missing, sediment.records.method)
    assert text.endswith("not available: no reading left.")
    assert "±" not in text


def reported(result: Result, value: float, u: float, decimals: int) -> str:
    return amount(replace(result, reported_value=value, reported_expanded_uncertainty=u, decimals=decimals))


@pytest.mark.parametrize(
    ("value", "u", "decimals", "text"),
    [
        (12.3, 0.4, 2, "(12.30 ± 0.40) mg/kg"),
        (1310.0, 120.0, -1, "(1310 ± 120) mg/kg"),
        (-0.0, 0.12, 2, "(0.00 ± 0.12) mg/kg"),
        (-3.1, 2.2, 1, "(-3.1 ± 2.2) mg/kg"),
    ],
)
def test_value_and_uncertainty_stand_to_the_same_place(
    sediment: Evaluation, value: float, u: float, decimals: int, text: str
) -> None:
    # GUM 7.2.6; ILAC P14:09/2020 5.4 c: trailing zeros belong to the figure.
    assert reported(sediment.results[0], value, u, decimals) == text


def test_a_pure_number_has_no_unit(sediment: Evaluation) -> None:
    assert amount(replace(sediment.results[0], unit="1")).count("1 ") == 0


def test_flags_are_part_of_the_statement(sediment: Evaluation) -> None:
    flagged = replace(sediment.results[0], flags=("above the highest standard",))
    assert "above the highest standard" in statement(flagged, sediment.records.method)


def test_lines_are_no_wider_than_asked(sediment: Evaluation) -> None:
    for width in (40, 80):
        assert max(len(line) for line in statement_lines(sediment, width)) <= width


def test_reference_materials_stand_apart_and_lines_are_told(sediment: Evaluation) -> None:
    # ISO/IEC 17025:2017, 7.8.1.2: results are reported unambiguously; quality control (7.7) is no result of a client.
    text = "\n".join(statement_lines(sediment))
    clients, _, controls = text.partition("Reference materials: quality control")
    assert "SED-01, Cu 324.754" in clients and "RM-SED" not in clients
    assert "RM-SED, Pb 220.353" in controls and "SED-05" not in controls
    assert "More than one line was measured for Cu:" in " ".join(controls.split())


def test_each_statement_says_what_it_is(sediment: Evaluation) -> None:
    told = {(entry["sample"], entry["line"]): entry for entry in statements_object(sediment)}
    control, copper, lead = told["RM-SED", "220.353"], told["SED-01", "327.396"], told["SED-01", "220.353"]
    assert control["reference_material"] == "RM-SED" and "no client's sample" in control["statement"]
    assert copper["reference_material"] is None and copper["lines_measured"] == ["324.754", "327.396"]
    assert "lines 324.754, 327.396" in copper["statement"]
    assert lead["lines_measured"] == ["220.353"] and "lines" not in lead["statement"]
