"""Limits of volumetric ware by standard and class: largest permitted errors at 20 degC, half-widths.

One table a standard. Glass and plastic ware in mL, piston pipettes in uL; limits of graduated ware hold at any
graduation, those of a piston pipette at any volume that it can be set to. Sources with edition stand with each table;
read the figures against the standard that you hold before you rest a result on them.
"""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.records.amount import Amount
from ubudget.records.register import Equipment
from ubudget.records.unit_comparison import in_unit


@dataclass(frozen=True)
class Row:
    """Limits of one nominal volume: half-width by class, for a piston pipette also the repeatability s."""

    nominal: float
    limits: dict[str, float]
    division: float | None = None
    random: float | None = None


@dataclass(frozen=True)
class Standard:
    """A standard with its edition, the kind of ware it is about, and its rows in `unit`."""

    edition: str
    kind: str
    unit: str
    rows: tuple[Row, ...]

    @property
    def classes(self) -> tuple[str, ...]:
        """Classes of the standard; one empty name where it has none."""
        return tuple(dict.fromkeys(name for row in self.rows for name in row.limits))


@dataclass(frozen=True)
class ClassLimits:
    """What a standard says of one piece of ware."""

    tolerance: Amount
    random: Amount | None
    source: str


def _two_classes(*rows: tuple[float, float | None, float, float | None]) -> tuple[Row, ...]:
    """Rows of (nominal, division, classes A and AS, class B)."""
    return tuple(
        Row(nominal, {"A": first, "AS": first} | ({} if second is None else {"B": second}), division)
        for nominal, division, first, second in rows
    )


def _flasks(*rows: tuple[float, float]) -> tuple[Row, ...]:
    """Rows of (nominal, class A); class B is twice class A."""
    return tuple(Row(nominal, {"A": limit, "B": 2 * limit}) for nominal, limit in rows)


def _cylinders(*rows: tuple[float, float]) -> tuple[Row, ...]:
    """Rows of (nominal, division); class A half a division, class B a whole one."""
    return tuple(Row(nominal, {"A": division / 2, "B": division}, division) for nominal, division in rows)


def _piston(*rows: tuple[float, float, float]) -> tuple[Row, ...]:
    """Rows of (nominal, systematic, random)."""
    return tuple(Row(nominal, {"": systematic}, random=random) for nominal, systematic, random in rows)


STANDARDS: dict[str, Standard] = {
    # Table 1, to contain
    "ISO 1042": Standard(
        "ISO 1042:1998",
        "flask",
        "mL",
        _flasks(
            (1, 0.025),
            (2, 0.025),
            (5, 0.025),
            (10, 0.025),
            (20, 0.04),
            (25, 0.04),
            (50, 0.06),
            (100, 0.1),
            (200, 0.15),
            (250, 0.15),
            (500, 0.25),
            (1000, 0.4),
            (2000, 0.6),
            (5000, 1.2),
        ),
    ),
    # Table 1, to deliver
    "ISO 648": Standard(
        "ISO 648:2008",
        "pipette",
        "mL",
        _two_classes(
            (0.5, None, 0.005, 0.01),
            (1, None, 0.008, 0.015),
            (2, None, 0.01, 0.02),
            (5, None, 0.015, 0.03),
            (10, None, 0.02, 0.04),
            (20, None, 0.03, 0.06),
            (25, None, 0.03, 0.06),
            (50, None, 0.05, 0.1),
            (100, None, 0.08, 0.15),
            (200, None, 0.1, 0.2),
        ),
    ),
    # Table 1, to deliver
    "ISO 835": Standard(
        "ISO 835:2007",
        "graduated pipette",
        "mL",
        _two_classes(
            (0.5, 0.01, 0.006, 0.01),
            (1, 0.01, 0.007, 0.01),
            (1, 0.1, 0.007, 0.01),
            (2, 0.02, 0.01, 0.02),
            (5, 0.05, 0.03, 0.05),
            (10, 0.1, 0.05, 0.1),
            (20, 0.1, 0.1, 0.2),
            (25, 0.1, 0.1, 0.2),
        ),
    ),
    # Table 1, to deliver
    "ISO 385": Standard(
        "ISO 385:2005",
        "burette",
        "mL",
        _two_classes(
            (1, 0.01, 0.01, 0.02),
            (2, 0.01, 0.01, 0.02),
            (5, 0.02, 0.01, 0.02),
            (10, 0.02, 0.02, None),
            (10, 0.05, 0.03, 0.05),
            (25, 0.05, 0.03, 0.05),
            (25, 0.1, 0.05, 0.1),
            (50, 0.1, 0.05, 0.1),
            (100, 0.2, 0.1, 0.2),
        ),
    ),
    # Table 1, to contain
    "ISO 4788": Standard(
        "ISO 4788:2005",
        "cylinder",
        "mL",
        _cylinders((5, 0.1), (10, 0.2), (25, 0.5), (50, 1), (100, 1), (250, 2), (500, 5), (1000, 10), (2000, 20)),
    ),
    # Table 1, types A and D1, one channel; random error is the standard deviation of ten deliveries
    "ISO 8655-2": Standard(
        "ISO 8655-2:2002",
        "piston pipette",
        "µL",
        _piston(
            (1, 0.05, 0.05),
            (2, 0.08, 0.04),
            (5, 0.125, 0.075),
            (10, 0.12, 0.08),
            (20, 0.2, 0.1),
            (50, 0.5, 0.2),
            (100, 0.8, 0.3),
            (200, 1.6, 0.6),
            (500, 4, 1.5),
            (1000, 8, 3),
            (2000, 16, 6),
            (5000, 40, 15),
            (10000, 60, 30),
        ),
    ),
}
STANDARD_OF_KIND: dict[str, str] = {standard.kind: name for name, standard in STANDARDS.items()}


def standard_of(item: Equipment) -> Standard | None:
    """The standard that an item names, else that of its kind."""
    return STANDARDS.get(item.standard or STANDARD_OF_KIND.get(item.kind, ""))


def rows_of(item: Equipment, standard: Standard) -> list[Row]:
    """Rows of the standard for an item's nominal volume, class and, where it states one, division."""
    nominal = _in(item.nominal, standard.unit)
    division = _in(item.division, standard.unit)
    return [
        row
        for row in standard.rows
        if row.nominal == nominal
        and (item.accuracy_class or "") in row.limits
        and (division is None or row.division in (None, division))
    ]


def goes_by_class(item: Equipment) -> bool:
    """Whether limits are looked up: no tolerance of its own, and a class, or a kind of ware that has none."""
    return item.tolerance is None and (item.accuracy_class is not None or item.kind == "piston pipette")


def class_limits(item: Equipment) -> ClassLimits | None:
    """Limits of an item by its standard and class; None where the standard has none for it, or several."""
    standard = standard_of(item)
    rows = rows_of(item, standard) if standard is not None else []
    if standard is None or len(rows) != 1:
        return None
    named = f", class {item.accuracy_class}" if item.accuracy_class else ""
    (row,) = rows
    return ClassLimits(
        _amount(row.limits[item.accuracy_class or ""], standard.unit),
        None if row.random is None else _amount(row.random, standard.unit),
        f"{standard.edition}{named}",
    )


def _in(amount: Amount | None, unit: str) -> float | None:
    return None if amount is None else in_unit(amount.value, amount.unit, unit)


def _amount(value: float, unit: str) -> Amount:
    return Amount(value, unit, f"{value:g} {unit}")
