"""The law of propagation by central differences (GUM 5.1.2, 5.2.2), effective degrees of freedom (G.4.1), k and U.

Everything is calculated in the coherent SI units of the exported scales, in decimals of sixty digits, and given in the
unit of the result. It shares no line with the graph, the operation table or the units of the program."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal, localcontext
from typing import Any

from ubudget.independent.equation import value_of
from ubudget.independent.formula import molar_mass
from ubudget.independent.quantiles import factor
from ubudget.independent.stated import Deviation, deviation_of, estimate_of, line_through, number

DIGITS = 60
STEP = Decimal("1e-15")
"""Of a quantity's size: the differences lose fifteen of sixty digits, and are wrong by the square of it."""
SAFE_TRUNCATION = Decimal("1e-6")


@dataclass
class _Budget:
    """Input quantities in SI units, and which of them rest on one estimate of variance or are correlated."""

    estimates: dict[str, Decimal] = field(default_factory=dict)
    deviations: dict[str, list[Deviation]] = field(default_factory=dict)
    covariances: dict[tuple[str, str], Decimal] = field(default_factory=dict)
    exact: dict[str, Decimal] = field(default_factory=dict)
    equations: dict[str, str] = field(default_factory=dict)

    def u(self, symbol: str) -> Decimal:
        return sum((each.u**2 for each in self.deviations[symbol]), Decimal(0)).sqrt()


def recalculated(exported: Mapping[str, Any]) -> dict[str, float | None]:
    """`value`, `standard_uncertainty`, `effective_degrees_of_freedom` (None: infinite), `coverage_factor` and
    `expanded_uncertainty` of an exported single budget, and `c(SYMBOL)` for each sensitivity coefficient.

    Raises `ValueError`, `KeyError` or `ArithmeticError` where the export is not such a budget."""
    with localcontext(prec=DIGITS):
        budget = _read(exported)
        scale = _scale(exported)
        equation = str(exported["equation"]).partition("=")[2]
        coefficients = {symbol: _sensitivity(budget, equation, symbol) for symbol in budget.estimates}
        variance = sum(((coefficients[s] * budget.u(s)) ** 2 for s in coefficients), Decimal(0))
        variance += sum((_covariance(budget, coefficients, pair) for pair in budget.covariances), Decimal(0))
        u = max(variance, Decimal(0)).sqrt()
        dof = _effective_dof(budget, coefficients, u)
        k = _k(exported["coverage"], dof, u, _even(budget, coefficients))
        figures: dict[str, float | None] = {
            "value": float(_value(budget, equation, {}) / scale),
            "standard_uncertainty": float(u / scale),
            "effective_degrees_of_freedom": None if dof is None else float(dof),
            "coverage_factor": k,
            "expanded_uncertainty": float(number(repr(k)) * u / scale),
        }
        for symbol, c in coefficients.items():
            figures[f"c({symbol})"] = float(c * _scale(exported["quantities"][symbol]) / scale)
    return figures


def _scale(entry: Mapping[str, Any]) -> Decimal:
    """Size of the unit in coherent SI units, exported as numerator and denominator."""
    above, below = entry.get("scale", (1, 1))
    return Decimal(above) / Decimal(below)


def _read(exported: Mapping[str, Any]) -> _Budget:
    budget = _Budget()
    lines: dict[str, dict[str, str]] = {}
    for symbol, entry in exported["quantities"].items():
        kind, scale = entry["kind"], _scale(entry)
        if kind == "equation":
            budget.equations[symbol] = entry["equation"]
        elif kind == "constant":
            budget.exact[symbol] = number(entry["value"]) * scale
        elif kind == "line parameter":
            lines.setdefault(entry["data"], {})[entry["parameter"]] = symbol
            _read_parameter(budget, symbol, entry, exported["data"][entry["data"]], scale)
        elif kind == "input":
            budget.estimates[symbol] = estimate_of(entry) * scale
            parts = entry["components"] or [entry]
            found = [deviation_of(part) for part in parts]
            budget.deviations[symbol] = [replace(each, u=each.u * scale) for each in found]
        elif kind == "molar mass":
            mass, found = molar_mass(entry["formula"], entry["elements"])
            budget.estimates[symbol] = mass * scale
            budget.deviations[symbol] = [replace(each, u=each.u * scale) for each in found]
        else:
            raise ValueError(f"{symbol}: {kind} is no input quantity")
    for name, both in lines.items():
        if len(both) == 2:
            data = exported["data"][name]
            covariance = line_through(data["x"], data["y"], data["origin"]).covariance
            scales = [_scale(exported["quantities"][symbol]) for symbol in both.values()]
            budget.covariances[both["intercept"], both["slope"]] = covariance * scales[0] * scales[1]
    for correlation in exported["correlations"]:
        first, second = correlation["between"]
        covariance = number(correlation["coefficient"]) * budget.u(first) * budget.u(second)
        budget.covariances[first, second] = covariance
    return budget


def _read_parameter(
    budget: _Budget, symbol: str, entry: Mapping[str, Any], data: Mapping[str, Any], scale: Decimal
) -> None:
    line = line_through(data["x"], data["y"], data["origin"])
    slope = entry["parameter"] == "slope"
    budget.estimates[symbol] = (line.slope if slope else line.intercept) * scale
    budget.deviations[symbol] = [Deviation((line.u_slope if slope else line.u_intercept) * scale, line.dof)]


def _value(budget: _Budget, equation: str, changed: Mapping[str, Decimal]) -> Decimal:
    known = {**budget.exact, **budget.estimates, **changed}
    waiting = dict(budget.equations)
    while waiting:
        before = len(waiting)
        for symbol, text in list(waiting.items()):
            try:
                known[symbol] = value_of(text, known)
            except ValueError:
                continue
            del waiting[symbol]
        if len(waiting) == before:
            raise ValueError(f"equations that do not resolve: {', '.join(waiting)}")
    return value_of(equation, known)


def _sensitivity(budget: _Budget, equation: str, symbol: str) -> Decimal:
    at = budget.estimates[symbol]
    step = STEP * max(abs(at), budget.u(symbol), Decimal("1e-30"))
    above = _value(budget, equation, {symbol: at + step})
    return (above - _value(budget, equation, {symbol: at - step})) / (2 * step)


def _covariance(budget: _Budget, coefficients: Mapping[str, Decimal], pair: tuple[str, str]) -> Decimal:
    return 2 * coefficients[pair[0]] * coefficients[pair[1]] * budget.covariances[pair]


def _effective_dof(budget: _Budget, coefficients: Mapping[str, Decimal], u: Decimal) -> Decimal | None:
    """Correlated quantities form one group with the smallest of their degrees of freedom."""
    groups: list[set[str]] = [{symbol} for symbol in coefficients]
    for pair in budget.covariances:
        joined = [group for group in groups if group & set(pair)]
        groups = [group for group in groups if group not in joined] + [set().union(*joined)]
    terms = Decimal(0)
    for group in groups:
        if len(group) == 1:
            (symbol,) = group
            for each in budget.deviations[symbol]:
                if each.dof is not None:
                    terms += (coefficients[symbol] * each.u) ** 4 / each.dof
            continue
        dofs = [each.dof for symbol in group for each in budget.deviations[symbol] if each.dof is not None]
        if dofs:
            variance = sum(((coefficients[s] * budget.u(s)) ** 2 for s in group), Decimal(0))
            pairs = [pair for pair in budget.covariances if pair[0] in group]
            variance += sum((_covariance(budget, coefficients, pair) for pair in pairs), Decimal(0))
            terms += variance**2 / min(dofs)
    return u**4 / terms if terms and u else None


def _even(budget: _Budget, coefficients: Mapping[str, Decimal]) -> list[Decimal]:
    """Contributions of exactly known limits to which no covariance is declared, the largest first."""
    correlated = {symbol for pair in budget.covariances for symbol in pair}
    found = (
        abs(coefficients[symbol] * each.u)
        for symbol in budget.estimates
        if symbol not in correlated
        for each in budget.deviations[symbol]
        if each.even and each.dof is None
    )
    return sorted(found, reverse=True)


def _k_of_limits(p: float, u: Decimal, even: Sequence[Decimal]) -> float | None:
    """k where one or two contributions of limits dominate: all others at most 0.3 of them (EA-4/02 S9.14, S10.13)."""
    for number_of_terms in (1, 2):
        terms = [*even[:number_of_terms]]
        pair = sum((term**2 for term in terms), Decimal(0))
        if len(terms) == number_of_terms and pair > 0 and u**2 - pair <= Decimal("0.09") * pair:
            first, second = float(terms[0]), float(terms[1]) if number_of_terms == 2 else 0.0
            # Both limits in units of their sum: the density is flat up to the difference, then falls in a line.
            top = (first - second) / (first + second)
            deviation = math.sqrt((1 + top * top) / 6)
            inside = p * (1 + top) / 2
            return (inside if inside <= top else 1 - math.sqrt((1 - p) * (1 - top * top))) / deviation
    return None


def _k(coverage: Mapping[str, Any], dof: Decimal | None, u: Decimal, even: Sequence[Decimal]) -> float:
    if coverage["rule"] == "fixed":
        return float(coverage["k"])
    of_limits = _k_of_limits(float(coverage["probability"]), u, even)
    if coverage["rule"] == "dominating term" and of_limits is not None:
        return of_limits
    whole = None if dof is None else max(int(dof + SAFE_TRUNCATION), 1)
    return factor(float(coverage["probability"]), whole)
