"""Scores and limits that compare a result with another one, with an assigned or with a certified value.

Pure functions; every one gives a `Score` with its verdict and source. Performance scores after ISO 13528:2022, trueness
after ERM Application Note 1 and ISO Guide 33, duplicates after ISO 5725-6.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ubudget.errors import UbudgetError

SATISFACTORY, QUESTIONABLE, UNSATISFACTORY = "satisfactory", "questionable", "unsatisfactory"
AGREES, DIFFERS = "no significant difference", "significant difference"
WARNING, ACTION = 2.0, 3.0
"""Limits of |z|, |z′| and |zeta| (ISO 13528:2022, 9.4)."""
NEGLIGIBLE = 0.3
"""u of the assigned value over sigma up to which it is negligible (ISO 13528:2022, 9.2.1)."""


@dataclass(frozen=True)
class Score:
    """A figure beside its limits. `limits` are those of its absolute value, the lowest first."""

    name: str
    value: float
    limits: tuple[float, ...]
    verdict: str
    source: str
    remark: str = ""

    @property
    def passed(self) -> bool:
        return self.verdict in (SATISFACTORY, AGREES)


def z_score(x: float, assigned: float, sigma: float, *, u_assigned: float | None = None) -> Score:
    """z = (x - x_pt)/sigma_pt (ISO 13528:2022, 9.4). All in one unit; `sigma` above zero.

    With `u_assigned` the remark says where it is too large to be left out. Raises `UbudgetError`."""
    _finite(x=x, assigned=assigned)
    _positive("sigma", sigma)
    remark = ""
    if u_assigned is not None:
        _not_negative("u_assigned", u_assigned)
        if u_assigned > NEGLIGIBLE * sigma:
            remark = "u of the assigned value exceeds 0.3 sigma: use z′"
    return _performance("z", (x - assigned) / sigma, "ISO 13528:2022, 9.4", remark)


def z_prime_score(x: float, assigned: float, sigma: float, u_assigned: float) -> Score:
    """z′ = (x - x_pt)/sqrt(sigma_pt² + u(x_pt)²) (ISO 13528:2022, 9.5). Raises `UbudgetError`."""
    _finite(x=x, assigned=assigned)
    _positive("sigma", sigma)
    _not_negative("u_assigned", u_assigned)
    return _performance("z′", (x - assigned) / math.hypot(sigma, u_assigned), "ISO 13528:2022, 9.5")


def zeta_score(x: float, u: float, assigned: float, u_assigned: float, *, covariance: float = 0.0) -> Score:
    """zeta = (x - x_pt)/u(x - x_pt), with standard uncertainties (ISO 13528:2022, 9.6).

    `covariance` of both values, in their squared unit (GUM 5.2.2). Raises `UbudgetError`."""
    spread = _of_difference(x, u, assigned, u_assigned, covariance, "u")
    return _performance("zeta", (x - assigned) / spread, "ISO 13528:2022, 9.6", _said(covariance))


def normalised_error(x: float, U: float, reference: float, U_reference: float, *, covariance: float = 0.0) -> Score:
    """E_n = (x - x_ref)/sqrt(U² + U_ref²), with expanded uncertainties, k = 2 as a rule (ISO 13528:2022, 9.7).

    `covariance` of the expanded quantities, r·U·U_ref: 4 times that of the values for k = 2. Raises `UbudgetError`."""
    spread = _of_difference(x, U, reference, U_reference, covariance, "U")
    value = (x - reference) / spread
    verdict = SATISFACTORY if abs(value) <= 1 else UNSATISFACTORY
    return Score("E_n", value, (1.0,), verdict, "ISO 13528:2022, 9.7", _said(covariance))


def trueness_check(
    found: float, u: float, certified: float, u_certified: float, *, covariance: float = 0.0, k: float = 2.0
) -> Score:
    """|found - certified| beside U of the difference, k u (ERM Application Note 1; ISO Guide 33:2015).

    `value` is the absolute difference, `limits` holds its U. Raises `UbudgetError`."""
    _positive("k", k)
    limit = k * _of_difference(found, u, certified, u_certified, covariance, "u")
    difference = abs(found - certified)
    verdict = AGREES if difference <= limit else DIFFERS
    return Score("|Δ|", difference, (limit,), verdict, "ERM Application Note 1; ISO Guide 33", _said(covariance))


def critical_range_factor(n: int) -> float:
    """f(n): 95 % quantile of the range of n results under repeatability over their s (ISO 5725-6:1994, 4.1).

    1.96·√2 = 2.77 for two. Raises `UbudgetError` for n below 2 or above 100."""
    if not 2 <= n <= 100:
        raise UbudgetError(f"n: found {n}; accepted: 2 to 100 results; correct the number")
    x = np.linspace(-9.0, 9.0, 3601)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)

    def below(width: float) -> float:
        return float(n * np.trapezoid(density * (ndtr(x + width) - ndtr(x)) ** (n - 1), x))

    low, high = 0.0, 12.0
    while high - low > 1e-10:
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle) < 0.95 else (low, middle)
    return (low + high) / 2


def repeatability_limit(s_r: float, n: int = 2) -> float:
    """r = 2.8 s_r for two results, the critical range f(n) s_r for n (ISO 5725-6:1994, 4.1 and 5.2.2).

    Raises `UbudgetError`."""
    _positive("s_r", s_r)
    return critical_range_factor(n) * s_r


def repeatability_check(values: Sequence[float], s_r: float) -> Score:
    """Range of results under repeatability beside their limit (ISO 5725-6:1994, 5.2.2). Raises `UbudgetError`."""
    for value in values:
        _finite(value=value)
    limit = repeatability_limit(s_r, len(values))
    spread = max(values) - min(values)
    name = "|difference|" if len(values) == 2 else "range"
    return Score(name, spread, (limit,), AGREES if spread <= limit else DIFFERS, "ISO 5725-6:1994, 5.2.2")


def _performance(name: str, value: float, source: str, remark: str = "") -> Score:
    size = abs(value)
    verdict = SATISFACTORY if size <= WARNING else QUESTIONABLE if size < ACTION else UNSATISFACTORY
    return Score(name, value, (WARNING, ACTION), verdict, source, remark)


def _of_difference(x: float, u: float, y: float, u_y: float, covariance: float, name: str) -> float:
    """Uncertainty of a difference (GUM 5.2.2 eq. 16)."""
    _finite(x=x, reference=y, covariance=covariance)
    _not_negative(name, u)
    _not_negative(f"{name} of the other value", u_y)
    if abs(covariance) > u * u_y * (1 + 1e-9):
        raise UbudgetError(
            f"covariance: found {covariance:g} beside {name} of {u:g} and {u_y:g}; accepted: "
            "a correlation coefficient from -1 to 1; correct it"
        )
    variance = u**2 + u_y**2 - 2 * covariance
    # Two results that share all their uncertainty leave rounding alone.
    if variance <= 1e-15 * (u**2 + u_y**2):
        raise UbudgetError(
            f"{name}: found zero for the difference; accepted: an uncertainty above zero; state those of both values"
        )
    return math.sqrt(variance)


def _said(covariance: float) -> str:
    return "correlation counted" if covariance else ""


def _finite(**numbers: float) -> None:
    for name, number in numbers.items():
        if not math.isfinite(number):
            raise UbudgetError(f"{name}: found {number}; accepted: a finite number; state it")


def _positive(name: str, number: float) -> None:
    if not (math.isfinite(number) and number > 0):
        raise UbudgetError(f"{name}: found {number:g}; accepted: a number above zero; correct it")


def _not_negative(name: str, number: float) -> None:
    if not (math.isfinite(number) and number >= 0):
        raise UbudgetError(f"{name}: found {number:g}; accepted: zero or a number above zero; correct it")
