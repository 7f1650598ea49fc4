"""The nonlinear models of the NIST StRD sets with their partial derivatives, each written once.

A model takes the arithmetic to work in (`exp`, `ln`, `sqrt`), x and the parameters, and returns the value and the
partial derivatives: with numpy it serves the solver, with decimals the floor that binary input sets.
"""

from collections.abc import Callable
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np

Model = Callable[..., tuple[Any, tuple[Any, ...]]]

DOUBLES = SimpleNamespace(exp=np.exp, ln=np.log, sqrt=np.sqrt)
DECIMALS = SimpleNamespace(exp=Decimal.exp, ln=Decimal.ln, sqrt=Decimal.sqrt)


def misra1a(m: Any, x: Any, b1: Any, b2: Any) -> tuple[Any, tuple[Any, ...]]:
    e = m.exp(-b2 * x)
    return b1 * (1 - e), (1 - e, b1 * x * e)


def misra1b(m: Any, x: Any, b1: Any, b2: Any) -> tuple[Any, tuple[Any, ...]]:
    d = 1 + b2 * x / 2
    return b1 * (1 - 1 / (d * d)), (1 - 1 / (d * d), b1 * x / (d * d * d))


def misra1c(m: Any, x: Any, b1: Any, b2: Any) -> tuple[Any, tuple[Any, ...]]:
    d = 1 + 2 * b2 * x
    root = m.sqrt(d)
    return b1 * (1 - 1 / root), (1 - 1 / root, b1 * x / (d * root))


def misra1d(m: Any, x: Any, b1: Any, b2: Any) -> tuple[Any, tuple[Any, ...]]:
    d = 1 + b2 * x
    return b1 * b2 * x / d, (b2 * x / d, b1 * x / (d * d))


def chwirut(m: Any, x: Any, b1: Any, b2: Any, b3: Any) -> tuple[Any, tuple[Any, ...]]:
    d = b2 + b3 * x
    value = m.exp(-b1 * x) / d
    return value, (-x * value, -value / d, -x * value / d)


def danwood(m: Any, x: Any, b1: Any, b2: Any) -> tuple[Any, tuple[Any, ...]]:
    power = x**b2
    return b1 * power, (power, b1 * power * m.ln(x))


def rat42(m: Any, x: Any, b1: Any, b2: Any, b3: Any) -> tuple[Any, tuple[Any, ...]]:
    e = m.exp(b2 - b3 * x)
    d = 1 + e
    return b1 / d, (1 / d, -b1 * e / (d * d), b1 * x * e / (d * d))


def eckerle4(m: Any, x: Any, b1: Any, b2: Any, b3: Any) -> tuple[Any, tuple[Any, ...]]:
    t = (x - b3) / b2
    e = m.exp(-t * t / 2)
    value = b1 / b2 * e
    return value, (e / b2, value * (t * t - 1) / b2, value * t / b2)


def _peak(m: Any, x: Any, height: Any, centre: Any, width: Any) -> tuple[Any, tuple[Any, ...]]:
    t = (x - centre) / width
    e = m.exp(-t * t)
    return height * e, (e, 2 * height * e * t / width, 2 * height * e * t * t / width)


def gauss(m: Any, x: Any, *b: Any) -> tuple[Any, tuple[Any, ...]]:
    e = m.exp(-b[1] * x)
    first, of_first = _peak(m, x, *b[2:5])
    second, of_second = _peak(m, x, *b[5:8])
    return b[0] * e + first + second, (e, -b[0] * x * e, *of_first, *of_second)


def kirby2(m: Any, x: Any, b1: Any, b2: Any, b3: Any, b4: Any, b5: Any) -> tuple[Any, tuple[Any, ...]]:
    d = 1 + b4 * x + b5 * x * x
    value = (b1 + b2 * x + b3 * x * x) / d
    return value, (1 / d + 0 * x, x / d, x * x / d, -value * x / d, -value * x * x / d)


def mgh09(m: Any, x: Any, b1: Any, b2: Any, b3: Any, b4: Any) -> tuple[Any, tuple[Any, ...]]:
    n, d = x * x + x * b2, x * x + x * b3 + b4
    value = b1 * n / d
    return value, (n / d, b1 * x / d, -value * x / d, -value / d)


NONLINEAR: dict[str, Model] = {
    "chwirut1": chwirut,
    "chwirut2": chwirut,
    "danwood": danwood,
    "eckerle4": eckerle4,
    "gauss1": gauss,
    "gauss2": gauss,
    "gauss3": gauss,
    "kirby2": kirby2,
    "mgh09": mgh09,
    "misra1a": misra1a,
    "misra1b": misra1b,
    "misra1c": misra1c,
    "misra1d": misra1d,
    "rat42": rat42,
}
