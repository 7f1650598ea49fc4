"""Maximum permissible errors of weights: OIML R 111-1, Edition 2004 (E), clause 5.1, Table 1.

Classes E1 to M1 from 1 mg to 10 kg, and M2 and M3 up to 10 kg; the classes M1-2 and M2-3 and weights above 10 kg are
not in this table. Figures of M2 and M3, and those at 10 kg, are from memory of the standard; the others were compared
with a public reprint.
"""

from __future__ import annotations

from ubudget.quantity.units import convert
from ubudget.records.amount import parse_amount

SOURCE = "OIML R 111-1:2004, Table 1"
CLASSES = ("E1", "E2", "F1", "F2", "M1", "M2", "M3")

_TABLE = """
10 kg     5.0     16     50    160    500   1600   5000
5 kg      2.5    8.0     25     80    250    800   2500
2 kg      1.0    3.0     10     30    100    300   1000
1 kg      0.5    1.6    5.0     16     50    160    500
500 g    0.25    0.8    2.5    8.0     25     80    250
200 g    0.10    0.3    1.0    3.0     10     30    100
100 g    0.05   0.16    0.5    1.6    5.0     16     50
50 g     0.03   0.10    0.3    1.0    3.0     10     30
20 g    0.025   0.08   0.25    0.8    2.5    8.0     25
10 g    0.020   0.06   0.20    0.6    2.0    6.0     20
5 g     0.016   0.05   0.16    0.5    1.6    5.0     16
2 g     0.012   0.04   0.12    0.4    1.2    4.0     12
1 g     0.010   0.03   0.10    0.3    1.0    3.0     10
500 mg  0.008  0.025   0.08   0.25    0.8    2.5      -
200 mg  0.006  0.020   0.06   0.20    0.6    2.0      -
100 mg  0.005  0.016   0.05   0.16    0.5    1.6      -
50 mg   0.004  0.012   0.04   0.12    0.4      -      -
20 mg   0.003  0.010   0.03   0.10    0.3      -      -
10 mg   0.003  0.008  0.025   0.08   0.25      -      -
5 mg    0.003  0.006  0.020   0.06   0.20      -      -
2 mg    0.003  0.006  0.020   0.06   0.20      -      -
1 mg    0.003  0.006  0.020   0.06   0.20      -      -
"""
"""Nominal mass, and ± mg for each class; `-` where the standard has no weight of the class."""


def _limits() -> dict[str, dict[float, float]]:
    found: dict[str, dict[float, float]] = {name: {} for name in CLASSES}
    for line in _TABLE.strip().splitlines():
        number, unit, *errors = line.split()
        nominal = convert(float(number), unit, "g")
        for name, error in zip(CLASSES, errors, strict=True):
            if error != "-":
                found[name][nominal] = float(error)
    return found


_LIMITS = _limits()


def nominal_masses(accuracy_class: str) -> tuple[float, ...]:
    """Nominal masses in gram of a class, falling; empty for a class that the table lacks."""
    return tuple(_LIMITS.get(accuracy_class, ()))


def maximum_permissible_error(nominal: str, accuracy_class: str) -> float:
    """Half-width in mg of the error of a weight, e.g. `maximum_permissible_error("100 g", "E2")` is 0.16.

    Raises `ValueError` for a mass or a class that the table lacks."""
    amount = parse_amount(nominal)
    limits = _LIMITS.get(accuracy_class)
    if limits is None:
        raise ValueError(f"no class {accuracy_class}; accepted: {', '.join(CLASSES)}")
    error = limits.get(convert(amount.value, amount.unit, "g"))
    if error is None:
        raise ValueError(f"no weight of {nominal} in class {accuracy_class}; accepted: {nominals_text(accuracy_class)}")
    return error


def nominals_text(accuracy_class: str) -> str:
    """The nominal masses of a class in words: 1, 2 and 5 times a power of ten between two ends."""
    masses = nominal_masses(accuracy_class)
    return f"1, 2 or 5 times a power of ten from {masses[-1]:g} g to {masses[0]:g} g" if masses else "none"
