"""What widening an input quantity may do, on drawn equations (GUM 5.1.2, G.4.1)."""

from __future__ import annotations

import math
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.coverage_rules.single_method import evaluation_of, method_text, normal
from ubudget.evaluation.notebook import Budget, budget, input_quantity
from ubudget.pages.derivation import derivation

EQUATIONS = (
    lambda a, b, c: a + b - c,
    lambda a, b, c: a * b / c,
    lambda a, b, c: a * (b - c) + c**2,
    lambda a, b, c: (a - 3 * b) / (b + c),
)
estimates = st.floats(0.5, 20).map(lambda x: float(f"{x:.6g}"))
relative = st.sampled_from([0.0, 1e-4, 0.01, 0.05])
factors = st.floats(1.0, 4.0).map(lambda x: float(f"{x:.4g}"))
dofs = st.sampled_from([1.0, 2.0, 4.0, 11.0, None])


def made(equation: int, values: list[float], us: list[float], nus: list[float | None], k: float | None) -> Budget:
    quantities = [
        input_quantity(name, value, u=float(f"{value * u:.12g}"), dof=nu)
        for name, value, u, nu in zip("abc", values, us, nus, strict=True)
    ]
    return budget(EQUATIONS[equation](*quantities), k=k)


@settings(max_examples=20, deadline=None)
@given(
    st.sampled_from(range(len(EQUATIONS))),
    st.tuples(estimates, estimates, estimates).map(list),
    st.tuples(relative, relative, relative).map(list),
    st.tuples(dofs, dofs, dofs).map(list),
    st.integers(0, 2),
    factors,
)
def test_widening_an_uncorrelated_input(
    equation: int, values: list[float], us: list[float], nus: list[float | None], which: int, factor: float
) -> None:
    """u never falls, nor U at a fixed k; under the t rule U falls only where the effective degrees of freedom rise."""
    wider = [u * factor if number == which else u for number, u in enumerate(us)]
    for k in (2.0, None):
        before, after = (made(equation, values, each, nus, k) for each in (us, wider))
        slack = 1 + 1e-12
        assert after.standard_uncertainty * slack >= before.standard_uncertainty
        fell = after.expanded_uncertainty * slack < before.expanded_uncertainty
        nu_before, nu_after = (
            math.inf if found.effective_degrees_of_freedom is None else found.effective_degrees_of_freedom
            for found in (before, after)
        )
        assert not fell or (k is None and nu_after > nu_before)


@settings(max_examples=30, deadline=None)
@given(st.floats(1, 10).map(lambda x: float(f"{x:.15g}")), st.integers(-25, 25), st.sampled_from([1, 2]))
def test_an_expanded_uncertainty_is_never_rounded_to_zero(mantissa: float, decade: int, digits: int) -> None:
    """U to one or two significant digits, 5 % rule of EA-4/02 6.3: never zero, and never off by more than it allows."""
    found = budget(input_quantity("x", 3, u=float(f"{mantissa}e{decade}")), digits=digits)  # type: ignore[arg-type]
    reported, U = found.result.reported_expanded_uncertainty, found.expanded_uncertainty
    assert reported is not None and reported > 0
    assert reported / U > (0.95 - 1e-9 if digits == 2 else 0.95 * (1 - 1e-12)) and reported / U < 2


def test_explain_says_why_u_may_fall_and_only_where_it_may(tmp_path: Path) -> None:
    """Two degrees of freedom: t falls from 4.53 to 3.31 with the third (EA-4/02 Table E.1), u grows by 11 % for it.
    With 10.0 the next factor gains less than u must grow; 10.99 is cut to 10 and nearly there."""
    for dof, told in ((2, True), (10, False), (10.99, True)):
        text = method_text({"a": normal(1, f"dof = {dof}"), "b": normal(1e-6)}, coverage='rule = "t"')
        lines = " ".join(derivation(evaluation_of(text, tmp_path), 0))
        assert ("k follows ν_eff" in lines) == told, dof
