"""Limits by class, expansions of liquids and materials: figures of the standards, named beside them."""

from __future__ import annotations

import pytest

from ubudget.records.amount import parse_amount
from ubudget.records.expansions import LIQUIDS, WARE_MATERIALS
from ubudget.records.register import Equipment
from ubudget.records.unit_comparison import in_unit
from ubudget.records.ware_limits import class_limits

PRINTED = [
    # German verification ordinance (Eichordnung), Annex 12, clause 3.2; equal to ISO 1042:1998, Table 1, class A
    *(
        ("flask", nominal, "", "A", limit)
        for nominal, limit in (
            ("1 mL", "0.025 mL"),
            ("5 mL", "0.025 mL"),
            ("10 mL", "0.025 mL"),
            ("25 mL", "0.04 mL"),
            ("50 mL", "0.06 mL"),
            ("100 mL", "0.1 mL"),
            ("200 mL", "0.15 mL"),
            ("0.25 L", "0.15 mL"),
            ("500 mL", "0.25 mL"),
            ("1 L", "0.4 mL"),
            ("2000 mL", "0.6 mL"),
            ("5 L", "1.2 mL"),
        )
    ),
    # ISO 1042:1998, Table 1, class B
    ("flask", "100 mL", "", "B", "0.2 mL"),
    # ISO 648:2008, Table 1
    ("pipette", "1 mL", "", "AS", "0.008 mL"),
    ("pipette", "5 mL", "", "A", "0.015 mL"),
    ("pipette", "25 mL", "", "AS", "0.03 mL"),
    ("pipette", "50 mL", "", "B", "0.1 mL"),
    ("pipette", "100 mL", "", "B", "0.15 mL"),
    # ISO 835:2007, Table 1
    ("graduated pipette", "5 mL", "", "AS", "0.03 mL"),
    ("graduated pipette", "10 mL", "0.1 mL", "B", "0.1 mL"),
    # ISO 385:2005, Table 1
    ("burette", "25 mL", "0.05 mL", "AS", "0.03 mL"),
    ("burette", "25 mL", "0.1 mL", "A", "0.05 mL"),
    ("burette", "50 mL", "", "A", "0.05 mL"),
    # ISO 4788:2005, Table 1; class A half a division (Eichordnung, Annex 12, clause 5.2, cylinders to contain)
    ("cylinder", "100 mL", "", "A", "0.5 mL"),
    ("cylinder", "1000 mL", "", "B", "10 mL"),
]


def item(kind: str, nominal: str, division: str = "", accuracy_class: str | None = None) -> Equipment:
    return Equipment(
        id="X",
        kind=kind,  # type: ignore[arg-type]
        description="",
        nominal=parse_amount(nominal),
        division=parse_amount(division) if division else None,
        accuracy_class=accuracy_class,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(("kind", "nominal", "division", "accuracy_class", "limit"), PRINTED)
def test_limits_of_glassware(kind: str, nominal: str, division: str, accuracy_class: str, limit: str) -> None:
    found = class_limits(item(kind, nominal, division, accuracy_class))
    assert found is not None and found.random is None
    assert in_unit(found.tolerance.value, found.tolerance.unit, "mL") == parse_amount(limit).value
    assert found.source.endswith(f"class {accuracy_class}")


@pytest.mark.parametrize(
    ("nominal", "systematic", "random"),
    # ISO 8655-2:2002, Table 1, in µL; the row of 1000 µL is also printed in a journal article that quotes it
    [
        ("10 uL", 0.12, 0.08),
        ("100 uL", 0.8, 0.3),
        ("1000 uL", 8, 3),
        ("1 mL", 8, 3),
        ("5 mL", 40, 15),
        ("10 mL", 60, 30),
    ],
)
def test_limits_of_piston_pipettes(nominal: str, systematic: float, random: float) -> None:
    found = class_limits(item("piston pipette", nominal))
    assert found is not None and found.random is not None
    assert (found.tolerance.value, found.tolerance.unit) == (systematic, "µL")
    assert (found.random.value, found.random.unit) == (random, "µL")
    assert found.source == "ISO 8655-2:2002"


def test_two_burettes_of_one_volume_are_told_apart_by_division() -> None:
    assert class_limits(item("burette", "25 mL", "", "A")) is None


@pytest.mark.parametrize(
    ("liquid", "printed"),
    [
        # Cubic expansion at 20 °C in 1e-3/K. Water: CRC Handbook of Chemistry and Physics, table of pressure and
        # temperature dependence of liquid density, 0.206. The others: Perry's Chemical Engineers' Handbook, 8th ed.,
        # Table 2-32, slope of the densities printed there.
        ("water", 0.206),
        ("toluene", 1.046),
        ("acetone", 1.425),
        ("methanol", 1.194),
        ("ethanol", 1.115),
        ("hexane", 1.349),
        ("heptane", 1.224),
        ("isooctane", 1.179),
        ("o-xylene", 0.918),
        ("cyclohexane", 1.145),
        ("cyclohexanone", 0.914),
        # API MPMS 11.1 (1980), Table 54B: printed factor 1.0331 at -21 °C for 800 kg/m³ gives 0.92e-3/K between there
        # and 15 °C.
        ("kerosene", 0.92),
    ],
)
def test_expansions_of_liquids(liquid: str, printed: float) -> None:
    assert LIQUIDS[liquid].value * 1e3 == pytest.approx(printed, rel=0.06)


@pytest.mark.parametrize(
    ("material", "linear"),
    # ISO 3585 (borosilicate glass 3.3): linear expansion 3.3e-6/K; soda-lime glass 9.1e-6/K (handbook value)
    [("borosilicate 3.3", 3.3e-6), ("soda-lime glass", 9.1e-6)],
)
def test_expansions_of_ware(material: str, linear: float) -> None:
    assert WARE_MATERIALS[material].value == pytest.approx(3 * linear, rel=0.02)
