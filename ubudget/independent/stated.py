"""From what was stated of a quantity to its deviations: u and degrees of freedom (GUM 4.2, 4.3, G.3).

Also the straight line through data, whose ordinate and slope rest on one residual standard deviation (GUM H.3)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from ubudget.independent.quantiles import factor

_SQUARE_OF_DIVISOR = {"rectangular": 3, "triangular": 6, "arcsine": 2}


@dataclass(frozen=True)
class Deviation:
    """u and degrees of freedom of one deviation; `dof` None is infinite. `even`: of a rectangular distribution."""

    u: Decimal
    dof: Decimal | None
    even: bool = False


@dataclass(frozen=True)
class Line:
    """Ordinate at the origin and slope, their u, and the covariance of the two."""

    intercept: Decimal
    slope: Decimal
    u_intercept: Decimal
    u_slope: Decimal
    covariance: Decimal
    dof: Decimal


def number(given: Any) -> Decimal:
    """A number of the exported object as it was written."""
    return Decimal(str(given))


def estimate_of(stated: Mapping[str, Any]) -> Decimal:
    readings = stated.get("readings")
    if readings:
        return sum(map(number, readings), Decimal(0)) / len(readings)
    return number(stated["estimate"])


def deviation_of(stated: Mapping[str, Any]) -> Deviation:
    """Raises `ValueError` where nothing states the uncertainty. `factors`: what the deviation is multiplied by."""
    u, dof = _u_and_dof(stated)
    for each in stated.get("factors", ()):
        u *= abs(number(each))
    if "reliability" in stated:
        dof = 1 / (2 * number(stated["reliability"]) ** 2)
    elif "dof" in stated:
        dof = number(stated["dof"])
    limits = "rounded_to" in stated or ("half_width" in stated and stated.get("distribution") == "rectangular")
    return Deviation(u, dof, limits)


def _u_and_dof(stated: Mapping[str, Any]) -> tuple[Decimal, Decimal | None]:
    if stated.get("exact"):
        return Decimal(0), None
    if "readings" in stated:
        readings = [number(each) for each in stated["readings"]]
        if "pooled_s" in stated:
            return number(stated["pooled_s"]) / Decimal(len(readings)).sqrt(), number(stated["pooled_dof"])
        mean = sum(readings, Decimal(0)) / len(readings)
        squares = sum(((each - mean) ** 2 for each in readings), Decimal(0))
        below = len(readings) - 1
        return (squares / below / len(readings)).sqrt(), Decimal(below)
    if "u" in stated:
        return number(stated["u"]), None
    if "U" in stated:
        k = number(stated["k"]) if "k" in stated else Decimal(repr(factor(float(stated["confidence"]), None)))
        return number(stated["U"]) / k, None
    if "rounded_to" in stated:
        return number(stated["rounded_to"]) / 2 / Decimal(3).sqrt(), None
    if "half_width" in stated:
        half, name = number(stated["half_width"]), stated["distribution"]
        if name == "trapezoidal":
            return half * ((1 + number(stated["top"]) ** 2) / 6).sqrt(), None
        return half / Decimal(_SQUARE_OF_DIVISOR[name]).sqrt(), None
    raise ValueError("no uncertainty is stated")


def line_through(x: Sequence[Any], y: Sequence[Any], origin: Any) -> Line:
    """By the normal equations, x counted from the origin."""
    xs, ys = [number(each) - number(origin) for each in x], [number(each) for each in y]
    n = Decimal(len(xs))
    sx, sy = sum(xs, Decimal(0)), sum(ys, Decimal(0))
    sxx = sum((each * each for each in xs), Decimal(0))
    sxy = sum((a * b for a, b in zip(xs, ys, strict=True)), Decimal(0))
    determinant = n * sxx - sx * sx
    slope = (n * sxy - sx * sy) / determinant
    intercept = (sxx * sy - sx * sxy) / determinant
    left = sum(((b - intercept - slope * a) ** 2 for a, b in zip(xs, ys, strict=True)), Decimal(0))
    variance = left / (n - 2)
    return Line(
        intercept,
        slope,
        (variance * sxx / determinant).sqrt(),
        (variance * n / determinant).sqrt(),
        -variance * sx / determinant,
        n - 2,
    )
