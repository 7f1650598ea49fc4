"""Reproducibility to be expected of a level, for comparison: Horwitz's function and Thompson's, of mass fractions."""

from __future__ import annotations

import math

from ubudget.errors import UbudgetError

LOW, HIGH = 1.2e-7, 0.138


def horwitz(mass_fraction: float) -> float:
    """Standard deviation of reproducibility as a mass fraction, 0.02 c^0.8495 (Horwitz; AOAC).

    Raises `UbudgetError` outside 0 to 1."""
    return float(0.02 * _fraction(mass_fraction) ** 0.8495)


def thompson(mass_fraction: float) -> float:
    """The same with Thompson's ends: 0.22 c below 1.2e-7, 0.01 √c above 0.138 (Analyst 125 (2000) 385).

    Raises `UbudgetError` outside 0 to 1."""
    c = _fraction(mass_fraction)
    if c < LOW:
        return 0.22 * c
    return 0.01 * math.sqrt(c) if c > HIGH else horwitz(c)


def _fraction(c: float) -> float:
    if not 0 < c <= 1:
        raise UbudgetError(f"mass fraction: found {c:g}; accepted: above 0, at most 1 (1 mg/kg is 1e-6)")
    return c
