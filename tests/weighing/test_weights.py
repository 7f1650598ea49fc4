"""Maximum permissible errors of weights against the table of OIML R 111-1:2004."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

import ubudget
from tests.weighing.test_air import rows
from ubudget.records.weight_classes import CLASSES, maximum_permissible_error, nominal_masses

TABLE = rows("oiml_r111_mpe.csv")


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["nominal"])
def test_classes_e1_to_m1_are_the_table(row: dict[str, str]) -> None:
    for name in ("E1", "E2", "F1", "F2", "M1"):
        assert maximum_permissible_error(row["nominal"], name) == float(row[f"{name}_mg"]), name
        assert float(row["nominal_g"]) in nominal_masses(name)


def test_no_row_is_missing_and_none_too_many() -> None:
    assert nominal_masses("E2") == tuple(float(row["nominal_g"]) for row in TABLE)


def test_two_classes_further_the_limit_is_tenfold() -> None:
    """M2 is ten times F2 and M3 ten times M1 wherever both exist (structure of the table, from memory)."""
    for high, low in (("M2", "F2"), ("M3", "M1")):
        for grams in nominal_masses(high):
            above, below = (Decimal(str(maximum_permissible_error(f"{grams} g", name))) for name in (high, low))
            assert above == 10 * below, (high, grams)


def test_a_limit_falls_from_class_to_class() -> None:
    for grams in nominal_masses("M3"):
        limits = [maximum_permissible_error(f"{grams} g", name) for name in CLASSES]
        assert limits == sorted(limits) and len(set(limits)) == len(limits)


def test_the_front_door_has_it() -> None:
    assert ubudget.maximum_permissible_error("0.1 kg", "E2") == 0.16
    assert math.isclose(ubudget.maximum_permissible_error("200 mg", "F1"), 0.06)


@pytest.mark.parametrize(
    ("nominal", "accuracy_class", "words"),
    [("3 g", "E2", "no weight of 3 g in class E2"), ("1 g", "E3", "no class E3"), ("1 mg", "M3", "1 mg in class M3")],
)
def test_what_the_table_lacks(nominal: str, accuracy_class: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        maximum_permissible_error(nominal, accuracy_class)
