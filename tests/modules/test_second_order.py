"""Terms of second order against published examples and derivatives taken by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.workbooks.books import EXAMPLES, HARBOUR, written
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.notebook import budget, exp, input_quantity
from ubudget.evaluation.second_order import _turns, largest_terms, may_be_material
from ubudget.evaluation.shifted import shifts_of
from ubudget.files.exchange import evaluation_object
from ubudget.pages.derivation import derivation

GUM_H1 = EXAMPLES / "published" / "gum_h1.toml"


def test_end_gauge() -> None:
    """JCGM 100:2008, H.1.7: terms of 11.7 nm and 1.7 nm, u 34 nm in place of 32 nm; NIST TN 1297 (1994), Table D.1
    parts the first into 5.8 nm and 10.2 nm."""
    evaluation = written(GUM_H1).evaluation
    added = evaluation.second_order
    assert f"{evaluation.results[0].standard_uncertainty:.0f}" == "32"
    assert f"{added.standard_uncertainty[0]:.0f}" == "34"
    terms = [math.sqrt(term.variance) for term in largest_terms(evaluation.propagated, evaluation.numbers, 0)]
    assert [f"{term:.1f}" for term in terms] == ["10.2", "5.8", "1.7"]
    assert f"{math.hypot(terms[0], terms[1]):.1f}" == "11.7"


@pytest.mark.parametrize(("x1", "first", "second"), [(0.0, 0, 50), (0.010, 100, 112), (0.050, 500, 502)])
def test_comparison_loss(x1: float, first: float, second: float) -> None:
    """JCGM 101:2008, 9.4.2, uncorrelated inputs (from memory): u of first order and with terms of second order, in
    1E-6; the latter is the exact standard deviation."""
    found = budget(sum_of_squares(x1))
    assert round(found.standard_uncertainty * 1e6) == first
    assert round(found.second_order_standard_uncertainty * 1e6) == second


def sum_of_squares(x1: float):  # type: ignore[no-untyped-def]  # an expression
    one, other = input_quantity("X1", x1, u=0.005), input_quantity("X2", 0, u=0.005)
    return one**2 + other**2


def test_mass_in_air() -> None:
    """JCGM 101:2008, 9.3 (from memory): 0.0539 mg of first order, 0.0750 mg with terms of second order."""
    reference = input_quantity("m_Rc", 100000, "mg", u=0.050)
    added = input_quantity("dm_Rc", 1.234, "mg", u=0.020)
    air = input_quantity("rho_a", 1.20, "kg/m^3", half_width=0.10, distribution="rectangular")
    under_test = input_quantity("rho_W", 8000, "kg/m^3", half_width=1000, distribution="rectangular")
    standard = input_quantity("rho_R", 8000, "kg/m^3", half_width=50, distribution="rectangular")
    usual = input_quantity("rho_a0", 1.2, "kg/m^3")
    nominal = input_quantity("m_nom", 100000, "mg")
    found = budget((reference + added) * (1 + (air - usual) * (1 / under_test - 1 / standard)) - nominal, "mg")
    assert f"{found.standard_uncertainty:.4f}" == "0.0539"
    assert f"{found.second_order_standard_uncertainty:.4f}" == "0.0750"


@pytest.mark.parametrize("x", [0.0, 0.1, 0.5, 1.0, 3.0, 10.0])
def test_square_of_a_normal_quantity(x: float) -> None:
    """Moments of a normal variable: the standard deviation of X² is exactly sqrt(4 x² u² + 2 u⁴)."""
    found = budget(input_quantity("X", x, u=1) ** 2)
    assert found.second_order_standard_uncertainty == pytest.approx(math.sqrt(4 * x**2 + 2), rel=1e-9)


def test_derivatives_taken_by_hand() -> None:
    """a/b and exp(x), every derivative of the note of GUM 5.1.2 written out."""
    a, b, u_a, u_b = 3.0, 2.0, 0.4, 0.1
    square = (u_a / b) ** 2 + (a * u_b / b**2) ** 2
    square += (u_a * u_b / b**2) ** 2  # (∂²f/∂a∂b)²/2, both orders
    square += (1 / b) * (2 / b**3) * u_a**2 * u_b**2  # ∂f/∂a ∂³f/∂a∂b²
    square += ((2 * a / b**3) ** 2 / 2 + (a / b**2) * (6 * a / b**4)) * u_b**4
    found = budget(input_quantity("a", a, u=u_a) / input_quantity("b", b, u=u_b))
    assert found.second_order_standard_uncertainty == pytest.approx(math.sqrt(square), rel=1e-4)
    x, u = 0.7, 0.2
    growth = budget(exp(input_quantity("x", x, u=u)))
    expected = math.exp(x) * math.sqrt(u**2 + 1.5 * u**4)
    assert growth.second_order_standard_uncertainty == pytest.approx(expected, rel=1e-4)


def test_a_linear_equation_has_no_terms() -> None:
    found = budget(input_quantity("x", 1e9, u=1) * 3 - input_quantity("y", 1, u=0.1))
    assert found.second_order_standard_uncertainty == found.standard_uncertainty


@pytest.mark.parametrize("example", ["gearbox_oil", "rinse_water", "harbour_sediment"])
def test_no_result_has_two_quantities_of_one_turn(example: str) -> None:
    evaluation = written(EXAMPLES / example).evaluation
    turn_of, turns = _turns(evaluation.propagated)
    members = np.array([slot.members for slot in evaluation.slots])
    for result in members.T:
        taken = turn_of[result[result >= 0]]
        assert (taken >= 0).all() and len(set(taken.tolist())) == taken.size
    assert turns < 1.2 * len(evaluation.slots)


def test_curvature_of_values_and_of_sensitivities_agree() -> None:
    """∂²f/∂xi² u²(xi) by second differences of the value itself, through calibration and blank, beside the shift of the
    mean that comes from the sensitivity coefficients."""
    evaluation = written(HARBOUR).evaluation
    row, step = 5, 0.25
    members = [int(slot.members[row]) for slot in evaluation.slots if slot.rows[row] >= 0]
    moves = np.concatenate([np.eye(len(members)), -np.eye(len(members))]) * step
    lookup = {member: number for number, member in enumerate(members)}

    def steps(leaves: np.ndarray) -> np.ndarray:
        place = np.array([lookup.get(member, -1) for member in leaves.tolist()])
        return np.where(place >= 0, moves[:, place], 0.0)

    moved = shifts_of(evaluation.propagated.graph, evaluation.numbers).moved(steps)
    value = evaluation.assembly.value
    up, down = np.split(moved.column("results", value)[:, row], 2)
    shift = ((up + down - 2 * evaluation.column(value)[row]) / step**2).sum() / 2
    assert evaluation.second_order.shift[row] == pytest.approx(shift, rel=2e-3)


def test_material_terms_are_told_and_immaterial_ones_are_not() -> None:
    found = [finding.line() for finding in written(GUM_H1).evaluation.findings]
    assert len(found) == 1 and "second order" in found[0] and "33.8" in found[0]
    assert not written(HARBOUR).evaluation.findings


@pytest.mark.parametrize(("path", "words"), [(GUM_H1, "u is stated too small"), (HARBOUR, "first order is enough")])
def test_always_in_derivation_and_exchange(path: Path, words: str) -> None:
    evaluation: Evaluation = written(path).evaluation
    assert words in " ".join(line.strip() for line in derivation(evaluation, 0))
    number = evaluation_object(evaluation)["results"][0]["second_order_standard_uncertainty"]
    assert number == evaluation.second_order.standard_uncertainty[0]


def test_the_judgement_beforehand_lets_material_terms_through() -> None:
    """Products of drawn quantities: what is material by all moves is so by the few that are tried first."""
    rng = np.random.default_rng(5)
    material = 0
    for _ in range(40):
        a, b, c, d = (
            input_quantity(name, float(f"{rng.uniform(0.5, 5):.5g}"), u=float(f"{10 ** rng.uniform(-2, 0):.3g}"))
            for name in "abcd"
        )
        found = budget(a * (b - c) / d).evaluation
        added = found.second_order
        judged = may_be_material(found.propagated, found.numbers, added.first_order, added.digits)
        assert judged or not added.material[0]
        material += int(added.material[0])
    assert material > 10
