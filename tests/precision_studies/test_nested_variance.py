"""Components of variance: certified data sets, printed examples, projections, and drawn laboratories."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from ubudget.errors import UbudgetError
from ubudget.evaluation.nested_variance import WITHIN, variance_components

SIRSTV = {
    1: (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    2: (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    3: (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    4: (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    5: (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
}
"""NIST Statistical Reference Datasets, one-way analysis of variance, SiRstv (ohm·cm); certified values below."""


def of_groups(groups: dict[int, tuple[float, ...]]) -> tuple[list[float], list[int]]:
    return [y for own in groups.values() for y in own], [name for name, own in groups.items() for _ in own]


def test_certified_resistivity() -> None:
    values, names = of_groups(SIRSTV)
    found = variance_components(values, wafer=names)
    wafer, within = found.strata
    assert wafer.sum_of_squares == pytest.approx(5.11462616000000e-02, rel=1e-13)
    assert within.sum_of_squares == pytest.approx(2.16636560000000e-01, rel=1e-13)
    assert wafer.variance_ratio == pytest.approx(1.18046237440255e00, rel=1e-13)
    assert within.s == pytest.approx(1.04076068334656e-01, rel=1e-13)


def large_set(repetitions: int, base: str) -> tuple[list[float], list[int]]:
    """SmLs01 to SmLs09: nine groups, each its level first and then 0.1 below and above it in turn."""
    levels = (4, 3, 5, 3, 5, 3, 5, 3, 5)
    steps = [0, *([-1, 1] * ((repetitions - 1) // 2))]
    values = [float(f"{base}.{level + step}") for level in levels for step in steps]
    return values, [group for group in range(9) for _ in steps]


@pytest.mark.parametrize("base", ["1", "1000000", "1000000000000"])
@pytest.mark.parametrize(
    ("repetitions", "between", "within", "F"),
    [
        (21, 1.68, 1.80, 21.0),
        (201, 16.08, 18.0, 201.0),
        (2001, 160.08, 180.0, 2001.0),
    ],
)
def test_certified_large_sets(base: str, repetitions: int, between: float, within: float, F: float) -> None:
    """NIST Statistical Reference Datasets, SmLs01 to SmLs09: one, seven and thirteen constant leading digits."""
    values, names = large_set(repetitions, base)
    group, rest = variance_components(values, group=names).strata
    found = (group.sum_of_squares, rest.sum_of_squares, group.variance_ratio, rest.s)
    assert found == pytest.approx((between, within, F, 0.1), rel=1e-13)


def test_certified_atomic_weight_of_silver() -> None:
    """NIST Statistical Reference Datasets, AtmWtAg: two instruments, 24 determinations each."""
    first = """107.8681568 107.8681465 107.8681572 107.8681785 107.8681446 107.8681903 107.8681526 107.8681494
        107.8681616 107.8681587 107.8681519 107.8681486 107.8681419 107.8681569 107.8681508 107.8681672
        107.8681385 107.8681518 107.8681662 107.8681424 107.8681360 107.8681333 107.8681610 107.8681477"""
    second = """107.8681079 107.8681344 107.8681513 107.8681197 107.8681604 107.8681385 107.8681642 107.8681365
        107.8681151 107.8681082 107.8681517 107.8681448 107.8681198 107.8681482 107.8681334 107.8681609
        107.8681101 107.8681512 107.8681469 107.8681360 107.8681254 107.8681261 107.8681450 107.8681368"""
    values, names = of_groups({1: tuple(map(float, first.split())), 2: tuple(map(float, second.split()))})
    instrument, within = variance_components(values, instrument=names).strata
    assert instrument.sum_of_squares == pytest.approx(3.63834187500000e-09, rel=1e-13)
    assert within.sum_of_squares == pytest.approx(1.04951729166667e-08, rel=1e-13)
    assert instrument.variance_ratio == pytest.approx(1.59467335677930e01, rel=1e-13)


def test_readings_by_day() -> None:
    """JCGM 100:2008, H.5, table H.9: ten days of five readings; values with those means and deviations."""
    means = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)
    sds = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)
    pattern = np.array([-2, -1, 0, 1, 2]) / math.sqrt(2.5)
    values = [mean + sd * step for mean, sd in zip(means, sds, strict=True) for step in pattern]
    found = variance_components(values, day=[day for day in range(10) for _ in range(5)])
    day, within = found.strata
    assert round(math.sqrt(day.mean_square)) == 128
    assert round(within.s) == 85
    assert day.variance_ratio == pytest.approx(2.26151927, rel=1e-8)
    assert round(day.s) == 43
    assert round(found.u_mean) == 18
    assert found.mean_degrees_of_freedom == pytest.approx(9)


def test_runs_of_a_pharmacopoeia() -> None:
    """United States Pharmacopeia, general chapter <1010>, USP 29, appendix: five runs of three."""
    runs = {
        1: (100.7, 101.05, 101.15),
        2: (99.46, 99.37, 99.59),
        3: (99.96, 100.17, 101.01),
        4: (101.8, 102.16, 102.44),
        5: (101.91, 102.0, 101.67),
    }
    values, names = of_groups(runs)
    found = variance_components(values, run=names)
    assert round(found.stratum("run").component, 3) == 1.149
    assert round(found.stratum(WITHIN).component, 3) == 0.102
    # 1.149/5 + 0.102/15
    assert found.u_mean**2 == pytest.approx(0.2367, abs=5e-5)


def test_expectations_by_projection() -> None:
    """E(y'Ay) = trace(A V): components recovered from the expectations of sums of squares, unbalanced, three strata."""
    day = [0] * 5 + [1] * 3 + [2] * 4
    digest = [0, 0, 1, 1, 1, 0, 0, 1, 0, 1, 1, 2]
    rng = np.random.default_rng(4)
    values = [float(f"{value:.6f}") for value in rng.normal(size=12)]
    found = variance_components(values, day=day, digest=digest)
    cells = [list(zip(day, digest, strict=True))[i] for i in range(12)]

    def indicator(labels: list[object]) -> np.ndarray:
        distinct = list(dict.fromkeys(labels))
        return np.array([[float(label == one) for one in distinct] for label in labels])

    designs = [np.ones((12, 1)), indicator(list(day)), indicator(list(cells)), np.eye(12)]
    projections = [Z @ np.linalg.pinv(Z) for Z in designs]
    y = np.array(values)
    forms = [after - before for before, after in itertools.pairwise(projections)]
    expected = np.array([[np.trace(A @ Z @ Z.T) for Z in designs[1:]] for A in forms])
    squares = np.array([y @ A @ y for A in forms])
    assert [stratum.component for stratum in found.strata] == pytest.approx(
        np.linalg.solve(expected, squares), rel=1e-10
    )


def test_unbiased_in_drawn_laboratories() -> None:
    """Known components, 1,000 unbalanced studies: the mean of each estimate lies within four of its standard errors."""
    rng = np.random.default_rng(20250614)
    sizes = (2, 3, 2, 4, 2, 3)
    day = [number for number, size in enumerate(sizes) for _ in range(size)]
    estimates = []
    for _ in range(1000):
        values = 50 + 0.8 * rng.normal(size=len(sizes))[day] + 0.5 * rng.normal(size=len(day))
        found = variance_components(np.round(values, 4).tolist(), day=day)
        estimates.append([stratum.component for stratum in found.strata])
    means, errors = np.mean(estimates, axis=0), np.std(estimates, axis=0, ddof=1) / math.sqrt(1000)
    assert np.all(np.abs(means - [0.64, 0.25]) < 4 * errors)


def test_balanced_components_by_restricted_likelihood() -> None:
    """statsmodels MixedLM (REML) equals the analysis of variance for balanced data with no negative component."""
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(8)
    day = np.repeat(np.arange(12), 4)
    values = np.round(10 + rng.normal(size=12)[day] + 0.4 * rng.normal(size=48), 5)
    frame = pd.DataFrame({"y": values, "day": day})
    fitted = MixedLM.from_formula("y ~ 1", frame, groups="day").fit(reml=True)
    between, within = variance_components(values.tolist(), day=day.tolist()).strata
    assert between.component == pytest.approx(float(fitted.cov_re.iloc[0, 0]), rel=1e-4)
    assert within.component == pytest.approx(float(fitted.scale), rel=1e-4)


def test_a_negative_component_counts_as_zero() -> None:
    found = variance_components([1.0, 3.0, 1.1, 2.9, 0.9, 3.1], group=[1, 1, 2, 2, 3, 3])
    group, within = found.strata
    assert group.component < 0 and group.s == 0
    assert found.s_total == within.s


@pytest.mark.parametrize(
    ("values", "factors", "words"),
    [
        ([1.0, 2.0], {}, "found no factor"),
        ([1.0, 2.0], {"day": [1]}, "factor day: found 1 levels for 2 values"),
        ([1.0, math.nan, 2.0], {"day": [1, 1, 2]}, "no finite number"),
        ([1.0, 2.0, 3.0], {"day": [1, 1, 1]}, "factor day: no degree of freedom left"),
        ([1.0, 2.0, 3.0], {"day": [1, 2, 3]}, "repetitions: no degree of freedom left"),
        ([1.0, 2.0, 3.0, 4.0], {"day": [1, 1, 2, 2], "digest": [1, 1, 1, 1]}, "factor digest: no degree"),
        ([1.0, 2.0, 3.0], {"within": [1, 1, 2]}, "name of the repetitions"),
    ],
)
def test_unusable_data(values: list[float], factors: dict[str, list[int]], words: str) -> None:
    with pytest.raises(UbudgetError, match=words):
        variance_components(values, **factors)
